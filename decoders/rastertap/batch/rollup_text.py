"""The roll-up as text and as a page."""

from __future__ import annotations

from importlib import resources
from typing import TYPE_CHECKING, Any

from rastertap.batch.rollup import MOST_NAMED, RESULTS, document
from rastertap.printable import printable
from rastertap.report.text import PLACES, wrapped

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap.batch.rollup import Rollup, Spread

WORDS = {
    "pass": "passed",
    "look": "to look at (too near a limit, or not enough measured)",
    "fail": "out of limits",
    "unreadable": "unreadable",
    "error": "met a bug in rastertap",
    "crashed": "killed their worker",
}


def rollup_text(rollup: Rollup, width: int = 100) -> str:
    """Give the roll-up for a terminal."""
    return "\n".join(_lines(rollup, width)) + "\n"


def _lines(rollup: Rollup, width: int) -> Iterator[str]:
    total = rollup.total
    yield f"{total} captures"
    yield from (f"  {n:>8}  {n / total:6.1%}  {WORDS[r]}" for r in RESULTS if (n := rollup.results[r]))
    for title, counts in (("OUT OF LIMITS", rollup.faults), ("TO LOOK AT", rollup.looks)):
        if counts:
            yield from ("", title)
            rows = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
            yield from (f"  {n:>8}  {n / total:6.1%}  {printable(name)}" for name, n in rows)
    if rollup.places:
        yield from ("", "WHERE THE EVIDENCE POINTS")
        yield from (
            f"  {n:>8}  {n / total:6.1%}  {PLACES.get(p, p)}"  # type: ignore[call-overload]
            for p, n in rollup.places.most_common()
        )
    yield from _values(rollup, width)
    if rollup.named:
        yield from ("", "NOT PASSED")
        for row in rollup.named:
            yield wrapped(f"{name_of(row)}: {row['text']}", width, f"  {row['result']:<11} ")
        left = total - rollup.results["pass"] - len(rollup.named)
        if left > 0:
            yield f"  ... {left} more than the {MOST_NAMED} listed; all are in rows.jsonl"


def name_of(row: dict[str, Any]) -> str:
    """Give serial number and file of a capture, safe to print."""
    serial = f"{row['serial']}  " if row["serial"] else ""
    return printable(f"{serial}{row['path']}")


def _values(rollup: Rollup, width: int) -> Iterator[str]:
    if not rollup.values:
        return
    yield from (
        "",
        "MEASURED",
        f"  {'':<26} {'mean':>13} {'deviation':>11} {'lowest':>13} {'highest':>13}  limit",
    )
    for name, spread in sorted(rollup.values.items()):
        if spread.low == spread.high == 0:
            continue  # a count of what was never found
        deviation = "-" if spread.deviation is None else f"{spread.deviation:.4g}"
        numbers = f"{spread.mean:>13.8g} {deviation:>11} {spread.low:>13.8g} {spread.high:>13.8g}"
        yield wrapped(limit_words(spread), max(width, 120), f"  {printable(name):<26} {numbers}  ")
    drifting = [(n, s) for n, s in sorted(rollup.values.items()) if s.drifts]
    if any(s.drift for s in rollup.values.values()):
        yield from ("", "DRIFT OVER SERIAL NUMBERS")
        yield from (wrapped(f"{printable(n)}: {drift_words(s)}", width, "  ") for n, s in drifting)
        if not drifting:
            yield "  none: no slope is more than three times its uncertainty"


def limit_words(spread: Spread) -> str:
    """Give the limits that the captures were held to."""
    usual = next((printable(text) for text, _ in spread.limits.most_common() if text), "")
    if not usual:
        return f"none, in {spread.unit}" if spread.unit else "none"
    others = len(spread.limits) - 1
    return f"{usual}, mostly ({others + 1} limits)" if others else usual


def drift_words(spread: Spread) -> str:
    """Say how a quantity drifts."""
    if spread.drift is None:
        return ""
    slope, error = spread.drift
    return f"{1000 * slope:+.4g} +-{2000 * error:.2g} {spread.unit} in 1000 serial numbers".replace("  ", " ")


def rollup_page(rollup: Rollup) -> str:
    """Give the roll-up as a page that needs nothing else."""
    from rastertap.report.page.build import policy_and_assets, templates

    text = resources.files(__package__).joinpath("rollup.html.j2").read_text(encoding="utf-8")
    policy, style, _ = policy_and_assets("history.js")
    return templates().from_string(text).render(
        policy=policy,
        style=style,
        data=document(rollup),
        words=WORDS,
        places=PLACES,
        values=[(n, s, limit_words(s), drift_words(s)) for n, s in sorted(rollup.values.items())],
        left=rollup.total - rollup.results["pass"] - len(rollup.named),
    )  # fmt: skip
