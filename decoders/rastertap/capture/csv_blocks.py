"""The blocks of one table of samples: text to change lists, in memory that does not grow with the file."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture import csv_kernels as k
from rastertap.capture.csv_layout import COMMENTS, Layout, is_comment, lay_out, sniff, split
from rastertap.capture.csv_words import LEVELS, level_of
from rastertap.capture.model import UNKNOWN, Capture, Channel, SamplePeriod
from rastertap.capture.source import HEAD_BYTES
from rastertap.capture.vcd_text import Problem, Text
from rastertap.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap.capture.interface import Window

FINEST = Fraction(1, 10**15)
"""Shortest tick: a femtosecond. Decimals beyond it are rounding errors of whoever wrote them."""
FEWEST_GAPS = 8
"""Fewer equal distances between rows do not show that rows are samples."""
_DAMAGED = "the file is damaged here: export the capture again"
_NO_RATE = "if the first column holds times, give their unit in place of a rate: --reader csv:unit=s"
_LEVELS_ARE = "levels are 0, 1, x, z, low, high, false or true; leave analogue columns out of the export"


def _packed_words() -> tuple[np.ndarray, np.ndarray]:
    """Words for levels as the kernel compares them."""
    words = [int.from_bytes(word.encode(), "big") for word in LEVELS]
    return np.array([*words, 0], np.uint64), np.array([*LEVELS.values(), UNKNOWN], np.uint8)


class Table:
    """Finds the layout, then gives the blocks.

    Parameters
    ----------
    text : Text
        The file.
    rate, unit : Fraction or None
        What the user says of the first column.
    window : Window
        The part to hand out.

    Raises
    ------
    Problem
        When the text is wrong.
    """

    def __init__(self, text: Text, *, rate: Fraction | None, unit: Fraction | None, window: Window) -> None:
        self._text = text
        text.refill()
        head = bytes(text.data[: min(text.filled, HEAD_BYTES)])
        sniffed = sniff(head, whole=text.ended and text.filled <= HEAD_BYTES)
        self._layout: Layout = lay_out(sniffed, rate=rate, unit=unit)
        layout = self._layout
        columns = np.full(layout.columns, k.NOTHING, np.int32)
        for channel, (column, _) in enumerate(layout.channels):
            columns[column] = channel
        if layout.time_column >= 0:
            columns[layout.time_column] = k.TIME
        self._columns = columns
        self._comments = np.zeros(256, bool)
        self._comments[[ord(c) for c in COMMENTS if c != layout.delimiter]] = True
        self._words, self._codes = _packed_words()
        self._place = self._decimals()
        self._tick = layout.unit / 10**self._place
        self._window = window
        self._make_room(text.capacity)

    def _make_room(self, capacity: int) -> None:
        """Make lists that hold a change in every row: a row has at least a byte for each column."""
        count = len(self._layout.channels)
        room = capacity // self._layout.columns + 4
        self._row, self._initial, self._current = (np.full(count, UNKNOWN, np.uint8) for _ in range(3))
        self._free = np.zeros(count, np.int64)
        self._ticks = np.empty((count, room), np.int64)
        self._levels = np.empty((count, room), np.uint8)
        self._state = np.zeros(k.STATE_SIZE, np.int64)
        self._state[k.NOW] = -1
        self._state[k.LEAST_GAP] = np.iinfo(np.int64).max
        self._text.position = self._layout.at
        self._handed_out: int | None = None
        self._low, self._high = 0, None  # type: int, int | None

    def _decimals(self) -> int:
        """Decimal places of the unit that a tick is: the most that a time of the first block has."""
        layout, text = self._layout, self._text
        if layout.indexed:
            return 0
        end = self._last_line_end()
        if text.ended:
            text.data[text.filled] = ord("\n")  # for a last row that no line end follows
            end = text.filled + 1
        written = k.finest(
            text.array,
            layout.at,
            end,
            ord(layout.delimiter),
            ord(layout.point),
            layout.time_column,
            self._comments,
        )
        finest = 0
        while finest < written and layout.unit / 10 ** (finest + 1) >= FINEST:
            finest += 1
        return finest

    def blocks(self) -> Iterator[Capture]:
        """Yield the blocks of the window."""
        text = self._text
        while not text.ended:
            self._run(self._last_line_end())
            yield from self._block()
            if self._past_window():
                return
            if text.position == 0 and text.filled == text.capacity:
                raise Problem(f"a line of more than {text.capacity} bytes", 0, "this is no table of samples")
            text.refill()
        self._run(self._last_line_end())
        yield from self._last_block()

    def _last_line_end(self) -> int:
        text = self._text
        return max(text.data.rfind(b"\n", 0, text.filled), text.data.rfind(b"\r", 0, text.filled)) + 1

    def _run(self, end: int) -> None:
        if end <= self._text.position:
            return
        self._state[k.POSITION] = self._text.position
        status = k.rows(
            self._text.array,
            end,
            ord(self._layout.delimiter),
            ord(self._layout.point),
            self._place,
            self._layout.indexed,
            self._columns,
            self._comments,
            self._words,
            self._codes,
            self._state,
            self._row,
            self._initial,
            self._current,
            self._free,
            self._ticks,
            self._levels,
        )
        if status != k.DONE:
            raise self._problem(status)
        self._text.position = end

    def _past_window(self) -> bool:
        return self._high is not None and self._handed_out is not None and self._handed_out >= self._high

    def _block(self) -> Iterator[Capture]:
        """Hand out what is before the last time: more rows may be at that one."""
        if not self._state[k.ROWS]:
            return
        end = int(self._state[k.NOW]) - 1
        if end <= (self._start if self._handed_out is None else self._handed_out):
            return
        held = {c: int(n) for c, n in enumerate(self._free) if n and self._ticks[c, n - 1] > end}
        for channel in held:
            self._free[channel] -= 1
        yield from self._handed(end)
        self._begin_next(held)

    @property
    def _start(self) -> int:
        return int(self._state[k.FIRST])

    def _begin_next(self, held: dict[int, int]) -> None:
        """Empty the lists, but keep the changes at the last time; ``held``: how many changes there were."""
        for channel in range(len(self._free)):
            count = int(self._free[channel])
            if count:
                self._initial[channel] = self._levels[channel, count - 1]
            if channel in held:
                self._ticks[channel, 0] = self._ticks[channel, held[channel] - 1]
                self._levels[channel, 0] = self._levels[channel, held[channel] - 1]
            self._free[channel] = channel in held

    def _last_block(self) -> Iterator[Capture]:
        truncated = self._tail()
        if not self._state[k.ROWS]:
            cut = f" ({self._text.source.cut})" if self._text.source.cut else ""
            raise Problem(f"the file ends before its first row does{cut}", self._layout.at, _DAMAGED)
        state, notes = self._state, [*self._layout.notes, *self._text.source.notes]
        if state[k.SAME_TIME]:
            notes.append(f"{state[k.SAME_TIME]} rows have the time of the row before; the last one counts")
        if state[k.ROUNDED] and self._tick > FINEST:
            notes.append(
                f"{state[k.ROUNDED]} times have more decimals than all of the first rows: they were rounded "
                f"to {float(self._tick):g} s"
            )
        end = int(state[k.NOW])
        yield from self._handed(end, truncated, tuple(notes))
        if end < self._low:
            raise UsageError(
                f"the part to read begins at {self._window.start_s} s, after the end of the recording",
                hint=f"the recording is {float((end - self._start) * self._tick):g} s long",
            )

    def _handed(self, end: int, truncated: str = "", notes: tuple[str, ...] = ()) -> Iterator[Capture]:
        if self._handed_out is None:
            self._low, self._high = self._window.in_ticks(self._start, self._tick)
            self._handed_out = self._start
        begin, self._handed_out = max(self._handed_out, self._low), end
        if end < self._low:
            return
        high = self._high if self._high is not None and self._high < end else None
        channels = (
            Channel(
                name, int(self._initial[c]), self._ticks[c, : self._free[c]], self._levels[c, : self._free[c]]
            )
            for c, (_, name) in enumerate(self._layout.channels)
        )
        yield Capture(
            label=self._text.source.label,
            tick=self._tick,
            start=begin,
            end=end if high is None else high,
            channels=tuple(channel.between(begin, high) for channel in channels),
            ignored=self._layout.ignored,
            truncated=truncated,
            sample_period=self._sample_period(),
            notes=notes,
        )

    def _sample_period(self) -> SamplePeriod | None:
        """Give the step where rows are samples: all equally far apart, and some with no change."""
        state = self._state
        if self._layout.indexed:
            return SamplePeriod(1.0, 0.0, known=True)
        gaps = int(state[k.ROWS]) - 1
        rounded = int(state[k.MOST_GAP] - state[k.LEAST_GAP])
        if gaps < FEWEST_GAPS or not state[k.IDLE] or state[k.LEAST_GAP] <= 0 or rounded > 1:
            return None
        period = (int(state[k.NOW]) - int(state[k.FIRST])) / gaps
        # The first and the last time were each rounded to a tick, which is 1/sqrt(12) standard uncertainty.
        return SamplePeriod(period, rounded * (1 / 6) ** 0.5 / gaps, known=True)

    def _tail(self) -> str:
        """Take a last line that no line end follows if it is a whole row; how the file is cut short."""
        text, layout = self._text, self._layout
        rest = bytes(text.data[text.position : text.filled]).strip(b"\0 \t").decode("latin-1")
        cut = text.source.cut
        after = f", after byte {text.base + text.filled} of the text"
        if not rest or is_comment(rest, layout.delimiter):
            return cut + after if cut else ""
        if cut or not self._is_whole(split(rest, layout.delimiter)):
            return (cut or f"the file ends inside {rest[-40:]!r}") + after
        text.data[text.filled] = ord("\n")
        text.filled += 1
        self._run(text.filled)
        return ""

    def _is_whole(self, fields: list[str]) -> bool:
        """Whether nothing can be missing from a last row: what is cut off a time changes it."""
        layout = self._layout
        if len(fields) != layout.columns or layout.time_column == layout.columns - 1:
            return False
        last = layout.channels[-1][0]
        return all(level_of(fields[c]) is not None for c, _ in layout.channels) and bool(fields[last])

    def _problem(self, status: int) -> Problem:
        """Say what is wrong with the row that the kernel stopped at."""
        text, row, detail = self._text, int(self._state[k.POSITION]), int(self._state[k.DETAIL])
        layout = self._layout
        line = bytes(text.data[row : k.line_end(text.array, row)]).decode("latin-1")
        begin, end, _ = k.field(text.array, detail, ord(layout.delimiter))
        word = repr(bytes(text.data[begin : min(end, begin + 40)]).decode("latin-1"))
        what = "sample number" if layout.indexed else "time"
        if status == k.RAGGED:
            has = len(split(line, layout.delimiter))
            return Problem(f"this row has {has} columns, the first one {layout.columns}", row, _DAMAGED)
        if status == k.TIME_BACK:
            before = float(int(self._state[k.NOW]) * self._tick / layout.unit)
            hint = "two recordings in one file, or a damaged one: export the capture again"
            return Problem(f"{what} goes back from {before:.15g} to {word}", row, hint)
        if status == k.BAD_LEVEL:
            at = len(split(f"{line[: detail - row]}-", layout.delimiter)) - 1
            name = next((name for column, name in layout.channels if column == at), "")
            return Problem(f"{word} in column {name!r} is no level", detail, _LEVELS_ARE)
        message, hint = {
            k.BAD_TIME: (f"{word} is no {what}", _DAMAGED),
            k.NOT_WHOLE: (f"{what} {word} is not whole", _NO_RATE),
            k.TOO_LATE: (f"{what} {word} does not fit in 64 bits of {float(self._tick):g} s", _DAMAGED),
            k.BAD_FIELD: (f"{word} follows a closing quote", _DAMAGED),
        }[status]
        return Problem(message, detail, hint)
