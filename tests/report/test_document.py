"""The JSON keeps to its schema, and its values to what the bench that made the capture says."""

from __future__ import annotations

import json
from collections import Counter
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from rastertap.report.document import dumps

if TYPE_CHECKING:
    from collections.abc import Callable

GOOD = "marlow85-50"
NAMES = (GOOD, "marlow85-60", "marlow85-50-shifted", "marlow85-50-clock-drops", "marlow85-50-lost-lines")

KEYS: dict[str, set[str]] = {
    "": {
        *("schema", "tool_version", "capture", "pins", "clock", "sampling", "timing"),
        *("frames", "findings", "verdict"),
    },
    "capture": {"path", "sha256", "tick_s", "sample_period_s", "span_s", "truncated", "channels"},
    "pins": {"channel", "role", "bit", "expected_channel", "score", "why"},
    "clock": {
        *(
            "source",
            "edge",
            "frequency_hz",
            "uncertainty_hz",
            "nominal_hz",
            "offset_ppm",
            "period_jitter_rms_s",
        ),
        *("cycle_jitter_rms_s", "duty", "missing_cycles", "extra_edges"),
    },
    "sampling": {"phase", "delay_s", "margin_before_s", "margin_after_s"},
    "timing": {
        *("standard", "interlaced", "pixels_per_line", "lines_per_field", "lines_per_frame"),
        *("line_rate_hz", "field_rate_hz", "hsync", "vsync", "csync"),
    },
    "frames": {
        *("index", "field", "raster_width", "raster_height", "active", "start_s", "complete"),
        *("uncertain_pixels", "png", "codes"),
    },
    "findings": {
        *("id", "result", "measured", "uncertainty", "limit", "unit", "source", "text", "at_s"),
    },
    "verdict": {"place", "confidence", "text", "because", "next", "cautions"},
}
"""Schema rastertap.check/1; others rely on these keys, so they are written out here once more."""

INNER_KEYS = {
    ("capture", "channels"): {"name", "edges"},
    ("timing", "hsync"): {"width_s", "polarity"},
    ("timing", "vsync"): {"width_lines", "polarity"},
    ("frames", "active"): {"x", "y", "width", "height"},
}

IDS_BY_GROUP = {
    "taps": "role_mismatch swapped shifted reversed inverted stuck_low stuck_high bridged open crosstalk",
    "clock": "present frequency jitter duty missing_cycles extra_edges drift undersampled",
    "sampling": "margin",
    "sync": "present glitch missing_vsync width",
    "timing": "line_length lines_per_field lines_per_frame line_rate field_rate blanking",
    "picture": "unstable_pixels blank known_picture colour_set",
    "capture": "truncated too_short unknown_levels",
}
IDS = {f"{group}.{name}" for group, names in IDS_BY_GROUP.items() for name in names.split()}
"""The fixed list that others rely on: each of them is in every result."""
FURTHER_BY_GROUP = {
    "clock": "modulation phase_jump",
    "sampling": "skew",
    "sync": "missing_hsync field_width equalising broad serration broad_count equalising_before"
    " equalising_after protection",
    "timing": "line_jitter front_porch back_porch sync_to_active field_blanking blanking_to_equalising"
    " single_line",
}
FURTHER = {f"{group}.{name}" for group, names in FURTHER_BY_GROUP.items() for name in names.split()}
"""Findings that a result holds when the source shows what they measure."""
PLACES = {"taps", "clock", "video_chip", "after_the_pins", "capture", "undecided"}
RESULTS = {"pass", "warn", "fail", "not_measured"}


def each(part: Any) -> list[dict[str, Any]]:
    return part if isinstance(part, list) else [part]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("with_board", [True, False])
def test_every_key_of_the_schema_is_there(
    checked: Callable[..., Any], name: str, *, with_board: bool
) -> None:
    whole = checked(name, with_board=with_board).document
    assert whole["schema"] == "rastertap.check/1"
    for part, keys in KEYS.items():
        found = each(whole[part] if part else whole)
        assert found
        assert [keys - item.keys() for item in found if not keys <= item.keys()] == [], part
    for (part, inner), keys in INNER_KEYS.items():
        held = [item[inner] for outer in each(whole[part]) for item in [outer] if item[inner] is not None]
        assert [keys - item.keys() for one in held for item in each(one) if not keys <= item.keys()] == []


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("with_board", [True, False])
def test_every_finding_is_there_once(checked: Callable[..., Any], name: str, *, with_board: bool) -> None:
    counts = Counter(f["id"] for f in checked(name, with_board=with_board).document["findings"])
    assert set(counts) >= IDS
    assert set(counts.values()) == {1}


@pytest.mark.parametrize("name", NAMES)
def test_no_finding_is_outside_the_lists(checked: Callable[..., Any], name: str) -> None:
    assert {f["id"] for f in checked(name).document["findings"]} - IDS - FURTHER == set()


