"""Lines of a half clock more, and line sync that jitters: Icarus Verilog's counted machine, sampled."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.analyse import Request, analyse_path
from rastertap.board.load import parse_board
from rastertap.board.template import board_text
from rastertap.cli.board import found_board
from rastertap.handover.sheet import make_sheet

from .counted_source import COMPOSITE, SEPARATE, CountedSource, simulate_counted

if TYPE_CHECKING:
    from pathlib import Path

    from rastertap.analyse import Analysis
    from rastertap.checks.interface import Finding

CLOCK_NS = 320.0


def finding(analysis: Analysis, name: str) -> Finding:
    return next(f for f in analysis.findings if f.id == name)


def assert_picture(analysis: Analysis, source: CountedSource) -> None:
    frames = analysis.evidence.frames
    assert frames is not None
    assert frames.complete
    for frame in frames.complete:
        area = frames.active_of(frame)
        assert area is not None
        assert (area.width, area.height) == source.picture.shape[::-1]
        assert np.array_equal(area.crop(frame.codes), source.picture)


@pytest.mark.parametrize("pins", [SEPARATE, COMPOSITE])
def test_a_line_of_half_a_clock_more_is_regular(pins: tuple[str, ...], tmp_path: Path) -> None:
    # 227 and 228 clocks in turn at 455/2 times the line rate, as SMPTE 170M has its subcarrier: 3.579545 MHz.
    source = simulate_counted(
        tmp_path, CLOCKS=227, TURN=1, LINES=262, HALF=139_683, SYNC=17, WIDTH=160, X=50, BROAD=700
    )
    path = source.recorded(tmp_path / "a.vcd", 24_000_000, pins=pins, start_s=0.001)
    analysis = analyse_path(path)
    assert_picture(analysis, source)
    length = finding(analysis, "timing.line_length")
    assert (length.result, length.measured) == ("pass", 227.5)
    assert "227.5 pixel clocks a line, 227 and 228 in turn" in length.text
    assert finding(analysis, "timing.line_jitter").result == "pass"
    assert make_sheet(analysis).across.total == 227.5
    ratio = analysis.evidence.streams["clock_ratios"].ratios[0]
    assert (ratio.nearest, ratio.locked) == (455 / 2, True)
    board = parse_board(board_text(found_board(analysis)))
    assert board.timing.pixels_per_line == 227.5
    again = analyse_path(path, Request(board=board))
    assert [f.text for f in again.findings if f.result in {"fail", "warn"}] == []
    assert again.verdict.place == "after_the_pins"


@pytest.mark.parametrize(
    ("given", "rms_ns"),
    [
        # One clock off its usual place in one line of five: 320 ns times the root of 1/5.
        ({"LATE": 5}, CLOCK_NS * math.sqrt(0.2)),
        ({"JITTER": 110_000}, 110.0),
        ({"JITTER": 72_000, "HALF": 48_000, "CLOCKS": 660, "SYNC": 50, "X": 90, "WIDTH": 480}, 72.0),
        ({"JITTER": 260_000, "HALF": 48_000, "CLOCKS": 660, "SYNC": 50, "X": 90, "WIDTH": 480}, 260.0),
        ({"JITTER": 420_000}, 420.0),
    ],
    ids=[
        "a clock late in one line of five",
        "a third of a pixel",
        "three quarters of a pixel",
        "two pixels and a half",
        "a pixel and a third",
    ],
)
def test_sync_that_jitters_against_a_steady_clock_is_told_and_moves_no_line(
    given: dict[str, int], rms_ns: float, tmp_path: Path
) -> None:
    source = simulate_counted(tmp_path, **given)
    analysis = analyse_path(source.recorded(tmp_path / "a.vcd", 100_000_000))
    assert_picture(analysis, source)
    jitter = finding(analysis, "timing.line_jitter")
    assert jitter.result == "fail"
    assert jitter.measured == pytest.approx(rms_ns, rel=0.1)
    assert "jitters against the pixel clock" in jitter.text
    assert "the tap loses or adds" not in finding(analysis, "timing.line_length").text
    failed = [f.id for f in analysis.findings if f.result == "fail"]
    assert failed == ["timing.line_jitter"]
    assert "line sync jitters against the pixel clock" in analysis.verdict.text


def test_sync_that_keeps_to_the_clock_has_no_jitter_whatever_the_sample_rate(tmp_path: Path) -> None:
    source = simulate_counted(tmp_path)
    for rate in (9_000_000, 24_000_000, 100_000_000):
        analysis = analyse_path(source.recorded(tmp_path / "a.vcd", rate))
        assert finding(analysis, "timing.line_jitter").result == "pass"
        assert_picture(analysis, source)


@pytest.mark.parametrize(("hz", "field_rate"), [(50.0, True), (100.0, True), (71.0, False)])
def test_hum_on_the_clock_is_named_and_moves_no_line(hz: float, *, field_rate: bool, tmp_path: Path) -> None:
    source = simulate_counted(tmp_path, HALF=48_000, CLOCKS=660, SYNC=50, X=90, WIDTH=480)
    analysis = analyse_path(source.recorded(tmp_path / "a.vcd", 100_000_000, hum=(0.3e-6, hz)))
    assert_picture(analysis, source)
    hum = finding(analysis, "clock.modulation")
    assert (hum.result, hum.measured) == ("fail", pytest.approx(300.0, rel=0.02))
    assert f"{hz:.0f} Hz" in hum.text
    assert ("goes with the fields" in hum.text) == field_rate
    assert analysis.verdict.place == "clock"
    assert finding(analysis, "timing.line_jitter").result == "pass"
    assert [f.id for f in analysis.findings if f.result == "fail"] == ["clock.modulation"]
