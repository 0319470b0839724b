"""The timing section's further keys: every interval with its limit, events, consequences."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rastertap.checks.consequences import colour_system, consequences
from rastertap.checks.timing_rows import Row, limits_of, rows
from rastertap.streams.model import EVENT_KINDS

if TYPE_CHECKING:
    from rastertap.checks.interface import Evidence
    from rastertap.streams.model import Sync


def timing_details(evidence: Evidence) -> dict[str, Any]:
    """Give what the timing section holds beside the keys of the design, as plain data."""
    sync = evidence.sync
    if sync is None:
        return {}
    found = sync.intervals
    return {
        "limits": evidence.limits,
        "composite_style": found.style,
        "porches_from": found.window or None,
        "colour_system": colour_system(evidence) or None,
        "intervals": [_row(row) for row in rows(evidence, sync, limits_of(evidence))],
        "event_counts": {kind: sync.events.count(kind) for kind in EVENT_KINDS},
        "events": _events(evidence, sync),
        "protection_errors": sync.protection_errors if sync.kind == "embedded" else None,
        "consequences": consequences(evidence),
    }


def _row(row: Row) -> dict[str, Any]:
    limit = row.limit
    return {
        "quantity": row.key,
        "title": row.title,
        "unit": row.measured.unit,
        "measured": row.measured.value,
        "uncertainty": row.measured.uncertainty,
        "low_seen": row.low,
        "high_seen": row.high,
        "count": row.count,
        "result": row.result,
        "nominal": limit.value if limit is not None else None,
        "limit_low": limit.low if limit is not None else None,
        "limit_high": limit.high if limit is not None else None,
        "source": limit.source if limit is not None else None,
        "trust": limit.trust if limit is not None else None,
    }


def _events(evidence: Evidence, sync: Sync) -> list[dict[str, Any]]:
    """Give the events kept: the first of each kind."""
    tick, events = float(evidence.capture.tick), sync.events
    return [
        {
            "kind": EVENT_KINDS[kind],
            "at_s": evidence.capture.seconds(float(time)),
            "line": int(line) if line >= 0 else None,
            "place": float(place),
            "extent_s": float(extent) * tick,
        }
        for kind, time, line, place, extent in zip(
            events.kind, events.times, events.lines, events.places, events.extents, strict=True
        )
    ]
