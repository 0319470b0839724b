"""The pixel clock: whether it is sound, and how surely the bus can be read."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rastertap.checks.clock_words import (
    exact_mhz,
    extra_words,
    gap_words,
    jump_words,
    offset_words,
    on_purpose,
    rate_name,
    stripe_words,
    subcarrier_words,
    where_words,
)
from rastertap.checks.interface import CONTRACT, Evidence, Finding
from rastertap.checks.make import PRACTICE, against, not_measured
from rastertap.checks.sampling import margin, skew
from rastertap.measured import Measured
from rastertap.streams.pixel_clock import FEWEST_SAMPLES_A_CYCLE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap.checks.interface import Result
    from rastertap.streams.clock_events import Events
    from rastertap.streams.clock_record import ClockRecord
    from rastertap.streams.model import PixelClock
    from rastertap.streams.recovery_phase import Recovered

JITTER_PART = 0.05
"""Period jitter (rms) that a picture bears, in pixel periods: common practice, no source."""
SWING_PART = 0.05
"""Peak swing of a clock modulated at one rate that a picture bears, in pixel periods: common practice, no
source."""
DUTY = (0.2, 0.8)
"""High time over period that logic of the time works with: common practice, no source."""
DRIFT_PPM = 50.0
"""Change of frequency within a capture, parts per million: common practice, no source."""
COMFORTABLE_SAMPLES = 3.0
"""Samples a pixel from which every pixel is read surely, whatever the sampling phase."""
FEW_JUMPS = 3
"""With more phase jumps than this the spectrum shows the jumps."""
IDS = tuple(
    f"clock.{n}"
    for n in (
        "frequency",
        "jitter",
        "modulation",
        "duty",
        "missing_cycles",
        "extra_edges",
        "phase_jump",
        "drift",
    )
)


class ClockCheck:
    """Presence, frequency, jitter, duty, missing and extra edges, drift; sampling margin and skew."""

    name: ClassVar[str] = "clock"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = (
        "pixel clock: frequency, jitter, duty, missing and extra cycles; sampling margin, skew"
    )

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
            if clock.record is None:
                reason = "The clock was recovered, not tapped: what it does in each cycle is not seen."
                yield from (not_measured(finding, reason) for finding in IDS[1:])
            else:
                yield from _tapped(evidence, clock, clock.record)
        yield margin(evidence)
        yield skew(evidence)


def _tapped(evidence: Evidence, clock: PixelClock, record: ClockRecord) -> Iterator[Finding]:
    yield _jitter(evidence, clock, record)
    yield _modulation(evidence, clock, record)
    yield _duty(clock)
    yield _missing(evidence, record)
    yield _extra(evidence, record)
    yield _jumps(evidence, record)
    yield _drift(record)


def _present(evidence: Evidence) -> Finding:
    clock = evidence.pixel_clock
    if clock is not None and clock.recovered is not None:
        return _recovered(evidence, clock.recovered)
    if clock is not None:
        return Finding("clock.present", "pass", f"The pixel clock is on {clock.channel}.")
    reason = evidence.missing.get("pixel_clock", "no channel behaves like one")
    if "undersampled" in reason:
        return not_measured("clock.present", f"A clock is there, but {reason}.")
    expected = evidence.board.channel_of("pixel_clock") if evidence.board is not None else None
    if expected is None:
        text = f"No pixel clock found: {reason}. Tap it, if the chip has a pin for it."
        return Finding("clock.present", "warn", text)
    text = f"No pixel clock where the board file expects it ({expected}): {reason}."
    return Finding("clock.present", "fail", text)


def _recovered(evidence: Evidence, told: Recovered) -> Finding:
    """Judge a clock that no channel showed."""
    kind = {
        "steady": "one steady clock",
        "line-locked": "a clock that keeps to the lines, whose rate is not steady",
        "restarted": "a clock that starts anew in each line",
        "wandering": "a clock whose phase wanders from line to line",
    }[told.kind]
    text = f"Pixel clock recovered from the colour changes ({kind}): {told.why or 'no channel carries it'}."
    expected = evidence.board.channel_of("pixel_clock") if evidence.board is not None else None
    if expected is not None and "undersampled" not in told.why:
        return Finding(
            "clock.present", "fail", f"No pixel clock where the board file expects it ({expected}). {text}"
        )
    return Finding("clock.present", "pass", text)


def _undersampled(evidence: Evidence) -> Finding:
    period = evidence.capture.sample_period
    clock = evidence.pixel_clock
    reason = evidence.missing.get("pixel_clock", "")
    if clock is None and "undersampled" in reason:
        return Finding(
            "clock.undersampled", "fail", f"{reason[0].upper()}{reason[1:]}. Record at a higher rate."
        )
    if clock is None and "analyser could follow" in reason:
        text = "Colour changes keep to no pixel rate: the analyser may be too slow. Record at a higher rate."
        return Finding("clock.undersampled", "warn", text, source=PRACTICE)
    if clock is None:
        return not_measured("clock.undersampled", "No pixel clock found.")
    if period is None or not period.known:
        text = (
            "The times in the file show no sampling step, as a simulator's output: nothing is undersampled."
            " If an analyser recorded them, state its rate: --reader vcd:rate=48M."
        )
        return Finding("clock.undersampled", "pass", text)
    samples = clock.period.value / period.ticks
    text = f"{samples:.2f} samples a clock cycle."
    enough = samples >= COMFORTABLE_SAMPLES
    if not enough:
        rate = COMFORTABLE_SAMPLES / (clock.period.value * float(evidence.capture.tick)) / 1e6
        text += f" Some pixels may be misread; record at {np.ceil(rate):.0f} MS/s or more."
    limit = f"at least {COMFORTABLE_SAMPLES:g} (no tapped clock below {FEWEST_SAMPLES_A_CYCLE:g})"
    return Finding(
        "clock.undersampled", "pass" if enough else "warn", text, samples, 0.0, limit, "samples", PRACTICE
    )


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
        text += f" What it should be is not known: {where}. {_likely(evidence, measured.value)}"
        return Finding(
            "clock.frequency", "not_measured", text.strip(), measured.value, measured.uncertainty, unit="Hz"
        )
    tolerance = evidence.board.timing.pixel_clock_tolerance_ppm
    offset = (measured.value / float(nominal) - 1) * 1e6
    text += f" It should be {exact_mhz(nominal)}: {offset_words(offset, evidence.timebase_ppm)}."
    reach = float(nominal) * tolerance * 1e-6
    source = f"board file, {tolerance:g} ppm"
    settle = "a longer capture, or an analyser with a better timebase, would"
    low, high = float(nominal) - reach, float(nominal) + reach
    return against("clock.frequency", measured, low, high, text=text, source=source, settle=settle)


def _likely(evidence: Evidence, hz: float) -> str:
    """Name the master clock that a clock may come from, and what its offset would mean."""
    from rastertap.standards.clocks import origins

    found = origins(hz)
    if not found:
        return "No master clock of the trade is within 1000 ppm by a small ratio."
    best = found[0]
    words = offset_words(best.offset_ppm, evidence.timebase_ppm)
    text = (
        f"Nearest of the trade's clocks: {best.text} = {exact_mhz(best.hz)} ({best.master.source}): {words}."
    )
    return f"{text} {subcarrier_words(best, evidence.timebase_ppm)}".strip()


def _jitter(evidence: Evidence, clock: PixelClock, record: ClockRecord) -> Finding:
    scale = float(evidence.capture.tick) * 1e9
    if clock.period_jitter is None:
        return not_measured("clock.jitter", "The clock was not tapped.")
    measured = Measured(clock.period_jitter.value * scale, clock.period_jitter.uncertainty * scale, "ns")
    limit = JITTER_PART * clock.period.value * scale
    doubt = 2 * measured.uncertainty
    text = f"The period varies by {measured.value:.2f} +-{doubt:.2f} ns rms, the analyser's step taken out."
    source = f"{JITTER_PART:.0%} of a pixel: {PRACTICE}"
    settle = "a higher sample rate would"
    hidden = record.unseen * record.step * scale
    if measured.value <= 2 * hidden and measured.value + 2 * measured.uncertainty > limit:
        reason = (
            f"The clock is locked to the analyser's own, so jitter below some {2 * hidden:.1f} ns cannot be"
            " told from the sampling. Record at another sample rate, no whole multiple of the clock."
        )
        return not_measured("clock.jitter", reason)
    return against("clock.jitter", measured, float("-inf"), limit, text=text, source=source, settle=settle)


def _modulation(evidence: Evidence, clock: PixelClock, record: ClockRecord) -> Finding:
    """Compare the strongest line of the time interval error's spectrum with what a picture bears."""
    if not record.spectrum.segments:
        return not_measured(
            "clock.modulation", "The capture is too short for a spectrum of the time interval error."
        )
    if record.events.jumps.count > FEW_JUMPS:
        return not_measured(
            "clock.modulation", "The clock's phase jumps too often for a spectrum of its error."
        )
    tick_s = float(evidence.capture.tick)
    limit = SWING_PART * clock.period.value * tick_s * 1e9
    source = f"{SWING_PART:.0%} of a pixel: {PRACTICE}"
    line = record.line
    if line is None:
        text = "The clock is modulated at no rate that stands out of its noise."
        return against(
            "clock.modulation", Measured(0.0, 0.0, "ns"), float("-inf"), limit, text=text, source=source
        )
    hz = frequency_hz(clock, tick_s).value
    swing = Measured(line.amplitude * tick_s * 1e9, 0.05 * line.amplitude * tick_s * 1e9, "ns")
    name = rate_name(line, hz, rates_of(evidence))
    at = f"{line.frequency * hz:.0f} Hz" + (f" ({name})" if name else "")
    text = f"The clock swings by {swing.value:.2f} ns to either side at {at}."
    if swing.value > limit / 2:
        text += f" {stripe_words(name)}"
    return against("clock.modulation", swing, float("-inf"), limit, text=text, source=source)


