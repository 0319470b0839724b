"""The wiring's drawing: lines go from what is meant to where it is found."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.analyse import Request, analyse
from rastertap.board.load import load_board
from rastertap.capture.model import Channel
from rastertap.capture.read import read_capture
from rastertap.report.drawing.wiring import wiring_svg

if TYPE_CHECKING:
    from collections.abc import Callable

    from rastertap.board.model import Board
    from rastertap.capture.model import Capture

SVG = "{http://www.w3.org/2000/svg}"
CAPTURES = Path(__file__).parents[2] / "captures"
USED = 8
"""Pins of the shipped board file."""


@pytest.fixture(scope="module")
def board() -> Board:
    return load_board(CAPTURES / "marlow85-50.toml")


@pytest.fixture(scope="module")
def good() -> Capture:
    return read_capture(str(CAPTURES / "marlow85-50.vcd.gz"))


def drawn(capture: Capture, board: Board | None) -> ET.Element:
    return ET.fromstring(wiring_svg(analyse(capture, Request(board=board))))  # noqa: S314 - made here


def slopes(root: ET.Element) -> list[float]:
    """How far each signal's line falls, in rows."""
    found = []
    for line in root.iter(f"{SVG}line"):
        x1, y1, x2, y2 = (float(line.get(n, "nan")) for n in ("x1", "y1", "x2", "y2"))
        if x2 - x1 > 100:
            found.append((y2 - y1) / 24)
    return found


def words(root: ET.Element) -> list[str]:
    return [t.text or "" for t in root.iter(f"{SVG}text")]


def with_channels(capture: Capture, change: Callable[[dict[str, Channel]], dict[str, Channel]]) -> Capture:
    waves = change({c.name: c for c in capture.channels})
    return replace(capture, channels=tuple(replace(waves[c.name], name=c.name) for c in capture.channels))


def test_of_good_wiring_every_line_is_level(good: Capture, board: Board) -> None:
    root = drawn(good, board)
    assert slopes(root) == [0.0] * USED
    assert "hsync (position 2, chip pin 24, brown wire)" in words(root)
    assert sum(w.endswith(" in place") for w in words(root)) == USED
    assert root.find(f"{SVG}desc").text == "Every signal is in its place."  # type: ignore[union-attr]


def test_a_shifted_connector_slants_all_lines_alike(board: Board) -> None:
    root = drawn(read_capture(str(CAPTURES / "marlow85-50-shifted.vcd.gz")), board)
    assert slopes(root) == [1.0] * USED
    assert "D0 does not carry pixel clock (static low)" in words(root)
    assert "D1 carries pixel clock, meant for D0" in words(root)


def test_two_wires_exchanged_cross(good: Capture, board: Board) -> None:
    root = drawn(with_channels(good, lambda w: w | {"D1": w["D2"], "D2": w["D1"]}), board)
    assert sorted(slopes(root)) == [-1.0, *[0.0] * (USED - 2), 1.0]
    assert "D1 carries vsync, meant for D2" in words(root)


def test_a_stuck_wire_has_no_line_but_a_cross(good: Capture, board: Board) -> None:
    still = Channel("D1", 0, np.empty(0, np.int64), np.empty(0, np.uint8))
    root = drawn(with_channels(good, lambda w: w | {"D1": still}), board)
    assert slopes(root) == [0.0] * (USED - 1)
    assert "D1 stays low" in words(root)
    assert len(list(root.iter(f"{SVG}line"))) == USED - 1 + 3


def test_an_inverted_and_two_bridged_wires_are_told_beside_their_lines(good: Capture, board: Board) -> None:
    def change(waves: dict[str, Channel]) -> dict[str, Channel]:
        own = waves["D1"]
        turned = replace(own, initial=1 - own.initial, levels=(1 - own.levels).astype(np.uint8))
        return waves | {"D1": turned, "D7": waves["D2"]}

    found = words(drawn(with_channels(good, change), board))
    assert "D1 inverted" in found
    assert "D2 bridged to D7" in found
    assert "D7 bridged to D2" in found


def test_what_a_board_file_says_cannot_break_the_drawing(good: Capture, board: Board) -> None:
    hostile = '</text><script>alert("1")</script>\x1b[2J'
    pins = {n: p.model_copy(update={"wire": hostile}) for n, p in board.pins.items()}
    root = drawn(good, board.model_copy(update={"pins": pins}))
    assert not list(root.iter(f"{SVG}script"))
    assert any("</text><script>" in w and "\x1b" not in w for w in words(root))


def test_without_a_board_file_there_is_nothing_to_draw(good: Capture) -> None:
    assert wiring_svg(analyse(good, Request())) == ""


def test_a_channel_that_was_not_recorded_is_shown_as_lacking(good: Capture, board: Board) -> None:
    without = replace(good, channels=tuple(c for c in good.channels if c.name != "D4"))
    root = drawn(without, board)
    assert "D4 is not in the capture" in words(root)
    assert slopes(root) == [0.0] * (USED - 1)
