"""The loops of the CSV reader that touch every byte. All state is in arrays; nothing is raised."""

# ruff: noqa: C901, FBT001, PLR0911, PLR0912, PLR0915, PLR0917, PLR1714, PLR2004, SIM109 - kernels are single
# loops that numba calls by position, and a tuple to compare with would be built for each character

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.jit import kernel

if TYPE_CHECKING:
    from numpy.typing import NDArray

# What a column holds, where it is not the number of a channel.
NOTHING, TIME = -1, -2

# Entries of the state array.
POSITION, NOW, FIRST, ROWS, IDLE, SAME_TIME, ROUNDED, LEAST_GAP, MOST_GAP, DETAIL, STATE_SIZE = range(11)

# What a pass ended with.
DONE, RAGGED, BAD_TIME, NOT_WHOLE, TOO_LATE, TIME_BACK, BAD_LEVEL, BAD_FIELD = range(8)

NO_LEVEL = 255
LONGEST_WORD = 8
POWERS = np.array([10**n for n in range(19)], np.int64)
_LATEST = np.iinfo(np.int64).max
_TAB, _NEWLINE, _RETURN, _BLANK, _QUOTE = 9, 10, 13, 32, 34


@kernel
def field(buf: NDArray[np.uint8], i: int, delimiter: int) -> tuple[int, int, int]:
    """Find the field at ``i``: where its content begins and ends, and where what follows it is.

    What follows is a delimiter or a line end, unless something stands behind a closing quote.
    """
    while buf[i] == _BLANK or (buf[i] == _TAB and delimiter != _TAB):
        i += 1
    if buf[i] == _QUOTE:
        begin = i + 1
        end = begin
        while buf[end] != _QUOTE and buf[end] != _NEWLINE and buf[end] != _RETURN:
            end += 1
        i = end + 1 if buf[end] == _QUOTE else end
        while delimiter != _BLANK and (buf[i] == _BLANK or (buf[i] == _TAB and delimiter != _TAB)):
            i += 1
        return begin, end, i
    begin = i
    while buf[i] != delimiter and buf[i] != _NEWLINE and buf[i] != _RETURN:
        if buf[i] == _TAB and delimiter == _BLANK:
            break
        i += 1
    end = i
    while end > begin and (buf[end - 1] == _BLANK or buf[end - 1] == _TAB):
        end -= 1
    return begin, end, i


@kernel
def number(buf: NDArray[np.uint8], i: int, stop: int, point: int) -> tuple[int, int, int]:
    """Read a decimal number: (18 digits of it, power of ten to multiply them by, where it ends or -1)."""
    sign = -1 if buf[i] == 45 else 1
    if buf[i] == 45 or buf[i] == 43:
        i += 1
    digits = np.int64(0)
    scale = 0
    seen = False
    decimals = False
    while i < stop:
        digit = np.uint8(buf[i] - np.uint8(48))
        if digit < 10:
            seen = True
            if digits < 100_000_000_000_000_000:
                digits = digits * 10 + digit
                scale -= decimals
            elif not decimals:
                scale += 1
        elif buf[i] == point and not decimals:
            decimals = True
        else:
            break
        i += 1
    if seen and i < stop and (buf[i] | 32) == 101:
        i += 1
        raised = 1
        if i < stop and (buf[i] == 45 or buf[i] == 43):
            raised = -1 if buf[i] == 45 else 1
            i += 1
        exponent = 0
        seen = False
        while i < stop and np.uint8(buf[i] - np.uint8(48)) < 10:
            exponent = min(exponent * 10 + buf[i] - 48, 100_000)
            seen = True
            i += 1
        scale += raised * exponent
    return int(sign * digits), scale, i if seen else -1


