"""A comparison as text and as plain data (schema ``rastertap.compare/1``)."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from rastertap import __version__
from rastertap.printable import printable
from rastertap.report.text import wrapped

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap.compare import Comparison, Row, Value

SCHEMA = "rastertap.compare/1"
GROUPS = ("taps", "clock", "timing", "picture", "findings")


def compare_text(comparison: Comparison, width: int = 100) -> str:
    """Give what differs first, then every quantity of both captures."""
    good, this = comparison.good.capture.label, comparison.this.capture.label
    lines = [f"rastertap compare  {printable(good)}  {printable(this)}", "", "WHAT DIFFERS"]
    if not comparison.differing:
        lines.append("  Nothing, as far as both could be measured.")
    lines += [wrapped(_told(row), width, "  * ", "    ") for row in comparison.differing]
    for group in GROUPS:
        rows = [r for r in comparison.rows if r.group == group]
        if rows and group != "findings":
            lines += ["", group.upper(), *_table(rows, width)]
    return "\n".join(lines) + "\n"


def _told(row: Row) -> str:
    """Say in a sentence how something differs."""
    if row.group == "findings":
        return f"{row.name}: {row.good} in the good capture, {row.this} in this one. {row.text}"
    if row.name == "wiring":
        return f"wiring: {row.this} ({row.text})" if row.text else f"wiring: {row.this}"
    text = f"{row.name}: {_value(row.good, row)} in the good capture, {_value(row.this, row)} in this one"
    if row.uncertainty is not None and isinstance(row.good, float) and isinstance(row.this, float):
        text += f": {row.this - row.good:+.4g} {row.unit}, {_times(row)} times its uncertainty"
    return f"{text} ({row.text})" if row.text else text


def _times(row: Row) -> str:
    if not row.uncertainty or not isinstance(row.good, float) or not isinstance(row.this, float):
        return "many"
    return f"{min(abs(row.this - row.good) / row.uncertainty, 1e6):.3g}"


def _value(value: Value, row: Row) -> str:
    if value is None:
        return "not measured"
    text = f"{value:.8g}" if isinstance(value, float) else str(value)
    return f"{text} {row.unit}".strip()


def _table(rows: list[Row], width: int) -> Iterator[str]:
    cells = [
        (
            {True: "DIFFERS", False: "same", None: "-"}[r.differs],
            r.name,
            _value(r.good, r),
            _value(r.this, r),
            "" if r.uncertainty is None else f"+-{2 * r.uncertainty:.2g}",
        )
        for r in rows
    ]
    head = ("", "", "good", "this", "uncertainty of the difference")
    sizes = [max(len(c[i]) for c in [head, *cells]) for i in range(len(head))]
    if sum(sizes) + 2 * len(sizes) > width:
        sizes[3] = min(sizes[3], 24)
    for cell in [head, *cells]:
        yield ("  " + "  ".join(printable(c).ljust(s) for c, s in zip(cell, sizes, strict=True))).rstrip()


def compare_data(comparison: Comparison) -> dict[str, Any]:
    """Give the comparison as plain data."""
    return {
        "schema": SCHEMA,
        "tool_version": __version__,
        "good": {"path": comparison.good.capture.label, "sha256": comparison.good.capture.sha256},
        "this": {"path": comparison.this.capture.label, "sha256": comparison.this.capture.sha256},
        "differs": bool(comparison.differing),
        "rows": [asdict(r) for r in comparison.rows],
    }