def rates_of(evidence: Evidence) -> dict[str, float]:
    """Give the rates that a modulation may go with, hertz."""
    sync, tick_s = evidence.sync, float(evidence.capture.tick)
    if sync is None:
        return {}
    found = {"the line rate": 1 / (sync.line_period.value * tick_s)}
    if sync.fields.starts.size > 1:
        found["the field rate"] = 1 / (float(np.median(np.diff(sync.fields.starts))) * tick_s)
    return found


def _duty(clock: PixelClock) -> Finding:
    if clock.duty is None:
        return not_measured("clock.duty", "No whole high time was seen.")
    text = f"The clock is high for {clock.duty.value:.1%} of the time."
    settle = "a higher sample rate would"
    return against("clock.duty", clock.duty, *DUTY, text=text, source=PRACTICE, settle=settle)


def _event_finding(
    finding: str, events: Events, count: int, evidence: Evidence, *, none: str, some: str, result: Result
) -> Finding:
    """Give a finding on events; ``result`` is for when there are any."""
    if not count:
        return Finding(finding, "pass", none, 0, 0.0, "0", "", PRACTICE)
    return Finding(finding, result, some, count, 0.0, "0", "", PRACTICE, evidence.at_s(events.at))


def _missing(evidence: Evidence, record: ClockRecord) -> Finding:
    events, places = record.events, evidence.streams.get("clock_places")
    placed = places.gaps if places is not None else None
    some = gap_words(events.gaps, events.missing, record.cycles + events.missing, events.gaps_seen_by, placed)
    result: Result = "warn" if events.gaps_seen_by == "tap" else "fail"
    longest = float(events.gaps.size.max(initial=0.0))
    if on_purpose(placed, longest):
        result = "pass"
        some = f"The clock stops {where_words(placed)}"
        some += f", for up to {longest:.0f} cycles" if longest > 1 else ""
        some += ": so regular, it is done on purpose, and no fault."
    return _event_finding(
        "clock.missing_cycles",
        events.gaps,
        events.missing,
        evidence,
        none="No clock cycle is missing.",
        some=some,
        result=result,
    )