@kernel
def level(
    buf: NDArray[np.uint8],
    begin: int,
    end: int,
    words: NDArray[np.uint64],
    codes: NDArray[np.uint8],
    point: int,
) -> int:
    """Level code of a field, or `NO_LEVEL`."""
    if end - begin <= LONGEST_WORD:
        word = np.uint64(0)
        for i in range(begin, end):
            letter = np.uint64(buf[i])
            if 65 <= buf[i] <= 90:
                letter |= np.uint64(32)
            word = word << np.uint64(8) | letter
        for i in range(len(words)):
            if words[i] == word:
                return int(codes[i])
    digits, scale, after = number(buf, begin, end, point)
    if after != end:
        return NO_LEVEL
    if digits == 0:
        return 0
    while digits % 10 == 0:
        digits //= 10
        scale += 1
    return 1 if digits == 1 and scale == 0 else NO_LEVEL


@kernel
def line_end(buf: NDArray[np.uint8], i: int) -> int:
    """Place of the end of the line that ``i`` is in."""
    while buf[i] != _NEWLINE and buf[i] != _RETURN:
        i += 1
    return i


@kernel
def is_comment(buf: NDArray[np.uint8], i: int, comments: NDArray[np.bool_]) -> bool:
    """Whether the line that begins at ``i`` is a comment."""
    return bool(comments[buf[i]]) or (buf[i] == 47 and buf[i + 1] == 47)


@kernel
def finest(
    buf: NDArray[np.uint8],
    i: int,
    end: int,
    delimiter: int,
    point: int,
    time_column: int,
    comments: NDArray[np.bool_],
) -> int:
    """Most decimal places of the times in the rows from ``i`` to ``end``; what is no number counts not."""
    most = 0
    while i < end:
        if buf[i] != _NEWLINE and buf[i] != _RETURN and not is_comment(buf, i, comments):
            for column in range(time_column + 1):
                begin, stop, i = field(buf, i, delimiter)
                if column == time_column:
                    digits, scale, after = number(buf, begin, stop, point)
                    if after == stop and digits != 0:
                        most = max(most, -scale)
                if buf[i] == _NEWLINE or buf[i] == _RETURN:
                    break
                i += 1
        i = line_end(buf, i) + 1
    return most


