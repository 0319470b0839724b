from __future__ import annotations

import typing

import pytest

from rastertap.errors import UsageError
from rastertap.standards.limit import QUANTITIES
from rastertap.standards.limits import DEFAULT_SET, LIMIT_SETS, LimitSet, limits_for
from rastertap.standards.modes import MODES, Mode, Trust

EVERY_SET = pytest.mark.parametrize("entry", LIMIT_SETS.values(), ids=list(LIMIT_SETS))
EVERY_MODE = pytest.mark.parametrize("mode", MODES.values(), ids=list(MODES))


@EVERY_SET
@EVERY_MODE
def test_every_limit_has_a_source_and_a_nominal_value_inside(entry: LimitSet, mode: Mode) -> None:
    for limit in entry.limits(mode):
        assert limit.source
        assert limit.trust in typing.get_args(Trust)
        assert limit.low <= limit.high
        assert limit.value is None or limit.low <= limit.value <= limit.high
        assert (limit.title, limit.unit) == QUANTITIES[limit.key]


@EVERY_SET
@EVERY_MODE
def test_no_quantity_is_limited_twice_in_a_set(entry: LimitSet, mode: Mode) -> None:
    keys = [limit.key for limit in entry.limits(mode)]
    assert len(keys) == len(set(keys))


def test_the_default_set_comes_first() -> None:
    assert next(iter(LIMIT_SETS)) == DEFAULT_SET == "home-computer"


@EVERY_MODE
def test_every_mode_meets_the_home_computer_limits_for_itself(mode: Mode) -> None:
    limits = limits_for("home-computer", mode)
    stated = {
        "line_rate_hz": mode.line_rate_hz,
        "line_period_s": 1 / mode.line_rate_hz,
        "field_rate_hz": mode.field_rate_hz,
        "lines_per_field": mode.lines_per_field[0],
        "lines_per_frame": mode.lines_per_frame,
    }
    if mode.horizontal is not None and mode.vertical is not None and mode.pixel_clock_hz is not None:
        line = mode.horizontal
        stated |= {
            "hsync_width_s": line.sync / mode.pixel_clock_hz,
            "front_porch_s": line.front_porch / mode.pixel_clock_hz,
            "back_porch_s": line.back_porch / mode.pixel_clock_hz,
            "line_blanking_s": (line.total - line.active) / mode.pixel_clock_hz,
            "vsync_width_lines": mode.vertical.sync,
        }
    for key, value in stated.items():
        assert limits[key].low <= float(value) <= limits[key].high, key


def test_a_311_line_machine_meets_the_wide_limits_and_a_330_line_one_does_not() -> None:
    limit = limits_for("home-computer", MODES["312/50"])["lines_per_field"]
    assert limit.low <= 311 <= limit.high
    assert not limit.low <= 330 <= limit.high


def test_a_monitor_mode_fixes_its_line_count() -> None:
    limit = limits_for("home-computer", MODES["640x480"])["lines_per_field"]
    assert (limit.low, limit.high) == (525, 525)


def test_doubled_lines_have_doubled_counts_and_halved_widths() -> None:
    single, doubled = (limits_for("home-computer", MODES[key]) for key in ("312/50", "624/50"))
    assert doubled["lines_per_field"].high == 2 * single["lines_per_field"].high
    assert doubled["hsync_width_s"].low == pytest.approx(single["hsync_width_s"].low / 2)
    assert "subcarrier_hz" not in doubled


def test_a_home_computer_without_a_recognised_mode_has_no_limits() -> None:
    assert limits_for("home-computer", None) == {}


def test_broadcast_limits_do_not_depend_on_the_mode() -> None:
    assert limits_for("625-broadcast", MODES["312/50"]) == limits_for("625-broadcast", None)


def test_the_studio_is_nowhere_wider_than_the_air() -> None:
    for system in ("625", "525"):
        air, studio = (limits_for(f"{system}-{where}", None) for where in ("broadcast", "studio"))
        for key in air.keys() & studio.keys() - {"line_blanking_s", "sync_to_active_s", "back_porch_s"}:
            assert studio[key].high - studio[key].low <= (air[key].high - air[key].low) * (1 + 1e-9), key


def test_an_unknown_set_is_named_with_those_there_are() -> None:
    with pytest.raises(UsageError, match="broadcast-625") as caught:
        limits_for("broadcast-625", None)
    assert "625-broadcast" in caught.value.hint