@pytest.mark.parametrize("name", NAMES)
def test_it_is_json_that_any_reader_takes(checked: Callable[..., Any], name: str) -> None:
    """Without NaN and Infinity, which JSON does not have, and with nothing lost on the way."""

    def refuse(word: str) -> None:
        pytest.fail(f"{word} is not JSON")

    whole = checked(name).document
    assert json.loads(dumps(whole), parse_constant=refuse) == json.loads(dumps(json.loads(dumps(whole))))


def test_a_number_that_json_does_not_have_is_refused() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        dumps({"clock": float("nan")})
    assert json.loads(dumps({"count": np.int64(3), "share": np.float64(0.5)})) == {"count": 3, "share": 0.5}


@pytest.mark.parametrize("name", NAMES)
def test_words_are_of_the_schemas_lists(checked: Callable[..., Any], name: str) -> None:
    whole = checked(name).document
    assert whole["verdict"]["place"] in PLACES
    assert 0 <= whole["verdict"]["confidence"] <= 1
    assert set(whole["verdict"]["because"]) <= IDS
    assert whole["clock"]["source"] in {"tapped", "recovered", "none"}
    assert whole["clock"]["edge"] in {"rising", "falling", None}
    assert {f["result"] for f in whole["findings"]} <= RESULTS


@pytest.mark.parametrize("name", NAMES)
def test_every_finding_gives_its_text_and_what_is_compared_its_limit(
    checked: Callable[..., Any], name: str
) -> None:
    for finding in checked(name).document["findings"]:
        assert finding["text"].endswith(".")
        if finding["result"] == "fail" and finding["measured"] is not None:
            assert finding["limit"]
            assert finding["source"]
        span = checked(name).document["capture"]["span_s"]
        assert all(0 <= time <= span for time in finding["at_s"])


@pytest.mark.parametrize("name", [GOOD, "marlow85-60"])
def test_the_clock_frequency_is_right_within_its_uncertainty(checked: Callable[..., Any], name: str) -> None:
    clock, truth = checked(name).document["clock"], checked(name).truth
    true = truth["clock"]["frequency_hz"]
    assert abs(clock["frequency_hz"] - true) < 2 * clock["uncertainty_hz"]
    # A fast analyser counts more samples in a cycle: knowing its error leaves only that of its steps.
    seen = true / (1 + truth["analyser"]["timebase_ppm"] * 1e-6)
    assert abs(clock["frequency_hz"] - seen) < 3 * clock["step_uncertainty_hz"]
    assert clock["offset_ppm"] == pytest.approx((clock["frequency_hz"] / clock["nominal_hz"] - 1) * 1e6)


@pytest.mark.parametrize("name", [GOOD, "marlow85-60"])
def test_counts_are_those_of_the_source(checked: Callable[..., Any], name: str) -> None:
    timing, source = checked(name).document["timing"], checked(name).truth["source"]
    assert timing["pixels_per_line"] == source["pixels_per_line"]
    assert timing["lines_per_field"] == [int(source["lines_per_field"])] * 2
    assert timing["lines_per_frame"] == int(source["lines_per_field"])
    assert timing["interlaced"] is source["interlaced"]


@pytest.mark.parametrize("name", [GOOD, "marlow85-60"])
def test_rates_and_widths_are_those_of_the_source(checked: Callable[..., Any], name: str) -> None:
    whole, source = checked(name).document, checked(name).truth["source"]
    timing, step = whole["timing"], whole["capture"]["sample_period_s"]
    clock, pixels = float(source["pixel_clock_hz"]), source["pixels_per_line"]
    # The timebase is off by less than 10 ppm in both.
    assert timing["line_rate_hz"] == pytest.approx(clock / pixels, rel=1e-5)
    assert timing["field_rate_hz"] == pytest.approx(
        clock / pixels / int(source["lines_per_field"]), rel=1.5e-5
    )
    assert timing["hsync"]["width_s"] == pytest.approx(source["hsync"]["width_s"], abs=step)
    assert timing["hsync"]["polarity"] == source["hsync"]["polarity"]
    assert timing["vsync"]["width_lines"] == pytest.approx(float(source["vsync"]["width_lines"]), abs=0.01)
    assert timing["vsync"]["polarity"] == source["vsync"]["polarity"]
    assert step == pytest.approx(1 / float(checked(name).truth["analyser"]["rate_hz"]))


@pytest.mark.parametrize("name", [GOOD, "marlow85-60"])
def test_the_active_area_is_the_sources(checked: Callable[..., Any], name: str) -> None:
    active = checked(name).truth["active"]
    for frame in checked(name).document["frames"]:
        area = frame["active"]
        assert area["width"] == active["width"]
        assert area["x"] == pytest.approx(active["x_from_hsync"], abs=1)
        if frame["complete"]:
            assert area["height"] == active["height"]


def test_the_pins_name_the_channel_that_the_board_file_expects(checked: Callable[..., Any]) -> None:
    for pin in checked(GOOD).document["pins"]:
        assert pin["expected_channel"] == (pin["channel"] if pin["role"] != "other" else None)
    shifted = {p["channel"]: p for p in checked("marlow85-50-shifted").document["pins"]}
    assert shifted["D1"]["role"] == "pixel_clock"
    assert shifted["D1"]["expected_channel"] == "D0"
