"""The page as people meet it: first screen, no scripts, print, zoom, dark, screen reader; hostile names."""

from __future__ import annotations

import gzip
import itertools
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

CAPTURES = Path(__file__).parents[2] / "captures"
NAMES = (
    "marlow85-50",
    "marlow85-60",
    "marlow85-50-shifted",
    "marlow85-50-clock-drops",
    "marlow85-50-lost-lines",
)
FAULTY = "marlow85-50-clock-drops"
HOSTILE = (
    "<script>window.hacked=1</script>",
    '"><img/src=x/onerror=window.hacked=1>',
    "</script><script>window.hacked=1</script>",
    "]]><svg/onload=window.hacked=1>",
    "javascript:window.hacked=1",
    "'onmouseover='window.hacked=1",
    "{{7*7}}{%set_x=1%}",
    "</title></style><b>",
    "<!--",
)
CONTRASTS = """() => {
  const light = (c) => { const v = c / 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
  const shine = ([r, g, b]) => 0.2126 * light(r) + 0.7152 * light(g) + 0.0722 * light(b);
  const parse = (text) => (text.match(/[\\d.]+/g) || []).map(Number);
  const behind = (e) => { for (; e; e = e.parentElement) {
    const c = parse(getComputedStyle(e).backgroundColor);
    if (c.length === 3 || c[3] === 1) return c; }
    return [255, 255, 255]; };
  const found = [];
  for (const e of document.querySelectorAll("body *")) {
    if (e.closest("svg, script, noscript") || !e.getClientRects().length) continue;
    if (![...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim())) continue;
    const [a, b] = [shine(parse(getComputedStyle(e).color)), shine(behind(e))].sort((x, y) => y - x);
    found.push([(a + 0.05) / (b + 0.05), e.tagName, e.textContent.trim().slice(0, 40)]);
  }
  return found;
}"""
"""Contrast of every text against what lies behind it, by WCAG 2 (relative luminance)."""
UNNAMED_DRAWINGS = """[...document.querySelectorAll("svg:not([aria-hidden])")].filter(
  (s) => !s.getAttribute("aria-label") && !s.querySelector("title")).map((s) => s.outerHTML.slice(0, 80))"""
BROKEN_LINKS = """[...document.querySelectorAll("a[href^='#']")].map((a) => a.getAttribute("href")).filter(
  (href) => !document.getElementById(href.slice(1)))"""
UNLABELLED_CONTROLS = """[...document.querySelectorAll("#viewer input, #viewer select")].filter(
  (c) => !c.labels.length).map((c) => c.id)"""
CUT_TEXTS = """[...document.querySelectorAll("h1, h2, h3, p, dd, li")].filter(
  (e) => e.clientWidth && !e.closest(".scroll, .spoken") && e.scrollWidth > e.clientWidth + 1).map(
  (e) => e.textContent)"""
INTRUDE = """() => {
  const add = (tag, values) => document.body.append(Object.assign(document.createElement(tag), values));
  add("script", { textContent: "window.hacked = 1" });
  add("img", { src: "http://127.0.0.1:9/x.png" });
  add("style", { textContent: "h1 { color: red }" });
}"""


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_logged_fetched_or_refused(
    page_of: Callable[..., Any], opened: Callable[..., Any], name: str
) -> None:
    sheet = opened(page_of(name))
    sheet.viewer()
    for key in ("r", "m", "m", "m", "PageDown", "+"):
        sheet.one("#canvas").press(key)
    assert sheet.all_troubles() == []


def test_the_policy_lets_no_other_script_run_and_no_style_in(
    page_of: Callable[..., Any], opened: Callable[..., Any]
) -> None:
    sheet = opened(page_of(FAULTY))
    sheet.viewer()
    sheet.page.evaluate(INTRUDE)
    sheet.page.wait_for_function("window.violations.length >= 3")
    assert sheet.page.evaluate("window.hacked") is None
    refused = {v.split()[0] for v in sheet.page.evaluate("window.violations")}
    assert refused == {"script-src-elem", "img-src", "style-src-elem"}


