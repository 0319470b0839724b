"""``board new`` on the demo captures, against the truth that was written when each was simulated."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner

from rastertap.board.load import load_board
from rastertap.cli.main import main

CAPTURES = Path(__file__).parents[2] / "captures"


@pytest.mark.parametrize("name", ["marlow85-50", "marlow85-60", "marlow85-50-shifted"])
def test_a_board_made_from_a_capture_states_what_was_simulated(name: str, tmp_path: Path) -> None:
    out = tmp_path / "new folder" / "board.toml"
    arguments = ["new", str(CAPTURES / f"{name}.vcd.gz"), "--out", str(out)]
    result = CliRunner().invoke(main, ["board", *arguments], catch_exceptions=False)
    assert result.exit_code == 0
    board = load_board(out)
    truth = json.loads((CAPTURES / f"{name}.truth.json").read_text(encoding="utf-8"))
    source = truth["source"]

    assert board.timing.pixel_clock_hz == Fraction(source["pixel_clock_hz"])
    assert board.timing.pixels_per_line == source["pixels_per_line"]
    assert board.timing.lines_per_field == (float(source["lines_per_field"]),)
    assert board.timing.interlaced == source["interlaced"]
    assert board.timing.hsync_width_us is not None
    low, high = board.timing.hsync_width_us
    assert low < source["hsync"]["width_s"] * 1e6 < high
    carried = {
        channel: (wire["carries"]["role"], wire["carries"]["bit"])
        for channel, wire in truth["channels"].items()
        if wire["carries"] and wire["carries"]["role"] in {"pixel_clock", "hsync", "vsync", "csync", "colour"}
    }
    assert {c.rpartition(".")[2]: (pin.role, pin.bit) for c, pin in board.pins.items()} == carried
