"""`rastertap pins`: which channel carries what."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def carried(captures: Path, name: str) -> dict[str, str]:
    """Channel -> role, as the bench says; csync is one more sync that a machine may bring out."""
    truth = json.loads((captures / f"{name}.truth.json").read_text())
    return {label: channel["carries"]["role"] for label, channel in truth["channels"].items()}


def test_every_channel_is_named_with_what_it_carries(
    rastertap: Callable[..., Any], captures: Path, good: str, board: str
) -> None:
    result = rastertap("pins", good, "--board", board, "--json", "-")
    assert (result.code, result.err) == (0, "")
    found = {pin["channel"]: pin["role"] for pin in json.loads(result.out)["pins"]}
    assert found == carried(captures, "marlow85-50")


def test_every_channel_comes_with_its_reasons(rastertap: Callable[..., Any], good: str) -> None:
    pins = json.loads(rastertap("pins", good, "--json", "-").out)["pins"]
    assert all(pin["why"] for pin in pins)
    assert all(0 <= pin["score"] <= 1 for pin in pins)
    text = rastertap("pins", good).out
    words = " ".join(text.split())
    for pin in pins:
        assert f"{pin['channel']} " in text
        assert all(" ".join(reason.split()) in words for reason in pin["why"])


def test_a_ribbon_one_position_off_leaves_with_1(
    rastertap: Callable[..., Any], captures: Path, board: str
) -> None:
    result = rastertap("pins", str(captures / "marlow85-50-shifted.vcd.gz"), "--board", board)
    assert result.code == 1
    assert "FAULT  taps.shifted" in result.out


def test_a_fault_elsewhere_is_none_of_the_taps(
    rastertap: Callable[..., Any], faulty: str, board: str
) -> None:
    assert rastertap("check", faulty, "--board", board, "--quiet").code == 1
    assert rastertap("pins", faulty, "--board", board, "--quiet").code == 0


def test_without_a_board_file_no_channel_is_expected(rastertap: Callable[..., Any], good: str) -> None:
    pins = json.loads(rastertap("pins", good, "--json", "-").out)["pins"]
    assert {pin["expected_channel"] for pin in pins} == {None}


def test_the_wiring_is_drawn_when_it_is_known_what_is_meant(
    rastertap: Callable[..., Any], captures: Path, board: str, good: str, tmp_path: Path
) -> None:
    shifted = str(captures / "marlow85-50-shifted.vcd.gz")
    assert rastertap("pins", shifted, "--board", board, "--draw", str(tmp_path / "new"), "-q").code == 1
    drawn = (tmp_path / "new" / "wiring.svg").read_text()
    assert "D1 carries pixel clock, meant for D0" in drawn
    without = rastertap("pins", good, "--draw", str(tmp_path / "none"))
    assert without.code == 2
    assert "--board FILE" in without.err
    assert not (tmp_path / "none").exists()
