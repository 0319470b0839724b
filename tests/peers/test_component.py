"""Component video with embedded codes, capture to picture: Icarus Verilog writes what each line showed."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.analyse import Request, analyse, analyse_path
from rastertap.board.load import parse_board
from rastertap.board.template import board_text
from rastertap.capture.model import Capture, Channel, SamplePeriod
from rastertap.cli.board import found_board

from .simulate import HDL, _run, _tool

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from rastertap.analyse import Analysis
    from rastertap.checks.interface import Finding

# Lines with picture of the two fields, and words a line: TI SPRU629 p 155, Table 4-2 (references 4.2).
FIRST_LINES = {625: {0: 23, 1: 336}, 525: {0: 20, 1: 283}}
HEIGHTS = {625: (288, 288), 525: (244, 243)}
WORDS = {625: 1728, 525: 1716}
Lines = dict[int, "NDArray[np.uint32]"]


@pytest.fixture(scope="module")
def component(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., tuple[Analysis, Lines]]:
    made: dict[str, tuple[Analysis, Lines]] = {}

    def make(**given: int) -> tuple[Analysis, Lines]:
        key = repr(sorted(given.items()))
        if key not in made:
            folder = tmp_path_factory.mktemp("component")
            program = folder / "bt656.vvp"
            _run([_tool("iverilog"), "-g2012", "-o", str(program), str(HDL / "bt656.v")], folder)
            _run([_tool("vvp"), "-n", str(program), *[f"+{k}={v}" for k, v in given.items()]], folder)
            rows = [line.split() for line in (folder / "pictures.txt").read_text().splitlines()]
            lines = {int(row[0]): np.array(row[1:]).astype(np.uint32) for row in rows}
            made[key] = analyse_path(str(folder / "bt656.vcd")), lines
        return made[key]

    return make


def source(lines: int) -> dict[str, int]:
    """From just before the field that F = 1 begins: two whole fields."""
    return {"L625": int(lines == 625), "FIELDS": 2, "START_LINE": 311 if lines == 625 else 262}


def finding(analysis: Analysis, name: str) -> Finding:
    return next(f for f in analysis.findings if f.id == name)


@pytest.mark.parametrize("lines", [625, 525])
def test_the_active_area_is_what_the_codes_say_and_every_word_is_right(
    lines: int, component: Callable[..., tuple[Analysis, Lines]]
) -> None:
    analysis, shown = component(**source(lines))
    frames = analysis.evidence.frames
    assert frames is not None
    assert frames.pixels_per_line == WORDS[lines]
    assert "SAV" in frames.active_from
    assert len(frames.complete) == 2
    for frame in frames.complete:
        area = frames.active_of(frame)
        assert area is not None
        # EAV, digital blanking and SAV come before the picture: 4 + 280 (268) + 4 words.
        assert (area.x, area.width) == (WORDS[lines] - 1440, 1440)
        parity = int(frame.field == "second")
        assert area.height == HEIGHTS[lines][parity]
        first = FIRST_LINES[lines][parity]
        true = np.stack([shown[n] for n in range(first, first + area.height)])
        assert np.array_equal(area.crop(frame.codes), true)


@pytest.mark.parametrize("lines", [625, 525])
def test_the_standards_figures_pass(lines: int, component: Callable[..., tuple[Analysis, Lines]]) -> None:
    analysis, _ = component(**source(lines))
    found = finding(analysis, "timing.embedded_picture")
    assert found.result == "pass"
    assert found.measured == 720
    assert "1440 words, 720 pixels of luma" in found.text
    assert "TI SPRU629 p 155, Table 4-2" in found.source
    assert [(f.id, f.text) for f in analysis.findings if f.result == "fail"] == []
    assert finding(analysis, "timing.blanking").result == "not_measured"


def test_another_width_fails(component: Callable[..., tuple[Analysis, Lines]]) -> None:
    analysis, _ = component(**source(625), WIDTH=1408)
    found = finding(analysis, "timing.embedded_picture")
    assert found.result == "fail"
    assert found.measured == 704
    assert "720 pixels" in found.limit


def test_a_board_file_made_from_codes_states_no_line_sync(
    component: Callable[..., tuple[Analysis, Lines]],
) -> None:
    analysis, _ = component(**source(625))
    board = parse_board(board_text(found_board(analysis)))
    assert board.timing.hsync_width_us is None
    assert board.timing.vsync_width_lines is None
    assert board.timing.lines_per_field == (312.5, 312.5)


@pytest.mark.parametrize("rate", [100_000_000, 200_000_000])
def test_an_analysers_capture_has_the_same_area(
    rate: int, component: Callable[..., tuple[Analysis, Lines]]
) -> None:
    """From 3.7 samples a word on; an edge is seen at the next sample."""
    made, shown = component(**source(625))
    step = 1e12 / rate

    def seen(channel: Channel) -> Channel:
        ticks = np.ceil((channel.ticks + 1_234) / step).astype(np.int64)
        keep = np.append(np.diff(ticks) > 0, True)
        return replace(channel, ticks=ticks[keep], levels=channel.levels[keep])

    channels = tuple(seen(c.binary()) for c in made.capture.channels)
    period = SamplePeriod(1.0, 0.0, known=True)
    end = int(made.capture.end / step)
    capture = Capture("sampled", Fraction(1, rate), 0, end, channels, sample_period=period)
    analysis = analyse(capture, Request())
    frames = analysis.evidence.frames
    assert frames is not None
    assert finding(analysis, "timing.embedded_picture").result == "pass"
    for frame in frames.complete:
        area = frames.active_of(frame)
        assert area is not None
        assert (area.x, area.width, area.height) == (288, 1440, 288)
        first = FIRST_LINES[625][int(frame.field == "second")]
        true = np.stack([shown[n] for n in range(first, first + 288)])
        assert np.array_equal(area.crop(frame.codes), true)
