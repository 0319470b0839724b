"""`rastertap plan`: what a repairer needs before the capture, and what an analyser can show."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from rastertap.board.load import parse_board
from rastertap.checks.expected_picture import expected_pictures
from rastertap.checks.picture_bits import NOISE
from rastertap.plan.screen import MOST_BARS, board_entry, codes_to_show, drawing, listing

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def plan(rastertap: Callable[..., Any], board: str, *options: str) -> dict[str, Any]:
    result = rastertap("plan", "--board", board, "--json", "-", *options)
    assert (result.code, result.err) == (0, "")
    data: dict[str, Any] = json.loads(result.out)
    return data


def shows(data: dict[str, Any]) -> dict[str, bool]:
    return {one["what"]: one["shown"] for one in data["shows"]}


def test_the_dangers_come_first_then_the_order_ground_first(
    rastertap: Callable[..., Any], board: str
) -> None:
    text = rastertap("plan", "--board", board).out
    assert text.index("BEFORE YOU TOUCH") < text.index("ORDER OF CONNECTING") < text.index("WIRING")
    words = " ".join(text.split())
    for caution in (
        "one position out",
        "isolation from the mains",
        "CRT",
        "5 V tolerant",
        "wrist strap",
        "Ground first",
    ):
        assert caution in words
    assert words.index("unplugged") < words.index("Ground first") < words.index("Machine on.")


def test_every_pin_of_the_board_file_is_in_the_wiring_list(rastertap: Callable[..., Any], board: str) -> None:
    data = plan(rastertap, board)
    listed = {row["channel"]: (row["role"], row["chip_pin"], row["wire"]) for row in data["wiring"]}
    assert listed["D1"] == ("hsync", 24, "brown")
    assert listed["D6"] == ("colour", 33, "blue")
    assert len(listed) == 8
    text = rastertap("plan", "--board", board).out
    assert "D1       hsync -               24        2          brown" in text


def test_rate_and_memory_follow_from_the_board_file(rastertap: Callable[..., Any], board: str) -> None:
    """9 MHz, 576 x 312: 50.08 fields a second; three samples a cycle, four fields for three whole ones."""
    wanted = plan(rastertap, board, "--rate", "100M", "--channels", "16")["recording"]
    assert wanted["clock_hz"] == 9e6
    assert wanted["least_hz"] == 27e6
    assert wanted["seconds"] == pytest.approx(4 * 576 * 312 / 9e6)
    assert wanted["samples"] == pytest.approx(4 * 576 * 312 / 9e6 * 1e8, abs=1)
    assert wanted["bytes"] == pytest.approx(wanted["samples"] * 2, abs=1)


@pytest.mark.parametrize(
    ("rate", "able"),
    [
        ("1M", (False, False, False, False)),
        ("24M", (True, False, False, False)),
        ("28M", (True, True, False, False)),
        ("100M", (True, True, True, True)),
    ],
)
def test_what_a_rate_can_show_is_said(
    rate: str, able: tuple[bool, ...], rastertap: Callable[..., Any], board: str
) -> None:
    found = shows(plan(rastertap, board, "--rate", rate))
    keys = ("lines", "every pixel", "duty", "pulses of 15 ns")
    assert tuple(next(v for k, v in found.items() if k.startswith(key)) for key in keys) == able


def test_too_little_memory_and_too_few_channels_are_said(rastertap: Callable[..., Any], board: str) -> None:
    data = plan(rastertap, board, "--rate", "100M", "--channels", "7", "--depth", "3M", "--fields", "2")
    found = {one["what"]: one for one in data["shows"]}
    # 3 M samples at 100 MS/s are 30 ms: the field begun and not one and a half more.
    assert found["2 whole field(s)"]["shown"] is False
    assert "30 ms: 0 whole" in found["2 whole field(s)"]["why"]
    assert found["one field, at the lowest safe rate"]["shown"] is True
    assert "leave out D7 (csync)" in found["all pins of the board file at once"]["why"]


@pytest.mark.parametrize(("channels", "said"), [(6, "in 2 goes"), (5, "in 4 goes"), (4, "too few")])
def test_how_often_to_record_follows_from_the_channels(
    channels: int, said: str, rastertap: Callable[..., Any], tmp_path: Path
) -> None:
    roles = ["pixel_clock", "hsync", "vsync", "blank"]
    pins = "".join(f'[pins.D{n}]\nrole = "{role}"\n' for n, role in enumerate(roles))
    pins += "".join(f'[pins.D{4 + b}]\nrole = "colour"\nbit = {b}\n' for b in range(4))
    board = tmp_path / "b.toml"
    timing = '[timing]\nstandard = "312/50"\npixel_clock_hz = 8000000\n'
    board.write_text(f'schema = "rastertap.board/1"\nname = "x"\n{timing}{pins}')
    data = plan(rastertap, str(board), "--rate", "100M", "--channels", str(channels), "--depth", "9M")
    found = {one["what"]: one for one in data["shows"]}
    assert said in found["all pins of the board file at once"]["why"]


def test_a_board_file_without_timing_is_told_what_it_lacks(
    rastertap: Callable[..., Any], tmp_path: Path
) -> None:
    path = tmp_path / "bare.toml"
    path.write_text('schema = "rastertap.board/1"\nname = "bare"\n')
    text = " ".join(rastertap("plan", "--board", str(path)).out.split())
    assert "states no pixel clock" in text
    assert "names no pin" in text
    assert "names no colour pin" in text


def test_thresholds_lie_between_low_and_high_with_their_source(
    rastertap: Callable[..., Any], board: str
) -> None:
    """references.md 9: TTL and NMOS 0.8 and 2.0 V, 5 V CMOS 1.35 and 3.5 V, 3.3 V logic 0.8 and 2.0 V."""
    found = {f["key"]: f for f in plan(rastertap, board)["thresholds"]}
    assert {k: f["threshold_v"] for k, f in found.items()} == pytest.approx(
        {"nmos5": 1.4, "ttl5": 1.4, "cmos5": 2.425, "lv33": 1.4}
    )
    assert all(f["source"] for f in found.values())


@pytest.mark.parametrize(
    "option", [("--rate", "0"), ("--depth", "0"), ("--fields", "0"), ("--channels", "0")]
)
def test_nothing_can_be_planned_with_nothing(
    option: tuple[str, str], rastertap: Callable[..., Any], board: str
) -> None:
    assert rastertap("plan", "--board", board, *option).code == 2


@pytest.mark.parametrize("bits", [1, 3, 4, 6, 8, 16])
def test_the_test_screen_tells_every_bit_from_every_other(bits: int) -> None:
    codes = codes_to_show(bits)
    assert len(codes) <= MOST_BARS or len(codes) == bits + 2
    levels = {bit: tuple(code >> bit & 1 for code in codes) for bit in range(bits)}
    assert len(set(levels.values())) == bits
    inverted = {tuple(1 - level for level in column) for column in levels.values()}
    assert bits == 1 or not inverted & set(levels.values())
    assert 1 / len(codes) > NOISE


@pytest.mark.parametrize(("bits", "width"), [(3, 320), (4, 256), (12, 640), (9, 321)])
def test_the_bars_of_the_listing_have_their_edges_where_the_known_picture_has_them(
    bits: int, width: int
) -> None:
    """Run lines 60 and 70 by hand for each I."""
    lines = {int(line.split()[0]): line for line in listing(bits)}
    count = int(lines[20].rpartition("= ")[2])
    names = {"N": count, "W": width, "INT": int}
    bars = np.full(width, -1)
    for i in range(count):
        left, right = (eval(lines[n].partition(" = ")[2], names | {"I": i}) for n in (60, 70))  # noqa: S307 - our own
        assert (bars[left : right + 1] == -1).all()
        bars[left : right + 1] = i
    active = (10, 20, width, 100)
    pins = "".join(f'[pins.D{b}]\nrole = "colour"\nbit = {b}\n' for b in range(bits))
    text = f'schema = "rastertap.board/1"\nname = "x"\n{pins}' + "\n".join(board_entry(bits, active))
    board = parse_board(text + "\n")
    codes = expected_pictures(board, bits)[0].codes[50]
    assert np.array_equal(np.array(codes_to_show(bits))[bars], codes)


@pytest.mark.parametrize("bits", [3, 4, 8])
def test_the_listing_draws_the_codes_that_the_board_entry_states(bits: int) -> None:
    """Run the pseudo-BASIC by hand: N bars, C from the loop or from DATA."""
    lines = list(listing(bits))
    data = [line.partition("DATA ")[2] for line in lines if " DATA " in line]
    count = int(next(line for line in lines if "LET N" in line).rpartition("= ")[2])
    codes = [int(c) for c in data[0].split(",")] if data else list(range(count))
    pins = "".join(f'[pins.D{b}]\nrole = "colour"\nbit = {b}\n' for b in range(bits))
    text = f'schema = "rastertap.board/1"\nname = "x"\n{pins}' + "\n".join(board_entry(bits, None))
    picture = parse_board(text + "\n").picture
    assert picture is not None
    assert list(picture.regions[0].bars or ()) == codes
    numbers = [int(line.split()[0]) for line in lines]
    assert numbers == sorted(set(numbers))
    shown = " ".join(drawing(bits))
    assert all(f" {code} " in shown or f"|{code}" in shown for code in codes)
