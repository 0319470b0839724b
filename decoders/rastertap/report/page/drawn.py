"""The wiring, the line and the field sync, drawn by `rastertap.report.drawing`, fitted into the page."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from markupsafe import Markup

from rastertap.report.drawing.field_sync import field_sync_svg
from rastertap.report.drawing.line import line_svg
from rastertap.report.drawing.wiring import wiring_svg
from rastertap.report.page.svg import Figure

if TYPE_CHECKING:
    from rastertap.analyse import Analysis

STYLE = re.compile(r"<style>.*?</style>\n?", re.DOTALL)
"""The page has one style element, which its policy names by checksum; so the drawings bring none."""
DRAWINGS = (
    (
        line_svg,
        "Line",
        "Each interval with its permitted band; the mark is the measured value.",
        "No line to draw.",
    ),
    (
        field_sync_svg,
        "Field sync",
        "The levels as recorded, lines counted from the field sync's leading edge.",
        "No whole field sync in what is held of the capture.",
    ),
)


def timing_figures(analysis: Analysis) -> list[Figure | str]:
    """Give the drawings of line and field, or why they are not there."""
    if analysis.evidence.sync is None:
        return [f"No sync: {analysis.evidence.missing.get('sync', 'not found')}."]
    return [_figure(draw(analysis), title, caption, missing) for draw, title, caption, missing in DRAWINGS]


def wiring_figure(analysis: Analysis) -> Figure | str:
    """Give the drawing of the wiring, or why it is not there."""
    return _figure(
        wiring_svg(analysis),
        "Which signal arrives where",
        "On the left what each position is for, by the board file; on the right what the capture shows there."
        " A slanted line is a signal that arrives in a wrong place.",
        "A board file with a pin map would say what each channel is for: `rastertap board new` makes one.",
    )


def _figure(drawing: str, title: str, caption: str, missing: str) -> Figure | str:
    if not drawing:
        return missing
    return Figure(title, Markup(STYLE.sub("", drawing)), caption)  # noqa: S704 - drawing escapes every text
