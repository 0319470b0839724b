"""Wiring faults are named, the dangerous ones first; clean wirings are left in peace; doubt is said."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.bench.card import fields_of
from rastertap.bench.machines import MARLOW_50
from rastertap.checks.wiring import explain

from .boards import failed, judged, result, taken, text_of, with_picture

if TYPE_CHECKING:
    from rastertap.board.model import Board

CAPTURES = Path(__file__).parents[2] / "captures"
EXTRAS = {"D8": "cpu_clock", "D9": "noise", "D10": "tone", "D11": "other_clock", "D12": "high"}


@pytest.fixture(scope="module")
def known(tmp_path_factory: pytest.TempPathFactory) -> Board:
    """The board file with a known picture."""
    return with_picture(CAPTURES, tmp_path_factory.mktemp("board"))


@pytest.fixture(scope="module")
def plain() -> str:
    """The board file without."""
    return text_of(CAPTURES)


@pytest.mark.parametrize("wires", [{}, EXTRAS])
def test_clean_wiring_has_no_fault_with_or_without_a_board_file(
    wires: dict[str, str], known: Board, plain: str
) -> None:
    capture = taken(wires=wires)
    for board in (known, plain, None):
        analysis = judged(capture, board)
        assert not failed(analysis)
        assert not explain(analysis.evidence).story.faults


@pytest.mark.parametrize(
    ("fault", "finding", "said"),
    [
        ("shift:1", "taps.shifted", "CONNECTOR 1 POSITION OUT, towards higher"),
        ("shift:-2", "taps.shifted", "CONNECTOR 2 POSITIONS OUT, towards lower"),
        ("reverse:D0,D7", "taps.reversed", "wrong way round"),
        ("swap:D1,D4", "taps.swapped", "D4 carries the hsync meant for D1"),
        ("swap:D3,D5", "taps.swapped", "D5 carries the colour bit 0 meant for D3"),
        ("invert:D1", "taps.inverted", "D1 (hsync, chip pin 24, brown wire) is positive"),
        ("invert:D4", "taps.inverted", "D4 (colour bit 1"),
        ("stuck-low:D5", "taps.stuck_low", "Probe the chip's pin itself"),
        ("stuck-high:D2", "taps.stuck_high", "D2 (vsync"),
        ("bridge:D3,D5,and", "taps.bridged", "wired-AND"),
        ("bridge:D4,D6,or", "taps.bridged", "wired-OR"),
        ("bridge:D1,D4,and", "taps.bridged", "one and the same signal"),
        ("open:D6", "taps.open", "D6 (colour bit 3, chip pin 33, blue wire) changes at random"),
        ("open:D1,D4", "taps.open", "only repeats edges of D4"),
        ("crosstalk:D1,D3,20", "taps.crosstalk", "beside edges of D3"),
        ("wrong-pin:D1,cpu_clock", "taps.role_mismatch", "divided clock"),
    ],
)
def test_a_single_fault_is_named_and_nothing_else(fault: str, finding: str, said: str, known: Board) -> None:
    analysis = judged(taken(fault), known)
    outcome, text = result(analysis, finding)
    assert outcome == "fail"
    assert said in text
    assert failed(analysis) == {finding}


def test_the_rows_of_a_dual_row_header_can_be_exchanged(known: Board) -> None:
    analysis = judged(taken(*(f"swap:D{n},D{n + 1}" for n in range(0, 16, 2))), known)
    assert "two rows of the connector are exchanged" in result(analysis, "taps.swapped")[1]
    assert [f.kind for f in explain(analysis.evidence).story.faults] == ["rows"]


def test_a_series_of_faults_is_taken_apart(known: Board) -> None:
    analysis = judged(taken("swap:D1,D4", "invert:D5", "stuck-low:D7"), known)
    assert failed(analysis) == {"taps.swapped", "taps.inverted", "taps.stuck_low"}


def test_three_wires_in_a_ring_are_told_by_what_each_channel_carries(known: Board) -> None:
    analysis = judged(taken("swap:D3,D4", "swap:D4,D5"), known)
    outcome, text = result(analysis, "taps.swapped")
    assert outcome == "fail"
    assert "D3, D4 and D5 are exchanged in a ring" in text
    waves = {c.name: c for c in taken("swap:D3,D4", "swap:D4,D5").channels}
    right = {c.name: c for c in taken().channels}
    for has in ("D3", "D4", "D5"):
        (meant,) = [n for n in ("D3", "D4", "D5") if np.array_equal(waves[has].ticks, right[n].ticks)]
        assert f"{has} carries the colour bit {int(meant[1]) - 3} meant for {meant}" in text


def test_each_step_names_its_wires_and_the_headline_all_faults(known: Board) -> None:
    analysis = judged(taken("swap:D4,D5", "stuck-low:D6"), known)
    assert analysis.verdict.text.endswith("Also low all the time: D6 (blue wire).")
    assert analysis.verdict.next[0] == "D4 (yellow wire) and D5 (green wire): swap those wires back."
    assert analysis.verdict.next[1].startswith("D6 (blue wire): check that wire")


def test_a_board_file_of_another_machine_is_no_crash(known: Board) -> None:
    pins = {f"X{n}": pin for n, pin in enumerate(known.pins.values())}
    other = known.model_copy(update={"pins": {**dict(list(known.pins.items())[:3]), **pins}})
    analysis = judged(taken("stuck-low:D6"), other)
    assert result(analysis, "taps.role_mismatch")[0] == "fail"


@pytest.mark.parametrize("rms_ns", [8, 14])
def test_a_clock_that_jitters_is_not_called_disturbed(rms_ns: int, plain: str) -> None:
    analysis = judged(taken(f"clock-jitter:rms_ns={rms_ns},kind=edge"), plain)
    assert result(analysis, "taps.crosstalk")[0] == "pass"
    assert analysis.verdict.place == "clock"


def test_a_shifted_connector_comes_first_and_tells_to_switch_off(plain: str) -> None:
    analysis = judged(taken("shift:1"), plain)
    taps = [f for f in analysis.findings if f.id.startswith("taps.")]
    assert taps[0].id == "taps.shifted"
    assert "SWITCH OFF AND UNPLUG IT NOW" in taps[0].text
    assert analysis.verdict.place == "taps"
    assert "CONNECTOR 1 POSITION OUT" in analysis.verdict.text


@pytest.mark.parametrize("fault", ["shift:1", "shift:3", "reverse", "swap:D1,D4", "swap:D0,D9"])
def test_the_picture_is_rebuilt_whatever_the_connector(fault: str, plain: str) -> None:
    analysis = judged(taken(fault), plain)
    frames = analysis.evidence.frames
    assert frames is not None
    (frame,) = frames.complete
    area = frames.active_of(frame)
    assert area is not None
    assert np.array_equal(area.crop(frame.codes), np.load(CAPTURES / "marlow85-50.pictures.npy")[0])


def test_exchanged_colour_bits_need_a_known_picture_and_it_is_said(known: Board, plain: str) -> None:
    capture = taken("swap:D3,D5")
    assert failed(judged(capture, known)) == {"taps.swapped"}
    blind = judged(capture, plain)
    assert not failed(blind)
    assert "D3, D4, D5 and D6 are colour bits, but which is which" in result(blind, "taps.role_mismatch")[1]


def test_bits_that_the_picture_shows_alike_are_named_with_what_to_show(plain: str) -> None:
    two = np.zeros((1, 200, 320), np.uint32)
    two[:, 50:100, 40:200] = 0b0011
    two[:, 120:140, 10:90] = 0b0100
    entry = (
        "[picture]\nactive = [136, 46, 384, 240]\n"
        "[[picture.regions]]\nat = [32, 20, 320, 200]\ncode = 0\n"
        "[[picture.regions]]\nat = [72, 70, 160, 50]\ncode = 3\n"
        "[[picture.regions]]\nat = [42, 140, 80, 20]\ncode = 4\n"
    )
    analysis = judged(taken(picture=two), plain + entry)
    assert not failed(analysis)
    text = result(analysis, "taps.role_mismatch")[1]
    assert "D3 and D4 (show colours 1 and 2)" in text
    assert "D6 (show colour 8)" in text


def test_a_bit_that_the_picture_does_not_use_is_no_fault(plain: str) -> None:
    dark = np.zeros((1, 200, 320), np.uint32)
    dark[:, 10:60, 10:200] = 0b0111
    dark[:, 80:90, 100:300] = 0b0001
    analysis = judged(taken(picture=dark), plain)
    assert not failed(analysis)
    outcome, text = result(analysis, "taps.stuck_low")
    assert outcome == "not_measured"
    assert "D6 (colour bit 3" in text
    assert "show one that does" in text
    assert analysis.verdict.place == "undecided"
    assert "taps.stuck_low" in analysis.verdict.because
    assert "Show a picture that uses every colour" in analysis.verdict.next[0]


def test_a_bit_that_moves_only_later_in_a_long_capture_is_no_fault(plain: str) -> None:
    """Of a long capture the checks see the first piece's changes, and how many there were in all."""
    dark = np.zeros((1, 200, 320), np.uint32)
    dark[:, 10:60, 10:200] = np.arange(190) % 8
    analysis = judged(taken(picture=dark), plain)
    assert [f.kind for f in explain(analysis.evidence).story.faults] == ["stuck_low"]
    later = replace(analysis.evidence, edges={**analysis.evidence.edges, "D6": 12})
    assert not explain(later).story.faults


