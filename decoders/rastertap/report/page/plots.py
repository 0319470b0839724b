"""The plots of the page: clock, sampling point, events."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.report.page.quantity import quantity
from rastertap.report.page.svg import Axis, Figure, Plot, ends

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.analyse import Analysis

    Floats = NDArray[np.float64]

MOST_BARS = 120
MOST_POINTS = 1200
SAMPLING_NOTE = (
    " Shaded: surely quiet, margins less twice their uncertainty. Changes are drawn where the analyser saw"
    " them, up to a step late; the margins allow for that. Each row is drawn to its own height."
)
ROW = 34
"""Height of one bit's changes."""


def period_histogram(analysis: Analysis) -> Figure | str:
    """Clock periods and how often each came, or why there is no such plot."""
    clock = analysis.evidence.pixel_clock
    if clock is None:
        return f"No pixel clock: {analysis.evidence.missing.get('pixel_clock', 'not found')}."
    if clock.record is None:
        return "The clock was recovered from the picture, so its single periods were not seen."
    periods, scale = clock.record.periods, float(analysis.capture.tick) * 1e9
    if not periods.counts.size:
        return "No two edges of the clock are a period apart."
    edges, counts = periods.fewer(MOST_BARS)
    low, high = ends(edges * scale, margin=0.02)
    x, y = Axis("period, ns", low, high), Axis("periods, log", 0.5, float(counts.max()) * 6, log=True)
    text = (
        f"{counts.sum()} periods between {periods.least * scale:.6g} and {periods.greatest * scale:.6g} ns;"
        f" mean {clock.period.value * scale:.6g} ns."
    )
    plot = Plot(x, y, f"Histogram of the clock period. {text}")
    plot.bars(edges[:-1] * scale, edges[1:] * scale, counts)
    plot.upright(clock.period.value * scale, "mean", "mean")
    note = " A sampled period is a whole number of the analyser's steps: a steady clock fills one bar or two."
    return Figure("Clock period", plot.svg(), text + note)


def time_interval_error(analysis: Analysis) -> Figure | str:
    """How early or late the clock runs against a steady one, over the capture."""
    clock, capture = analysis.evidence.pixel_clock, analysis.capture
    if clock is None or clock.record is None:
        return "Only a tapped clock has a time interval error."
    series, tick = clock.record.series, float(capture.tick)
    if series.cycle.size < 2:  # noqa: PLR2004 - a line needs two points
        return "The capture is too short."
    error = series.error(clock.period.value) * tick * 1e9
    when = (series.ticks - capture.start) * tick * 1e3
    error, when = (_thinned(a) for a in (error, when))
    low, high = ends(error)
    reach = max(abs(low), abs(high), clock.record.step * tick * 1e9)
    text = (
        f"Against a steady clock of the mean period it is at most {np.abs(error).max():.3g} ns early or late."
    )
    plot = Plot(
        Axis("time in the capture, ms", when[0], when[-1]),
        Axis("early - late, ns", -reach, reach),
        f"Time interval error. {text}",
    )
    plot.line(when, error)
    each = quantity(series.block * clock.period.value * tick, None, "s")
    return Figure("Time interval error", plot.svg(), f"{text} Each point is a mean over {each}.")


def _thinned(values: Floats) -> Floats:
    return values[:: max(1, -(-values.size // MOST_POINTS))]


def error_spectrum(analysis: Analysis) -> Figure | str:
    """Show what the time interval error is made of, by frequency."""
    clock = analysis.evidence.pixel_clock
    if clock is None or clock.record is None:
        return "Only a tapped clock has a time interval error."
    spectrum, tick = clock.record.spectrum, float(analysis.capture.tick)
    if not spectrum.segments:
        return "The capture is too short for a spectrum."
    hertz = spectrum.frequency()[1:] / (clock.period.value * tick)
    power = spectrum.power[1:] / spectrum.segments
    amplitude = np.sqrt(2 * power / spectrum.power.size) * tick * 1e12
    floor = float(amplitude.max()) * 1e-4 or 1e-6
    x = Axis("frequency, Hz", float(hertz[0]), float(hertz[-1]), log=True)
    y = Axis("amplitude, ps", floor, float(amplitude.max()) * 1.5 or 1.0, log=True)
    line = clock.record.line
    if line is None:
        text = "No single frequency stands out."
    else:
        at = line.frequency / (clock.period.value * tick)
        text = f"The strongest line is {quantity(line.amplitude * tick, None, 's')} (peak) at {at:.0f} Hz."
    plot = Plot(x, y, f"Spectrum of the time interval error. {text}")
    plot.line(hertz, np.maximum(amplitude, floor))
    if line is not None and line.frequency >= spectrum.frequency()[1]:
        plot.upright(line.frequency / (clock.period.value * tick), "strongest line", "mean")
    return Figure("Spectrum of the time interval error", plot.svg(), text)


def sampling_point(analysis: Analysis) -> Figure | str:
    """When each bit changes in the pixel period, with the quiet window and the sampling point in it."""
    bus, clock = analysis.evidence.colour_bus, analysis.evidence.pixel_clock
    if bus is None or clock is None:
        return f"No colour bus: {analysis.evidence.missing.get('colour_bus', 'not found')}."
    point, scale = bus.sampling, float(analysis.capture.tick) * 1e9
    period, bits = clock.period.value * scale, point.changes.shape[0]
    text = (
        f"The bus is read {point.delay * scale:.1f} ns after the rising edge. It is quiet from"
        f" {point.margin_before.value * scale:.1f} ns before that"
        f" to {point.margin_after.value * scale:.1f} ns after it."
    )
    plot = Plot(
        Axis("time since the rising clock edge, ns", 0.0, period),
        Axis("changes of each bit", 0.0, float(bits)),
        f"When the bits of the colour bus change. {text}",
        height=52 + ROW * bits,
        y_ticks=False,
    )
    before, after = (m.value - 2 * m.uncertainty for m in (point.margin_before, point.margin_after))
    begin, end = (point.delay - before) * scale, (point.delay + after) * scale
    for shift in (-period, 0.0, period):
        low, high = max(begin + shift, 0.0), min(end + shift, period)
        if high > low:
            plot.band(low, high)
    edges = np.linspace(0, period, point.changes.shape[1] + 1)
    for row, (bit, changes) in enumerate(zip(bus.bits, point.changes, strict=True)):
        _bit_row(plot, edges, changes / max(int(changes.max()), 1) * 0.85 + row, row, bit.name or "(none)")
    plot.upright(point.delay * scale, "read here", "mean")
    return Figure("Sampling point", plot.svg(), text + SAMPLING_NOTE)


def _bit_row(plot: Plot, edges: Floats, tops: Floats, row: int, name: str) -> None:
    base = float(plot.down(row))
    path = "".join(
        f"M{a:.1f} {base:.1f}V{c:.1f}H{b:.1f}V{base:.1f}Z"
        for a, b, c, top in zip(
            plot.across(edges[:-1]), plot.across(edges[1:]), plot.down(tops), tops, strict=True
        )
        if top > row
    )
    plot.add('<path class="bar" d="{path}"/>', path=path)
    plot.add(
        '<path class="axis" d="M{a:.1f} {b:.1f}H{c:.1f}"/>',
        a=plot.across(edges[0]),
        b=base,
        c=plot.across(edges[-1]),
    )
    shown = name if len(name) <= 9 else f"{name[:4]}…{name[-4:]}"  # noqa: PLR2004 - what fits beside the row
    plot.add('<text x="{x}" y="{y:.1f}" text-anchor="end">{name}</text>', x=55, y=base - 8, name=shown)
