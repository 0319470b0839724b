"""Colour tables and BT.601 levels against published tables, typed in here from the references."""

from __future__ import annotations

import numpy as np
import pytest

from rastertap.standards import colour

# references.md 3.2: BT.601 100 % bars, white to black; codes also in ffmpeg's rainbow100 (seen).
BARS_100 = [
    ((1, 1, 1), (235, 128, 128), (700.0, 0.0, 0.0)),
    ((1, 1, 0), (210, 16, 146), (620.2, -350.00, 56.92)),
    ((0, 1, 1), (170, 166, 16), (490.7, 118.12, -350.00)),
    ((0, 1, 0), (145, 54, 34), (410.9, -231.88, -293.08)),
    ((1, 0, 1), (106, 202, 222), (289.1, 231.88, 293.08)),
    ((1, 0, 0), (81, 90, 240), (209.3, -118.12, 350.00)),
    ((0, 0, 1), (41, 240, 110), (79.8, 350.00, -56.92)),
    ((0, 0, 0), (16, 128, 128), (0.0, 0.0, 0.0)),
]
# references.md 3.3: the same at 75 %.
BARS_75 = [
    ((0.75, 0.75, 0.75), (180, 128, 128), (525.00, 0.0, 0.0)),
    ((0.75, 0.75, 0), (162, 44, 142), (465.15, -262.50, 42.69)),
    ((0, 0.75, 0.75), (131, 156, 44), (368.02, 88.59, -262.50)),
    ((0, 0.75, 0), (112, 72, 58), (308.17, -173.91, -219.81)),
    ((0.75, 0, 0.75), (84, 184, 198), (216.83, 173.91, 219.81)),
    ((0.75, 0, 0), (65, 100, 212), (156.97, -88.59, 262.50)),
    ((0, 0, 0.75), (35, 212, 114), (59.85, 262.50, -42.69)),
    ((0, 0, 0), (16, 128, 128), (0.0, 0.0, 0.0)),
]
# references.md 6: the Linux console's table, brown included (seen).
RGBI = [
    *["000000", "0000AA", "00AA00", "00AAAA", "AA0000", "AA00AA", "AA5500", "AAAAAA"],
    *["555555", "5555FF", "55FF55", "55FFFF", "FF5555", "FF55FF", "FFFF55", "FFFFFF"],
]


def hexes(table: np.ndarray) -> list[str]:
    return [bytes(row.tolist()).hex().upper() for row in table]


@pytest.mark.parametrize(("level", "rows"), [(1.0, BARS_100), (0.75, BARS_75)])
def test_colour_bars_have_the_published_codes(
    level: float, rows: list[tuple[tuple[float, ...], ...]]
) -> None:
    bars = colour.bars(level)
    assert bars.tolist() == [list(row[0]) for row in rows]
    assert np.rint(colour.quantised(bars)).tolist() == [list(row[1]) for row in rows]


@pytest.mark.parametrize(("level", "rows"), [(1.0, BARS_100), (0.75, BARS_75)])
def test_colour_bars_have_the_published_component_levels(
    level: float, rows: list[tuple[tuple[float, ...], ...]]
) -> None:
    bars = colour.bars(level)
    y, pb_pr = colour.luma(bars) * 700, colour.colour_difference(bars) * 700
    assert y == pytest.approx([row[2][0] for row in rows], abs=0.051)
    assert pb_pr == pytest.approx(np.array([row[2][1:] for row in rows]), abs=0.0051)


def test_a_full_bar_table_in_bytes_gives_the_same_millivolts() -> None:
    table = (colour.bars() * 255).astype(np.uint8)
    assert colour.component_millivolts(table) == pytest.approx(
        np.array([row[2] for row in BARS_100]), abs=0.051
    )


def test_full_drive_is_700_millivolts() -> None:
    # BT.1700 Table 2, as in references.md 1.2.
    assert colour.rgb_millivolts(np.array([[255, 0, 51]], np.uint8)) == pytest.approx(
        np.array([[700.0, 0.0, 140.0]])
    )


def test_the_sixteen_colours_are_the_published_ones() -> None:
    assert hexes(colour.rgbi()) == RGBI


def test_without_the_monitors_circuit_code_6_is_dark_yellow() -> None:
    # references.md 6: "some monitors lacked it and show AA AA 00".
    expected = [*RGBI[:6], "AAAA00", *RGBI[7:]]
    assert hexes(colour.rgbi(dark_yellow=True)) == expected


def test_the_default_palette_of_six_bits_picks_the_sixteen_colours() -> None:
    # references.md 6: bits in the order rgbRGB; default palette 0-5, 20, 7, 56-63 (20 is brown).
    palette = [0, 1, 2, 3, 4, 5, 20, 7, *range(56, 64)]
    assert hexes(colour.rrggbb("rgbRGB")[palette]) == RGBI


def test_six_bits_have_the_four_published_levels_each() -> None:
    # references.md 6: 00, 55, AA, FF.
    table = colour.rrggbb()
    assert len(np.unique(table, axis=0)) == 64
    assert np.unique(table).tolist() == [0x00, 0x55, 0xAA, 0xFF]
    assert hexes(table[[0b110000, 0b100000, 0b010000, 0b000011]]) == ["FF0000", "AA0000", "550000", "0000FF"]


def test_eight_colours_are_the_bars_upside_down() -> None:
    # 3-bit RGB: each bit off or full (from memory; the bars of references.md 3.2 are the same eight colours).
    assert {tuple(row) for row in colour.rgb().tolist()} == {
        tuple(int(c * 255) for c in row[0]) for row in BARS_100
    }
    assert hexes(colour.rgb()[[4, 2, 1]]) == ["FF0000", "00FF00", "0000FF"]
