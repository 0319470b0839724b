"""The recording as every other part sees it: channels, each with the times at which its level changed."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

LOW, HIGH, UNKNOWN, FLOATING = 0, 1, 2, 3
"""Level codes: 0, 1, x and z."""


@dataclass(frozen=True, eq=False)
class Channel:
    """One analyser input.

    Parameters
    ----------
    name : str
        As in the file; scopes joined by dots (``tb.dut.hsync``), a vector's bits with their index (``tb.rgb[2]``).
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

    def edges_to(self, level: int) -> NDArray[np.int64]:
        """Times at which the channel changes to ``level``, ticks, int64, shape (m,)."""
        return self.ticks[self.levels == level]


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


def join(blocks: Iterable[Capture]) -> Capture:
    """Join consecutive blocks of one recording into one Capture, copying their arrays.

    Raises
    ------
    ValueError
        When there is no block, or the blocks' channels differ.
    """
    kept = [
        replace(
            block,
            channels=tuple(
                Channel(c.name, c.initial, c.ticks.copy(), c.levels.copy()) for c in block.channels
            ),
        )
        for block in blocks
    ]
    if not kept:
        raise ValueError("no block to join")
    first, last = kept[0], kept[-1]
    names = [c.name for c in first.channels]
    if any([c.name for c in block.channels] != names for block in kept):
        raise ValueError("the blocks are not of one recording: their channels differ")
    if len(kept) == 1:
        return first
    channels = tuple(
        Channel(
            name,
            first.channels[i].initial,
            np.concatenate([block.channels[i].ticks for block in kept]),
            np.concatenate([block.channels[i].levels for block in kept]),
        )
        for i, name in enumerate(names)
    )
    return replace(last, start=first.start, channels=channels)
