"""A window that slides over the text of a VCD file, in one buffer that is used again and again."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from rastertap.errors import CaptureError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.capture.source import Source

WHITE_SPACE = b" \t\n\r\f\v"
PADDING = 16
"""Bytes after the text that the kernel may look at."""

_TOKEN = re.compile(rb"[^ \t\n\r\f\v]+")
_TIME = re.compile(rb"[ \t\n\r\f\v]#[0-9]")
_LOOK_BACK = (1 << 12, 1 << 16, 1 << 20)


class Problem(Exception):  # noqa: N818 - not an error yet: the part it is in may turn out not to be read
    """Something wrong at a place in the buffer; becomes a `CaptureError` through `Text.error`."""

    def __init__(self, message: str, at: int, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.at = at
        self.hint = hint


class Text:
    """The buffer.

    Parameters
    ----------
    source : Source
        Where the text comes from.
    capacity : int
        Bytes in the buffer, which bounds the longest token.

    Attributes
    ----------
    data : bytearray
        The buffer; ``data[:filled]`` is text, ``data[position:filled]`` is not read yet.
    array : ndarray of uint8, read-only
        The same bytes.
    base : int
        Byte of the text at which the buffer begins.
    ended : bool
        No text comes after ``filled``.
    """

    def __init__(self, source: Source, capacity: int) -> None:
        self.source = source
        self.data = bytearray(capacity + PADDING)
        self.array: NDArray[np.uint8] = np.frombuffer(self.data, np.uint8)
        self.array.flags.writeable = False
        self.capacity = capacity
        self.base = 0
        self.filled = 0
        self.position = 0
        self.ended = False
        self._lines_before = 0
        self._last_newline = -1

    def refill(self) -> None:
        """Drop what was read, move the rest to the front, and read more behind it.

        Raises
        ------
        Problem
            When there is nothing to drop and no room: a token as long as the buffer.
        """
        if self.position == 0 and self.filled == self.capacity:
            raise Problem(
                f"a token of more than {self.capacity} bytes", 0, "this is no VCD file, or it is damaged here"
            )
        if not self.source.rereadable:
            self._count_lines()
        rest = self.filled - self.position
        self.data[:rest] = self.data[self.position : self.filled]
        self.base += self.position
        self.position = 0
        got = self.source.readinto(memoryview(self.data)[rest : self.capacity])
        self.filled = rest + got
        self.ended = self.filled < self.capacity
        self.data[self.filled : self.filled + PADDING] = b"#" * PADDING

    def _count_lines(self) -> None:
        """Keep count of the lines dropped, for a source that cannot be read again."""
        dropped = self.array[: self.position]
        self._lines_before += int(np.count_nonzero(dropped == ord("\n")))
        newline = self.data.rfind(b"\n", 0, self.position)
        if newline >= 0:
            self._last_newline = self.base + newline

    def token(self) -> tuple[bytes, int] | None:
        """Take the next token and its place in the buffer; None at the end of the text."""
        while True:
            found = _TOKEN.search(self.data, self.position, self.filled)
            if found is not None and (self.ended or found.end() < self.filled):
                self.position = found.end()
                return found.group(), found.start()
            if self.ended:
                self.position = self.filled
                return None
            self.position = found.start() if found is not None else self.filled
            self.refill()

    def word_at(self, at: int, *, most: int = 40) -> bytes:
        """Return the token at a place, shortened, for a message."""
        found = _TOKEN.match(self.data, at, min(self.filled, at + most))
        return found.group() if found is not None else b""

    def last_space(self) -> int:
        """Place after the last white space of the text that is not read; ``position`` when there is none."""
        at = self.filled
        while at > self.position and self.data[at - 1] not in WHITE_SPACE:
            at -= 1
        return at

    def time_after(self, at: int, end: int) -> int | None:
        """First ``#`` in ``[at, end)`` that looks like a time; only reading up to it tells whether it is."""
        found = _TIME.search(self.data, max(at - 1, self.position), end)
        return found.start() + 1 if found is not None else None

    def last_time(self, end: int) -> int | None:
        """Last ``#`` in ``[position + 1, end)`` that looks like a time."""
        for reach in (*_LOOK_BACK, self.capacity):
            begin = max(self.position, end - reach)
            last = None
            for found in _TIME.finditer(self.data, begin, end):
                last = found.start() + 1
            if last is not None or begin == self.position:
                return last
        return None

    def place(self, at: int) -> tuple[int, int]:
        """Line and column, from 1, of a place in the buffer."""
        if self.source.rereadable:
            return self.source.place(self.base + at)
        line = 1 + self._lines_before + self.data.count(b"\n", 0, at)
        newline = self.data.rfind(b"\n", 0, at)
        last = self.base + newline if newline >= 0 else self._last_newline
        return line, self.base + at - last

    def error(self, problem: Problem) -> CaptureError:
        """Make the error that a user sees."""
        line, column = self.place(problem.at)
        return CaptureError(
            problem.message,
            path=self.source.label,
            line=line,
            column=column,
            byte=self.base + problem.at,
            hint=problem.hint,
        )
