"""The seam for readers: how bytes become a Capture.

A reader is a class registered in the entry-point group ``rastertap.readers``. The host makes one with no
arguments, shows it the first bytes of the file, and asks the best match for the recording block by block. One
that has options is a frozen dataclass, every field with a default: the fields are its options, as in
``--reader vcd:time_back=drop``; a ValueError from ``__post_init__`` refuses a value.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, ClassVar, Protocol

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap.capture.model import Capture
    from rastertap.capture.source import Source
    from rastertap.match import Match
    from rastertap.progress import Progress

CONTRACT = 1
"""Version of this interface; a reader states the one it was written for."""


@dataclass(frozen=True)
class Window:
    """The part of a recording to read, in seconds from its first time; ``end_s`` None means to the end."""

    start_s: float = 0.0
    end_s: float | None = None

    def in_ticks(self, start: int, tick: Fraction) -> tuple[int, int | None]:
        """Place the window on a recording: first and last tick (None: to the end).

        Seconds are taken as the decimal they are written as, so that 0.02 s is 20 000 000 ns, not one more.
        """
        low = start + max(math.ceil(Fraction(str(self.start_s)) / tick), 0)
        high = None if self.end_s is None else start + math.floor(Fraction(str(self.end_s)) / tick)
        return low, high


class Reader(Protocol):
    """Reads one file format."""

    name: ClassVar[str]
    contract: ClassVar[int]
    describes: ClassVar[str]
    """One line for the plug-in list."""

    def match(self, head: bytes, label: str) -> Match:
        """Say how well the first bytes (up to 64 KiB, decompressed) look like this format."""

    def blocks(self, source: Source, *, window: Window, progress: Progress) -> Iterator[Capture]:
        """Yield consecutive blocks of the recording, at least one.

        A block's arrays may be reused for the next block: whoever keeps them copies them
        (`rastertap.capture.model.join` does). ``ignored``, ``truncated`` and ``notes`` of the last block
        hold for the whole recording. ``sample_period`` is left None unless the format states it.

        Raises
        ------
        CaptureError
            With line, column and byte where they exist.
        """
