"""Thresholds and what they tell apart, as text and as plain data (schema ``rastertap.thresholds/1``)."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Any

from rastertap.standards.colour_names import distinct_names

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy as np
    from numpy.typing import NDArray

    from rastertap.handover.distinct import Distinct
    from rastertap.handover.thresholds import Judged

SCHEMA = "rastertap.thresholds/1"
LISTED = 12
"""Pairs listed as text, the weakest first."""


@dataclass(frozen=True, eq=False)
class Result:
    """Axes, the colours with their codes, what thresholds make of them; of a more distinct set the same."""

    axes: tuple[str, ...]
    codes: NDArray[np.uint32]
    table: NDArray[np.uint8]
    judged: Judged
    better: Distinct | None = None
    again: Judged | None = None
    given: bool = False


def _marks(judged: Judged, axes: tuple[str, ...]) -> Iterator[str]:
    for axis, marks in zip(axes, judged.marks, strict=True):
        yield f"  {axis:<2}  " + (", ".join(f"{m + 0.0:.1f}" for m in marks) + " mV" if marks else "none")


def _told(judged: Judged, names: list[str]) -> Iterator[str]:
    pairs = judged.pairs
    yield f"  {judged.apart} of {len(pairs)} pairs are told apart by {judged.least:g} mV or more"
    if judged.weakest is not None:
        yield f"  the weakest of them by {judged.weakest:.1f} mV"
    for group in judged.alike:
        said = ", ".join(names[i] for i in group)
        yield textwrap.fill(
            f"cannot be told apart: {said}", 100, initial_indent="  ", subsequent_indent="    "
        )
    alike = {pair for group in judged.alike for pair in combinations(group, 2)}
    close = [p for p in pairs if p[0] < judged.least - 1e-9 and p[1:] not in alike]
    for margin, one, other in close[:LISTED]:
        yield f"  too close: {names[one]} and {names[other]}, {margin:.1f} mV"
    if len(close) > LISTED:
        yield f"  ... and {len(close) - LISTED} more pairs that are too close"


def thresholds_text(result: Result) -> str:
    """Give the thresholds, what they tell apart and what not, and the weakest pairs."""
    judged, names = result.judged, distinct_names(result.table)
    how = "the best there are" if judged.proven else "the best found in the time allowed"
    how = "as given" if result.given else how
    lines = [f"rastertap thresholds  {len(names)} colours, {' '.join(result.axes)}", ""]
    lines += [f"THRESHOLDS ({how})", *_marks(judged, result.axes), ""]
    lines += ["TOLD APART", *_told(judged, names), "", "WEAKEST PAIRS, mV"]
    good = [p for p in judged.pairs if p[0] >= judged.least - 1e-9]
    width = max(len(n) for n in names)
    lines += [f"  {m:6.1f}  {names[a]:<{width}}  {names[b]}" for m, a, b in good[:LISTED]]
    if result.better is not None and result.again is not None:
        lines += ["", *_distinct(result, names)]
    return "\n".join(lines) + "\n"


def _distinct(result: Result, names: list[str]) -> Iterator[str]:
    better, again = result.better, result.again
    if better is None or again is None:
        return
    yield "A MORE DISTINCT SET WITH THE SAME HUES"
    yield f"  smallest distance of a pair {better.before:.1f} mV before, {better.after:.1f} mV after"
    width = max(len(n) for n in names)
    for code, name, old, new in zip(result.codes, names, result.table, better.table, strict=True):
        changed = "" if (old == new).all() else f"  was #{bytes(old.tolist()).hex().upper()}"
        yield f"  {code:5d}  {name:<{width}}  #{bytes(new.tolist()).hex().upper()}{changed}"
    yield "  its thresholds:"
    yield from _marks(again, result.axes)
    yield from _told(again, names)


def _judged_data(judged: Judged, axes: tuple[str, ...], codes: NDArray[np.uint32]) -> dict[str, Any]:
    return {
        "thresholds_mv": dict(zip(axes, map(list, judged.marks), strict=True)),
        "proven_best": judged.proven,
        "least_mv": judged.least,
        "pairs": len(judged.pairs),
        "pairs_apart": judged.apart,
        "weakest_mv": judged.weakest,
        "cannot_be_told_apart": [[int(codes[i]) for i in group] for group in judged.alike],
        "margins_mv": [
            {"codes": [int(codes[a]), int(codes[b])], "margin": margin} for margin, a, b in judged.pairs
        ],
    }


def thresholds_document(result: Result) -> dict[str, Any]:
    """Give it as plain data, levels in millivolts."""
    from rastertap import __version__

    names = distinct_names(result.table)
    colours = [
        {"code": int(c), "name": n, "rgb": r.tolist(), "levels_mv": level.tolist()}
        for c, n, r, level in zip(result.codes, names, result.table, result.judged.levels, strict=True)
    ]
    data = {
        "schema": SCHEMA,
        "tool_version": __version__,
        "axes": list(result.axes),
        "colours": colours,
        **_judged_data(result.judged, result.axes, result.codes),
        "distinct": None,
    }
    if result.better is not None and result.again is not None:
        data["distinct"] = {
            "rgb": result.better.table.tolist(),
            "smallest_distance_before_mv": result.better.before,
            "smallest_distance_after_mv": result.better.after,
            **_judged_data(result.again, result.axes, result.codes),
        }
    return data