def _extra(evidence: Evidence, record: ClockRecord) -> Finding:
    events, places = record.events, evidence.streams.get("clock_places")
    some = extra_words(events.extra, events.extra_seen_by, places.extra if places is not None else None)
    result: Result = "warn" if events.extra_seen_by == "tap" else "fail"
    none = "No extra clock edge."
    return _event_finding(
        "clock.extra_edges", events.extra, events.extra.count, evidence, none=none, some=some, result=result
    )


def _jumps(evidence: Evidence, record: ClockRecord) -> Finding:
    jumps, places = record.events.jumps, evidence.streams.get("clock_places")
    placed = places.jumps if places is not None else None
    usual = float(np.median(jumps.size)) * record.tick_s * 1e9 if jumps.size.size else 0.0
    some = jump_words(jumps.count, usual, placed)
    result: Result = "fail"
    if on_purpose(placed):
        result = "pass"
        some = f"The clock starts anew or is stretched {where_words(placed)}: done on purpose, and no fault."
    none = "The clock's phase never jumps."
    return _event_finding(
        "clock.phase_jump", jumps, jumps.count, evidence, none=none, some=some, result=result
    )


def _drift(record: ClockRecord) -> Finding:
    measured = record.drift
    if measured is None:
        return not_measured("clock.drift", "The capture is too short to compare its parts.")
    text = f"From end to end of the capture the frequency changes by {measured.value:+.2f} ppm."
    source = f"{DRIFT_PPM:g} ppm: {PRACTICE}"
    settle = "a longer capture would"
    return against("clock.drift", measured, -DRIFT_PPM, DRIFT_PPM, text=text, source=source, settle=settle)
