"""Thresholds against exhaustive search and hand-made cases; levels from the published bars."""

from __future__ import annotations

import itertools
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from rastertap.cli.main import main
from rastertap.errors import UsageError
from rastertap.handover.distinct import axis_levels, more_distinct
from rastertap.handover.thresholds import Judged, best_thresholds, margins
from rastertap.standards import colour
from rastertap.standards.colour_names import colour_name, hue

# references.md 3.2, in the order white, yellow, cyan, green, magenta, red, blue, black.
BARS_MV = np.array(
    [
        (700.0, 0, 0),
        (620.2, -350.00, 56.92),
        (490.7, 118.12, -350.00),
        (410.9, -231.88, -293.08),
        (289.1, 231.88, 293.08),
        (209.3, -118.12, 350.00),
        (79.8, 350.00, -56.92),
        (0, 0, 0),
    ]
)
WHITE, YELLOW, CYAN, GREEN, MAGENTA, RED, BLUE, BLACK = range(8)


def exhaustive(levels: np.ndarray, each: list[int], least: float) -> tuple[int, float]:
    """Try every choice of middles between two levels; the best thresholds are among them."""
    places = [np.unique((levels[:, a, None] + levels[None, :, a]) / 2) for a in range(levels.shape[1])]
    best = (0, 0.0)
    upper = np.triu_indices(len(levels), 1)
    for choice in itertools.product(
        *(itertools.combinations(p, min(n, p.size)) for p, n in zip(places, each, strict=True))
    ):
        found = margins(levels, choice)[upper]
        apart = found[found >= least - 1e-9]
        best = max(best, (apart.size, round(float(apart.min()), 6) if apart.size else 0.0))
    return best


def test_one_threshold_between_two_levels_has_the_margin_of_the_nearer() -> None:
    found = margins(np.array([[100.0], [400.0]]), ((180.0,),))
    assert found.tolist() == [[0, 80], [80, 0]]


def test_a_pair_has_the_largest_margin_that_any_axis_gives() -> None:
    assert margins(np.array([[0.0, 0.0], [100.0, 500.0]]), ((50.0,), (200.0,)))[0, 1] == 200


def test_a_threshold_on_luma_that_is_too_high_makes_red_and_blue_black() -> None:
    judged = Judged(BARS_MV, ((250.0,), (), ()), 10.0)
    assert [RED, BLUE, BLACK] in judged.alike
    assert judged.margins[MAGENTA, BLACK] == pytest.approx(289.1 - 250)
    lower = Judged(BARS_MV, ((40.0,), (), ()), 10.0)
    assert not any(BLACK in group for group in lower.alike)


@pytest.mark.parametrize("each", [[1, 1, 1], [2, 0, 0], [0, 1, 1], [2, 1, 0]])
def test_the_best_thresholds_of_the_bars_are_those_of_exhaustive_search(each: list[int]) -> None:
    judged = best_thresholds(BARS_MV, each, 5.0)
    assert judged.proven
    assert judged.weakest is not None
    assert (judged.apart, round(judged.weakest, 6)) == exhaustive(BARS_MV, each, 5.0)


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 20), st.integers(-10, 10)), min_size=2, max_size=6, unique=True),
    st.integers(0, 2),
    st.integers(0, 1),
    st.sampled_from([0.5, 1.0, 3.0]),
)
def test_no_choice_of_thresholds_is_better(
    colours: list[tuple[int, int]], first: int, second: int, least: float
) -> None:
    levels = np.array(colours, float)
    judged = best_thresholds(levels, [first, second], least)
    found = (judged.apart, round(judged.weakest or 0.0, 6))
    assert found == exhaustive(levels, [first, second], least)
    assert [len(m) for m in judged.marks] <= [first, second]


def test_three_bits_compared_as_rgb_need_one_threshold_each_at_half_drive() -> None:
    judged = best_thresholds(colour.rgb_millivolts(colour.rgb()), [3, 3, 3], 10.0)
    assert judged.marks == ((350.0,), (350.0,), (350.0,))
    assert judged.weakest == 350
    assert judged.apart == 28


def test_sixteen_colours_with_one_threshold_an_axis_fall_into_eight_groups_at_most() -> None:
    judged = best_thresholds(axis_levels(colour.rgbi(), "ypbpr"), [1, 1, 1], 5.0)
    groups = len(judged.alike) + 16 - sum(map(len, judged.alike))
    assert groups <= 8
    # 16 colours in 8 groups of 2 leave 8 pairs; no choice leaves fewer.
    assert judged.apart <= 120 - 8


