"""One run of the kernel over a stretch of text, and the change lists it fills."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np

from rastertap.capture import kernels as k
from rastertap.capture.model import UNKNOWN
from rastertap.capture.vcd_text import Problem, Text

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.capture.vcd_codes import Codes

NOT_SEEN = 255
"""Level of a signal in a lane that began in the middle and has not met it yet."""

LATEST = np.iinfo(np.int64).max
_FIRST_ROOM = 4096
_POOL = 1 << 20
_END = re.compile(rb"(?<=[ \t\n\r\f\v])\$end(?=[ \t\n\r\f\v])")
_PLAIN_KEYWORDS = frozenset((b"$end", b"$dumpvars", b"$dumpall", b"$dumpon", b"$dumpoff", b"$enddefinitions"))
_TEXT_KEYWORDS = frozenset((b"$comment", b"$date", b"$version"))
_PORTS = "port changes of extended VCD are not supported"
_PORTS_HINT = "dump the capture again as plain VCD ($dumpvars, not $dumpports)"
_DAMAGED = "the file is damaged here: export the capture again"


class Lane:
    """Change lists of every signal, filled by reading text from some place on.

    Parameters
    ----------
    codes : Codes
        The declarations.
    drop_back : bool
        Leave out what follows a time that goes back, instead of raising.

    Attributes
    ----------
    start, free : ndarray of int64, shape (signals,)
        A signal's changes are ``ticks[start:free]`` and ``levels[start:free]``.
    current : ndarray of uint8, shape (signals,)
        Level after what was read.
    in_comment : bool
        The text read so far ends inside a ``$comment``.
    """

    def __init__(self, codes: Codes, *, drop_back: bool) -> None:
        self.codes = codes
        self.drop_back = drop_back
        count = codes.signals
        room = max(16, min(_FIRST_ROOM, _POOL // max(count, 1)))
        self._origin = np.arange(count, dtype=np.int64) * (room + 1) + 1
        self._limit = self._origin + room
        self._top = count * (room + 1)
        self.ticks: NDArray[np.int64] = np.empty(max(self._top, 1), np.int64)
        self.levels: NDArray[np.uint8] = np.empty(max(self._top, 1), np.uint8)
        self.current: NDArray[np.uint8] = np.full(count, UNKNOWN, np.uint8)
        self.state: NDArray[np.int64] = np.zeros(k.STATE_SIZE, np.int64)
        self.in_comment = False
        self.begin(0, self.current, now=-1)

    def begin(self, position: int, current: NDArray[np.uint8] | None, *, now: int) -> None:
        """Start empty lists at a place in the buffer; ``current`` None: the levels there are not known."""
        self.start = self._origin.copy()
        self.free = self.start.copy()
        self.current = np.full(len(self.start), NOT_SEEN, np.uint8) if current is None else current.copy()
        self.in_comment = False
        self.state[:] = 0
        self.state[k.POSITION] = position
        self.state[k.NOW] = now
        self.state[k.FIRST] = -1
        self._set_guards(self.current)

    def _set_guards(self, levels: NDArray[np.uint8]) -> None:
        self.ticks[self.start - 1] = k.BEFORE_TIME
        self.levels[self.start - 1] = levels

    def initial(self) -> NDArray[np.uint8]:
        """Levels at the start of the lists."""
        return self.levels[self.start - 1]

    def follow(self, before: Lane) -> None:
        """Learn the levels at the start from the lane that read up to there."""
        known = before.current
        redundant = (self.free > self.start) & (
            self.levels[np.minimum(self.start, len(self.levels) - 1)] == known
        )
        self.start = self.start + redundant
        self._set_guards(known)
        self.current = np.where(self.current == NOT_SEEN, known, self.current)

    @property
    def position(self) -> int:
        """Place in the buffer up to which text was taken."""
        return int(self.state[k.POSITION])

    @position.setter
    def position(self, at: int) -> None:
        self.state[k.POSITION] = at

    @property
    def now(self) -> int:
        """Last time read; -1 before the first."""
        return int(self.state[k.NOW])

    def run(self, text: Text, end: int) -> None:
        """Read on to ``end``.

        ``position`` stays short of ``end`` only where a vector's value ends the text without its code.

        Raises
        ------
        Problem
            When the text is wrong.
        """
        while True:
            if self.in_comment:
                self._skip_comment(text, end)
            c = self.codes
            status = k.parse(
                text.array,
                end,
                self.drop_back,
                self.state,
                c.classes,
                c.short_codes,
                c.slots,
                c.code_at,
                c.code_text,
                c.code_value,
                c.vector_first,
                c.vector_width,
                self.free,
                self._limit,
                self.current,
                self.ticks,
                self.levels,
            )
            if status in (k.DONE, k.MORE):
                return
            self._mend(status, text)

    def _mend(self, status: int, text: Text) -> None:
        """Do what the kernel stopped for, or raise."""
        if status == k.FULL:
            self._grow(int(self.state[k.DETAIL]))
        elif status == k.AT_KEYWORD:
            self._keyword(text)
        elif status == k.ODD_TIME:
            self._odd_time(text)
        else:
            raise self._problem(status, text)

    def _grow(self, signal: int) -> None:
        """Give a signal four times the room, at the end of the pools; its old room is given up."""
        start, free = int(self.start[signal]), int(self.free[signal])
        room = 4 * int(self._limit[signal] - self._origin[signal])
        needed = self._top + room + 1
        if needed > len(self.ticks):
            size = max(needed, len(self.ticks) * 2)
            self.ticks = _enlarged(self.ticks, size, self._top)
            self.levels = _enlarged(self.levels, size, self._top)
        to = self._top + 1
        self.ticks[to - 1 : to + free - start] = self.ticks[start - 1 : free]
        self.levels[to - 1 : to + free - start] = self.levels[start - 1 : free]
        self._origin[signal] = self.start[signal] = to
        self.free[signal] = to + free - start
        self._limit[signal] = to + room
        self._top = needed

    def _skip_comment(self, text: Text, end: int) -> None:
        found = _END.search(text.data, self.position, end)
        self.in_comment = found is None
        self.position = found.end() if found is not None else end

    def _keyword(self, text: Text) -> None:
        word = text.word_at(self.position)
        if word in _TEXT_KEYWORDS:
            self.in_comment = True
        elif word.startswith((b"$dumpports", b"$vcdclose")):
            raise Problem(_PORTS, self.position, _PORTS_HINT)
        elif word not in _PLAIN_KEYWORDS:
            hint = (
                "declarations must come before the first time" if word in (b"$var", b"$scope") else _DAMAGED
            )
            raise Problem(f"{_shown(word)} among the changes", self.position, hint)
        self.position += len(word)

    def _odd_time(self, text: Text) -> None:
        """Take a time that the kernel did not: many leading zeros, or wrong."""
        word = text.word_at(self.position, most=400)
        digits = word[1:]
        if not digits.isdigit():
            raise Problem(*_wrong_time(digits, self.position))
        time = int(digits)
        if time > LATEST:
            raise Problem(
                f"time {_shown(word)} does not fit in 64 bits",
                self.position,
                "the file is damaged here, or its time unit is too small",
            )
        if time < self.now and not self.drop_back:
            raise self._problem(k.TIME_BACK, text)
        back = time < self.now
        self.state[k.MUTED] = int(back)
        self.state[k.DROPPED] += int(back)
        if not back:
            if self.now < 0:
                self.state[k.FIRST] = time
            self.state[k.NOW] = time
        self.position += len(word)

    def _problem(self, status: int, text: Text) -> Problem:
        at, detail = self.position, int(self.state[k.DETAIL])
        word, code = _shown(text.word_at(at)), _shown(text.word_at(detail))
        if status == k.TIME_BACK:
            hint = (
                "two recordings in one file, or a damaged one; --reader vcd:time_back=drop leaves out "
                "what goes back"
            )
            return Problem(f"time goes back from {self.now} to {text.word_at(at)[1:].decode()}", at, hint)
        if status == k.UNDECLARED:
            return Problem(f"identifier code {code} is not declared", detail, _DAMAGED)
        if status == k.BAD_VALUE:
            return Problem(f"{word} is not a vector value", detail, "its digits must be 0, 1, x or z")
        if status == k.NOT_REAL:
            return Problem(f"a real value for the digital signal {code}", detail, _DAMAGED)
        if status == k.AT_PORT:
            return Problem(_PORTS, at, _PORTS_HINT)
        return Problem(f"{word} is neither a time nor a change", at, _DAMAGED)


def _enlarged(pool: NDArray[Any], size: int, used: int) -> NDArray[Any]:
    larger = np.empty(size, pool.dtype)
    larger[:used] = pool[:used]
    return larger


def _wrong_time(digits: bytes, at: int) -> tuple[str, int, str]:
    shown = _shown(b"#" + digits)
    if digits.startswith(b"-"):
        return (
            f"time {shown} is negative",
            at,
            "times count up from 0: export the capture with its start at 0",
        )
    if re.fullmatch(rb"[0-9]+[.eE][0-9.eE+-]*", digits):
        return (
            f"time {shown} is not a whole number",
            at,
            "times are whole numbers of the $timescale: export with a finer one",
        )
    return f"{shown} is not a time", at, _DAMAGED


def _shown(word: bytes) -> str:
    return repr(word.decode("ascii", "backslashreplace"))
