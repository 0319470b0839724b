"""Loose wires, told from noise and from text; other faults beside one that takes the sync away."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.checks.wiring import explain

from .boards import failed, judged, result, taken, text_of, with_picture

if TYPE_CHECKING:
    from rastertap.board.model import Board

CAPTURES = Path(__file__).parents[2] / "captures"
FIELDS = 2.2
"""Two whole fields, that can be compared."""


@pytest.fixture(scope="module")
def boards(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Board | str | None]:
    """No board file, one without a known picture, and one with."""
    known = with_picture(CAPTURES, tmp_path_factory.mktemp("board"))
    return {"none": None, "plain": text_of(CAPTURES), "known": known}


@pytest.mark.parametrize("fault", ["open:D5", "open:D3", "open:D5,D4", "open:D6,D3", "open:D4,D7"])
@pytest.mark.parametrize("which", ["none", "plain", "known"])
def test_an_open_colour_wire_is_laid_on_the_taps(
    fault: str, which: str, boards: dict[str, Board | str | None]
) -> None:
    analysis = judged(taken(fault, fields=FIELDS), boards[which])
    assert failed(analysis) == {"taps.open"}
    assert analysis.verdict.place == "taps"
    assert fault.partition(":")[2][:2] in analysis.verdict.text


def test_a_spare_input_that_floats_is_named_and_no_fault_without_a_board_file() -> None:
    analysis = judged(taken(wires={"D9": "noise"}, fields=FIELDS), None)
    assert not failed(analysis)
    outcome, text = result(analysis, "taps.open")
    assert outcome == "not_measured"
    assert "D9 changes at random" in text
    assert analysis.verdict.place == "after_the_pins"


@pytest.mark.parametrize("one_in", [100, 1000])
@pytest.mark.parametrize("which", ["none", "plain", "known"])
def test_a_bit_that_flips_in_step_with_the_clock_is_no_open_wire(
    one_in: int, which: str, boards: dict[str, Board | str | None]
) -> None:
    analysis = judged(taken(f"chip-noisy-bit:bit=2,one_in={one_in}", fields=FIELDS), boards[which])
    assert not failed(analysis)
    assert result(analysis, "picture.unstable_pixels")[0] == "fail"
    assert "(D5)" in result(analysis, "picture.unstable_pixels")[1]


@pytest.mark.parametrize(("ink", "paper"), [(5, 1), (9, 1), (15, 1), (6, 0), (2, 1)])
@pytest.mark.parametrize("which", ["none", "plain", "known"])
def test_text_that_one_bit_shows_alone_is_no_open_wire(
    ink: int, paper: int, which: str, boards: dict[str, Board | str | None]
) -> None:
    """No two lines of it are alike in that bit, while the other bits are alike in all."""
    dots = np.random.default_rng(3).integers(0, 2, (1, 200, 320))
    picture = np.where(dots, ink, paper).astype(np.uint32)
    assert not failed(judged(taken(picture=picture, fields=FIELDS), boards[which]))


@pytest.mark.parametrize(
    ("lost", "other"),
    [
        ("stuck-low:D2", "stuck-high:D3"),
        ("open:D2", "invert:D4"),
        ("stuck-high:D1", "swap:D3,D5"),
        ("bridge:D0,D1,or", "invert:D6"),
        ("bridge:D0,D1,and", "bridge:D4,D5,or"),
    ],
)
def test_the_known_picture_is_found_by_its_own_lines_where_sync_is_lost(
    lost: str, other: str, boards: dict[str, Board | str | None]
) -> None:
    analysis = judged(taken(lost, other), boards["known"])
    words = {"stuck-low": "stuck_low", "stuck-high": "stuck_high", "swap": "swapped", "invert": "inverted"}
    kinds = {words.get(f.partition(":")[0], f.partition(":")[0]) for f in (lost, other)}
    kinds = {{"bridge": "bridged"}.get(kind, kind) for kind in kinds}
    assert {f.kind for f in explain(analysis.evidence).story.faults} == kinds
    assert failed(analysis) == {f"taps.{kind}" for kind in kinds}


def test_crosstalk_on_the_field_sync_of_a_board_without_line_sync_is_named(
    boards: dict[str, Board | str | None],
) -> None:
    """The disturbed field sync is all the sync there is; its short pulses make no fields."""
    analysis = judged(taken("stuck-high:D1", "stuck-high:D7", "crosstalk:D2,D3"), boards["known"])
    assert failed(analysis) == {"taps.stuck_high", "taps.crosstalk"}
    assert "D2" in result(analysis, "taps.crosstalk")[1]


def test_crosstalk_of_the_clock_is_laid_on_the_clock(boards: dict[str, Board | str | None]) -> None:
    """At 11 samples a cycle half of all times are beside an edge of it."""
    analysis = judged(taken("crosstalk:D3,D0,15"), boards["known"])
    assert failed(analysis) == {"taps.crosstalk"}
    assert "beside edges of D0" in result(analysis, "taps.crosstalk")[1]


def test_crosstalk_beside_the_disturbed_channels_own_edges_is_laid_on_its_source(
    boards: dict[str, Board | str | None],
) -> None:
    """A bus whose bits come some ns apart: the disturbance follows an edge of the disturbed bit itself."""
    late = {"colour1": 20.0}
    analysis = judged(taken("crosstalk:D3,D4,20", delays_ns=late), boards["known"])
    assert failed(analysis) == {"taps.crosstalk"}
    assert "beside edges of D4" in result(analysis, "taps.crosstalk")[1]


def test_a_spare_lead_that_is_bridged_does_not_make_another_bridge_doubtful(
    boards: dict[str, Board | str | None],
) -> None:
    analysis = judged(taken("bridge:D1,D9,or", "bridge:D4,D5,and"), boards["known"])
    assert result(analysis, "taps.bridged")[0] == "fail"
    assert analysis.verdict.place == "taps"
