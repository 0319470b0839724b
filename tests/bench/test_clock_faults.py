"""Each clock fault does what it says, counted in the written file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from rastertap.errors import UsageError

if TYPE_CHECKING:
    from rastertap.bench.source import VideoSource

PERIOD = 200
"""Nanoseconds, of the small source."""


def rising(made: Any) -> Any:
    return made.signal("pixel_clock").rising()


def clocks_in_lines(made: Any) -> Any:
    return np.diff(np.searchsorted(rising(made), made.signal("hsync").falling()))


def test_a_wrong_frequency_is_off_by_its_ppm(record: Any, small: VideoSource) -> None:
    made = record(small, "clock-frequency:20000", fields=10)
    edges = rising(made)
    assert (edges[-1] - edges[0]) / (edges.size - 1) == pytest.approx(PERIOD / 1.02, rel=1e-4)
    assert made.made.truth["clock"]["frequency_hz"] == pytest.approx(5.1e6)
    assert set(clocks_in_lines(made)) == {64}


def test_edge_jitter_has_its_rms_and_does_not_add_up(record: Any, small: VideoSource) -> None:
    made = record(small, "clock-jitter:8", fields=20, rate_hz=10**9)
    periods = np.diff(rising(made))
    assert np.std(periods) == pytest.approx(8, rel=0.05)
    assert np.std(np.diff(rising(made)[::1000])) < 10


def test_walking_jitter_adds_up(record: Any, small: VideoSource) -> None:
    made = record(small, "clock-jitter:8,walk", fields=20, rate_hz=10**9)
    periods = np.diff(rising(made))
    assert np.std(periods) == pytest.approx(8, rel=0.05)
    hundreds = rising(made)[::100]
    assert np.std(np.diff(hundreds)) == pytest.approx(80, rel=0.25)


def test_modulation_swings_the_edges_by_its_peak(record: Any, small: VideoSource) -> None:
    # One line is 12.8 us: 78125 Hz swings once a line.
    made = record(small, "clock-modulation:60,78125", fields=3, rate_hz=10**9)
    edges = rising(made)
    off = edges - PERIOD * np.arange(edges.size)
    off = off - (off.max() + off.min()) / 2
    assert off.max() == pytest.approx(60, abs=2)
    np.testing.assert_allclose(off[64:128], off[:64], atol=2)


def test_drift_changes_the_frequency_steadily(record: Any, small: VideoSource) -> None:
    made = record(small, "clock-drift:1e7", fields=10, rate_hz=10**9)
    edges, start = rising(made), made.made.truth["analyser"]["start_s"]
    middle = edges.size // 2
    first, last = edges[100] - edges[0], edges[-1] - edges[-101]
    between = (edges[-51] - edges[50]) * 1e-9
    assert first / last == pytest.approx(1 + 1e7 * 1e-6 * between, rel=0.002)
    at_middle = (edges[middle + 50] - edges[middle - 50]) / 100
    assert at_middle == pytest.approx(PERIOD / (1 + 10 * (start + edges[middle] * 1e-9)), rel=0.002)


def test_a_wrong_duty_keeps_the_period(record: Any, small: VideoSource) -> None:
    made = record(small, "clock-duty:0.2")
    clock = made.signal("pixel_clock")
    rises = clock.rising()[:-1]
    assert np.abs(clock.falling()[np.searchsorted(clock.falling(), rises)] - rises - 40).max() <= 10
    assert np.abs(np.diff(rises) - PERIOD).max() <= 10


def test_cycles_missing_at_the_generator_make_all_that_follows_slip(record: Any, small: VideoSource) -> None:
    made = record(small, "clock-missing:every=300")
    gaps = np.diff(rising(made))
    assert set(np.rint(gaps / PERIOD)) == {1, 2}
    assert set(np.diff(np.flatnonzero(gaps > 1.5 * PERIOD))) == {299}
    assert set(clocks_in_lines(made)) == {64}
    lines = np.diff(made.signal("hsync").falling()) / PERIOD
    assert set(np.rint(lines)) == {64, 65}
    (told,) = made.made.truth["faults"]
    assert told["count"] == np.count_nonzero(gaps > 1.5 * PERIOD)
    holes = rising(made)[:-1][gaps > 1.5 * PERIOD] + PERIOD
    np.testing.assert_allclose(np.array(told["at_s"]) * 1e9, holes, atol=11)


def test_cycles_missing_at_the_tap_leave_the_chip_alone(record: Any, small: VideoSource) -> None:
    made = record(small, "clock-missing:every=300,seen_by=tap")
    assert set(np.rint(np.diff(rising(made)) / PERIOD)) == {1, 2}
    assert set(clocks_in_lines(made)) == {63, 64}
    assert set(np.rint(np.diff(made.signal("hsync").falling()) / PERIOD)) == {64}


def test_cycles_can_be_missing_at_random_and_in_bursts(record: Any, small: VideoSource) -> None:
    made = record(small, "clock-missing:one_in=500,burst=3", fields=20)
    gaps = np.rint(np.diff(rising(made)) / PERIOD)
    holes = gaps[gaps > 1]
    assert 30 < holes.size < 75  # 25600 cycles, one in 500
    assert np.mean(holes == 4) > 0.9
    assert np.std(np.diff(np.flatnonzero(gaps > 1))) > 100


def test_extra_edges_show_on_the_tap_only(record: Any, small: VideoSource) -> None:
    made = record(small, "clock-extra:every=100,width_ns=30")
    clock = made.signal("pixel_clock")
    widths = clock.falling()[np.searchsorted(clock.falling(), clock.rising()[:-1])] - clock.rising()[:-1]
    assert set(widths[np.abs(widths - 100) > 20]) == {30}
    assert np.diff(np.flatnonzero(widths < 50)).tolist() == [101] * (np.count_nonzero(widths < 50) - 1)
    assert set(np.rint(np.diff(made.signal("hsync").falling()) / PERIOD)) == {64}


def test_extra_edges_from_the_generator_move_the_chip_on(record: Any, small: VideoSource) -> None:
    made = record(small, "clock-extra:every=100,width_ns=30,seen_by=generator")
    assert set(np.rint(np.diff(made.signal("hsync").falling()) / PERIOD)) == {63, 64}


def test_a_stretched_cycle_delays_what_follows(record: Any, small: VideoSource) -> None:
    made = record(small, "clock-stretch:every=50,factor=2")
    gaps = np.rint(np.diff(rising(made)) / PERIOD)
    assert set(gaps) == {1, 2}
    assert set(np.diff(np.flatnonzero(gaps == 2))) == {50}
    assert set(clocks_in_lines(made)) == {64}


def test_a_stopped_clock_stops_everything_and_comes_back(record: Any, small: VideoSource) -> None:
    made = record(small, "clock-stopped:at_ms=0.2,for_ms=0.1")
    start = made.made.truth["analyser"]["start_s"] * 1e9
    gaps = np.diff(rising(made))
    assert gaps.max() == pytest.approx(100_000, abs=PERIOD + 10)
    assert rising(made)[:-1][gaps.argmax()] + start == pytest.approx(200_000, abs=PERIOD + 10)
    stop = rising(made)[:-1][gaps.argmax()]
    for line in made.lines.values():
        assert not ((line.times > stop + PERIOD) & (line.times < stop + 99_000)).any()


def test_a_dead_clock_gives_a_recording_in_which_nothing_moves(record: Any, small: VideoSource) -> None:
    made = record(small, "clock-stopped:at_ms=0")
    assert all(not line.times.size for line in made.lines.values())
    assert made.made.truth["clock"]["periods"] == 0


def test_clock_faults_can_be_joined(record: Any, small: VideoSource) -> None:
    made = record(
        small, "clock-extra:every=101,width_ns=30", "clock-missing:every=300", "clock-frequency:1000"
    )
    gaps = np.diff(rising(made))
    assert gaps.max() == pytest.approx(2 * PERIOD / 1.001, abs=11)
    assert len(made.made.truth["faults"]) == 3


@pytest.mark.parametrize(
    "text",
    [
        "clock-frequency:-1e6",
        "clock-jitter:-1",
        "clock-modulation:1000,1e6",
        "clock-drift:1e12",
        "clock-duty:1",
        "clock-missing",
        "clock-missing:every=5,one_in=5",
        "clock-missing:every=5,burst=0",
        "clock-extra:every=9,width_ns=150",
        "clock-stretch:every=0",
        "clock-stopped:at_ms=-1",
    ],
)
def test_an_impossible_clock_fault_is_refused_with_its_usage(
    record: Any, small: VideoSource, text: str
) -> None:
    with pytest.raises(UsageError, match=text.partition(":")[0]) as error:
        record(small, text)
    assert "write it as" in error.value.hint
