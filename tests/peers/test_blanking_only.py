"""Frames from blanking pins alone: Icarus Verilog and GHDL make the signals, and write what they showed."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.analyse import Request, analyse, analyse_pieces
from rastertap.board.load import parse_board
from rastertap.board.template import board_text
from rastertap.capture.model import Channel
from rastertap.capture.pieces import Piece
from rastertap.capture.read import read_capture
from rastertap.cli.board import found_board

from .blanking_source import BlankingSource, simulate_blanking
from .rebuilt import in_true_order, without_scope

if TYPE_CHECKING:
    from collections.abc import Callable, Collection
    from pathlib import Path

    from rastertap.analyse import Analysis

    from .simulate import Simulated

ROLES = {"clock": "pixel_clock", "blank": "blank", "hblank": "blank", "vblank": "vsync"}
PINS = [("blank",), ("hblank", "vblank"), ("vblank",)]


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., BlankingSource]:
    made: dict[str, BlankingSource] = {}

    def make(**given: int) -> BlankingSource:
        key = repr(sorted(given.items()))
        if key not in made:
            made[key] = simulate_blanking(tmp_path_factory.mktemp("blanking"), **given)
        return made[key]

    return make


def analysed(vcd: Path, keep: Collection[str]) -> Analysis:
    """Analyse with no other channels than those named (vectors by their stem)."""
    capture = read_capture(str(vcd))
    kept = tuple(c for c in capture.channels if c.name.partition("[")[0] in keep)
    return analyse(replace(capture, channels=kept), Request())


def findings(analysis: Analysis) -> dict[str, tuple[str, str]]:
    return {f.id: (f.result, f.text) for f in analysis.findings}


def assert_clean(analysis: Analysis) -> None:
    assert [(f.id, f.text) for f in analysis.findings if f.result in {"warn", "fail"}] == []
    assert analysis.verdict.place == "after_the_pins"


def assert_pictures(analysis: Analysis, source: BlankingSource) -> None:
    """Every whole field, bit for bit; the bits have their index in the vector."""
    frames = analysis.evidence.frames
    assert frames is not None
    for true in source.fields[1:]:  # the first began before the first field sync that was seen
        frame = max(
            (f for f in frames.complete if analysis.capture.seconds(f.start) < true.start_s),
            key=lambda f: f.start,
        )
        area = frames.active_of(frame)
        assert area is not None
        assert np.array_equal(area.crop(frame.codes), true.codes)


@pytest.mark.parametrize("pins", PINS)
@pytest.mark.parametrize(
    ("given", "mode", "lines"),
    [
        ({"LINES": 312, "INTERLACED": 0, "LAST": 616}, "312/50", 312),
        ({}, "625/50", 312.5),
        ({"HALVES": 1}, "625/50", 312.5),
    ],
)
def test_blanking_alone_gives_lines_fields_and_every_pixel(
    pins: tuple[str, ...],
    given: dict[str, int],
    mode: str,
    lines: float,
    bench: Callable[..., BlankingSource],
) -> None:
    source = bench(**given)
    analysis = analysed(source.vcd, {"clock", "colour", *pins})
    roles = {p.channel: p.role for p in analysis.pins if not p.channel.startswith("colour")}
    assert roles.items() <= {*ROLES.items()}
    assert_clean(analysis)
    sync = analysis.evidence.sync
    assert sync is not None
    assert sync.fields.lines[:-1].tolist() == [lines] * 3
    assert analysis.evidence.mode is not None
    assert (analysis.evidence.mode.key, sync.interlaced) == (mode, "INTERLACED" not in given)
    # 3.375 MHz / 216 = 15 625 Hz (HDL parameters); the simulator's clock is 1.4 ppm off them.
    assert 1 / (sync.line_period.value * float(analysis.capture.tick)) == pytest.approx(15_625, rel=3e-6)
    assert_pictures(analysis, source)


@pytest.mark.parametrize("pins", PINS)
@pytest.mark.parametrize("halves", [0, 1])
def test_fields_of_blanking_alone_are_woven_in_the_right_order(
    halves: int, pins: tuple[str, ...], bench: Callable[..., BlankingSource]
) -> None:
    # BT.470 Fig. 2-1 (references 1.3): the field whose sync begins with a line (parity 0) lies on top: line
    # 23 comes 22 lines after its O_V, line 336 comes 22.5 lines after its own.
    source = bench(HALVES=1) if halves else bench()
    analysis = analysed(source.vcd, {"clock", "colour", *pins})
    frames = analysis.evidence.frames
    assert frames is not None
    woven = [f for f in frames.frames if f.field == "woven"]
    assert woven
    pairs = [{f.parity: f.codes for f in pair} for pair in itertools.pairwise(source.fields)]
    truth = [np.stack((p[0], p[1]), axis=1).reshape(-1, p[0].shape[1]) for p in pairs]
    for frame in woven:
        area = frames.active_of(frame)
        assert area is not None
        shown = area.crop(frame.codes)
        assert any(np.array_equal(shown, true) for true in truth)


def test_line_blanking_without_a_field_pulse_blames_nobody(bench: Callable[..., BlankingSource]) -> None:
    analysis = analysed(bench().vcd, {"clock", "colour", "hblank"})
    result, text = findings(analysis)["sync.present"]
    assert result == "not_measured"
    assert "Tap one" in text
    assert analysis.verdict.place == "undecided"


def test_a_field_pulse_and_a_ragged_picture_give_the_field_rate_and_say_what_is_lacking(
    bench: Callable[..., BlankingSource],
) -> None:
    analysis = analysed(bench(BORDER=0).vcd, {"clock", "colour", "vblank"})
    assert analysis.evidence.sync is None
    found = findings(analysis)
    # By whole lines of blanking: 313 lines and 312, two fields of 625 lines at 15 625 Hz.
    rate = next(f for f in analysis.findings if f.id == "timing.field_rate")
    assert rate.measured == pytest.approx(50.0, rel=3e-6)
    assert found["timing.line_rate"][0] == "not_measured"
    assert "no line rate can be told" in found["timing.line_rate"][1]
    assert found["sync.present"][0] == "not_measured"
    assert "vblank" in found["sync.present"][1]
    assert analysis.verdict.place == "undecided"


@pytest.mark.parametrize("enable", ["display_enable", "blank"])
@pytest.mark.parametrize("name", ["vga640", "sd525-262", "sd625-interlaced"])
def test_display_enable_is_the_only_sync_of_a_simulators_capture(
    name: str, enable: str, simulated: Callable[..., Simulated]
) -> None:
    source = simulated(name, enable=enable)
    analysis = analysed(source.vcd, {"pixel_clock", "enable", "colour"})
    assert {p.channel: p.role for p in analysis.pins}["enable"] == enable
    assert_clean(analysis)
    sync, frames = analysis.evidence.sync, analysis.evidence.frames
    assert sync is not None
    assert frames is not None
    assert sync.kind == "blanking"
    assert set(sync.fields.lines[:-1].tolist()) == {float(source.truth["lines_per_field"])}
    assert frames.pixels_per_line == source.truth["pixels_per_line"]
    wanted, compared = without_scope(source.truth["roles"]), 0
    for frame in frames.complete:
        area = frames.active_of(frame)
        assert area is not None
        shown = area.crop(in_true_order(analysis, frame, wanted))
        # A frame begins where the picture before it ends, so ahead of the field sync of its own field.
        true = min(source.fields, key=lambda f: abs(float(f.start_s) - analysis.capture.seconds(frame.start)))
        if abs(float(true.start_s) - analysis.capture.seconds(frame.start)) < 5e-3:
            assert np.array_equal(shown, true.codes)
            compared += 1
    assert compared


@pytest.mark.parametrize("pins", PINS)
def test_a_board_file_made_from_blanking_states_no_line_sync_and_fits_its_own_capture(
    pins: tuple[str, ...], bench: Callable[..., BlankingSource]
) -> None:
    analysis = analysed(bench().vcd, {"clock", "colour", *pins})
    text = board_text(found_board(analysis))
    board = parse_board(text)
    assert board.timing.hsync_width_us is None
    assert board.timing.vsync_width_lines is None  # blanking of 24.5 lines is no field sync
    assert "# hsync_width_us" in text
    assert board.timing.lines_per_field == (312.5, 312.5)
    assert board.timing.pixels_per_line == 216
    again = analyse(analysis.capture, Request(board=board))
    assert [(f.id, f.text) for f in again.findings if f.result == "fail"] == []
    assert again.verdict.place == "after_the_pins"


@pytest.mark.parametrize("pins", PINS)
@pytest.mark.parametrize("halves", [0, 1])
def test_pieces_of_blanking_alone_say_what_the_whole_says(
    halves: int, pins: tuple[str, ...], bench: Callable[..., BlankingSource]
) -> None:
    source = bench(HALVES=1) if halves else bench()
    whole = analysed(source.vcd, {"clock", "colour", *pins})
    capture = whole.capture
    # The last piece holds one field sync, whose field it cannot place by itself.
    bounds = [capture.start, round(capture.end * 0.66), round(capture.end * 0.9), capture.end + 1]
    overlap = round(4e-3 / float(capture.tick))
    pieces = []
    for low, high in itertools.pairwise(bounds):
        begin, end = max(capture.start, low - overlap), min(capture.end, high + overlap)
        channels = tuple(c.between(begin, end) for c in capture.channels)
        part = replace(capture, start=begin, end=end, channels=channels)
        pieces.append(Piece(part, (low, high), last=high == bounds[-1]))
    joined = analyse_pieces(pieces, Request()).evidence.sync
    one = whole.evidence.sync
    assert one is not None
    assert joined is not None
    assert (joined.kind, joined.interlaced) == (one.kind, True)
    assert abs(joined.fields.starts - one.fields.starts).max() <= 0.01 * one.line_period.value
    assert np.array_equal(joined.fields.lines, one.fields.lines, equal_nan=True)
    assert not joined.events.counts.any()


@pytest.mark.parametrize("more", [(), ("hsync",)])
def test_line_blanking_beside_the_whole_blanking_is_no_colour(
    more: tuple[str, ...], bench: Callable[..., BlankingSource]
) -> None:
    """Line, field and whole blanking tapped together; a line sync too, made of the line blanking's edges."""
    capture = read_capture(str(bench().vcd))
    channels = list(capture.channels)
    if more:
        # A line sync of 4.7 us, 1.5 us after the line blanking begins (BT.470 Table 1-1, references 1.2).
        begins = capture.channel("hblank").edges_to(1) + 1_500_000
        times = np.stack((begins, begins + 4_700_000), axis=1).ravel()
        channels.append(Channel("hsync", 0, times, np.tile(np.array([1, 0], np.uint8), begins.size)))
    analysis = analyse(replace(capture, channels=tuple(channels)), Request())
    roles = {p.channel: p.role for p in analysis.pins}
    assert {roles[f"colour[{bit}]"] for bit in range(4)} == {"colour"}
    assert [n for n, role in roles.items() if role == "colour"] == [f"colour[{b}]" for b in (3, 2, 1, 0)]
    assert roles["blank"] == "blank"
    assert roles["vblank"] == "vsync"
    assert roles["hblank"] == "other"
    assert not [f.id for f in analysis.findings if f.result == "fail"]
    if more:
        assert roles["hsync"] == "hsync"
