"""The plot helper: places, ticks, and texts that cannot become elements."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import numpy as np
import pytest

from rastertap.report.page.svg import Axis, Plot, tick_text

NAME = "<script>&\"'</script>"


def test_every_text_is_escaped_and_the_drawing_is_well_formed() -> None:
    plot = Plot(Axis(NAME, 0, 1), Axis(NAME, 0, 1), NAME)
    plot.upright(0.5, NAME)
    plot.line([0, 1], [0, 1])
    root = ET.fromstring(plot.svg())  # noqa: S314 - made here
    assert root.get("aria-label") == NAME
    assert [t.text for t in root.iter("text")].count(NAME) == 3
    assert not list(root.iter("script"))


@pytest.mark.parametrize(
    ("axis", "ticks"),
    [
        (Axis("", 0, 10), [0, 2, 4, 6, 8, 10]),
        (Axis("", 110.3, 111.9), [110.5, 111.0, 111.5]),
        (Axis("", 312, 0), [0, 100, 200, 300]),
        (Axis("", 0.5, 200, log=True), [1, 10, 100]),
        (Axis("", -0.5, 2.5, whole=True), [0, 1, 2]),
    ],
)
def test_ticks_are_round_numbers(axis: Axis, ticks: list[float]) -> None:
    assert axis.ticks() == pytest.approx(ticks)


def test_places_run_from_end_to_end_and_stay_inside() -> None:
    assert Axis("", 10, 20).place([10, 15, 20, 99]).tolist() == [0, 0.5, 1, 1]
    assert Axis("", 20, 10).place([20, 15]).tolist() == [0, 0.5]
    assert Axis("", 1, 100, log=True).place([1, 10, 100, 0]).tolist() == [0, 0.5, 1, 0]


def test_bars_stand_on_the_axis_and_empty_ones_are_left_out() -> None:
    plot = Plot(Axis("", 0, 3), Axis("", 0, 4), "bars")
    plot.bars(np.arange(3), np.arange(3) + 1, [4, 0, 2])
    (bar,) = [p for p in ET.fromstring(plot.svg()).iter("path") if p.get("class") == "bar"]  # noqa: S314
    assert bar.get("d").count("Z") == 2


@pytest.mark.parametrize(
    ("value", "text"), [(1e4, "10000"), (1e5, "10⁵"), (1e12, "10¹²"), (1e-4, "0.0001"), (1e-5, "10⁻⁵")]
)
def test_long_powers_of_ten_are_written_as_powers(value: float, text: str) -> None:
    assert tick_text(value, Axis("counts", 1e-6, 1e13, log=True)) == text
