"""The handover sheet: every number that an upscaler, digitiser, capture card or logic board must be told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.errors import CaptureError
from rastertap.frames.aspect import PixelShape, pixel_shape
from rastertap.handover.display import RATES, Shown, on_display
from rastertap.handover.phase import first_sample, sync_phase
from rastertap.handover.screens import SCREENS, Fit, largest_even, largest_in_shape
from rastertap.measured import Measured
from rastertap.standards.colour_names import distinct_names
from rastertap.streams.counts import field_periods, lines_per_field

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rastertap.analyse import Analysis
    from rastertap.frames.model import Area, FieldKind, Frames
    from rastertap.standards.colour_set import ColourSet
    from rastertap.streams.model import ColourBus, PixelClock, Sync

MOST_COLOURS = 64
"""Of a larger set only the codes seen are listed, and of these no more."""
LINE_DELAYS = (1, 2, 4, 8, 16)


@dataclass(frozen=True)
class Direction:
    """Across (pixels) or down (lines): total, active, and where the active part is.

    Parameters
    ----------
    total, active : float
        Of a line, or of a field.
    sync : float
        Width of the sync.
    offset : float
        From the leading edge of the sync to the first active pixel or line.
    polarity : str
        Level of the sync pulse; empty when not known.
    """

    total: float
    active: float
    sync: float
    offset: float
    polarity: str

    @property
    def back_porch(self) -> float:
        """From the end of the sync to the first active pixel or line."""
        return self.offset - self.sync

    @property
    def front_porch(self) -> float:
        """From the end of the active part to the next sync."""
        return self.total - self.offset - self.active


@dataclass(frozen=True)
class Sampling:
    """Where to read the pixels, times in seconds.

    Parameters
    ----------
    delays_s : tuple of float
        After the rising edge of the pixel clock, one a pixel: two where the bus changes with both edges.
    margin_before_s, margin_after_s : Measured
        Earlier and later by this much still reads right.
    edges : tuple of "rising" or "falling"
        Clock edge that is nearest to each of those points.
    after_sync_s : float or None
        From the leading edge of line sync to the middle of where the first active pixel may be read.
    phase_after_sync : float or None
        The same in pixels, its whole part left out: what a digitiser that makes its own clock from the line
        sync calls its phase.
    """

    delays_s: tuple[float, ...]
    margin_before_s: Measured
    margin_after_s: Measured
    edges: tuple[str, ...]
    after_sync_s: float | None
    phase_after_sync: float | None


@dataclass(frozen=True)
class ColourLevel:
    """What to expect of one colour: code, name, R'G'B' bytes, and Y', Pb, Pr in mV (BT.601, 700 mV white)."""

    code: int
    name: str
    rgb: tuple[int, int, int]
    component_mv: tuple[float, float, float]


@dataclass(frozen=True)
class Sheet:
    """All of it; times in seconds, rates in hertz."""

    source: str
    pixel_clock: Measured
    line_rate_hz: float
    field_rate_hz: float
    interlaced: bool
    pixels_per_clock: int
    across: Direction
    down: Direction
    offsets: dict[FieldKind, float]
    """From field sync to the first active line, by kind of field: interlaced ones are half a line apart."""
    active_from: str
    """How the active area was found."""
    sampling: Sampling
    bits: int
    shape: PixelShape
    displays: tuple[Shown, ...]
    even: tuple[Fit, ...]
    in_shape: tuple[Fit, ...]
    delays: tuple[tuple[int, float, float], ...]
    """Lines of delay, as a part of a field, and in seconds."""
    colours: tuple[ColourLevel, ...]
    colours_from: str
    colours_left_out: int

    @property
    def pixel_s(self) -> float:
        """Duration of a pixel, s: of a clock cycle, or of half a one."""
        return 1 / (self.pixel_clock.value * self.pixels_per_clock)


def make_sheet(analysis: Analysis, delays: Sequence[int] = LINE_DELAYS) -> Sheet:
    """Work out the sheet.

    Parameters
    ----------
    analysis : Analysis
        With frames and an active area.
    delays : sequence of int
        Lines of delay to express as a part of a field.

    Raises
    ------
    CaptureError
        When something that all the rest builds on was not measured; names it.
    """
    clock, sync, bus, frames, area = _needed(analysis)
    tick = float(analysis.capture.tick)
    frequency = Measured(
        1 / (clock.period.value * tick), clock.period.uncertainty / clock.period.value**2 / tick, "Hz"
    ).with_timebase(analysis.request.timebase_ppm)
    counts, periods = lines_per_field(sync), field_periods(sync)
    lines = float(np.median(counts))
    line_s, field_s = sync.line_period.value * tick, float(np.median(periods)) * tick
    interlaced = bool(sync.interlaced)
    shape = pixel_shape(frames.line_pixels, lines)
    shape = shape.woven() if interlaced else shape
    picture = area.width, area.height * (2 if interlaced else 1)
    colours, left_out = _colours(bus, frames)
    offsets = _offsets(sync, frames)
    return Sheet(
        source=analysis.capture.label,
        pixel_clock=frequency,
        line_rate_hz=1 / line_s,
        field_rate_hz=1 / field_s,
        interlaced=interlaced,
        pixels_per_clock=frames.pixels_per_clock,
        across=_across(sync, clock, frames, area),
        down=_down(sync, lines, area, min(offsets.values())),
        offsets=offsets,
        active_from=frames.active_from,
        sampling=_sampling(analysis, clock, bus, area),
        bits=len(bus.bits),
        shape=shape,
        displays=tuple(on_display(1 / field_s, name) for name in RATES),
        even=tuple(largest_even(screen, picture, shape.aspect) for screen in SCREENS),
        in_shape=tuple(largest_in_shape(screen, picture, shape.aspect) for screen in SCREENS),
        delays=tuple((n, n / lines, n * line_s) for n in delays),
        colours=colours,
        colours_from=bus.colours_from,
        colours_left_out=left_out,
    )


def _needed(analysis: Analysis) -> tuple[PixelClock, Sync, ColourBus, Frames, Area]:
    evidence = analysis.evidence
    clock, sync, bus, frames = evidence.pixel_clock, evidence.sync, evidence.colour_bus, evidence.frames
    hint = "run `rastertap check` on it to see what is missing"
    for what, found in (("pixel_clock", clock), ("sync", sync), ("colour_bus", bus), ("frames", frames)):
        if found is None:
            reason = evidence.missing.get(what, "not found")
            message = f"the handover sheet needs the {what.replace('_', ' ')}: {reason}"
            raise CaptureError(message, path=analysis.capture.label, hint=hint)
    if clock is None or sync is None or bus is None or frames is None:  # the loop has raised
        raise AssertionError
    if frames.active is None or not lines_per_field(sync).size:
        lacking = (
            "a picture: the colour bus never leaves blanking" if frames.active is None else "a whole field"
        )
        raise CaptureError(f"the handover sheet needs {lacking}", path=analysis.capture.label, hint=hint)
    return clock, sync, bus, frames, frames.active


def _across(sync: Sync, clock: PixelClock, frames: Frames, area: Area) -> Direction:
    width = sync.line_width.value / clock.period.value * frames.pixels_per_clock
    return Direction(frames.line_pixels, area.width, width, area.x, sync.line_polarity or "")


def _offsets(sync: Sync, frames: Frames) -> dict[FieldKind, float]:
    """Lines from the leading edge of the field sync to the first active line, by kind of field."""
    to_row_0 = sync.fields.offset
    found: dict[FieldKind, float] = {}
    for kind, area in frames.areas.items():
        if kind != "woven":
            usual = {"first": to_row_0.min(), "second": to_row_0.max()}.get(kind, np.median(to_row_0))
            found[kind] = float(usual) + area.y
    return found


def _down(sync: Sync, lines: float, area: Area, offset: float) -> Direction:
    width = sync.field_width.value if sync.field_width is not None else 0.0
    return Direction(lines, area.height, width, offset, sync.field_polarity or "")


def _sampling(analysis: Analysis, clock: PixelClock, bus: ColourBus, area: Area) -> Sampling:
    tick, period, point = float(analysis.capture.tick), clock.period.value, bus.sampling
    high = clock.duty.value if clock.duty is not None else 0.5
    after, phase = None, None
    if (delay := sync_phase(analysis)) is not None:
        ticks = first_sample(delay, period, area.x, point.reads)
        after, phase = ticks * tick, ticks / period * len(point.reads) % 1.0
    return Sampling(
        tuple(read * tick for read in point.reads),
        _seconds(point.margin_before, tick),
        _seconds(point.margin_after, tick),
        tuple(_nearest_edge(read / period % 1, high) for read in point.reads),
        after,
        phase,
    )


def _nearest_edge(phase: float, high: float) -> str:
    """Name the clock edge nearest to a place in the cycle; ``high`` is where it falls."""

    def apart(edge: float) -> float:
        return min(abs(phase - edge), 1 - abs(phase - edge))

    return "falling" if apart(high) < apart(0) else "rising"


def _seconds(ticks: Measured, tick: float) -> Measured:
    return Measured(ticks.value * tick, ticks.uncertainty * tick, "s")


def _colours(bus: ColourBus, frames: Frames) -> tuple[tuple[ColourLevel, ...], int]:
    """Levels of the set, or of the codes seen when it is large; and how many were left out."""
    if bus.colours is None:
        return (), 0
    if bus.colours.size <= MOST_COLOURS:
        return colour_levels(bus.colours, np.arange(bus.colours.size, dtype=np.uint32)), 0
    seen = frames.shown[bus.colours.contains(frames.shown)][:MOST_COLOURS]
    return colour_levels(bus.colours, seen), bus.colours.size - seen.size


def colour_levels(
    colours: ColourSet, codes: np.ndarray[tuple[int, ...], np.dtype[np.uint32]]
) -> tuple[ColourLevel, ...]:
    """Give the expected levels of codes of a set."""
    rgb, levels = colours.colours(codes), colours.levels(codes)
    names = distinct_names(rgb)
    return tuple(
        ColourLevel(int(c), n, (int(r[0]), int(r[1]), int(r[2])), (float(m[0]), float(m[1]), float(m[2])))
        for c, n, r, m in zip(codes, names, rgb, levels, strict=True)
    )
