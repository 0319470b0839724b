"""A board file's own limits: they replace those that a finding was held to."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from rastertap.checks.make import interval
from rastertap.measured import Measured, against_limits

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from rastertap.board.model import Board
    from rastertap.checks.interface import Finding

SOURCE = "board file, production limits"


def own_limits(findings: Iterable[Finding], board: Board | None) -> Iterator[Finding]:
    """Hold findings to the limits under ``[production.limits]``; what could not be measured fails.

    A board that is sold must not pass because a value that decides was not there.
    """
    from rastertap.checks.interface import Finding

    limits = dict(board.production.limits) if board is not None and board.production is not None else {}
    met = set()
    for finding in findings:
        if finding.id not in limits:
            yield finding
            continue
        met.add(finding.id)
        yield _held_to(finding, *limits[finding.id])
    for name in sorted(limits.keys() - met):
        text = "The board file sets a limit for this, but no check here gives it."
        yield Finding(name, "fail", text, limit=interval(*limits[name], ""), source=SOURCE)


def _held_to(finding: Finding, low: float, high: float) -> Finding:
    limit = interval(low, high, finding.unit)
    if finding.measured is None or isinstance(finding.measured, str):
        text = f"{finding.text} It has to be measured: the board file limits it."
        return replace(finding, result="fail", text=text, limit=limit, source=SOURCE)
    value = Measured(float(finding.measured), finding.uncertainty or 0.0, finding.unit)
    # What cannot be less than nothing is not too close to a limit of nothing.
    result = against_limits(value, float("-inf") if low == 0 <= value.value else low, high)
    text = f"{finding.text} The board file allows {limit}."
    return replace(finding, result=result, text=text, limit=limit, source=SOURCE)