def test_more_thresholds_never_tell_less() -> None:
    levels = axis_levels(colour.rgbi(), "ypbpr")
    found = [best_thresholds(levels, [n] * 3, 5.0) for n in (1, 2, 3)]
    assert [f.apart for f in found] == sorted(f.apart for f in found)
    assert found[-1].apart == 120
    assert found[-1].alike == []


@pytest.mark.parametrize("count", [1, 65])
def test_too_few_or_too_many_colours_are_refused(count: int) -> None:
    with pytest.raises(UsageError, match="2 to 64"):
        best_thresholds(np.arange(count * 1.0)[:, None], [1], 1.0)


@pytest.mark.parametrize("axes", ["ypbpr", "rgb"])
@pytest.mark.parametrize("name", ["rgbi", "rrggbb", "rgb"])
def test_a_more_distinct_set_is_not_worse_and_keeps_every_hue(name: str, axes: str) -> None:
    table = colour.colour_table(name, 4)
    better = more_distinct(table, axes)
    assert better.after >= better.before
    for old, new in zip(table, better.table, strict=True):
        if hue(old) is None:
            assert hue(new) is None
        else:
            before, after = (colour.colour_difference(c / 255.0) for c in (old, new))
            turn = np.degrees(np.arctan2(*before) - np.arctan2(*after))
            assert abs((turn + 180) % 360 - 180) < 2
    assert better.table[0].tolist() == [0, 0, 0]
    assert better.table[-1].tolist() == [255, 255, 255]


def test_sixteen_colours_become_more_distinct() -> None:
    better = more_distinct(colour.rgbi(), "ypbpr")
    levels = axis_levels(better.table, "ypbpr")
    apart = np.abs(levels[:, None] - levels).max(axis=2)[np.triu_indices(16, 1)]
    assert apart.min() == pytest.approx(better.after)
    assert better.after > 1.3 * better.before


def test_colours_have_the_names_that_people_use() -> None:
    names = [colour_name(row) for row in colour.rgbi()]
    assert names == [
        *["black", "dark blue", "dark green", "dark cyan", "dark red", "dark magenta", "brown", "light grey"],
        *[
            "dark grey",
            "light blue",
            "light green",
            "light cyan",
            "light red",
            "light magenta",
            "light yellow",
        ],
        "white",
    ]
    bars = [colour_name(row) for row in (colour.bars() * 255).astype(np.uint8)]
    assert bars == ["white", "yellow", "cyan", "green", "magenta", "red", "blue", "black"]


def run(*arguments: str) -> tuple[int, str]:
    result = CliRunner().invoke(main, ["thresholds", *arguments])
    if isinstance(result.exception, UsageError):
        return result.exception.exit_code, result.exception.message
    return result.exit_code, result.output


def test_the_command_says_which_colours_look_alike() -> None:
    code, text = run("--colours", "rgb", "--at", "Y=250")
    assert code == 0
    assert "cannot be told apart: black, blue, red" in text
    assert "(as given)" in text


def test_the_command_takes_a_board_file_and_writes_json() -> None:
    board = Path(__file__).parents[2] / "captures" / "marlow85-50.toml"
    code, text = run("--board", str(board), "--each", "3", "--distinct", "--json", "-")
    assert code == 0
    told = json.loads(text)
    assert told["schema"] == "rastertap.thresholds/1"
    assert (told["pairs"], len(told["margins_mv"]), len(told["colours"])) == (120, 120, 16)
    assert told["colours"][6]["rgb"] == [170, 170, 0]
    assert told["distinct"]["smallest_distance_after_mv"] > told["distinct"]["smallest_distance_before_mv"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "which colours"),
        (("--colours", "rgb", "--board", "b.toml"), "which colours"),
        (("--colours", "rgb", "--at", "Z=1"), "none of the axes"),
        (("--colours", "rgb", "--at", "Y=x"), "numbers in mV"),
        (("--colours", "rgb", "--at", "Y=nan"), "no level"),
        (("--colours", "rgb", "--codes", "1-9"), "codes 0 to 7"),
        (("--colours", "rgb", "--codes", "a"), "no list of codes"),
        (("--colours", "rgb12"), "2 to 64 colours"),
        (("--colours", "rgb", "--codes", "3"), "2 to 64 colours"),
    ],
)
def test_what_makes_no_sense_is_refused_with_what_to_do(arguments: tuple[str, ...], said: str) -> None:
    code, text = run(*arguments)
    assert code == 2
    assert said in text