def test_a_grey_picture_is_no_bridge(plain: str) -> None:
    grey = fields_of(np.zeros((200, 320), np.uint32), MARLOW_50)
    grey[:, 20:100, 30:200] = 15
    analysis = judged(
        taken(picture=grey, border=None, active=MARLOW_50.active.__class__(168, 66, 320, 200)), plain
    )
    assert "taps.bridged" not in failed(analysis)
    outcome, text = result(analysis, "taps.bridged")
    assert outcome == "not_measured"
    assert "bridged, or a picture that uses them together only" in text


def test_a_plain_colour_screen_is_not_taken_for_display_enable(plain: str) -> None:
    """Solid blue behaves just like a display enable; the board file says that it is a colour bit."""
    blue = np.full((1, 200, 320), 1, np.uint32)
    analysis = judged(taken(picture=blue), plain)
    assert not failed(analysis)
    assert next(p for p in analysis.pins if p.channel == "D3").role == "colour"


def test_a_short_capture_without_a_field_sync_is_no_fault(plain: str) -> None:
    capture = taken(fields=0.04, picture=None)
    clipped = judged(capture, plain)
    assert not failed(clipped)


def test_two_still_leads_may_be_a_bridge_and_it_is_said(plain: str) -> None:
    text = plain.replace('polarity = "negative"', 'polarity = "positive"')
    analysis = judged(taken("stuck-low:D1", "stuck-low:D2"), text)
    assert "D1 and D2 touch each other" in result(analysis, "taps.stuck_low")[1]


