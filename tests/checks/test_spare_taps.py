"""Channels that the board file does not use: an unnamed display enable takes no colour bit's place."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from .boards import failed, judged, result, taken, text_of, with_picture

if TYPE_CHECKING:
    from typing import Any

    from rastertap.board.model import Board

CAPTURES = Path(__file__).parents[2] / "captures"
WINDOWS: dict[str, dict[str, Any]] = {
    "display_enable": {"wires": {"D8": "display_enable"}, "display_enable_polarity": "positive"},
    "blank": {"wires": {"D8": "blank"}, "blank_polarity": "positive"},
}


@pytest.fixture(scope="module")
def boards(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Board | str]:
    """The board file without a known picture, and with."""
    known = with_picture(CAPTURES, tmp_path_factory.mktemp("board"))
    return {"plain": text_of(CAPTURES), "known": known}


@pytest.mark.parametrize("window", WINDOWS)
@pytest.mark.parametrize("which", ["plain", "known"])
@pytest.mark.parametrize(
    ("fault", "finding"),
    [
        ("stuck-low:D6", "taps.stuck_low"),
        ("stuck-high:D5", "taps.stuck_high"),
        ("open:D5", "taps.open"),
        ("swap:D5,D9", "taps.swapped"),
        ("stuck-low:D1", "taps.stuck_low"),
        ("shift:1", "taps.shifted"),
    ],
)
def test_a_fault_beside_an_unnamed_window_is_named_and_nothing_else(
    fault: str, finding: str, which: str, window: str, boards: dict[str, Board | str]
) -> None:
    analysis = judged(taken(fault, **WINDOWS[window]), boards[which])
    assert failed(analysis) == {finding}


def test_a_bit_that_lies_on_the_unnamed_windows_channel_is_found_by_the_known_picture(
    boards: dict[str, Board | str],
) -> None:
    analysis = judged(taken("swap:D3,D8", **WINDOWS["display_enable"]), boards["known"])
    assert failed(analysis) == {"taps.swapped"}
    assert "D8 carries the colour bit 0 meant for D3" in result(analysis, "taps.swapped")[1]


@pytest.mark.parametrize("solid", [True, False])
def test_a_bit_that_the_picture_does_not_use_stays_where_it_is(
    boards: dict[str, Board | str], *, solid: bool
) -> None:
    """Solid blue is as bright as display enable is high: the two are equal, and no bridge."""
    picture = np.full((1, 200, 320), 1, np.uint32)
    if not solid:
        picture[:, 10:60, 10:200] = 7
    analysis = judged(taken(picture=picture, **WINDOWS["display_enable"]), boards["plain"])
    assert not failed(analysis)
    outcome, text = result(analysis, "taps.stuck_low")
    assert outcome == "not_measured"
    assert "D6 (colour bit 3" in text
    assert next(p for p in analysis.pins if p.channel == "D6").role == "colour"
    assert next(p for p in analysis.pins if p.channel == "D8").role == "display_enable"
