"""The pixel clock from the channel that carries it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rastertap.errors import DecodeError
from rastertap.match import Match
from rastertap.streams.clock_cycles import count_cycles, slipping_step, typical
from rastertap.streams.clock_events import edges_of_the_chip
from rastertap.streams.clock_record import WILD, ClockRecord, record_clock
from rastertap.streams.interface import CONTRACT, Context
from rastertap.streams.model import PixelClock
from rastertap.streams.rhythm import concentration, phases

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Ints = NDArray[np.int64]

FEWEST_CYCLES = 100
FEWEST_SAMPLES_A_CYCLE = 2.2
"""Below this the analyser cannot follow both levels of a clock (two are the limit of sampling, and some
room)."""
SHORT_BY, SHORT_PART, SHORT_SHARE, FEWEST_SHORT = 1.1, 0.75, 0.005, 20
"""A bit that changes with the clock stays for a cycle, less a step (or jitter); how many may not."""
KEEPING, FEWEST_CHANGES, MOST_CHANGES = 0.75, 50, 20_000
"""Agreement from which changes keep to the clock: those seen up to half a cycle late, as an alias's are, come
to 0.64 (sinc 0.5); how many are needed; how many are looked at."""
WITHIN_A_STEP = 1.5
LOST_PULSES = 0.01
"""Part of the cycles missing from which, with pulses one step wide, the analyser is taken to overlook
pulses."""


@dataclass(frozen=True)
class TappedPixelClockOptions:
    """Options of the tapped pixel clock decoder: none."""


class TappedPixelClock:
    """Cycles, jitter, missing and extra edges of the clock that the colour bus keeps to."""

    name: ClassVar[str] = "pixel-clock-tapped"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = "pixel clock from the channel that carries it"
    needs: ClassVar[frozenset[str]] = frozenset()
    gives: ClassVar[str] = "pixel_clock"
    Options: ClassVar[type] = TappedPixelClockOptions

    def match(self, context: Context) -> Match:
        """Fit as well as the pixel clock's pin."""
        found = context.pins_with("pixel_clock")
        if not found:
            return Match(0.0, ("no channel behaves like a pixel clock",))
        return Match(found[0].score, (f"pixel clock on {found[0].channel}",))

    def decode(self, context: Context, options: TappedPixelClockOptions) -> PixelClock:  # noqa: ARG002 - none
        """Measure the cycles."""
        channel = context.channel_with("pixel_clock")
        if channel is None:
            raise DecodeError("no channel behaves like a pixel clock")
        rising, falling = channel.edges_to(1), channel.edges_to(0)
        if rising.size < FEWEST_CYCLES:
            raise DecodeError(f"only {rising.size} clock cycles in the capture")
        known = context.capture.sample_period is not None and context.capture.sample_period.known
        if known:
            _refuse_undersampled(np.diff(rising), context.step)
        step = context.step
        cycles = count_cycles(rising, step)
        if not known and (hidden := slipping_step(cycles)):
            step = hidden
            cycles = count_cycles(rising, step)
        record = record_clock(
            cycles,
            falling,
            _line_sync(context),
            context.counted,
            step=step,
            tick_s=float(context.capture.tick),
        )
        if known:
            _refuse_overlooked(record)
            _refuse_alias(context, channel.name, rising, record)
        return _clock(channel.name, edges_of_the_chip(cycles, record.events), record)

    def join(self, earlier: PixelClock, later: PixelClock, at: int) -> PixelClock:  # noqa: ARG002
        """Join the sums; the edges of long captures are not kept."""
        if earlier.record is None or later.record is None:
            return earlier
        return _clock(earlier.channel, np.empty(0, np.int64), earlier.record.joined(later.record))


def _clock(channel: str, edges: Ints, record: ClockRecord) -> PixelClock:
    jitter, events = record.jitter, record.events
    return PixelClock(
        source="tapped",
        channel=channel,
        edges=edges,
        period=record.period,
        period_jitter=jitter.period,
        cycle_jitter=jitter.cycle,
        duty=record.duty,
        missing=events.gaps.at,
        extra=events.extra.at,
        record=record,
    )


def _refuse_undersampled(intervals: Ints, step: float) -> None:
    """Raise when the clock is too fast for the analyser's rate."""
    middle = typical(intervals)
    usual = float(intervals[np.abs(intervals - middle) <= 0.6 * middle].mean())
    if usual < FEWEST_SAMPLES_A_CYCLE * step:
        rate = usual / step
        raise DecodeError(
            f"the analyser takes only {rate:.1f} samples a clock cycle: the clock is undersampled"
        )


def _refuse_overlooked(record: ClockRecord) -> None:
    """Raise when pulses are so short that samples fall beside them: the clock then seems to miss cycles."""
    count, total, _, longest = record.high
    number, off, squares = record.lagged[:, 0].sum(axis=0)
    variance = squares / number - (off / number) ** 2 if number else 0.0
    uneven = variance > record.step**2 / 4 + (WILD * record.period.value) ** 2
    if not count or (record.events.missing < LOST_PULSES * record.cycles and not uneven):
        return
    short = {
        "high": longest <= WITHIN_A_STEP * record.step,
        "low": record.period.value - total / count <= record.step,
    }
    if any(short.values()):
        level = "high" if short["high"] else "low"
        raise DecodeError(
            f"the clock's {level} time is shorter than the analyser's step, which overlooks some of its"
            " cycles: undersampled"
        )


def _refuse_alias(context: Context, name: str, rising: Ints, record: ClockRecord) -> None:
    """Raise when the bus changes faster than the clock: it may be the alias of one that is too fast.

    Pulses in the lesser part of the bits are crosstalk and no matter of the clock when the others keep to it:
    in the cycle of an alias changes come anywhere.
    """
    period = record.period.value
    shortest = min(period - SHORT_BY * record.step, SHORT_PART * period)
    bits = [context.capture.channel(p.channel).ticks for p in context.pins_with("colour")]
    moving = [ticks for ticks in bits if ticks.size > 1]
    short = [int(np.count_nonzero(np.diff(ticks) < shortest)) for ticks in moving]
    if sum(short) <= max(FEWEST_SHORT, SHORT_SHARE * sum(ticks.size for ticks in moving)):
        return
    slow = [t for t, count in zip(moving, short, strict=True) if count <= SHORT_SHARE * t.size]
    if 2 * len(slow) >= len(moving) and _keeping(np.concatenate(slow), rising) > KEEPING:
        return
    seen = period / 2 > FEWEST_SAMPLES_A_CYCLE * record.step
    if seen and _keeping(np.concatenate(moving), rising, 2) > KEEPING:
        return  # a pixel on each of the clock's edges
    cycle = f"a cycle ({period * record.tick_s * 1e9:.1f} ns) of the clock on {name}"
    raise DecodeError(
        f"{sum(short)} times a colour bit changes back sooner than {cycle}: undersampled, what is seen is the"
        " alias of a faster clock; or pixels come faster than it"
    )


def _keeping(changes: Ints, rising: Ints, rate: int = 1) -> float:
    """How well changes keep to one place in the cycle, or ``rate`` evenly apart, 0..1; 0 for too few."""
    places = phases(changes[:: 1 + changes.size // MOST_CHANGES], rising)
    return concentration(rate * places) if places.size >= FEWEST_CHANGES else 0.0


def _line_sync(context: Context) -> Ints:
    """Edges of a line sync, whatever kind; empty when there is none."""
    channel = context.channel_with("hsync") or context.channel_with("csync")
    return channel.edges_to(0) if channel is not None else np.empty(0, np.int64)
