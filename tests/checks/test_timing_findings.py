"""The findings on sync and timing: what each fault is called, where it is, and which limits hold."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from rastertap.analyse import Request, analyse
from rastertap.board.model import Board
from rastertap.capture.model import Channel
from rastertap.checks.timing_rows import judge_value
from rastertap.measured import Measured
from rastertap.standards.limit import around, between

from ..streams.sync_source import SyncSource  # noqa: TID252 - tests are no package

if TYPE_CHECKING:
    from rastertap.checks.interface import Finding


def findings(source: SyncSource, **timing: object) -> dict[str, Finding]:
    board = None
    if timing:
        board = Board.model_validate({"schema": "rastertap.board/1", "name": "made", "timing": timing})
    return {f.id: f for f in analyse(source.capture(), Request(board=board)).findings}


def test_a_line_lost_in_every_second_field_is_told_so() -> None:
    found = findings(SyncSource(fields=9, field_off={1: -1, 3: -1, 5: -1, 7: -1}))["timing.lines_per_field"]
    assert found.result == "fail"
    assert "4 lines lost against 312, in 4 of 9 fields (in every 2nd field)" in found.text
    assert len(found.at_s) == 4


def test_a_line_lost_in_every_field_fails_when_the_board_file_states_the_lines() -> None:
    lost = SyncSource(lines=311)
    assert findings(lost)["timing.lines_per_field"].result == "pass"
    assert "1 line fewer" in findings(lost)["timing.lines_per_field"].text
    stated = findings(lost, lines_per_field=[312])["timing.lines_per_field"]
    assert (stated.result, stated.source) == ("fail", "board file (stated)")


def test_fields_that_are_meant_to_alternate_pass_when_the_board_file_says_so() -> None:
    alternating = SyncSource(fields=8, field_off={1: 1, 3: 1, 5: 1, 7: 1})
    found = findings(alternating)["timing.lines_per_field"]
    assert found.result == "fail"
    assert "can be meant so" in found.text
    assert findings(alternating, lines_per_field=[312, 313])["timing.lines_per_field"].result == "pass"


def test_a_missing_field_sync_is_no_odd_field() -> None:
    found = findings(SyncSource(fields=6, no_vsync=frozenset({3})))
    assert found["sync.missing_vsync"].result == "fail"
    assert found["sync.missing_vsync"].measured == 1
    assert found["timing.lines_per_field"].result == "pass"


@pytest.mark.parametrize(("gone", "lost"), [({0}, 1), ({0, 1}, 2), ({2}, 1), ({1, 2}, 2), ({0, 2}, 2)])
def test_a_field_sync_that_was_due_at_an_end_of_the_capture_is_missing(gone: set[int], lost: int) -> None:
    # Due 100, 412 and 724 lines after the beginning, 40 before the end.
    found = findings(SyncSource(fields=2, no_vsync=frozenset(gone)), lines_per_field=[312])
    assert (found["sync.missing_vsync"].result, found["sync.missing_vsync"].measured) == ("fail", lost)
    whole = findings(SyncSource(fields=2), lines_per_field=[312])["sync.missing_vsync"]
    assert whole.result == "pass"


def test_where_every_second_field_sync_is_missing_the_standard_tells() -> None:
    found = findings(SyncSource(fields=8, no_vsync=frozenset({1, 3, 5, 7})))
    assert found["sync.missing_vsync"].result == "fail"


def test_a_short_line_is_told_with_its_size_and_rhythm() -> None:
    off = dict.fromkeys(range(150, 900, 97), -666_667)
    found = findings(SyncSource(length_off=off))["timing.line_length"]
    assert found.result == "fail"
    assert f"{len(off)} lines too short by 0.67" in found.text
    assert "every 97 lines" in found.text


def test_doubled_lines_are_told_apart_from_other_stray_edges() -> None:
    found = findings(SyncSource(stray=((300, 0.5, 4_700_000), (400, 0.3, 90_000))))["sync.glitch"]
    assert found.result == "fail"
    assert "2 sync edges" in found.text
    assert "1 of them stand in the middle of a line" in found.text


@pytest.mark.parametrize(
    ("wrong", "finding", "words"),
    [
        ({"gone": frozenset({300})}, "sync.missing_hsync", "missing; once in this capture, in line 200"),
        ({"moved": {300: 500_000}}, "timing.line_jitter", "early or late by up to 0.500 us"),
        ({"widths": {300: 2_500_000}}, "sync.width", "1 line sync of another width, 2.50 to 2.50 us"),
    ],
)
def test_an_odd_line_sync_is_told_with_its_place(wrong: dict[str, object], finding: str, words: str) -> None:
    found = findings(replace(SyncSource(), **wrong))[finding]  # type: ignore[arg-type]
    assert found.result == "fail"
    assert words in found.text
    assert found.at_s


def test_the_board_files_own_limits_go_before_the_sets() -> None:
    source = SyncSource()
    wide, own = findings(source)["sync.width"], findings(source, hsync_width_us=[4.0, 4.5])["sync.width"]
    assert (wide.result, own.result) == ("pass", "fail")
    assert own.source == "board file (stated)"
    off = findings(source, line_rate_hz="15700", line_rate_tolerance_ppm=100.0)
    assert off["timing.line_rate"].result == "fail"
    assert findings(source, field_rate_hz="50.08")["timing.field_rate"].result == "pass"


@pytest.mark.parametrize(
    ("odd", "key"), [({"width_ps": 16_000_000}, "sync.width"), ({"vsync_lines": 0.5}, "sync.field_width")]
)
def test_a_width_that_only_common_practice_limits_is_odd_but_no_fault(odd: dict[str, Any], key: str) -> None:
    source = SyncSource(**odd)
    found = findings(source)[key]
    assert found.result == "warn"
    assert "Unusual, by common practice only" in found.text
    assert not [f for f in findings(source).values() if f.result == "fail" and f.id != "clock.present"]
    own = {"hsync_width_us": [4.5, 4.9], "vsync_width_lines": [2.5, 3.5]}
    assert findings(source, **own)[key].result == "fail"
    chosen = {f.id: f for f in analyse(source.capture(), Request(limits="625-studio")).findings}
    assert chosen["sync.width"].result == ("fail" if "width_ps" in odd else "pass")


def test_the_time_between_two_channels_is_unsure_by_their_skew() -> None:
    # A window that opens 10.000 us after the sync, seen one 10 ns step late, as a skewed input shows it.
    source = SyncSource(step_ns=10)
    capture = source.capture()
    starts = source.line_starts()[:-1]
    starts = starts[(np.arange(starts.size) - source.begin_line) % source.lines < 240]
    times = np.stack([starts + 11_000_000, starts + 48_014_000], axis=1).ravel() // 10_000 * 10
    levels = np.tile(np.array([1, 0], np.uint8), starts.size)
    capture = replace(capture, channels=(*capture.channels, Channel("de", 0, times.astype(np.int64), levels)))
    (role,) = (pin.role for pin in analyse(capture, Request()).pins if pin.channel == "de")
    assert role == "display_enable"
    found = {f.id: f for f in analyse(capture, Request()).findings}["timing.front_porch"]
    assert found.measured == pytest.approx(15.986, abs=0.011)
    assert found.uncertainty is not None
    assert 2 * found.uncertainty >= 0.010  # the step, us


def test_a_source_near_no_standard_is_told_to_be_of_its_own_kind() -> None:
    # 18.432 kHz, 370 lines, 49.8 Hz: near none (common practice for text monitors, no source).
    source = SyncSource(line_ps=54_253_472, lines=370)
    found = findings(source)
    for key in ("timing.line_rate", "timing.field_rate", "timing.lines_per_field"):
        assert found[key].result == "not_measured"
        assert found[key].measured
    assert findings(source, lines_per_field=[370])["timing.lines_per_field"].result == "pass"


@pytest.mark.parametrize(
    ("line", "lines", "width", "key"),
    [
        # references 2.1, 5.1; CEA-861 VIC 8/9 and 23/24 totals (2.2) are those of 262/60 to 314/50.
        (64_000_000, 312, 4_700_000, "312/50"),
        (64_000_000, 313, 4_700_000, "313/50"),
        (64_000_000, 314, 4_700_000, "314/50"),
        (63_555_556, 262, 4_600_000, "262/60"),
        (63_555_556, 263, 4_600_000, "263/60"),
        (32_000_000, 624, 2_350_000, "624/50"),
        (31_777_778, 524, 2_300_000, "524/60"),
        (32_000_000, 625, 2_370_000, "576p"),
        (31_777_778, 525, 2_296_000, "480p"),
        (31_777_558, 525, 3_813_000, "640x480"),
        (26_400_000, 628, 3_200_000, "800x600"),
    ],
)
def test_a_timing_is_recognised_by_its_rates_and_totals(line: int, lines: int, width: int, key: str) -> None:
    source = SyncSource(line_ps=line, lines=lines, width_ps=width, step_ns=5)
    mode = analyse(source.capture(), Request()).evidence
    assert mode.mode is not None
    assert (mode.mode.key, mode.mode_close) == (key, True)


def test_a_value_at_the_end_of_a_one_sided_tolerance_agrees_with_its_nominal() -> None:
    # 625 front porch: 1.5 +0.3/-0 us; a nominal source stands on the limit itself.
    limit = around("front_porch_s", "1.5e-6", "0", "0.3e-6", source="made")
    results = [judge_value(Measured(value, 1e-9, "s"), limit) for value in (1.5e-6, 1.49e-6, 1.8e-6)]
    assert results == ["pass", "fail", "warn"]
    no_nominal = between("front_porch_s", "1.5e-6", "2e-6", source="made")
    assert judge_value(Measured(1.5e-6, 1e-9, "s"), no_nominal) == "warn"


@pytest.mark.parametrize("gone", [{1, 3, 5}, {1, 4}, {1, 2}, {2, 3, 5}])
def test_long_fields_never_count_as_the_usual_ones_while_a_single_one_is_seen(gone: set[int]) -> None:
    found = findings(SyncSource(fields=8, no_vsync=frozenset(gone)))
    assert found["sync.missing_vsync"].measured == len(gone)
    assert found["timing.lines_per_field"].result == "pass"
    assert found["timing.lines_per_field"].measured == 312
