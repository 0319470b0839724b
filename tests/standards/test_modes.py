from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rastertap.standards.modes import MODES, Mode, nearest_mode

# Modes whose timing another mode has as well: the general name, which comes first, is the one given.
SAME_TIMING = {
    "240p": "262/60",
    "240p-263": "263/60",
    "288p": "312/50",
    "288p-313": "313/50",
    "288p-314": "314/50",
}


@pytest.mark.parametrize("mode", MODES.values(), ids=list(MODES))
def test_every_mode_is_nearest_to_itself(mode: Mode) -> None:
    lines = [float(count) for count in mode.lines_per_field] * 3
    found, distance = nearest_mode(float(mode.line_rate_hz), lines, interlaced=mode.interlaced)
    assert found.key == SAME_TIMING.get(mode.key, mode.key)
    assert distance.close
    assert (distance.line_rate_ppm, distance.lines) == (pytest.approx(0, abs=1e-6), 0)


def test_a_machine_three_tenths_of_a_percent_fast_is_still_named() -> None:
    found, distance = nearest_mode(15_625 * 1.003, [312], interlaced=False)
    assert (found.key, distance.close) == ("312/50", True)
    assert distance.line_rate_ppm == pytest.approx(3000)


def test_a_lost_line_now_and_then_does_not_change_the_mode() -> None:
    found, distance = nearest_mode(15_625, [312, 311, 312, 312], interlaced=False)
    assert (found.key, distance.lines, distance.close) == ("312/50", 0, True)


def test_an_odd_line_count_is_not_called_a_mode() -> None:
    found, distance = nearest_mode(15_625, [311, 311], interlaced=False)
    assert (found.key, distance.lines, distance.close) == ("312/50", -1, False)


def test_a_line_rate_four_percent_off_is_not_called_a_mode() -> None:
    found, distance = nearest_mode(15_625 * 1.04, [312], interlaced=False)
    assert not distance.close
    assert found.lines_per_field == (312,)


def test_interlace_decides_between_systems_of_one_line_rate() -> None:
    assert nearest_mode(15_625, [312.5, 312.5], interlaced=True)[0].key == "625/50"
    assert nearest_mode(15_734, [262.5, 262.5], interlaced=True)[0].key == "525/60"


def test_whole_lines_counted_of_an_interlaced_source_are_its_half_lines() -> None:
    found, distance = nearest_mode(15_625, [312, 313, 312], interlaced=True)
    assert (found.key, distance.close) == ("625/50", True)


def test_a_progressive_source_is_not_called_interlaced() -> None:
    found, distance = nearest_mode(31_469, [525], interlaced=False)
    assert found.key in {"480p", "640x480"}
    assert distance.close


@pytest.mark.parametrize(
    ("rate", "lines"), [(0, [312]), (-1, [312]), (math.nan, [312]), (15_625, []), (15_625, [0])]
)
def test_a_timing_that_is_none_is_refused(rate: float, lines: list[float]) -> None:
    with pytest.raises(ValueError, match="positive"):
        nearest_mode(rate, lines, interlaced=False)


@given(
    rate=st.floats(1e3, 2e5),
    lines=st.lists(st.floats(10, 2000), min_size=1, max_size=5),
    interlaced=st.booleans(),
)
def test_a_close_mode_always_agrees_in_rate_lines_and_interlace(
    rate: float, lines: list[float], *, interlaced: bool
) -> None:
    mode, distance = nearest_mode(rate, lines, interlaced=interlaced)
    assert distance.line_rate_ppm == pytest.approx((rate / float(mode.line_rate_hz) - 1) * 1e6)
    if distance.close:
        assert abs(distance.line_rate_ppm) <= 30_000
        assert abs(distance.lines) <= 0.5
        assert interlaced == mode.interlaced


def test_every_mode_states_its_source_and_its_totals_agree() -> None:
    for mode in MODES.values():
        assert mode.source
        assert mode.trust
        if mode.horizontal is not None:
            assert mode.vertical is not None
            assert mode.pixel_clock_hz is not None
            assert mode.line_rate_hz * mode.horizontal.total == mode.pixel_clock_hz
            assert mode.lines_per_frame == mode.vertical.total
