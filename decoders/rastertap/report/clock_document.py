"""The clock and the sampling point as plain data, for the JSON result."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rastertap.checks.clock import frequency_hz, rates_of
from rastertap.checks.clock_words import rate_name
from rastertap.standards.clocks import origins

if TYPE_CHECKING:
    from rastertap.analyse import Analysis
    from rastertap.measured import Measured
    from rastertap.streams.clock_events import Events
    from rastertap.streams.clock_places import Placed
    from rastertap.streams.clock_record import ClockRecord

EDGE_BY_PHASE = (0.25, 0.75)
"""A sampling phase between these is nearer to the falling edge of an even clock."""
MOST_LISTED = 100
"""Events of a kind listed one by one; their count is given in full."""


def clock_section(analysis: Analysis) -> dict[str, Any]:
    """Give the clock: frequency, jitter, events, where they fall, and what else is known of it."""
    evidence = analysis.evidence
    clock, tick = evidence.pixel_clock, float(analysis.capture.tick)
    if clock is None:
        return {"source": "none", "why": evidence.missing.get("pixel_clock", "not found")}
    frequency = frequency_hz(clock, tick)
    board = analysis.request.board
    stated = board.timing.pixel_clock_hz if board is not None else None
    nominal = float(stated) if stated is not None else None
    likely = origins(frequency.value)
    record = clock.record
    return {
        "source": clock.source,
        "channel": clock.channel,
        "edge": _edge(analysis),
        "frequency_hz": frequency.value,
        "uncertainty_hz": frequency.with_timebase(evidence.timebase_ppm).uncertainty,
        "step_uncertainty_hz": frequency.uncertainty,
        "nominal_hz": nominal,
        "offset_ppm": (frequency.value / nominal - 1) * 1e6 if nominal else None,
        "likely_origins": [
            {"text": o.text, "hz": str(o.hz), "offset_ppm": o.offset_ppm, "source": o.master.source}
            for o in likely[:3]
        ],
        "period_jitter_rms_s": _scaled(clock.period_jitter, tick),
        "cycle_jitter_rms_s": _scaled(clock.cycle_jitter, tick),
        "jitter_uncertainty_s": clock.period_jitter.uncertainty * tick if clock.period_jitter else None,
        "duty": clock.duty.value if clock.duty else None,
        "missing_cycles": record.events.missing if record else 0,
        "extra_edges": record.events.extra.count if record else 0,
        "phase_jumps": record.events.jumps.count if record else 0,
        "measured": _measured(analysis, record, frequency.value) if record else None,
        "recovered": _recovered(analysis),
        "related": _related(analysis),
    }


def _edge(analysis: Analysis) -> str | None:
    bus = analysis.evidence.colour_bus
    if bus is None:
        return None
    return "falling" if EDGE_BY_PHASE[0] <= bus.sampling.phase < EDGE_BY_PHASE[1] else "rising"


def _scaled(value: Measured | None, scale: float) -> float | None:
    return value.value * scale if value is not None else None


def _measured(analysis: Analysis, record: ClockRecord, hz: float) -> dict[str, Any]:
    """Give what only a tapped clock shows."""
    tick = record.tick_s
    events, places = record.events, analysis.evidence.streams.get("clock_places")
    line = record.line
    return {
        "edge_scatter_rms_s": record.jitter.edge * tick,
        "period_walk_rms_s": record.jitter.walk * tick,
        "time_interval_error_rms_s": record.tie_rms.value * tick,
        "drift_ppm": record.drift.value if record.drift else None,
        "drift_uncertainty_ppm": record.drift.uncertainty if record.drift else None,
        "allan_deviation": [
            {"averaging_s": t, "deviation": value, "step_alone": floor} for t, value, floor in record.allan()
        ],
        "spectral_line": None
        if line is None
        else {
            "hz": line.frequency * hz,
            "resolution_hz": line.resolution * hz,
            "amplitude_s": line.amplitude * tick,
            "name": rate_name(line, hz, rates_of(analysis.evidence)),
        },
        "gaps": _events(analysis, events.gaps, places.gaps if places else None, events.gaps_seen_by),
        "extra": _events(analysis, events.extra, places.extra if places else None, events.extra_seen_by),
        "jumps": _events(analysis, events.jumps, places.jumps if places else None, "unknown"),
    }


def _events(analysis: Analysis, events: Events, placed: Placed | None, seen_by: str) -> dict[str, Any]:
    listed = []
    for n in range(min(events.at.size, MOST_LISTED)):
        one: dict[str, Any] = {
            "at_s": analysis.capture.seconds(float(events.at[n])),
            "size": float(events.size[n]),
        }
        if placed is not None and n < placed.at.size:
            one |= {"line": int(placed.line[n]), "pixel": float(placed.pixel[n])}
        listed.append(one)
    repeats = placed.repeats if placed is not None else None
    every = placed.every if placed is not None else 0
    return {
        "count": events.count,
        "seen_by": seen_by,
        "repeats": repeats,
        "every_cycles": every or None,
        "list": listed,
    }


def _recovered(analysis: Analysis) -> dict[str, Any] | None:
    clock = analysis.evidence.pixel_clock
    if clock is None or clock.recovered is None:
        return None
    told = clock.recovered
    return {
        "kind": told.kind,
        "agreement": told.agreement,
        "lines": told.lines,
        "spread_rms_s": told.spread * float(analysis.capture.tick),
        "why_not_tapped": told.why,
    }


def _related(analysis: Analysis) -> list[dict[str, Any]]:
    """Ratios to the other clocks and to the line rate."""
    ratios = analysis.evidence.streams.get("clock_ratios")
    if ratios is None:
        return []
    return [
        {
            "name": r.name,
            "ratio": r.ratio.value,
            "uncertainty": r.ratio.uncertainty,
            "nearest": str(r.nearest) if r.nearest is not None else None,
            "locked": r.locked,
        }
        for r in ratios.ratios
    ]


def sampling_section(analysis: Analysis) -> dict[str, Any] | None:
    """Give where in the pixel the bus is read, and when each bit changes."""
    bus, tick = analysis.evidence.colour_bus, float(analysis.capture.tick)
    if bus is None:
        return None
    point = bus.sampling
    return {
        "phase": point.phase,
        "delay_s": point.delay * tick,
        "margin_before_s": point.margin_before.value * tick,
        "margin_after_s": point.margin_after.value * tick,
        "margin_uncertainty_s": point.margin_after.uncertainty * tick,
        "stray_changes": point.stray,
        "cycles_per_pixel": point.cycles_per_pixel,
        "pixels_per_cycle": point.pixels_per_cycle,
        "bits": [
            {
                "channel": b.channel,
                "changes": b.count,
                "delay_s": b.mean * tick if b.count else None,
                "spread_rms_s": b.spread * tick if b.count else None,
            }
            for b in point.bits
        ],
    }
