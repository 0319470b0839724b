"""Roles by behaviour: what a channel of no role looks like, ties, and roles through crosstalk."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.board.load import parse_board
from rastertap.capture.model import Capture, Channel, SamplePeriod
from rastertap.streams.role_clean import runts, settled
from rastertap.streams.role_coincidence import blame
from rastertap.streams.role_moves import connector_order, likeliest_move, moves
from rastertap.streams.roles import find_pins

from ..checks.boards import taken, text_of  # noqa: TID252 - tests are no package that could be named

if TYPE_CHECKING:
    from rastertap.streams.interface import Pin

BOARD = text_of(Path(__file__).parents[2] / "captures")


def pins_of(capture: Capture, board: str | None = None) -> dict[str, Pin]:
    found = find_pins(capture, parse_board(board) if board is not None else None)
    return {p.channel: p for p in found}


def wave(times: list[int] | np.ndarray, name: str = "x", initial: int = 0) -> Channel:
    ticks = np.asarray(times, np.int64)
    return Channel(name, initial, ticks, ((np.arange(1, ticks.size + 1) + initial) % 2).astype(np.uint8))


def test_every_other_signal_is_described() -> None:
    wires = {"D8": "cpu_clock", "D9": "noise", "D10": "tone", "D11": "other_clock", "D12": "high"}
    pins = pins_of(taken("open:D13,D1", wires=wires))
    kinds = {n: pins[n].kind for n in (*wires, "D13", "D14")}
    assert kinds == {
        "D8": "divided clock",
        "D9": "floating",
        "D10": "tone",
        "D11": "another clock",
        "D12": "static high",
        "D13": "echo",
        "D14": "static low",
    }
    assert "divided by 4" in " ".join(pins["D8"].why)
    # 9 MHz over 3.6864 MHz, as the bench's extra clock is written down.
    assert f"{9 / 3.6864:.4f} pixel clocks a cycle" in " ".join(pins["D11"].why)
    assert "D1" in " ".join(pins["D13"].why)


def test_serial_data_and_a_bus_are_told_from_noise() -> None:
    capture = taken()
    rng = np.random.default_rng(2)
    bit_times = np.flatnonzero(rng.random(2000) < 0.5) * 10_400 + 500
    rising = capture.channel("D0").edges_to(1)
    bus = rising[np.flatnonzero(rng.random(rising.size) < 0.3)] + 20
    more = (wave(bit_times[1:], "S"), wave(bus, "A"))
    added = Capture(
        "x", capture.tick, 0, capture.end, (*capture.channels, *more), sample_period=capture.sample_period
    )
    pins = pins_of(added, BOARD)
    assert pins["S"].kind == "serial data"
    assert pins["A"].kind in {"bus", "like a colour bit"}
    assert pins["A"].role == "other"


def test_a_signal_too_fast_for_the_sample_rate_is_said_to_be_so() -> None:
    capture = taken()
    rng = np.random.default_rng(4)
    fast = np.flatnonzero(rng.random(capture.end // 10 - 1) < 0.9) * 10 + 10
    added = Capture(
        "x",
        capture.tick,
        0,
        capture.end,
        (*capture.channels, wave(fast, "F")),
        sample_period=capture.sample_period,
    )
    assert pins_of(added)["F"].kind == "undersampled"


@pytest.mark.parametrize("aggressor", ["D0", "D3"])
def test_crosstalk_hides_no_role(aggressor: str) -> None:
    pins = pins_of(taken(f"crosstalk:D1,{aggressor}", f"crosstalk:D2,{aggressor}"))
    assert (pins["D1"].role, pins["D2"].role) == ("hsync", "vsync")


def test_a_role_that_fits_as_well_is_kept_in_mind() -> None:
    blue = np.full((1, 200, 320), 1, np.uint32)
    pins = pins_of(taken(picture=blue))
    assert {"display_enable", "colour"} <= set(pins["D3"].scores)


def test_colour_bits_follow_a_shifted_connector() -> None:
    pins = pins_of(taken("shift:2"), BOARD)
    assert {n: p.bit for n, p in pins.items() if p.role == "colour"} == {"D5": 0, "D6": 1, "D7": 2, "D8": 3}


def test_colour_bits_follow_a_ribbon_the_wrong_way_round() -> None:
    pins = pins_of(taken("reverse"), BOARD)
    assert {n: p.bit for n, p in pins.items() if p.role == "colour"} == {
        "D12": 0,
        "D11": 1,
        "D10": 2,
        "D9": 3,
    }


def test_short_pulses_are_taken_out_and_nothing_else() -> None:
    noisy = wave([100, 110, 300, 500, 505, 700])
    clean = settled(noisy, 20)
    assert clean.ticks.tolist() == [300, 700]
    assert clean.levels.tolist() == [1, 0]
    assert runts(noisy, 20).tolist() == [100, 500]
    assert settled(wave([100, 300]), 20) is not None


def test_who_is_beside_is_blamed_and_chance_is_not() -> None:
    rng = np.random.default_rng(6)
    quiet = wave(np.unique(rng.integers(1, 10**6, 400)) * 10, "quiet")
    busy = wave(np.arange(1, 10**6, 2) * 10, "busy")
    other = wave(np.unique(rng.integers(1, 10**6, 400)) * 10, "other")
    found = blame(quiet.ticks[::3], (busy, other, quiet), 10, 10**7)
    assert found is not None
    assert found.channels == ("quiet",)
    assert blame(other.ticks[:1], (busy,), 10, 10**7) is None


def test_moves_are_listed_once_each_the_right_one_first() -> None:
    order = ["A", "B", "C", "D"]
    found = list(moves(order, ["A", "B", "C"]))
    assert found[0].target == {n: n for n in order}
    shifts = {m.amount for m in found if m.kind == "shifted"}
    assert shifts == {-3, -2, -1, 1, 2, 3}
    assert {m.kind for m in found} == {"none", "shifted", "reversed", "rows"}
    rows = [m.target for m in found if m.kind == "rows"]
    assert {"A": "B", "B": "A", "C": "D", "D": "C"} in rows
    assert {"A": "C", "B": "D", "C": "A", "D": "B"} in rows


def test_the_connector_positions_of_the_board_file_are_its_order() -> None:
    text = BOARD.replace("connector = 1\n", "connector = 20\n")
    board = parse_board(text)
    assert connector_order(board, ["D0", "D1", "D2", "D9"]) == ["D1", "D2", "D0", "D9"]


def test_a_few_roles_out_of_place_are_no_moved_connector() -> None:
    board = parse_board(BOARD)
    assert likeliest_move(board, find_pins(taken("swap:D1,D2"), board)).kind == "none"


def test_a_capture_without_channels_has_no_pins() -> None:
    assert (
        find_pins(Capture("x", Fraction(1, 10**9), 0, 10, (), sample_period=SamplePeriod(1, 0, known=True)))
        == ()
    )
