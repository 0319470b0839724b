"""Is the pixel clock sound?"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rastertap.checks.interface import CONTRACT, Evidence, Finding
from rastertap.checks.make import PRACTICE, against, none_allowed, not_measured, plural
from rastertap.measured import Measured
from rastertap.streams.pixel_clock import FEWEST_SAMPLES_A_CYCLE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap.streams.model import PixelClock

JITTER_PART = 0.05
"""Period jitter (rms) that a picture bears, in pixel periods: common practice, no source."""
DUTY = (0.2, 0.8)
"""High time over period that logic of the time works with: common practice, no source."""
DRIFT_PPM = 50.0
"""Change of frequency within a capture, parts per million: common practice, no source."""
COMFORTABLE_SAMPLES = 3.0
"""Samples a pixel from which every pixel is read surely, whatever the sampling phase."""
SAMPLES_FOR_DUTY = 4.0
PARTS = 8
IDS = tuple(f"clock.{n}" for n in ("frequency", "jitter", "duty", "missing_cycles", "extra_edges", "drift"))


class ClockCheck:
    """Presence, frequency, jitter, duty, missing and extra edges, drift; the sampling point's margin."""

    name: ClassVar[str] = "clock"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = "pixel clock: frequency, jitter, duty, missing and extra cycles; sampling margin"

    def run(self, evidence: Evidence) -> Iterator[Finding]:
        """Give the clock's findings."""
        clock = evidence.pixel_clock
        yield _present(evidence)
        yield _undersampled(evidence)
        if clock is None:
            reason = f"No pixel clock: {evidence.missing.get('pixel_clock', 'not found')}."
            yield from (not_measured(finding, reason) for finding in IDS)
        else:
            yield _frequency(evidence, clock)
            yield _jitter(evidence, clock)
            yield _duty(evidence, clock)
            yield _missing(evidence, clock)
            yield _extra(evidence, clock)
            yield _drift(evidence, clock)
        yield _margin(evidence)


def _present(evidence: Evidence) -> Finding:
    clock = evidence.pixel_clock
    if clock is not None:
        return Finding("clock.present", "pass", f"The pixel clock is on {clock.channel}.")
    reason = evidence.missing.get("pixel_clock", "no channel behaves like one")
    if "undersampled" in reason:
        return not_measured("clock.present", f"A clock is there, but {reason}.")
    expected = evidence.board.channel_of("pixel_clock") if evidence.board is not None else None
    if expected is None:
        return Finding("clock.present", "warn", f"No pixel clock found: {reason}. Tap it, if the chip has a pin for it.")
    return Finding("clock.present", "fail", f"No pixel clock where the board file expects it ({expected}): {reason}.")


def _undersampled(evidence: Evidence) -> Finding:
    period = evidence.capture.sample_period
    clock = evidence.pixel_clock
    reason = evidence.missing.get("pixel_clock", "")
    if "undersampled" in reason:
        return Finding("clock.undersampled", "fail", f"{reason[0].upper()}{reason[1:]}. Record at a higher rate.")
    if clock is None:
        return not_measured("clock.undersampled", "No pixel clock found.")
    if period is None or not period.known:
        text = "The times in the file show no sampling step (a simulator's output): nothing is undersampled."
        return Finding("clock.undersampled", "pass", text)
    samples = clock.period.value / period.ticks
    text = f"{samples:.2f} samples a clock cycle."
    enough = samples >= COMFORTABLE_SAMPLES
    if not enough:
        rate = COMFORTABLE_SAMPLES / (clock.period.value * float(evidence.capture.tick)) / 1e6
        text += f" Some pixels may be misread; record at {np.ceil(rate):.0f} MS/s or more."
    limit = f"at least {COMFORTABLE_SAMPLES:g} (no reading at all below {FEWEST_SAMPLES_A_CYCLE:g})"
    return Finding("clock.undersampled", "pass" if enough else "warn", text, samples, 0.0, limit, "samples", PRACTICE)


def frequency_hz(clock: PixelClock, tick_s: float) -> Measured:
    """Frequency from the mean period, timebase apart."""
    value = 1 / (clock.period.value * tick_s)
    return Measured(value, value * clock.period.uncertainty / clock.period.value, "Hz")


