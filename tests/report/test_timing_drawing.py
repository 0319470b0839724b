"""The timing's drawings, text and JSON: well-formed, escaped, readable without colour."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from rastertap.analyse import Analysis, Request, analyse
from rastertap.report.document import document, dumps
from rastertap.report.drawing.field_sync import field_sync_svg
from rastertap.report.drawing.line import line_svg
from rastertap.report.drawing.svg import COLOURS
from rastertap.report.timing_text import timing_text

from ..streams.sync_source import SyncSource  # noqa: TID252 - tests are no package

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = '<script>alert("1")</script>&\x1b[2J'


def analysed(source: SyncSource | None = None, *, name: str = "h", limits: str = "home-computer") -> Analysis:
    capture = (source or SyncSource()).capture()
    channels = tuple(replace(c, name=name) if c.name == "h" else c for c in capture.channels)
    return analyse(replace(capture, channels=channels), Request(limits=limits, timebase_ppm=0.0))


def luminance(colour: str) -> float:
    """Relative luminance of #rrggbb (WCAG 2.2, from memory)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("draw", [line_svg, field_sync_svg])
def test_a_drawing_is_well_formed_and_has_no_script(draw: object) -> None:
    svg = draw(analysed(name=HOSTILE.replace("\x1b", "")))  # type: ignore[operator]
    root = ET.fromstring(svg)  # noqa: S314 - made here
    assert root.tag == f"{SVG}svg"
    assert root.get("role") == "img"
    title, description = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None
    assert description is not None
    assert title.text
    assert description.text
    tags = {element.tag for element in root.iter()}
    assert not tags & {f"{SVG}script", f"{SVG}image", f"{SVG}foreignObject", f"{SVG}a"}
    assert "alert(" not in svg or "&lt;script" in svg
    assert "url(" not in svg


def test_everything_drawn_lies_within_the_drawing() -> None:
    for svg in (line_svg(analysed()), field_sync_svg(analysed())):
        root = ET.fromstring(svg)  # noqa: S314 - made here
        _, _, width, height = (float(v) for v in str(root.get("viewBox")).split())
        for element in root.iter():
            for names, most in ((("x", "x1", "x2"), width), (("y", "y1", "y2"), height)):
                for name in names:
                    assert 0 <= float(element.get(name, "0")) <= most


def test_a_value_out_of_limits_is_told_in_words_too() -> None:
    wide = SyncSource(width_ps=8_000_000)
    # Common practice makes it odd, a chosen standard (BT.1700: 4.7 +-0.1 us) wrong.
    assert "unusual: 3.5 .. 6.5 us" in line_svg(analysed(wide))
    assert "OUT: 4." in line_svg(analysed(wide, limits="625-studio"))


@pytest.mark.parametrize("theme", [0, 1])
def test_texts_stand_out_from_the_paper(theme: int) -> None:
    paper = luminance(COLOURS["paper"][theme])
    for name in ("ink", "faint", "good", "bad", "doubt"):
        ink = luminance(COLOURS[name][theme])
        high, low = max(paper, ink), min(paper, ink)
        assert (high + 0.05) / (low + 0.05) >= 4.5, name


def test_both_fields_of_an_interlaced_source_are_drawn() -> None:
    # Field syncs in the middle of every second line, fields of 312 and 313 lines in turn: 312.5 each.
    source = SyncSource(fields=5)
    capture = source.capture()
    vertical = capture.channels[1]
    late = vertical.ticks.copy()
    late[2::4] += 32_000
    late[3::4] += 32_000
    changed = replace(capture, channels=(capture.channels[0], replace(vertical, ticks=late)))
    made = analyse(changed, Request())
    assert made.evidence.sync is not None
    assert made.evidence.sync.interlaced
    svg = field_sync_svg(made)
    assert "begins with a line sync" in svg
    assert "begins half a line after a line sync" in svg


def test_the_text_names_the_timing_the_limits_and_the_events() -> None:
    text = timing_text(analysed(SyncSource(gone=frozenset({300}))))
    for words in (
        "312/50",
        "MEASURED against home-computer",
        "1 line sync missing: once in this capture",
        "WHAT FOLLOWS",
    ):
        assert words in text
    assert max(len(line) for line in text.splitlines()) <= 120


def test_the_text_lets_no_control_character_of_a_name_through() -> None:
    assert "\x1b" not in timing_text(analysed(name=HOSTILE))


def test_the_json_holds_every_interval_with_limit_and_source() -> None:
    timing = json.loads(dumps(document(analysed(SyncSource(gone=frozenset({300}))))))["timing"]
    rows = {row["quantity"]: row for row in timing["intervals"]}
    assert {"line_rate", "field_rate", "hsync_width", "vsync_width"} <= rows.keys()
    for row in rows.values():
        assert row["limit_low"] <= row["measured"] <= row["limit_high"]
        assert row["source"]
    assert timing["event_counts"]["missing"] == 1
    (event,) = timing["events"]
    assert (event["kind"], event["line"]) == ("missing", 200)
    assert timing["consequences"]
    # The design's own keys stay.
    assert {
        "standard",
        "interlaced",
        "lines_per_field",
        "line_rate_hz",
        "field_rate_hz",
        "hsync",
        "vsync",
    } <= timing.keys()


def test_without_sync_there_is_no_drawing_and_a_reason_in_the_text() -> None:
    capture = SyncSource().capture()
    made = analyse(replace(capture, channels=capture.channels[1:]), Request())
    assert line_svg(made) == ""
    assert field_sync_svg(made) == ""
    assert "No sync" in timing_text(made)
