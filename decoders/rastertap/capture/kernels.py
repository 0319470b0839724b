"""The loops of the VCD reader that touch every byte.

One pass turns text into per-signal change lists. A *signal* is one bit of one identifier code; each has a
region in two pools (``ticks``, ``levels``), the slot before the region being a guard that holds the level
at the start and a time that never occurs. All state is in arrays, so that a pass that stops (region
full, keyword met, odd time) goes on where it stopped.
"""

# ruff: noqa: PLR0917 - numba passes by position, and kernels take arrays one by one

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.jit import kernel

if TYPE_CHECKING:
    from numpy.typing import NDArray

BEFORE_TIME = np.iinfo(np.int64).min
"""Time of a guard slot: no change ever has it."""

# Classes of a token's first byte; 0..3 are the level codes of a scalar change.
SPACE, TIME, VECTOR, REAL, KEYWORD, PORT, BAD = 4, 5, 6, 7, 8, 9, 10

# Entries of the state array.
POSITION, NOW, FIRST, MUTED, GLITCHES, DROPPED, DETAIL, STATE_SIZE = 0, 1, 2, 3, 4, 5, 6, 7

# What a pass ended with.
DONE, FULL, MORE, AT_KEYWORD, ODD_TIME, TIME_BACK, UNDECLARED, BAD_VALUE, BAD_TOKEN, AT_PORT, NOT_REAL = (
    range(11)
)


@kernel
def find_long_code(
    buf: NDArray[np.uint8],
    begin: int,
    end: int,
    slots: NDArray[np.int32],
    code_at: NDArray[np.int64],
    code_text: NDArray[np.uint8],
    code_value: NDArray[np.int32],
) -> int:
    """Look up an identifier code of three or more characters in an open-addressed FNV-1a table."""
    mask = len(slots) - 1
    digest = np.uint32(2166136261)
    for i in range(begin, end):
        digest = np.uint32((digest ^ np.uint32(buf[i])) * np.uint32(16777619))
    slot = np.int64(digest) & mask
    while slots[slot] >= 0:
        code = slots[slot]
        start = code_at[code]
        if code_at[code + 1] - start == end - begin:
            same = True
            for i in range(end - begin):
                if code_text[start + i] != buf[begin + i]:
                    same = False
                    break
            if same:
                return int(code_value[code])
        slot = (slot + 1) & mask
    return -1


@kernel
def fill_slots(code_at: NDArray[np.int64], code_text: NDArray[np.uint8], slots: NDArray[np.int32]) -> None:
    """Enter every code into the table that `find_long_code` reads; ``slots`` begins as -1 throughout."""
    mask = len(slots) - 1
    for code in range(len(code_at) - 1):
        digest = np.uint32(2166136261)
        for i in range(code_at[code], code_at[code + 1]):
            digest = np.uint32((digest ^ np.uint32(code_text[i])) * np.uint32(16777619))
        slot = np.int64(digest) & mask
        while slots[slot] >= 0:
            slot = (slot + 1) & mask
        slots[slot] = code


@kernel
def change(
    signal: int,
    level: int,
    now: int,
    free: NDArray[np.int64],
    limit: NDArray[np.int64],
    current: NDArray[np.uint8],
    ticks: NDArray[np.int64],
    levels: NDArray[np.uint8],
) -> int:
    """Record a change, awkward cases included: 0 recorded or redundant, 1 region full, 2 a glitch removed."""
    if current[signal] == level:
        return 0
    slot = free[signal]
    if ticks[slot - 1] == now:  # a second change at this time: only the last level counts
        slot -= 1
        current[signal] = level
        if levels[slot - 1] == level:
            free[signal] = slot
        else:
            levels[slot] = level
        return 2
    if slot >= limit[signal]:
        return 1
    ticks[slot] = now
    levels[slot] = level
    free[signal] = slot + 1
    current[signal] = level
    return 0


