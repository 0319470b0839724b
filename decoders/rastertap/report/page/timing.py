"""The line and the field sync, drawn by `rastertap.report.drawing`, fitted into the page."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from markupsafe import Markup

from rastertap.report.drawing.field_sync import field_sync_svg
from rastertap.report.drawing.line import line_svg
from rastertap.report.page.svg import Figure

if TYPE_CHECKING:
    from rastertap.analyse import Analysis

STYLE = re.compile(r"<style>(.*?)</style>\n?", re.DOTALL)
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


def timing_figures(analysis: Analysis) -> tuple[list[Figure | str], str]:
    """Give the drawings, or why they are not there, and the style rules that they need.

    The page has one style element, which its policy names by checksum; so the drawings bring none.
    """
    if analysis.evidence.sync is None:
        return [f"No sync: {analysis.evidence.missing.get('sync', 'not found')}."], ""
    found: list[Figure | str] = []
    rules = ""
    for draw, title, caption, missing in DRAWINGS:
        drawing = draw(analysis)
        if style := STYLE.search(drawing):
            rules = style[1]
        bare = Markup(STYLE.sub("", drawing))  # noqa: S704 - drawing escapes every text
        found.append(Figure(title, bare, caption) if drawing else missing)
    return found, rules
