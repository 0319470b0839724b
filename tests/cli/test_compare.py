"""`rastertap compare`: what differs, and whether by more than its uncertainty."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

from rastertap.analyse import Request, analyse
from rastertap.capture.read import read_capture
from rastertap.compare import board_of, compare

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def make(rastertap: Callable[..., Any], out: Path, *options: str) -> str:
    """Record the invented machine, two fields from just before a field sync on."""
    result = rastertap("bench", "make", str(out), "--start", "0.95", "--fields", "2.1", *options)
    assert result.code == 0, result.err
    return str(out)


def rows(result: Any) -> dict[str, dict[str, Any]]:
    return {row["name"]: row for row in json.loads(result.out)["rows"]}


def test_a_capture_does_not_differ_from_itself(rastertap: Callable[..., Any], good: str) -> None:
    result = rastertap("compare", good, good)
    assert result.code == 0
    assert "Nothing, as far as both could be measured." in result.out


def test_another_rate_start_phase_and_timebase_are_no_difference(
    rastertap: Callable[..., Any], good: str, tmp_path: Path
) -> None:
    """The good one is 100 MS/s with a timebase 8 ppm fast (captures/README.md)."""
    other = make(
        rastertap,
        tmp_path / "other.vcd.gz",
        "--rate",
        "40M",
        "--start",
        "0.6",
        "--timebase-ppm",
        "-20",
        "--seed",
        "8",
    )
    result = rastertap("compare", good, other, "--json", "-")
    assert [n for n, row in rows(result).items() if row["differs"]] == []
    assert result.code == 0


@pytest.mark.parametrize(
    ("options", "names"),
    [
        (("--fault", "swap:D1,D4"), {"wiring"}),
        (("--fault", "swap:D3,D5"), {"wiring"}),
        (("--fault", "invert:D1"), {"wiring", "line sync polarity"}),
        (("--fault", "clock-frequency:300"), {"frequency", "line period", "field rate"}),
        (("--hsync", "0,38"), {"line sync width"}),
        (("--lines-per-field", "313"), {"lines a field"}),
    ],
)
def test_a_difference_is_found_where_it_is(
    options: tuple[str, ...], names: set[str], rastertap: Callable[..., Any], tmp_path: Path
) -> None:
    first = make(rastertap, tmp_path / "good.vcd.gz", "--seed", "3")
    second = make(rastertap, tmp_path / "this.vcd.gz", "--seed", "4", *options)
    result = rastertap("compare", first, second, "--json", "-")
    assert result.code == 1
    found = {n for n, row in rows(result).items() if row["differs"]}
    assert names <= found
    assert ("wiring" in found) == ("wiring" in names)


def test_the_same_analyser_settles_what_its_timebase_leaves_open(
    rastertap: Callable[..., Any], tmp_path: Path
) -> None:
    """20 ppm is within two analysers' 50 ppm, and far outside the uncertainty of one and the same."""
    first = make(rastertap, tmp_path / "before.vcd.gz", "--seed", "3")
    second = make(rastertap, tmp_path / "after.vcd.gz", "--seed", "4", "--fault", "clock-frequency:20")
    apart = rows(rastertap("compare", first, second, "--json", "-"))["frequency"]
    assert apart["differs"] is False
    one = rows(rastertap("compare", first, second, "--same-analyser", "--json", "-"))["frequency"]
    assert one["differs"] is True
    # 20 ppm of 9 MHz is 180 Hz.
    assert one["this"] - one["good"] == pytest.approx(180e-6, rel=0.05)


def test_exchanged_colour_bits_are_found_from_the_good_capture_alone(
    rastertap: Callable[..., Any], good: str, tmp_path: Path
) -> None:
    other = make(rastertap, tmp_path / "this.vcd.gz", "--fault", "swap:D4,D6")
    result = rastertap("compare", good, other)
    assert "wiring: swapped: D4 and D6" in result.out


@pytest.mark.parametrize("across", [-1, 1, 3])
def test_a_picture_that_moved_to_either_side_is_told_by_how_much(across: int, good: str) -> None:
    sound = read_capture(good)
    # 9 MHz pixels: a sync that comes earlier leaves the picture later in its line.
    off = -round(across * 1e3 / 9 / sound.step) * round(sound.step)
    syncs = {"D1", "D2", "D7"}
    channels = tuple(replace(c, ticks=c.ticks + off) if c.name in syncs else c for c in sound.channels)
    first = analyse(sound, Request())
    second = analyse(replace(sound, channels=channels), Request(board=board_of(first)))
    found = {row.name: row for row in compare(first, second).rows if row.differs}
    assert found["place on the raster"].this == f"{across:+d} pixels across, +0 lines down"
    assert "pixels that differ" not in found
    assert "wiring" not in found


def test_leads_put_on_in_another_order_are_told_once_and_without_alarm(
    rastertap: Callable[..., Any], good: str, tmp_path: Path
) -> None:
    moves = ("swap:D0,D5", "swap:D1,D3", "swap:D2,D6", "swap:D5,D6")
    faults = [part for move in moves for part in ("--fault", move)]
    result = rastertap("compare", good, make(rastertap, tmp_path / "this.vcd.gz", *faults))
    assert result.code == 1
    words = " ".join(result.out.split())
    assert "leads were put on in another order" in words
    assert "SWITCH OFF" not in words
    assert "taps.swapped" not in words
    shifted = rastertap("compare", good, make(rastertap, tmp_path / "s.vcd.gz", "--fault", "shift:1"))
    assert "SWITCH OFF" in shifted.out
    assert "another order" not in shifted.out


def test_pixels_that_differ_are_counted(rastertap: Callable[..., Any], good: str, tmp_path: Path) -> None:
    other = make(rastertap, tmp_path / "this.vcd.gz", "--picture", "moving")
    row = rows(rastertap("compare", good, other, "--json", "-"))["pixels that differ"]
    # The square is an eighth of 200 lines, 25 x 25 pixels (rastertap.bench.card.moving, as documented).
    assert row["this"] == 625
    assert row["differs"] is True


def test_channels_of_other_names_are_matched_by_what_they_carry(
    rastertap: Callable[..., Any], tmp_path: Path
) -> None:
    import gzip

    first = make(rastertap, tmp_path / "good.vcd.gz", "--seed", "3")
    second = tmp_path / "this.vcd"
    text = gzip.decompress((tmp_path / "good.vcd.gz").read_bytes()).decode()
    for n in range(16):
        text = text.replace(f" D{n} $end", f" CH{(5 * n + 3) % 16} $end")
    second.write_text(text)
    result = rastertap("compare", first, str(second), "--json", "-")
    found = rows(result)
    assert result.code == 0
    assert (found["hsync"]["good"], found["hsync"]["this"]) == ("D1", "CH8")
    assert (found["colour bit 2"]["good"], found["colour bit 2"]["this"]) == ("D5", "CH12")


def test_standard_input_cannot_be_both(rastertap: Callable[..., Any]) -> None:
    result = rastertap("compare", "-", "-")
    assert result.code == 2
    assert "one capture only" in result.err


def test_a_capture_that_is_not_there_is_said(rastertap: Callable[..., Any], good: str) -> None:
    assert rastertap("compare", good, "gone.vcd").code == 3


def test_quiet_leaves_the_exit_code(rastertap: Callable[..., Any], good: str, faulty: str) -> None:
    result = rastertap("compare", good, faulty, "--quiet")
    assert (result.code, result.out) == (1, "")
