"""The clock generator: when the chip is clocked, and what the clock's tap shows."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.bench.faults.base import ClockDraft
from rastertap.bench.wave import FS_PER_S, Wave, from_pulses
from rastertap.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from fractions import Fraction

    from numpy.typing import NDArray

    from rastertap.bench.faults import ClockFault
    from rastertap.bench.source import VideoSource

ATTEMPTS = 4


@dataclass(frozen=True, eq=False)
class ClockRun:
    """What the generator gave.

    Parameters
    ----------
    chip_edges : ndarray of int64, shape (n,)
        Femtoseconds at which the chip moves on.
    tap : Wave
        The clock as the analyser's lead has it.
    struck : tuple of ndarray of int64
        For each fault, the times (femtoseconds) at which it struck.
    """

    chip_edges: NDArray[np.int64]
    tap: Wave
    struck: tuple[NDArray[np.int64], ...]


def exact_multiples(count: int, step: Fraction) -> NDArray[np.int64]:
    """Give ``floor(k * step)`` for k = 0 .. count - 1, exact (no float, no overflow below 2.5 hours)."""
    whole, part = divmod(step.numerator, step.denominator)
    k = np.arange(count, dtype=np.int64)
    if count * part >= 2**63:
        return np.array([i * step.numerator // step.denominator for i in range(count)], np.int64)
    return k * whole + k * part // step.denominator


def _draft(source: VideoSource, cycles: int) -> ClockDraft:
    rise = exact_multiples(cycles, FS_PER_S / source.pixel_clock_hz)
    has = np.ones(cycles, np.bool_)
    return ClockDraft(
        source.pixel_clock_hz, source.clock_duty, rise, has, has.copy(), [], np.random.default_rng(0)
    )


def _pulses(clock: ClockDraft, has: NDArray[np.bool_], *, tap: bool) -> Wave:
    added = [(starts, ends) for starts, ends, seen_by in clock.extra if tap or seen_by == "generator"]
    rise, fall = clock.rise[has], clock.fall()[has]
    return from_pulses(
        np.concatenate([rise, *(starts for starts, _ in added)]),
        np.concatenate([fall, *(ends for _, ends in added)]),
    )


def run_clock(
    source: VideoSource, span_fs: int, faults: Sequence[ClockFault], seeds: Sequence[Sequence[int]]
) -> ClockRun:
    """Run the generator from 0 to at least ``span_fs``.

    Parameters
    ----------
    source : VideoSource
    span_fs : int
    faults : sequence of ClockFault
        Applied by their ``stage``, then in order.
    seeds : sequence of sequence of int
        One random seed for each fault.

    Raises
    ------
    UsageError
        When a fault makes the clock so fast that the span is not reached.
    """
    cycles = math.ceil(span_fs * source.pixel_clock_hz / FS_PER_S * 101 / 100) + 64
    for _ in range(ATTEMPTS):
        clock = _draft(source, cycles)
        struck = [np.empty(0, np.int64)] * len(faults)
        for index in sorted(range(len(faults)), key=lambda i: faults[i].stage):
            clock.rng = np.random.default_rng(list(seeds[index]))
            struck[index] = faults[index].edit(clock)
        if clock.rise[-1] >= span_fs:
            break
        cycles = math.ceil(cycles * 1.2 * span_fs / max(int(clock.rise[-1]), 1))
    else:
        raise UsageError(
            "the clock faults make the clock too fast to simulate", hint="use a smaller ppm or drift"
        )
    chip = _pulses(clock, clock.chip_has, tap=False)
    tap = _pulses(clock, clock.tap_has, tap=True)
    edges = chip.rising() if source.clock_edge == "rising" else chip.falling()
    delay = round(source.delay_ns("pixel_clock") * 1_000_000)
    return ClockRun(edges, tap.delayed(delay), tuple(struck))
