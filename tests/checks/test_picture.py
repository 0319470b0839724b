"""The picture's findings on simulated faults and on frames made by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from rastertap.analyse import Request, analyse
from rastertap.bench.analyser import Analyser, plug
from rastertap.bench.card import card_for, moving
from rastertap.bench.faults import parse_fault
from rastertap.bench.machines import MACHINES
from rastertap.bench.make import make_capture
from rastertap.capture.read import read_capture
from rastertap.checks.picture import PictureCheck
from rastertap.frames.model import Area, Frame
from rastertap.frames.steadiness import begin, extend
from rastertap.report.document import document

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from rastertap.analyse import Analysis
    from rastertap.frames.steadiness import Steadiness

SOURCE = MACHINES["marlow85-50"].source


def analysed(
    path: Path, *faults: str, fields: float = 3.3, picture: NDArray[np.uint32] | None = None
) -> Analysis:
    card = card_for(SOURCE) if picture is None else picture
    analyser = replace(Analyser(plug(SOURCE)), fields=fields)
    make_capture(SOURCE, analyser, tuple(map(parse_fault, faults)), card, seed=9).write_vcd(path)
    return analyse(read_capture(path), Request())


def finding(analysis: Analysis, name: str) -> tuple[str, str]:
    found = next(f for f in analysis.findings if f.id == name)
    return found.result, found.text


def test_a_moving_square_is_no_noise(tmp_path: Path) -> None:
    analysis = analysed(tmp_path / "a.vcd", fields=6.3, picture=moving(card_for(SOURCE), 8))
    result, text = finding(analysis, "picture.unstable_pixels")
    assert result == "pass"
    assert "moves or blinks" in text
    steady = document(analysis)["steadiness"][0]
    assert steady["moving_pixels"] > 100
    assert [b["flips"] for b in steady["bits"]] == [0, 0, 0, 0]


def test_a_bit_that_lets_go_for_some_lines_is_named(tmp_path: Path) -> None:
    """In every second picture the chip's bit 2 is low through 20 lines, as if its joint had opened.

    The picture begins in line 46, its border is 20 lines high (captures/README.md).
    """
    pictures = np.repeat(card_for(SOURCE)[:1], 2, axis=0)
    pictures[1, 40:60] &= ~np.uint32(4)
    analysis = analysed(tmp_path / "a.vcd", picture=pictures)
    result, text = finding(analysis, "picture.unstable_pixels")
    assert result == "warn"
    assert text.startswith("Colour bit 2 (D6) stays low from line 106 to 125 of field ")
    assert any("Colour bit 2" in step for step in analysis.verdict.next)


@pytest.mark.parametrize("bits", [15, 2])
def test_a_cursor_that_blinks_is_no_loose_wire(tmp_path: Path, bits: int) -> None:
    pictures = np.repeat(card_for(SOURCE)[:1], 2, axis=0)
    pictures[1, 60:68, 40:48] ^= np.uint32(bits)
    result, text = finding(analysed(tmp_path / "a.vcd", picture=pictures), "picture.unstable_pixels")
    assert (result, "moves or blinks" in text) == ("pass", True)


def test_a_still_picture_is_the_same_in_every_field(tmp_path: Path) -> None:
    result, text = finding(analysed(tmp_path / "a.vcd"), "picture.unstable_pixels")
    assert (result, "All pixels are the same" in text) == ("pass", True)


def test_one_field_cannot_be_compared(tmp_path: Path) -> None:
    result, text = finding(analysed(tmp_path / "a.vcd", fields=1.2), "picture.unstable_pixels")
    assert result == "not_measured"
    assert "no two complete fields" in text


@pytest.mark.parametrize(
    ("change", "result", "said"),
    [
        ({"shown": np.array([1], np.uint32)}, "warn", "One colour only"),
        ({"areas": {}, "shown": np.array([0], np.uint32)}, "fail", "no picture at the pins"),
        ({}, "pass", "16 colours"),
    ],
)
def test_a_screen_of_one_colour_or_none_is_said(
    change: dict[str, Any], result: str, said: str, tmp_path: Path
) -> None:
    """A capture of one colour cannot be made: its one moving bit looks like display enable."""
    evidence = analysed(tmp_path / "a.vcd").evidence
    assert evidence.frames is not None
    frames = replace(evidence.frames, **change)
    shown = replace(evidence, streams={**evidence.streams, "frames": frames})
    found = next(f for f in PictureCheck().run(shown) if f.id == "picture.blank")
    assert found.result == result
    assert said in found.text


class Fields:
    """Fields made by hand: a random still picture of four bits in a blank border."""

    def __init__(self, seed: int = 0) -> None:
        self.random = np.random.default_rng(seed)
        self.still = np.zeros((60, 80), np.uint8)
        self.area = Area(20, 10, 50, 40)
        self.still[10:50, 20:70] = self.random.integers(0, 16, (40, 50), np.uint8)

    def compare(
        self, rasters: list[NDArray[np.uint8]], unsure: NDArray[np.bool_] | None = None
    ) -> Steadiness:
        """Compare rasters, taken in one by one."""
        doubt = np.zeros(self.still.shape, bool) if unsure is None else unsure
        frames = [Frame(i, "progressive", r, doubt, i, complete=True) for i, r in enumerate(rasters)]
        steady = begin(frames[0], 4, self.area)
        for frame in frames[1:]:
            steady = extend(steady, [frame], self.area)
        return steady


@pytest.mark.parametrize("count", [2, 3, 4, 9])
@pytest.mark.parametrize("struck", [0, 1, -1])
def test_a_single_flip_is_found_in_any_field(count: int, struck: int) -> None:
    made = Fields()
    rasters = [made.still.copy() for _ in range(count)]
    rasters[struck][30, 40] ^= 4
    flips = made.compare(rasters).flips
    assert flips.sum() == flips[2, 30, 40] == 1


def test_pieces_give_what_the_whole_gives() -> None:
    made = Fields()
    rasters = [made.still ^ (made.random.random(made.still.shape) < 0.01).astype(np.uint8) for _ in range(12)]
    frames = [Frame(i, "progressive", r, r > 16, i, complete=True) for i, r in enumerate(rasters)]
    one = extend(begin(frames[0], 4, made.area), frames[1:], made.area)
    other = begin(frames[0], 4, made.area)
    for cut in ((1, 2), (2, 6), (6, 12)):
        other = extend(other, frames[slice(*cut)], made.area)
    for name in ("flips", "apart", "changes", "unsure", "consensus", "agreement"):
        assert (getattr(one, name) == getattr(other, name)).all()
    assert one.flips.sum() > 0


def test_taking_more_fields_in_leaves_the_earlier_count_as_it_was() -> None:
    made = Fields()
    noisy = made.still.copy()
    noisy[30, 40] ^= 1
    before = made.compare([made.still, made.still])
    extend(before, [Frame(2, "progressive", noisy, noisy > 16, 2, complete=True)] * 2, made.area)
    assert before.fields == 2
    assert before.changes.sum() == before.apart.sum() == 0


def test_a_blinking_cursor_is_motion() -> None:
    made = Fields()
    rasters = [made.still.copy() for _ in range(12)]
    for raster in rasters[4:8]:
        raster[20:28, 30:38] ^= 15
    steady = made.compare(rasters)
    assert steady.flips.sum() == 0
    assert steady.moving == 64


def test_a_flip_in_blanking_is_noise_even_beside_another() -> None:
    made = Fields()
    rasters = [made.still.copy() for _ in range(4)]
    rasters[1][5, 5:7] ^= 2
    assert made.compare(rasters).flips[1].sum() == 2


def test_an_open_bit_is_noise_and_the_picture_under_it_is_still() -> None:
    made = Fields()
    rasters = [made.still ^ made.random.integers(0, 2, made.still.shape, np.uint8) for _ in range(9)]
    steady = made.compare(rasters)
    assert np.flatnonzero(steady.rates).tolist() == [0]
    outside = np.ones(made.still.shape, bool)
    outside[10:50, 20:70] = False
    # A random bit differs from both its neighbours in time in a quarter of the cases.
    assert steady.flips[0][outside].mean() / 9 == pytest.approx(0.25, abs=0.02)
    assert (steady.consensus >> 1 == made.still >> 1).all()


def test_flips_where_the_bus_changes_as_it_is_read_are_marginal() -> None:
    made = Fields()
    rasters = [made.still.copy() for _ in range(4)]
    rasters[2][30, 40] ^= 8
    rasters[1][40, 50] ^= 8
    unsure = np.zeros(made.still.shape, bool)
    unsure[30, 40] = True
    steady = made.compare(rasters, unsure)
    assert steady.marginal.tolist() == [0, 0, 0, 1]
    assert steady.flips[3].sum() == 2


def test_fields_of_another_size_are_left_out_and_counted() -> None:
    made = Fields()
    steady = made.compare([made.still, made.still[:-1], made.still])
    assert (steady.fields, steady.other_size) == (2, 1)
