"""Faults of the pixel clock."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from rastertap.bench.faults.base import NOTHING, ClockDraft, ClockFault, SeenBy
from rastertap.bench.wave import FS_PER_NS, FS_PER_S

if TYPE_CHECKING:
    from numpy.typing import NDArray


def struck(count: int, every: int, one_in: int, rng: np.random.Generator) -> NDArray[np.int64]:
    """Give the indices below ``count`` at which a fault strikes: each ``every``-th, or one in ``one_in``."""
    if every:
        return np.arange(every - 1, count, every)
    return np.flatnonzero(rng.random(count) < 1 / one_in)


@dataclass(frozen=True)
class WrongFrequency(ClockFault):
    """The clock is ``ppm`` parts per million fast (slow when negative)."""

    name = "clock-frequency"
    ppm: float

    def edit(self, clock: ClockDraft) -> NDArray[np.int64]:
        """Squeeze all times."""
        self.require(self.ppm * 1e-6 > -1, "a clock 1000000 ppm slow stands still")
        relative = self.ppm * 1e-6
        clock.rise -= np.rint(clock.rise * (relative / (1 + relative))).astype(np.int64)
        return NOTHING


@dataclass(frozen=True)
class Jitter(ClockFault):
    """Each period varies by ``rms_ns`` (gaussian).

    ``edge``: edges scatter round their place, so the clock keeps time (an edge's own rms is rms_ns / sqrt 2);
    ``walk``: each period is independent of the others, so the error adds up.
    """

    name = "clock-jitter"
    rms_ns: float
    kind: Literal["edge", "walk"] = "edge"

    def edit(self, clock: ClockDraft) -> NDArray[np.int64]:
        """Displace the edges, keeping them in order (a tenth of a period apart at least)."""
        self.require(self.rms_ns >= 0, "rms_ns must not be negative")
        scatter = clock.rng.standard_normal(clock.rise.size) * (self.rms_ns * FS_PER_NS)
        shift = np.cumsum(scatter) if self.kind == "walk" else scatter / np.sqrt(2)
        least = int(FS_PER_S / clock.frequency_hz / 10)
        ramp = least * np.arange(clock.rise.size)
        clock.rise[:] = np.maximum.accumulate(clock.rise + np.rint(shift).astype(np.int64) - ramp) + ramp
        return NOTHING


@dataclass(frozen=True)
class Modulation(ClockFault):
    """Edges swing by ``peak_ns`` at ``hz`` (the line rate for a disturbance that goes with the lines)."""

    name = "clock-modulation"
    peak_ns: float
    hz: float

    def edit(self, clock: ClockDraft) -> NDArray[np.int64]:
        """Displace the edges by a sine."""
        self.require(
            2 * np.pi * self.hz * abs(self.peak_ns) * 1e-9 < 1,
            "the swing is so fast that time would run back",
        )
        angle = clock.rise * (2 * np.pi * self.hz / FS_PER_S)
        clock.rise += np.rint(np.sin(angle) * self.peak_ns * FS_PER_NS).astype(np.int64)
        return NOTHING


@dataclass(frozen=True)
class Drift(ClockFault):
    """The frequency rises by ``ppm_per_s`` each second from the first clock (falls when negative)."""

    name = "clock-drift"
    ppm_per_s: float

    def edit(self, clock: ClockDraft) -> NDArray[np.int64]:
        """Displace the edges by a parabola."""
        seconds = clock.rise / FS_PER_S
        self.require(abs(self.ppm_per_s) * 2e-6 * seconds[-1] < 1, "the clock would drift by more than half")
        clock.rise -= np.rint(0.5e-6 * self.ppm_per_s * seconds**2 * FS_PER_S).astype(np.int64)
        return NOTHING


@dataclass(frozen=True)
class WrongDuty(ClockFault):
    """The clock is high for ``duty`` (0..1) of its period."""

    name = "clock-duty"
    duty: float

    def edit(self, clock: ClockDraft) -> NDArray[np.int64]:
        """Set the duty."""
        self.require(0 < self.duty < 1, "duty lies between 0 and 1")
        clock.duty = self.duty
        return NOTHING


@dataclass(frozen=True)
class MissingCycles(ClockFault):
    """Cycles are missing: each ``every``-th, or one in ``one_in`` at random; ``burst`` in a row each time.

    ``seen_by=generator``: the generator drops them, the chip waits, and all that follows slips;
    ``seen_by=tap``: only the analyser's lead misses them.
    """

    name = "clock-missing"
    strikes = True
    stage = 1
    every: int = 0
    one_in: int = 0
    burst: int = 1
    seen_by: SeenBy = "generator"

    def edit(self, clock: ClockDraft) -> NDArray[np.int64]:
        """Drop pulses."""
        self.require((self.every > 1) != (self.one_in > 1), "give every=N or one_in=N, N above 1")
        self.require(self.burst >= 1, "a burst has at least one cycle")
        first = struck(clock.rise.size, self.every, self.one_in, clock.rng)
        cycles = np.unique(first[:, np.newaxis] + np.arange(self.burst))
        return clock.drop(cycles[cycles < clock.rise.size], self.seen_by)


@dataclass(frozen=True)
class ExtraEdges(ClockFault):
    """A runt pulse of ``width_ns`` in the low part of each ``every``-th cycle, or of one in ``one_in``."""

    name = "clock-extra"
    strikes = True
    stage = 2
    every: int = 0
    one_in: int = 0
    width_ns: float = 15.0
    seen_by: SeenBy = "tap"

    def edit(self, clock: ClockDraft) -> NDArray[np.int64]:
        """Add pulses."""
        self.require((self.every > 0) != (self.one_in > 1), "give every=N or one_in=N")
        cycles = struck(clock.rise.size - 1, self.every, self.one_in, clock.rng)
        fall, width = clock.fall()[cycles], round(self.width_ns * FS_PER_NS)
        room = clock.rise[cycles + 1] - fall
        fits = room > width
        self.require(
            width > 0 and bool(fits.any()),
            f"a pulse of {self.width_ns} ns does not fit in the clock's low part",
        )
        starts = (fall + (room - width) // 2)[fits]
        clock.extra.append((starts, starts + width, self.seen_by))
        return starts


@dataclass(frozen=True)
class StretchedCycles(ClockFault):
    """Each ``every``-th cycle lasts ``factor`` times as long; all that follows is later."""

    name = "clock-stretch"
    strikes = True
    every: int
    factor: float = 1.5

    def edit(self, clock: ClockDraft) -> NDArray[np.int64]:
        """Delay what follows."""
        self.require(self.every > 0 and self.factor > 0.1, "every is 1 or more, factor above 0.1")  # noqa: PLR2004 - as in the message
        late = np.zeros(clock.rise.size, np.int64)
        cycles = np.arange(self.every - 1, clock.rise.size - 1, self.every)
        late[cycles + 1] = np.rint((clock.rise[cycles + 1] - clock.rise[cycles]) * (self.factor - 1)).astype(
            np.int64
        )
        clock.rise += np.cumsum(late)
        return clock.rise[cycles]


@dataclass(frozen=True)
class Stopped(ClockFault):
    """The clock stops ``at_ms`` after the source's first clock, for ``for_ms`` (0: for good)."""

    name = "clock-stopped"
    strikes = True
    stage = 1
    at_ms: float = 0.0
    for_ms: float = 0.0
    seen_by: SeenBy = "generator"

    def edit(self, clock: ClockDraft) -> NDArray[np.int64]:
        """Drop every pulse of the stop."""
        self.require(self.at_ms >= 0 and self.for_ms >= 0, "times must not be negative")
        begin = round(self.at_ms * 1e6 * FS_PER_NS)
        end = begin + round(self.for_ms * 1e6 * FS_PER_NS) if self.for_ms else int(clock.rise[-1]) + 1
        cycles = np.flatnonzero((clock.rise >= begin) & (clock.rise < end))
        return clock.drop(cycles, self.seen_by)[:1]
