"""The findings as the page lists them: worst first, each with its value, limit, meaning and places."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rastertap.report.meanings import meaning
from rastertap.report.page.quantity import milliseconds, quantity
from rastertap.report.page.way import NAMES, stage_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rastertap.checks.interface import Finding, Result
    from rastertap.report.page.places import Places, Spot

WORST_FIRST: tuple[Result, ...] = ("fail", "warn", "pass", "not_measured")
WORDS: dict[Result, str] = {
    "fail": "fault",
    "warn": "look",
    "pass": "in limits",
    "not_measured": "not measured",
}


@dataclass(frozen=True)
class Where:
    """One time at which it happened, in words, and its place in the picture when it has one."""

    time: str
    words: str
    spot: Spot | None


@dataclass(frozen=True)
class Row:
    """One finding."""

    id: str
    result: Result
    word: str
    stage: str
    text: str
    measured: str
    limit: str
    source: str
    meaning: str
    where: tuple[Where, ...]
    because: bool


def rows(findings: Sequence[Finding], because: Sequence[str], places: Places | None) -> list[Row]:
    """Give all findings, the worst first; ``because``: those that the verdict rests on."""
    ordered = sorted(findings, key=lambda f: (WORST_FIRST.index(f.result), f.id not in because))
    return [_row(f, because, places) for f in ordered]


def _row(finding: Finding, because: Sequence[str], places: Places | None) -> Row:
    stage = stage_of(finding.id)
    return Row(
        finding.id,
        finding.result,
        WORDS[finding.result],
        NAMES[stage] if stage is not None else "The recording",
        finding.text,
        quantity(finding.measured, finding.uncertainty, finding.unit),
        finding.limit,
        finding.source,
        meaning(finding.id),
        tuple(_where(second, places) for second in finding.at_s),
        finding.id in because,
    )


def _where(second: float, places: Places | None) -> Where:
    spot = places.at_second(second) if places is not None else None
    if spot is None:
        return Where(milliseconds(second), "", None)
    kept = "" if spot.kept else " (a field not kept here)"
    return Where(
        milliseconds(second), f"field {spot.field}, line {spot.line}, pixel {spot.pixel}{kept}", spot
    )