@kernel
def rows(
    buf: NDArray[np.uint8],
    end: int,
    delimiter: int,
    point: int,
    place: int,
    whole: bool,
    columns: NDArray[np.int32],
    comments: NDArray[np.bool_],
    words: NDArray[np.uint64],
    codes: NDArray[np.uint8],
    state: NDArray[np.int64],
    row: NDArray[np.uint8],
    initial: NDArray[np.uint8],
    current: NDArray[np.uint8],
    free: NDArray[np.int64],
    ticks: NDArray[np.int64],
    levels: NDArray[np.uint8],
) -> int:
    """Read rows from ``state[POSITION]`` to ``end`` and record the changes.

    Parameters
    ----------
    buf : ndarray of uint8
        Text; ``buf[end - 1]`` is a line end.
    end : int
        Where to stop.
    delimiter, point : int
        Characters; a blank as delimiter is any run of blanks and tabs.
    place : int
        A tick is ten to the minus ``place`` of the unit that times are written in.
    whole : bool
        The times are sample numbers: decimals are wrong.
    columns : ndarray of int32
        For each column its channel, `TIME` or `NOTHING`; without a `TIME` each row is one tick later.
    comments : ndarray of bool, shape (256,)
        First characters of comment lines.
    words, codes : ndarray of uint64, of uint8
        Words for levels, packed, and their level codes.
    state : ndarray of int64, shape (STATE_SIZE,)
        Position, time and counters; ``NOW`` is that of the last row, ``FIRST`` of the first.
    row : ndarray of uint8, shape (channels,)
        Room for the levels of one row.
    initial, current : ndarray of uint8, shape (channels,)
        Levels at the start and after the last row.
    free : ndarray of int64, shape (channels,)
        Changes held of each channel.
    ticks, levels : ndarray of int64, of uint8, shape (channels, room)
        The changes. There must be room for every row.

    Returns
    -------
    int
        `DONE`, or what is wrong with the row at ``state[POSITION]``; ``state[DETAIL]`` is the field's byte.
    """
    i = state[POSITION]
    last = -1  # where the levels of the row before begin, where they may be compared as bytes
    while i < end:
        if buf[i] == _NEWLINE or buf[i] == _RETURN:
            i += 1
            continue
        if is_comment(buf, i, comments):
            i = line_end(buf, i)
            continue
        state[POSITION] = i
        now = state[NOW] + 1
        same = False
        time_at = i
        for at in range(len(columns)):
            meaning = columns[at]
            after = buf[i + 1]
            single = after == delimiter or after == _NEWLINE or after == _RETURN
            if meaning >= 0 and single and buf[i] >> 1 == 24:
                row[meaning] = buf[i] & 1
                i += 1
            else:
                begin = i
                digits, scale, number_end = number(buf, i, end, point) if meaning == TIME else (0, 0, -1)
                if number_end >= 0 and buf[number_end] == delimiter:  # no blanks, no quotes
                    stop = i = number_end
                else:
                    begin, stop, i = field(buf, i, delimiter)
                    if meaning == TIME:
                        digits, scale, number_end = number(buf, begin, stop, point)
                state[DETAIL] = begin
                time_at = begin if meaning == TIME else time_at
                if meaning >= 0:
                    found = level(buf, begin, stop, words, codes, point)
                    if found == NO_LEVEL:
                        return BAD_LEVEL
                    row[meaning] = found
                elif meaning == TIME:
                    if number_end != stop:
                        return BAD_TIME
                    scale += place
                    if scale >= 0:
                        if digits != 0 and (scale > 18 or abs(digits) > _LATEST // POWERS[scale]):
                            return TOO_LATE
                        now = digits * POWERS[min(scale, 18)]
                    else:
                        power = POWERS[min(-scale, 18)]
                        now = digits // power
                        rest = digits - now * power
                        if rest and whole:
                            return NOT_WHOLE
                        state[ROUNDED] += rest != 0
                        now += 2 * rest >= power
            if buf[i] == _TAB and delimiter == _BLANK:
                pass
            elif buf[i] != delimiter and buf[i] != _NEWLINE and buf[i] != _RETURN:
                state[DETAIL] = i
                return BAD_FIELD
            if delimiter == _BLANK:
                while buf[i] == _BLANK or buf[i] == _TAB:
                    i += 1
            ended = buf[i] == _NEWLINE or buf[i] == _RETURN
            if ended != (at == len(columns) - 1):
                state[DETAIL] = i
                return RAGGED
            if delimiter != _BLANK or ended:
                i += 1
            if at == 0 and meaning == TIME and not ended:
                k = i
                if last >= 0:  # where nothing changes, the rest of the line is that of the row before
                    shift = last - i
                    while buf[k] == buf[k + shift] and buf[k] != _NEWLINE and buf[k] != _RETURN:
                        k += 1
                    same = buf[k] == buf[k + shift]
                last = i
                if same:
                    i = k + 1
                    break
        if state[ROWS] > 0:
            if now < state[NOW]:
                state[DETAIL] = time_at
                return TIME_BACK
            gap = now - state[NOW]
            state[LEAST_GAP] = min(state[LEAST_GAP], gap)
            state[MOST_GAP] = max(state[MOST_GAP], gap)
            state[SAME_TIME] += gap == 0
        else:
            state[FIRST] = now
        state[ROWS] += 1
        state[NOW] = now
        if same:
            state[IDLE] += 1
            continue
        changed = False
        for channel in range(len(row)):
            new = row[channel]
            if new == current[channel]:
                continue
            changed = True
            current[channel] = new
            slot = free[channel]
            if now == state[FIRST]:
                initial[channel] = new
            elif slot > 0 and ticks[channel, slot - 1] == now:  # only the last level at one time counts
                before = levels[channel, slot - 2] if slot > 1 else initial[channel]
                if before == new:
                    free[channel] = slot - 1
                else:
                    levels[channel, slot - 1] = new
            else:
                ticks[channel, slot] = now
                levels[channel, slot] = new
                free[channel] = slot + 1
        state[IDLE] += not changed
    state[POSITION] = i
    return DONE