@pytest.mark.parametrize("name", NAMES)
def test_the_first_screen_says_what_where_and_what_next(
    page_of: Callable[..., Any], opened: Callable[..., Any], checked: Callable[..., Any], name: str
) -> None:
    sheet = opened(page_of(name))
    sheet.viewer()
    verdict = checked(name).document["verdict"]
    assert verdict["text"] in sheet.text("h1")
    assert sheet.one(".way li").count() == 5
    for selector in ("h1", ".way", "#canvas", ".next li >> nth=0", ".cautions"):
        box = sheet.one(selector).bounding_box()
        assert box["y"] + min(box["height"], 300) <= 900, selector
    assert sheet.text(".next li >> nth=0") == verdict["next"][0]
    assert sheet.one(".cautions li").count() == len(verdict["cautions"])


@pytest.mark.parametrize(
    ("name", "stage"),
    [
        ("marlow85-50-shifted", "Connector"),
        ("marlow85-50-clock-drops", "Clock source"),
        ("marlow85-50-lost-lines", "Video chip"),
    ],
)
def test_the_stage_at_fault_is_marked_in_words_and_by_a_sign(
    page_of: Callable[..., Any], opened: Callable[..., Any], name: str, stage: str
) -> None:
    sheet = opened(page_of(name))
    faulty = sheet.one(".stage.fault")
    assert faulty.count() == 1
    assert faulty.locator("h2").inner_text() == stage
    assert faulty.locator(".state").inner_text() == "fault here"
    assert faulty.locator("svg.sign").is_visible()


def test_without_scripts_everything_is_there_to_read(
    page_of: Callable[..., Any], opened: Callable[..., Any], checked: Callable[..., Any]
) -> None:
    sheet = opened(page_of(FAULTY), java_script_enabled=False)
    image = sheet.one("#still img")
    assert image.is_visible()
    assert "active area, 384 by 240 pixels" in image.get_attribute("alt")
    assert not sheet.one("#viewer").is_visible()
    for finding in checked(FAULTY).document["findings"]:
        assert finding["text"] in sheet.text(f"article[id='{finding['id']}']")
    assert sheet.one("#taps tbody tr").count() == 16
    assert sheet.one("#clock svg.plot").count() == 3
    assert sheet.troubles == []


def test_a_hostile_name_is_shown_and_never_run(
    page_of: Callable[..., Any], opened: Callable[..., Any], tmp_path: Path
) -> None:
    text = gzip.decompress((CAPTURES / f"{FAULTY}.vcd.gz").read_bytes())
    for number, name in enumerate(HOSTILE):
        before = f" D{number} $end".encode()
        assert text.count(before) == 1
        text = text.replace(before, f" {name} $end".encode())
    capture = tmp_path / "<img src=x onerror=window.hacked=1>.vcd"
    capture.write_bytes(text)
    sheet = opened(page_of(capture))
    sheet.viewer()
    shown = sheet.text("#taps")
    assert [name for name in HOSTILE if name not in shown] == []
    assert capture.name in sheet.text("header")
    sheet.page.mouse.move(300, 300)
    assert sheet.page.evaluate("window.hacked") is None
    assert sheet.page.locator("main img").count() == 1
    assert sheet.page.locator("script").count() == 3
    assert sheet.all_troubles() == []
    held = sheet.page.evaluate("JSON.parse(document.getElementById('result').textContent)")
    kept = [c["name"] for c in held["capture"]["channels"]]
    assert [name for name, whole in zip(HOSTILE, kept, strict=False) if not whole.endswith(name)] == []


def test_it_prints_on_paper_with_picture_and_findings(
    page_of: Callable[..., Any], opened: Callable[..., Any]
) -> None:
    sheet = opened(page_of(FAULTY))
    sheet.viewer()
    sheet.page.emulate_media(media="print")
    for selector in ("nav", ".controls", "#readout"):
        assert not sheet.one(selector).is_visible(), selector
    for selector in ("h1", "#canvas", ".next", ".cautions", "#taps table", "#clock svg.plot >> nth=0"):
        assert sheet.one(selector).is_visible(), selector
    assert sheet.page.pdf(format="A4").startswith(b"%PDF-")
    assert sheet.all_troubles() == []