def _frequency(evidence: Evidence, clock: PixelClock) -> Finding:
    measured = frequency_hz(clock, float(evidence.capture.tick)).with_timebase(evidence.timebase_ppm)
    text = f"The pixel clock runs at {measured.value / 1e6:.6f} MHz."
    nominal = evidence.board.timing.pixel_clock_hz if evidence.board is not None else None
    if evidence.board is None or nominal is None:
        where = "no board file was given" if evidence.board is None else "the board file does not state it"
        text += f" What it should be is not known: {where}."
        return Finding("clock.frequency", "not_measured", text, measured.value, measured.uncertainty, unit="Hz")
    tolerance = evidence.board.timing.pixel_clock_tolerance_ppm
    offset = (measured.value / float(nominal) - 1) * 1e6
    text += f" That is {offset:+.1f} ppm from the {float(nominal) / 1e6:.6f} MHz it should be."
    reach = float(nominal) * tolerance * 1e-6
    source = f"board file, {tolerance:g} ppm"
    settle = "a longer capture, or an analyser with a better timebase, would"
    return against(
        "clock.frequency", measured, float(nominal) - reach, float(nominal) + reach, text=text, source=source, settle=settle
    )


def _jitter(evidence: Evidence, clock: PixelClock) -> Finding:
    tick = float(evidence.capture.tick)
    scale = tick * 1e9
    measured = Measured(clock.period_jitter.value * scale, clock.period_jitter.uncertainty * scale, "ns")
    limit = JITTER_PART * clock.period.value * scale
    text = f"The period varies by {measured.value:.2f} ns rms, the analyser's step taken out."
    source = f"{JITTER_PART:.0%} of a pixel: {PRACTICE}"
    settle = "a higher sample rate would"
    return against("clock.jitter", measured, float("-inf"), limit, text=text, source=source, settle=settle)


def _duty(evidence: Evidence, clock: PixelClock) -> Finding:
    period = evidence.capture.sample_period
    if period is not None and period.known and clock.period.value < SAMPLES_FOR_DUTY * period.ticks:
        reason = f"Duty needs {SAMPLES_FOR_DUTY:g} samples a cycle or more; this capture has fewer."
        return not_measured("clock.duty", reason)
    text = f"The clock is high for {clock.duty.value:.1%} of the time."
    settle = "a higher sample rate would"
    return against("clock.duty", clock.duty, *DUTY, text=text, source=PRACTICE, settle=settle)


def _missing(evidence: Evidence, clock: PixelClock) -> Finding:
    count = clock.missing.size
    some = f"{plural(count, 'clock cycle')} missing. Pixels after each gap stand too far left, and lines lose length."
    return none_allowed(
        "clock.missing_cycles", clock.missing, count, evidence, none="No clock cycle is missing.", some=some
    )


def _extra(evidence: Evidence, clock: PixelClock) -> Finding:
    count = clock.extra.size
    some = f"{plural(count, 'extra clock edge')}: ringing, noise on the clock, or a bad tap."
    return none_allowed("clock.extra_edges", clock.extra, count, evidence, none="No extra clock edge.", some=some)


def _drift(evidence: Evidence, clock: PixelClock) -> Finding:
    """Compare the frequency of the parts of the capture with each other."""
    edges, period = clock.edges, clock.period.value
    intervals = np.diff(edges)
    good = np.abs(intervals - period) < 0.4 * period  # noqa: PLR2004 - leaves gaps and runts out
    parts = [p for p in np.array_split(np.arange(intervals.size)[good], PARTS) if p.size]
    means = np.array([intervals[p].mean() for p in parts])
    if means.size < PARTS:
        return not_measured("clock.drift", "The capture is too short to compare its parts.")
    spread = float((means.max() - means.min()) / period * 1e6)
    each = 1.17 * evidence_step(evidence) / (min(p.size for p in parts) * period) * 1e6
    measured = Measured(max(spread - each, 0.0), each, "ppm")
    text = f"Between the parts of the capture the frequency varies by {spread:.2f} ppm."
    source = f"{DRIFT_PPM:g} ppm: {PRACTICE}"
    settle = "a longer capture would"
    return against("clock.drift", measured, float("-inf"), DRIFT_PPM, text=text, source=source, settle=settle)


def evidence_step(evidence: Evidence) -> float:
    """Sampling step in ticks; one tick when it is not known."""
    return evidence.capture.sample_period.ticks if evidence.capture.sample_period is not None else 1.0


def _margin(evidence: Evidence) -> Finding:
    bus = evidence.colour_bus
    if bus is None:
        return not_measured("sampling.margin", f"No colour bus: {evidence.missing.get('colour_bus', 'not found')}.")
    scale = float(evidence.capture.tick) * 1e9
    point = bus.sampling
    tight = min(point.margin_before, point.margin_after, key=lambda m: m.value)
    measured = Measured(tight.value * scale, tight.uncertainty * scale, "ns")
    text = (
        f"Read the bus {point.delay * scale:.1f} ns after the rising clock edge (phase {point.phase:.2f}): it is quiet"
        f" for {point.margin_before.value * scale:.1f} ns before and {point.margin_after.value * scale:.1f} ns after."
    )
    source = "the bus must not change where it is read"
    return against(
        "sampling.margin", measured, 0.0, float("inf"), text=text, source=source, settle="a higher sample rate would"
    )
