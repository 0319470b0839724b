"""The blocks of one recording: where to cut the text, which lane reads what, and what is handed out."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING

from rastertap.capture import kernels as k
from rastertap.capture.model import UNKNOWN, Capture, Channel
from rastertap.capture.vcd_codes import Codes, declare, make_codes
from rastertap.capture.vcd_header import Header, read_header
from rastertap.capture.vcd_lane import LATEST, Lane
from rastertap.capture.vcd_text import WHITE_SPACE, Problem, Text
from rastertap.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from concurrent.futures import Executor

    from rastertap.capture.interface import Window

_WORTH_HALVING = 1 << 17
"""Text shorter than this is read by one thread."""

_NUMBER = re.compile(rb"#([0-9]+)")
_SCALAR = re.compile(rb"[01xXzZuUwWlLhH-]([!-~]+)")
_VECTOR = re.compile(rb"[bB][01xXzZuUwWlLhH-]+[ \t\n\r\f\v]+([!-~]+)|[rRs][!-~]*[ \t\n\r\f\v]+([!-~]+)")
_WHOLE_KEYWORDS = (b"$end", b"$dumpvars", b"$dumpall", b"$dumpon", b"$dumpoff")


class Recording:
    """Reads the declarations, then gives the blocks.

    Raises
    ------
    Problem
        When the text is wrong.
    """

    def __init__(self, text: Text, pool: Executor, *, drop_back: bool, window: Window) -> None:
        self._text = text
        self._pool = pool
        self._window = window
        self._header: Header = read_header(text)
        self._codes: Codes = make_codes(declare(self._header.variables, text.position))
        self._lane, self._spare = (Lane(self._codes, drop_back=drop_back) for _ in range(2))
        self._lane.position = text.position
        self._channels = self._name_channels()
        self._ignored = tuple(f"{v.name} ({v.kind})" for v in self._header.variables if not v.bits)
        self._start = -1
        self._handed_out = -1
        self._low = 0
        self._high: int | None = None
        self._glitches = 0
        self._dropped = 0

    @property
    def _tick(self) -> Fraction:
        return self._header.tick or Fraction(1, 10**9)

    def _name_channels(self) -> list[tuple[str, int]]:
        """Each channel's name and signal; a vector's first name is its most significant bit."""
        channels: list[tuple[str, int]] = []
        for variable in self._header.variables:
            top = self._codes.declared[variable.code][0] + len(variable.bits) - 1
            channels += [(name, top - i) for i, name in enumerate(variable.bits)]
        return channels

    def blocks(self) -> Iterator[Capture]:
        """Yield the blocks of the window."""
        text = self._text
        while not self._past_window():
            space = text.last_space()
            end = space if text.ended else text.last_time(space) or space
            if self._read(end):
                yield from self._block()
                self._change_lanes()
            if text.ended:
                yield from self._last_block()
                return
            if not self._past_window() and self._complete_at(end):
                yield from self._block()
                self._lane.begin(self._lane.position, self._lane.current, now=self._lane.now)
            text.position = self._lane.position
            text.refill()
            self._lane.position = 0

    def _read(self, end: int) -> bool:
        """Read up to ``end``; True when the spare lane has read the second half of it."""
        lane, spare, text = self._lane, self._spare, self._text
        half = (end - lane.position) // 2
        cut = text.time_after(lane.position + half, end) if half > _WORTH_HALVING else None
        if cut is None:
            lane.run(text, end)
            return False
        spare.begin(cut, None, now=-1)
        second = self._pool.submit(_run_apart, spare, text, end)
        lane.run(text, cut)
        problem = second.result()
        if not self._complete_at(cut):
            lane.run(text, end)
            return False
        if problem is not None:
            raise problem
        return True

    def _complete_at(self, cut: int) -> bool:
        """Whether the lane has arrived at ``cut``, and a later time begins there."""
        lane = self._lane
        if lane.position != cut or lane.in_comment or lane.now < 0:
            return False
        time = _NUMBER.match(self._text.data, cut)
        return time is not None and int(time.group(1)) > lane.now

    def _change_lanes(self) -> None:
        self._spare.follow(self._lane)
        self._lane, self._spare = self._spare, self._lane

    def _past_window(self) -> bool:
        return self._high is not None and self._handed_out >= self._high

    def _begin_recording(self) -> None:
        """Take the first time as the start, and place the window on it."""
        self._start = self._handed_out = max(int(self._lane.state[k.FIRST]), 0)
        self._low, self._high = self._window.in_ticks(self._start, self._tick)

    def _block(self, truncated: str = "", notes: tuple[str, ...] = ()) -> Iterator[Capture]:
        """Hand out what the lane holds, if any of it is in the window."""
        lane = self._lane
        first = self._start < 0
        if first:
            self._begin_recording()
        begin, end = max(self._handed_out, self._low), max(lane.now, self._start)
        cut_front = first or self._handed_out < self._low
        self._handed_out = end
        self._glitches += int(lane.state[k.GLITCHES])
        self._dropped += int(lane.state[k.DROPPED])
        if end < self._low:
            return
        high = self._high if self._high is not None and self._high < end else None
        yield Capture(
            label=self._text.source.label,
            tick=self._tick,
            start=begin,
            end=end if high is None else high,
            channels=lane_channels(lane, self._channels, low=begin if cut_front else None, high=high),
            ignored=self._ignored,
            truncated=truncated,
            notes=notes,
        )

    def _last_block(self) -> Iterator[Capture]:
        if self._past_window():
            return
        truncated, note = self._tail()
        lane = self._lane
        notes = [*self._header.notes, *self._text.source.notes, *note]
        if lane.now < 0:
            if (lane.current == UNKNOWN).all():
                cut = f" ({self._text.source.cut})" if self._text.source.cut else ""
                raise Problem(
                    f"the file ends before its first time{cut}",
                    self._text.filled,
                    "nothing was recorded, or the export was cut short: export again",
                )
            notes.append("the file holds levels but no time")
        glitches = self._glitches + int(lane.state[k.GLITCHES])
        dropped = self._dropped + int(lane.state[k.DROPPED])
        if glitches:
            notes.append(
                f"{glitches} changes were undone or replaced at the same time; the last level was kept"
            )
        if dropped:
            notes.append(f"time went back {dropped} times; what came before it caught up was left out")
        yield from self._block(truncated, tuple(notes))
        if self._handed_out < self._low:
            raise UsageError(
                f"the part to read begins at {self._window.start_s} s, after the end of the recording",
                hint=f"the recording is {float((self._handed_out - self._start) * self._tick):g} s long",
            )

    def _tail(self) -> tuple[str, tuple[str, ...]]:
        """Take the last token if it is whole; how the file is cut short, and a note."""
        text, lane = self._text, self._lane
        rest = bytes(text.data[lane.position : text.filled]).rstrip(WHITE_SPACE)
        if not rest and not lane.in_comment:
            return self._cut_short(text.source.cut), ()
        note = ""
        whole = not lane.in_comment and text.data[text.filled - 1] not in WHITE_SPACE
        if whole:
            whole, note = self._whole_token(rest)
        if whole:
            text.data[text.filled] = ord("\n")
            text.filled += 1
            lane.run(text, text.filled)
            return self._cut_short(text.source.cut), (note,) if note else ()
        inside = "$comment" if lane.in_comment else repr(rest[:40].decode("ascii", "backslashreplace"))
        return self._cut_short(text.source.cut or f"the file ends inside {inside}"), ()

    def _cut_short(self, how: str) -> str:
        return f"{how}, after byte {self._text.base + self._text.filled} of the text" if how else ""

    def _whole_token(self, rest: bytes) -> tuple[bool, str]:
        """Judge whether a last token that no white space follows can be all of what was meant.

        A time is taken unless it goes back: what is cut off a number only makes it smaller, so that the
        recording can end early by it but never late.
        """
        if rest.startswith(b"#"):
            digits = rest[1:]
            whole = digits.isdigit() and self._lane.now <= int(digits) <= LATEST
            return whole, "no line end after the last time: it may be cut" if whole else ""
        found = _SCALAR.fullmatch(rest) or _VECTOR.fullmatch(rest)
        if found is None:
            return rest in _WHOLE_KEYWORDS, ""
        code = next(group for group in found.groups() if group is not None)
        return code in self._codes.declared and not self._codes.begins_another(code), ""


def _run_apart(lane: Lane, text: Text, end: int) -> Problem | None:
    """Read in another thread; what is wrong is only wrong if the place it began at was right."""
    try:
        lane.run(text, end)
    except Problem as problem:
        return problem
    return None


def lane_channels(
    lane: Lane, channels: list[tuple[str, int]], *, low: int | None, high: int | None
) -> tuple[Channel, ...]:
    """Give a lane's lists as channels, views into its pools.

    Parameters
    ----------
    channels : list of (str, int)
        Name and signal of each.
    low, high : int or None
        Changes up to ``low`` are taken into the initial level, those after ``high`` left out.
    """
    starts, frees, levels = lane.start.tolist(), lane.free.tolist(), lane.initial().tolist()
    whole = (
        Channel(name, levels[at], lane.ticks[starts[at] : frees[at]], lane.levels[starts[at] : frees[at]])
        for name, at in channels
    )
    if low is None and high is None:
        return tuple(whole)
    return tuple(channel.between(low, high) for channel in whole)
