"""Whether the capture itself is good enough to judge by."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from rastertap.checks.interface import CONTRACT, Evidence, Finding
from rastertap.checks.make import PRACTICE, not_measured
from rastertap.printable import plural

if TYPE_CHECKING:
    from collections.abc import Iterator

NEEDED_FIELDS = 1
LONGEST_FIELD_S = 0.025
"""A field of a 50 or 60 Hz source is shorter than this, so a capture of twice that must hold a whole one."""


class CaptureCheck:
    """Truncation, length, unknown levels."""

    name: ClassVar[str] = "capture"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = "whether the capture is whole, long enough, and of known levels"

    def run(self, evidence: Evidence) -> Iterator[Finding]:
        """Give the three findings."""
        yield _truncated(evidence)
        yield _too_short(evidence)
        yield _unknown(evidence)


def _truncated(evidence: Evidence) -> Finding:
    cut = evidence.capture.truncated
    if cut:
        return Finding(
            "capture.truncated", "warn", f"The file is cut short: {cut}. All before the cut was analysed."
        )
    return Finding("capture.truncated", "pass", "The file is whole.")


def _too_short(evidence: Evidence) -> Finding:
    sync, span = evidence.sync, evidence.capture.span_s
    whole = max(0, sync.fields.starts.size - 1) if sync is not None else 0
    if not whole and span > 2 * LONGEST_FIELD_S:
        lacking = "two field syncs" if sync is not None else "sync"
        text = f"Without {lacking} the fields in the capture cannot be counted; at {span * 1e3:.3g} ms it is"
        return not_measured("capture.too_short", f"{text} long enough to hold one.")
    text = f"{plural(whole, 'complete field')} in {span * 1e3:.3g} ms."
    if whole >= NEEDED_FIELDS:
        return Finding(
            "capture.too_short", "pass", text, whole, 0.0, f"at least {NEEDED_FIELDS}", "fields", PRACTICE
        )
    enough = f"{2 * LONGEST_FIELD_S * 1e3:.0f} ms"
    text += f" Record at least {enough}, so that a whole field is in it wherever it starts."
    return Finding(
        "capture.too_short", "warn", text, whole, 0.0, f"at least {NEEDED_FIELDS}", "fields", PRACTICE
    )


def _unknown(evidence: Evidence) -> Finding:
    used = {p.channel for p in evidence.pins if p.role != "other"}
    counts = {name: len(times) for name, times in evidence.unknown.items() if name in used}
    times = sorted(t for name in counts for t in evidence.unknown[name])
    if not counts:
        return Finding(
            "capture.unknown_levels", "pass", "No channel in use goes to an unknown level (x or z)."
        )
    listed = ", ".join(f"{name} ({plural(n, 'time')})" for name, n in counts.items())
    text = f"Unknown levels (x or z) on {listed}: read as the level before."
    return Finding(
        "capture.unknown_levels",
        "warn",
        text,
        sum(counts.values()),
        0.0,
        "0",
        "",
        PRACTICE,
        evidence.at_s(times),
    )
