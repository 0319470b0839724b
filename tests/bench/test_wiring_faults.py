"""Each wiring fault does what it says, seen in the written file against the same recording without it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from rastertap.errors import UsageError

if TYPE_CHECKING:
    from rastertap.bench.source import VideoSource

CHANNELS = [f"D{n}" for n in range(8)]
"""pixel_clock, hsync, vsync, colour0 .. colour3, and one that is not connected."""


def same(one: Any, other: Any) -> bool:
    return one.initial == other.initial and np.array_equal(one.times, other.times)


def silent(line: Any, level: int) -> bool:
    return line.initial == level and not line.times.size


@pytest.fixture
def good(record: Any) -> Any:
    return record().lines


def test_a_swap_exchanges_two_channels_and_no_other(
    record: Any, small: VideoSource, good: dict[str, Any]
) -> None:
    bad = record(small, "swap:D1,D4").lines
    assert same(bad["D1"], good["D4"])
    assert same(bad["D4"], good["D1"])
    assert all(same(bad[name], good[name]) for name in good.keys() - {"D1", "D4"})


@pytest.mark.parametrize("by", [1, 3, -2])
def test_a_shift_moves_every_signal_along_and_leaves_the_end_low(
    record: Any, small: VideoSource, good: dict[str, Any], by: int
) -> None:
    bad = record(small, f"shift:{by}").lines
    for place, name in enumerate(CHANNELS):
        if 0 <= place - by < len(CHANNELS):
            assert same(bad[name], good[CHANNELS[place - by]])
        else:
            assert silent(bad[name], 0)


def test_a_reversed_ribbon_turns_the_connector_round(
    record: Any, small: VideoSource, good: dict[str, Any]
) -> None:
    bad = record(small, "reverse").lines
    assert all(same(bad[name], good[other]) for name, other in zip(CHANNELS, CHANNELS[::-1], strict=True))


def test_a_part_of_the_ribbon_can_be_reversed(record: Any, small: VideoSource, good: dict[str, Any]) -> None:
    bad = record(small, "reverse:D3,D6").lines
    turned = [*CHANNELS[:3], *CHANNELS[6:2:-1], CHANNELS[7]]
    assert all(same(bad[name], good[other]) for name, other in zip(CHANNELS, turned, strict=True))


def test_a_wrong_pin_carries_another_signal(record: Any, small: VideoSource, good: dict[str, Any]) -> None:
    bad = record(small, "wrong-pin:D2,hsync")
    assert same(bad.lines["D2"], good["D1"])
    assert bad.made.truth["channels"]["D2"] == {
        "meant": {"signal": "vsync", "role": "vsync", "bit": None},
        "carries": {"signal": "hsync", "role": "hsync", "bit": None},
    }


def test_an_inverted_channel_shows_the_other_level(
    record: Any, small: VideoSource, good: dict[str, Any]
) -> None:
    bad = record(small, "invert:D5").lines["D5"]
    assert bad.initial == 1 - good["D5"].initial
    np.testing.assert_array_equal(bad.times, good["D5"].times)


@pytest.mark.parametrize(("fault", "level"), [("stuck-low:D3", 0), ("stuck-high:D3", 1)])
def test_a_stuck_channel_never_changes(record: Any, small: VideoSource, fault: str, level: int) -> None:
    assert silent(record(small, fault).lines["D3"], level)


@pytest.mark.parametrize(("rule", "join"), [("and", np.logical_and), ("or", np.logical_or)])
def test_a_bridge_shows_the_same_on_both_channels(
    record: Any, small: VideoSource, good: dict[str, Any], rule: str, join: Any
) -> None:
    bad = record(small, f"bridge:D3,D4,{rule}")
    assert same(bad.lines["D3"], bad.lines["D4"])
    every_sample = np.arange(0, bad.end, 10)
    expected = join(good["D3"].at(every_sample), good["D4"].at(every_sample))
    np.testing.assert_array_equal(bad.lines["D3"].at(every_sample), expected)


def test_an_open_channel_floats(record: Any, small: VideoSource, good: dict[str, Any]) -> None:
    bad = record(small, "open:D3", fields=12).lines["D3"]
    assert bad.times.size > 100
    gaps = np.diff(bad.times)
    assert np.std(gaps) > 0.5 * np.mean(gaps)
    assert not same(bad, good["D3"])


def test_an_open_channel_can_pick_up_its_neighbour(
    record: Any, small: VideoSource, good: dict[str, Any]
) -> None:
    bad = record(small, "open:D3,picks_up=D0,chance=0.25").lines["D3"]
    assert np.isin(bad.times, good["D0"].times).all()
    assert 0.2 < bad.times.size / good["D0"].times.size < 0.3


def test_crosstalk_puts_narrow_pulses_beside_the_aggressor_s_edges(
    record: Any, small: VideoSource, good: dict[str, Any]
) -> None:
    made = record(small, "crosstalk:D2,D0,width_ns=20,chance=0.1")
    bad, edges = made.lines["D2"], good["D0"].times
    false = bad.times[~np.isin(bad.times, good["D2"].times)]
    delay = false - edges[np.searchsorted(edges, false, side="right") - 1]
    assert set(delay) == {0, 20}
    (told,) = made.made.truth["faults"]
    assert 0.08 < told["count"] / edges.size < 0.12
    assert told["count"] == pytest.approx(false.size / 2, abs=3)


@pytest.mark.parametrize(
    "text",
    ["swap:D1,D99", "shift:8", "shift:0", "reverse:D6,D3", "bridge:D1,D1", "invert:X", "crosstalk:D1,D0,0"],
)
def test_an_impossible_wiring_fault_is_refused_with_its_usage(
    record: Any, small: VideoSource, text: str
) -> None:
    with pytest.raises(UsageError) as error:
        record(small, text)
    assert text.partition(":")[0] in error.value.message
    assert "write it as" in error.value.hint


def test_a_wrong_pin_needs_a_signal_that_exists(record: Any, small: VideoSource) -> None:
    with pytest.raises(UsageError, match="no signal 'nothing'"):
        record(small, "wrong-pin:D2,nothing")
