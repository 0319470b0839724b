"""The page as text: same bytes, small, sealed by its policy, with what it packs as the bench made it."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import zlib
from dataclasses import replace
from html.parser import HTMLParser
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from rastertap.frames.model import Area
from rastertap.plugins import Plugin
from rastertap.report.page.build import page, script_json

if TYPE_CHECKING:
    from collections.abc import Callable

    from rastertap.analyse import Analysis

GOOD = "marlow85-50"
NAMES = (GOOD, "marlow85-60", "marlow85-50-shifted", "marlow85-50-clock-drops", "marlow85-50-lost-lines")


class Elements(HTMLParser):
    """What stands in each element of a kind, by an independent parser."""

    def __init__(self, text: str, *kinds: str) -> None:
        super().__init__(convert_charrefs=True)
        self._kinds, self._open = kinds, False
        self.held: list[tuple[dict[str, str | None], str]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in self._kinds:
            self.held.append((dict(attrs), ""))
            self._open = True

    def handle_data(self, data: str) -> None:
        if self._open:
            self.held[-1] = (self.held[-1][0], self.held[-1][1] + data)

    def handle_endtag(self, tag: str) -> None:
        self._open = self._open and tag not in self._kinds


def unpacked(text: str, kind: str) -> np.ndarray:
    return np.frombuffer(zlib.decompress(base64.b64decode(text)), kind)


def viewer_of(text: str) -> dict[str, Any]:
    held = [t for a, t in Elements(text, "script").held if a.get("id") == "fields-data"]
    return json.loads(held[0])


@pytest.mark.parametrize("name", NAMES)
def test_the_page_of_a_demo_capture_is_small_and_always_the_same(
    checked: Callable[..., Any], name: str
) -> None:
    text = page(checked(name).analysis)
    assert text == page(checked(name).analysis)
    assert len(text.encode()) < 500_000


def test_the_policy_names_exactly_the_style_and_the_script_that_are_there(
    checked: Callable[..., Any],
) -> None:
    text = page(checked(GOOD).analysis)
    metas = Elements(text, "meta").held
    policy = next(a["content"] for a, _ in metas if a.get("http-equiv") == "Content-Security-Policy")
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules.pop("default-src") == "'none'"
    for kind in ("style", "script"):
        run = [t for a, t in Elements(text, kind).held if a.get("type") != "application/json"]
        sums = [base64.b64encode(hashlib.sha256(t.encode()).digest()).decode() for t in run]
        assert [f"'sha256-{s}'" for s in sums] == [rules.pop(f"{kind}-src")]
    assert rules == {"img-src": "data:", "base-uri": "'none'", "form-action": "'none'"}


@pytest.mark.parametrize("name", NAMES)
def test_nothing_in_the_page_leads_to_a_network(checked: Callable[..., Any], name: str) -> None:
    text = page(checked(name).analysis)
    without_spaces = text.replace("http://www.w3.org/2000/svg", "")
    assert re.findall(r"https?://|url\(|@import|\son\w+=|\sstyle=", without_spaces) == []


@pytest.mark.parametrize("name", [GOOD, "marlow85-60"])
def test_the_packed_fields_are_the_pictures_that_the_bench_made(
    checked: Callable[..., Any], name: str
) -> None:
    data = viewer_of(page(checked(name).analysis))
    codes = unpacked(data["table"]["codes"], "<u4")
    truth = checked(name).pictures[0]
    whole = [f for f in data["fields"] if f["complete"]]
    assert whole
    for field in whole:
        raster = codes[unpacked(field["codes"], "u1")].reshape(field["height"], field["width"])
        x, y, width, height = field["area"]
        assert np.array_equal(raster[y : y + height, x : x + width], truth)
        rows = unpacked(field["rows"], "<f8")
        assert np.allclose(
            np.diff(rows), 1 / float(checked(name).document["timing"]["line_rate_hz"]), atol=2e-8
        )


def test_the_result_in_the_page_is_that_of_the_json(checked: Callable[..., Any]) -> None:
    text = page(checked(GOOD).analysis)
    held = [t for a, t in Elements(text, "script").held if a.get("id") == "result"]
    assert json.loads(held[0]) == json.loads(json.dumps(checked(GOOD).document))


def test_json_in_a_script_cannot_end_it() -> None:
    value = {"name": "</script><!--<script> & \u2028\u2029"}
    text = script_json(value)
    assert not set("<>&\u2028\u2029") & set(text)
    assert json.loads(text) == value


@pytest.mark.parametrize("name", NAMES)
def test_every_finding_has_its_meaning_limit_and_source(checked: Callable[..., Any], name: str) -> None:
    text = page(checked(name).analysis)
    for finding in checked(name).document["findings"]:
        article = text.partition(f'id="{finding["id"]}"')[2].partition("</article>")[0]
        wrong = finding["result"] in {"fail", "warn"}
        assert f"<dt>{'at the bench' if wrong else 'what it is about'}</dt>" in article, finding["id"]
        if finding["limit"]:
            assert "<dt>limit</dt>" in article
        if finding["source"]:
            assert "<dt>source</dt>" in article
        if finding["measured"] is not None:
            assert "<dt>measured</dt>" in article


def noisy(analysis: Analysis, fields: int, *, enlarged: int = 1, bits: int = 4) -> Analysis:
    """The same capture with fields of pure noise: nothing is harder to pack."""
    streams = analysis.evidence.streams
    frames = streams["frames"]
    chance = np.random.default_rng(9)
    first = frames.complete[0]
    shape = tuple(enlarged * n for n in first.codes.shape)
    kind = np.min_scalar_type((1 << bits) - 1)
    made = [
        replace(
            first,
            index=i,
            codes=chance.integers(0, 1 << bits, shape, kind),
            unsure=chance.random(shape) < (0.5 if i == fields - 1 else 0.1),
        )
        for i in range(fields)
    ]
    notes = tuple(replace(frames.notes[1], index=i) for i in range(fields))
    whole = {kind: Area(0, 0, shape[1], shape[0]) for kind in frames.areas}
    areas = frames.areas if enlarged == 1 else whole
    those = {"frames": replace(frames, frames=tuple(made), notes=notes, areas=areas)}
    return replace(analysis, evidence=replace(analysis.evidence, streams={**streams, **those}))


def test_noise_keeps_within_the_size_and_the_first_and_the_worst_are_kept(
    checked: Callable[..., Any],
) -> None:
    text = page(noisy(checked(GOOD).analysis, 10))
    kept = [f["index"] for f in viewer_of(text)["fields"]]
    assert 10 > len(kept) >= 2
    assert {0, 9} <= set(kept)
    assert f"{len(kept)} of 10 fields are in this page" in text
    assert 1_000_000 < len(text.encode()) < 1_500_000


@pytest.mark.parametrize(("enlarged", "bits", "kept"), [(2, 8, 2), (3, 8, 2), (2, 16, 2), (5, 16, 0)])
def test_no_picture_makes_a_page_of_ten_megabytes(
    checked: Callable[..., Any], enlarged: int, bits: int, kept: int
) -> None:
    text = page(noisy(checked(GOOD).analysis, 3, enlarged=enlarged, bits=bits))
    assert len(text.encode()) < 10_000_000
    assert ("The fields are too large for this page" in text) == (not kept)
    if kept:
        assert len(viewer_of(text)["fields"]) >= kept
    else:
        assert "one pixel in 2 across and down" in text


def test_fields_that_are_too_large_are_left_out_and_the_picture_stays(
    checked: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rastertap.report.page.viewer.MOST_BYTES", 1000)
    text = page(checked(GOOD).analysis)
    assert "The fields are too large for this page" in text
    assert 'id="fields-data"' not in text
    assert '<img src="data:image/png;base64,' in text


def test_a_result_that_is_too_long_is_left_out_and_said_so(
    checked: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rastertap.report.page.build.MOST_RESULT", 1000)
    text = page(checked(GOOD).analysis)
    assert "The whole result is too long for it" in text
    assert 'id="result"' not in text


def test_a_check_that_could_not_run_is_named_on_the_first_screen(
    checked: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "Did not run:" not in page(checked(GOOD).analysis)
    broken = Plugin("rastertap.checks", "taps", "rastertap", "0", error="<no module>")
    monkeypatch.setattr("rastertap.report.page.build.load_all", lambda group: [broken][: "checks" in group])
    first, _, _ = page(checked(GOOD).analysis).partition('<ol class="way"')
    assert "Did not run: check taps: &lt;no module&gt;" in first