def test_a_dead_machine_is_not_called_eight_bad_wires(plain: str) -> None:
    analysis = judged(taken(*(f"stuck-low:D{n}" for n in range(1, 8))), plain)
    assert "So many at once is rather the connector" in result(analysis, "taps.stuck_low")[1]


def test_a_spare_lead_on_a_used_pin_is_only_pointed_out(known: Board) -> None:
    analysis = judged(taken(wires={"D9": "hsync"}), known)
    assert result(analysis, "taps.bridged")[0] == "warn"
    assert "D9 (not used by the board file)" in result(analysis, "taps.bridged")[1]


def test_an_inverted_clock_cannot_be_told_and_it_is_said(known: Board) -> None:
    analysis = judged(taken("invert:D0"), known)
    assert not failed(analysis)
    assert "Of the pixel clock behaviour cannot tell" in result(analysis, "taps.inverted")[1]


def test_a_bit_high_in_blanking_may_be_inverted_and_it_is_said(plain: str) -> None:
    analysis = judged(taken("invert:D4"), plain)
    outcome, text = result(analysis, "taps.inverted")
    assert outcome == "not_measured"
    assert "D4 (colour bit 1" in text
    assert "known picture" in text


def test_without_a_board_file_only_what_shows_by_itself_is_said() -> None:
    analysis = judged(taken(wires={"D9": "hsync"}), None)
    assert result(analysis, "taps.bridged")[0] == "warn"
    assert result(analysis, "taps.swapped")[0] == "not_measured"


def test_without_a_board_file_equal_colour_bits_may_be_a_bridge_or_the_picture() -> None:
    """White text on blue has three bits that are equal all through, as two that touch have."""
    white = np.where(np.arange(320 * 200).reshape(1, 200, 320) // 5 % 7 % 2, 15, 1).astype(np.uint32)
    for capture in (taken(picture=white), taken("bridge:D1,D4,and")):
        analysis = judged(capture, None)
        assert not failed(analysis)
        outcome, text = result(analysis, "taps.bridged")
        assert outcome == "not_measured"
        assert "bridged, or a picture that uses them together only" in text


def test_a_field_sync_in_tatters_is_crosstalk_and_no_crash(plain: str) -> None:
    """Its pulses begin several fields in one line: fields without a line, which are none."""
    analysis = judged(taken("crosstalk:to=D2,aggressor=D0,width_ns=15,chance=0.01"), plain)
    assert analysis.verdict.place == "taps"
    assert "on D2" in analysis.verdict.text