def test_at_400_percent_nothing_is_lost(page_of: Callable[..., Any], opened: Callable[..., Any]) -> None:
    """1280 pixels wide at 400 % are 320 CSS pixels (WCAG 2.2, 1.4.10)."""
    sheet = opened(page_of(FAULTY), viewport={"width": 320, "height": 256}, device_scale_factor=4)
    canvas = sheet.viewer()
    assert sheet.page.evaluate("document.documentElement.scrollWidth") <= 320
    assert canvas.bounding_box()["width"] <= 320
    for selector in ("h1", ".stage >> nth=4", ".next", ".cautions", "#findings article >> nth=0", "#run dl"):
        box = sheet.one(selector).bounding_box()
        assert box["width"] > 100, selector
        assert box["x"] + box["width"] <= 320, selector
    assert sheet.page.evaluate(CUT_TEXTS) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_stands_out_from_its_ground(
    page_of: Callable[..., Any], opened: Callable[..., Any], scheme: str
) -> None:
    """4.5 : 1 (WCAG 2.2, 1.4.3)."""
    sheet = opened(page_of(FAULTY), color_scheme=scheme)
    sheet.viewer()
    found = sheet.page.evaluate(CONTRASTS)
    assert len(found) > 200
    assert [f for f in found if f[0] < 4.5] == []
    ground = sheet.page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert (ground == "rgb(23, 27, 30)") == (scheme == "dark")


def test_a_screen_reader_finds_its_way(page_of: Callable[..., Any], opened: Callable[..., Any]) -> None:
    sheet = opened(page_of(FAULTY))
    sheet.viewer()
    evaluate = sheet.page.evaluate
    for landmark in ("header", "nav", "main", "footer"):
        assert sheet.one(landmark).count() == 1, landmark
    levels = evaluate("[...document.querySelectorAll('h1, h2, h3')].map((h) => +h.tagName[1])")
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
    assert evaluate("document.querySelectorAll('th:not([scope])').length") == 0
    assert evaluate("document.querySelectorAll('img:not([alt])').length") == 0
    assert evaluate(UNNAMED_DRAWINGS) == []
    ids = evaluate("[...document.querySelectorAll('[id]')].map((e) => e.id)")
    assert len(ids) == len(set(ids))
    assert evaluate(BROKEN_LINKS) == []
    assert evaluate(UNLABELLED_CONTROLS) == []


def test_every_control_is_reached_by_tab(page_of: Callable[..., Any], opened: Callable[..., Any]) -> None:
    sheet = opened(page_of(FAULTY))
    sheet.viewer()
    reached = []
    for _ in range(24):
        sheet.page.keyboard.press("Tab")
        reached.append(sheet.page.evaluate("document.activeElement.id || document.activeElement.className"))
    assert reached[0] == "skip"
    wanted = ["field", "part", "overlay", "smaller", "larger"]
    assert [r for r in reached if r in wanted] == wanted
    assert "canvas" in reached


def test_a_capture_without_a_picture_says_why(
    page_of: Callable[..., Any], opened: Callable[..., Any], tmp_path: Path
) -> None:
    capture = tmp_path / "slow.vcd"
    changes = "".join(f"#{t}\n{t // 1000 % 2}!\n" for t in range(0, 400_000, 1000))
    capture.write_text(
        f"$timescale 1 ns $end\n$var wire 1 ! only $end\n$enddefinitions $end\n#0\n0!\n{changes}"
    )
    sheet = opened(page_of(capture))
    assert sheet.text("#picture .note").startswith("No picture: ")
    assert sheet.one("#taps tbody tr").count() == 1
    assert sheet.one("#clock .note").count() >= 1
    assert sheet.all_troubles() == []


@pytest.mark.parametrize(("name", "first"), [("marlow85-50-shifted", True), ("marlow85-50", False)])
def test_the_wiring_is_drawn_once_and_on_the_first_screen_when_it_is_at_fault(
    page_of: Callable[..., Any], opened: Callable[..., Any], name: str, *, first: bool
) -> None:
    sheet = opened(page_of(name))
    titled = ".drawing:has(svg title:text('Which signal arrives at which channel'))"
    assert sheet.one(titled).count() == 1
    assert sheet.one(f".first {titled}").count() == int(first)
    assert sheet.one(f"#taps {titled}").count() == int(not first)
    slanted = sheet.page.evaluate(
        """() => [...document.querySelectorAll("svg.rt line.bad")].filter(
        (l) => Math.abs(l.y1.baseVal.value - l.y2.baseVal.value) > 1
        && l.x2.baseVal.value - l.x1.baseVal.value > 50).length"""
    )
    assert slanted == (8 if first else 0)