@kernel
def parse(
    buf: NDArray[np.uint8],
    end: int,
    drop_back: bool,  # noqa: FBT001 - kernels take no keywords
    state: NDArray[np.int64],
    classes: NDArray[np.uint8],
    short_codes: NDArray[np.int32],
    slots: NDArray[np.int32],
    code_at: NDArray[np.int64],
    code_text: NDArray[np.uint8],
    code_value: NDArray[np.int32],
    vector_first: NDArray[np.int32],
    vector_width: NDArray[np.int32],
    free: NDArray[np.int64],
    limit: NDArray[np.int64],
    current: NDArray[np.uint8],
    ticks: NDArray[np.int64],
    levels: NDArray[np.uint8],
) -> int:
    """Read tokens from ``state[POSITION]`` to ``end`` and record the changes.

    Parameters
    ----------
    buf : ndarray of uint8
        Text; ``buf[end - 1]`` is white space, ``buf[end]`` is not, and eight more bytes may be read.
    end : int
        Where to stop; a token that begins before it also ends before it.
    drop_back : bool
        Leave out what follows a time that goes back, until the time has caught up.
    state : ndarray of int64, shape (STATE_SIZE,)
        Position, time, and counters; written back on return.
    classes, short_codes, slots, code_at, code_text, code_value, vector_first, vector_width
        The declarations, see `rastertap.capture.vcd_codes.Codes`.
    free, limit, current, ticks, levels
        The change lists, see `rastertap.capture.vcd_lane.Lane`.

    Returns
    -------
    int
        `DONE`, or why it stopped; ``state[POSITION]`` is then at the token that was not taken, and
        ``state[DETAIL]`` the signal that is full or the byte of the code or digit that is wrong.
    """
    i = state[POSITION]
    now = state[NOW]
    muted = state[MUTED]
    status = DONE
    while i < end:
        kind = classes[buf[i]]
        if kind < SPACE:
            if buf[i + 2] <= 32:
                j = i + 2
                found = short_codes[buf[i + 1]]
            elif buf[i + 3] <= 32:
                j = i + 3
                found = short_codes[np.int64(buf[i + 1]) | np.int64(buf[i + 2]) << 8]
            else:
                j = i + 1
                while buf[j] > 32:
                    j += 1
                if j > i + 3:
                    found = find_long_code(buf, i + 1, j, slots, code_at, code_text, code_value)
                else:
                    found = -1
            if found >= 0:
                if current[found] != kind and not muted:
                    slot = free[found]
                    if ticks[slot - 1] != now and slot < limit[found]:
                        ticks[slot] = now
                        levels[slot] = kind
                        free[found] = slot + 1
                        current[found] = kind
                    else:
                        result = change(found, kind, now, free, limit, current, ticks, levels)
                        if result == 1:
                            state[DETAIL] = found
                            status = FULL
                            break
                        state[GLITCHES] += result >> 1
            elif found == -1:
                state[DETAIL] = i + 1
                status = UNDECLARED if buf[i + 1] > 32 else BAD_TOKEN
                break
            elif not muted:
                first = vector_first[-2 - found]
                for bit in range(vector_width[-2 - found]):  # one digit: x and z spread, 0 and 1 do not
                    level = kind if bit == 0 or kind > 1 else 0
                    result = change(first + bit, level, now, free, limit, current, ticks, levels)
                    if result == 1:
                        state[DETAIL] = first + bit
                        status = FULL
                        break
                    state[GLITCHES] += result >> 1
                if status != DONE:
                    break
            i = j + 1 if buf[j] == 10 else j
        elif kind == SPACE:
            i += 1
        elif kind == TIME:
            j = i + 1
            value = np.int64(0)
            # Eight digits at once where there are eight: the compiler makes one load of these eight.
            word = (
                np.uint64(buf[j])
                | np.uint64(buf[j + 1]) << np.uint64(8)
                | np.uint64(buf[j + 2]) << np.uint64(16)
                | np.uint64(buf[j + 3]) << np.uint64(24)
                | np.uint64(buf[j + 4]) << np.uint64(32)
                | np.uint64(buf[j + 5]) << np.uint64(40)
                | np.uint64(buf[j + 6]) << np.uint64(48)
                | np.uint64(buf[j + 7]) << np.uint64(56)
            )
            word ^= np.uint64(0x3030303030303030)
            if (word | (word + np.uint64(0x0606060606060606))) & np.uint64(0xF0F0F0F0F0F0F0F0) == 0:
                word = word * np.uint64(10) + (word >> np.uint64(8))
                low = (word & np.uint64(0x000000FF000000FF)) * np.uint64(0x000F424000000064)
                high = ((word >> np.uint64(16)) & np.uint64(0x000000FF000000FF)) * np.uint64(
                    0x0000271000000001
                )
                value = np.int64((low + high) >> np.uint64(32))
                j += 8
            digit = np.uint8(buf[j] - np.uint8(48))
            while digit < 10:
                value = value * 10 + digit
                j += 1
                digit = np.uint8(buf[j] - np.uint8(48))
            if j == i + 1 or j > i + 19 or buf[j] > 32:
                status = ODD_TIME
                break
            if value < now:
                if not drop_back:
                    status = TIME_BACK
                    break
                state[DROPPED] += 1
                muted = 1
            else:
                if now < 0:
                    state[FIRST] = value
                now = value
                muted = 0
            i = j + 1 if buf[j] == 10 else j
        elif kind == VECTOR or kind == REAL:  # noqa: PLR1714, SIM109 - a tuple would be built for each token
            j = i + 1
            while buf[j] > 32:
                j += 1
            begin = j
            while begin < end and classes[buf[begin]] == SPACE:
                begin += 1
            if begin >= end:
                status = MORE
                break
            stop = begin
            while buf[stop] > 32:
                stop += 1
            if stop == begin:
                state[DETAIL] = begin
                status = BAD_TOKEN
                break
            if stop == begin + 1:
                found = short_codes[buf[begin]]
            elif stop == begin + 2:
                found = short_codes[np.int64(buf[begin]) | np.int64(buf[begin + 1]) << 8]
            else:
                found = find_long_code(buf, begin, stop, slots, code_at, code_text, code_value)
            if found == -1:
                state[DETAIL] = begin
                status = UNDECLARED
                break
            if found >= 0:
                first = found
                width = np.int32(1)
            else:
                first = vector_first[-2 - found]
                width = vector_width[-2 - found]
            if kind == REAL:
                if width > 0:
                    state[DETAIL] = begin
                    status = NOT_REAL
                    break
            else:
                if j == i + 1:
                    state[DETAIL] = j
                    status = BAD_VALUE
                    break
                for k in range(i + 1, j):
                    if classes[buf[k]] >= SPACE:
                        state[DETAIL] = k
                        status = BAD_VALUE
                        break
                if status != DONE:
                    break
                if not muted:
                    spread = classes[buf[i + 1]]
                    if spread == 1:
                        spread = np.uint8(0)
                    for bit in range(width):
                        k = j - 1 - bit
                        level = classes[buf[k]] if k > i else spread
                        signal = first + bit
                        if current[signal] == level:
                            continue
                        slot = free[signal]
                        if ticks[slot - 1] != now and slot < limit[signal]:
                            ticks[slot] = now
                            levels[slot] = level
                            free[signal] = slot + 1
                            current[signal] = level
                            continue
                        result = change(signal, level, now, free, limit, current, ticks, levels)
                        if result == 1:
                            state[DETAIL] = signal
                            status = FULL
                            break
                        state[GLITCHES] += result >> 1
                    if status != DONE:
                        break
            i = stop
        else:
            status = AT_KEYWORD if kind == KEYWORD else (AT_PORT if kind == PORT else BAD_TOKEN)
            state[DETAIL] = i
            break
    state[POSITION] = i
    state[NOW] = now
    state[MUTED] = muted
    return status
