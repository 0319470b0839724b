from __future__ import annotations

import numpy as np
import pytest

from rastertap.standards import colour


@pytest.mark.parametrize("bits", range(1, 17))
def test_greys_rise_evenly_from_black_to_white(bits: int) -> None:
    table = colour.grey(bits)
    assert table.shape == (2**bits, 3)
    assert (table[0].tolist(), table[-1].tolist()) == ([0, 0, 0], [255, 255, 255])
    ideal = np.arange(2**bits) * 255 / (2**bits - 1)
    assert np.abs(table[:, 1] - ideal).max() <= 0.5


@pytest.mark.parametrize("bits", [0, 17, -1])
def test_greys_of_no_sensible_width_are_refused(bits: int) -> None:
    with pytest.raises(ValueError, match="1 to 16"):
        colour.grey(bits)


def test_hex_colours_become_rows() -> None:
    assert colour.from_hex(["#000000", "#Ff8001"]).tolist() == [[0, 0, 0], [255, 128, 1]]


@pytest.mark.parametrize("text", ["000000", "#00000", "#GG0000", "#0000000"])
def test_a_text_that_is_no_colour_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"#RRGGBB|hexadecimal"):
        colour.from_hex([text])


@pytest.mark.parametrize(("name", "bits"), [("rgb", 3), ("rgbi", 4), ("rrggbb", 6), ("grey", 5)])
def test_a_named_set_has_a_colour_for_every_code(name: str, bits: int) -> None:
    table = colour.colour_table(name, bits)
    assert (table.shape, table.dtype) == ((2**bits, 3), np.uint8)


def test_an_unknown_set_is_refused() -> None:
    with pytest.raises(ValueError, match="sepia"):
        colour.colour_table("sepia", 3)


def test_an_order_with_a_bit_twice_is_refused() -> None:
    with pytest.raises(ValueError, match="each of R r G g B b once"):
        colour.rrggbb("RRGgBb")
