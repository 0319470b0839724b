"""The recording as every other part sees it: channels, each with the times at which its level changed."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable
    from fractions import Fraction

    from numpy.typing import NDArray

LOW, HIGH, UNKNOWN, FLOATING = 0, 1, 2, 3
"""Level codes: 0, 1, x and z."""


@dataclass(frozen=True, eq=False)
class Channel:
    """One analyser input.

    Parameters
    ----------
    name : str
        As in the file; scopes joined by dots (``tb.dut.hsync``), a vector's bits with index (``tb.rgb[2]``).
    initial : int
        Level code (`LOW`, `HIGH`, `UNKNOWN`, `FLOATING`) at the capture's ``start``.
    ticks : ndarray of int64, shape (n,)
        Times of the changes, strictly increasing, all ``> start`` and ``<= end``.
    levels : ndarray of uint8, shape (n,)
        Level code after each change; each differs from the one before.
    """

    name: str
    initial: int
    ticks: NDArray[np.int64]
    levels: NDArray[np.uint8]

    def binary(self) -> Channel:
        """Give the channel with x and z read as "no change" (low until the first known level)."""
        if self.initial <= HIGH and (self.levels <= HIGH).all():
            return self
        known = self.levels <= HIGH
        ticks, levels = self.ticks[known], self.levels[known]
        initial = self.initial if self.initial <= HIGH else LOW
        before = np.concatenate((np.array([initial], np.uint8), levels[:-1]))
        changed = levels != before
        return Channel(self.name, initial, ticks[changed], levels[changed])

    def between(self, low: int | None, high: int | None) -> Channel:
        """Give the changes after ``low`` up to ``high`` (None: no limit); earlier ones give ``initial``."""
        begin = 0 if low is None else int(np.searchsorted(self.ticks, low, "right"))
        end = len(self.ticks) if high is None else int(np.searchsorted(self.ticks, high, "right"))
        initial = int(self.levels[begin - 1]) if begin else self.initial
        return Channel(self.name, initial, self.ticks[begin:end], self.levels[begin:end])

    def edges_to(self, level: int) -> NDArray[np.int64]:
        """Give the times at which the channel changes to ``level``, ticks, int64, shape (m,)."""
        times: NDArray[np.int64] = self.ticks[self.levels == level]
        return times


@dataclass(frozen=True)
class SamplePeriod:
    """The analyser's own step, in ticks, with its standard uncertainty.

    ``known`` is False where the times show no grid of the analyser's (a simulator's output, or nothing
    changes): one tick then stands for the step.
    """

    ticks: float
    uncertainty_ticks: float
    known: bool


@dataclass(frozen=True, eq=False)
class Capture:
    """One recording, or one block of it.

    Parameters
    ----------
    label : str
        Path as given, or ``-``.
    tick : Fraction
        Seconds in one tick, exact.
    start, end : int
        First and last time in the recording, ticks.
    channels : tuple of Channel
        In the file's order.
    ignored : tuple of str
        Signals listed but not decoded, each with its kind, e.g. ``"tb.temp (real)"``.
    truncated : str
        Empty, or how the file was seen to be cut short; all that came before the cut is here.
    sha256 : str
        Of the file's bytes as stored (before decompression); hexadecimal.
    sample_period : SamplePeriod or None
        None until inferred.
    notes : tuple of str
        Anything else the reader wants the user to know.
    """

    label: str
    tick: Fraction
    start: int
    end: int
    channels: tuple[Channel, ...]
    ignored: tuple[str, ...] = ()
    truncated: str = ""
    sha256: str = ""
    sample_period: SamplePeriod | None = None
    notes: tuple[str, ...] = field(default=())

    @property
    def step(self) -> float:
        """The analyser's own step in ticks; one tick when it is not known."""
        return self.sample_period.ticks if self.sample_period is not None else 1.0

    @property
    def span_s(self) -> float:
        """Length of the recording in seconds."""
        return float((self.end - self.start) * self.tick)

    def channel(self, name: str) -> Channel:
        """Return the channel called ``name``; KeyError when there is none."""
        for channel in self.channels:
            if channel.name == name:
                return channel
        raise KeyError(name)

    def seconds(self, tick: float) -> float:
        """Seconds from the start of the recording to a time in ticks."""
        return float(tick - self.start) * float(self.tick)


_SMALLEST_PIECE, _LARGEST_PIECE = 1 << 6, 1 << 22


class _Pieces:
    """Copies of arrays of one kind, kept in few large pieces: the system is slow to give many small ones."""

    def __init__(self, kind: np.dtype[np.int64] | np.dtype[np.uint8]) -> None:
        self._full: list[NDArray[Any]] = []
        self._piece: NDArray[Any] = np.empty(0, kind)
        self._used = 0

    def add(self, array: NDArray[Any]) -> None:
        """Copy an array to the end."""
        fits = min(len(array), len(self._piece) - self._used)
        self._piece[self._used : self._used + fits] = array[:fits]
        self._used += fits
        if fits < len(array):
            rest = array[fits:]
            size = min(max(2 * len(self._piece), _SMALLEST_PIECE), _LARGEST_PIECE)
            self._full.append(self._piece)
            self._piece = np.empty(max(size, len(rest)), self._piece.dtype)
            self._piece[: len(rest)] = rest
            self._used = len(rest)

    def joined(self) -> NDArray[Any]:
        """Give all of it in one array of its own, and forget it."""
        whole = np.concatenate([*self._full, self._piece[: self._used]])
        self._full, self._piece, self._used = [], self._piece[:0], 0
        return whole


class Gathered:
    """Consecutive blocks of one recording, copied as they come, to be joined into one Capture."""

    def __init__(self) -> None:
        self.first: Capture | None = None
        self.last: Capture | None = None
        self.edges = 0
        self._pieces: list[tuple[_Pieces, _Pieces]] = []

    @property
    def span_s(self) -> float:
        """Length of what is held, in seconds."""
        if self.first is None or self.last is None:
            return 0.0
        return float((self.last.end - self.first.start) * self.last.tick)

    def add(self, block: Capture) -> None:
        """Copy a block to the end; ValueError when its channels are others."""
        if self.first is None:
            self.first = block
            self._pieces = [
                (_Pieces(np.dtype(np.int64)), _Pieces(np.dtype(np.uint8))) for _ in block.channels
            ]
        if [c.name for c in block.channels] != [c.name for c in self.first.channels]:
            raise ValueError("the blocks are not of one recording: their channels differ")
        for channel, (ticks, levels) in zip(block.channels, self._pieces, strict=True):
            ticks.add(channel.ticks)
            levels.add(channel.levels)
            self.edges += len(channel.ticks)
        self.last = block

    def capture(self) -> Capture:
        """Give all of it in arrays of its own, and forget it; ValueError when there is no block."""
        if self.first is None or self.last is None:
            raise ValueError("no block to join")
        channels = tuple(
            Channel(c.name, c.initial, ticks.joined(), levels.joined())
            for c, (ticks, levels) in zip(self.first.channels, self._pieces, strict=True)
        )
        return replace(self.last, start=self.first.start, channels=channels)


def join(blocks: Iterable[Capture]) -> Capture:
    """Join consecutive blocks of one recording into one Capture, copying their arrays.

    Raises
    ------
    ValueError
        When there is no block, or the blocks' channels differ.
    """
    held = Gathered()
    for block in blocks:
        held.add(block)
    return held.capture()
