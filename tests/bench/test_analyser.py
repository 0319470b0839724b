"""Sampling: a change shows at the first sample at or after it; timebase, jitter, phase, start and wiring."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rastertap.bench.analyser import Analyser, Sampling, plug, take_samples
from rastertap.bench.extras import EXTRAS
from rastertap.bench.wave import Wave
from rastertap.errors import UsageError

if TYPE_CHECKING:
    from rastertap.bench.source import VideoSource

WIRES = (("D0", "pixel_clock"),)


@given(
    st.lists(st.integers(-50, 400), max_size=40, unique=True),
    st.integers(0, 1),
    st.lists(st.integers(0, 300), min_size=1, max_size=40, unique=True),
)
def test_each_sample_holds_the_level_at_its_instant(
    changes: list[int], initial: int, instants: list[int]
) -> None:
    times, looks = np.array(sorted(changes), np.int64), np.array(sorted(instants), np.int64)
    first, samples = Sampling(int(looks[0]), looks.size, looks).record(Wave(initial, times))
    # By counting: the level at an instant is toggled by each change at or before it.
    truth = [(initial + sum(t <= look for t in changes)) % 2 for look in looks.tolist()]
    level, seen = first, []
    for index in range(looks.size):
        level ^= int(index in samples)
        seen.append(level)
    assert seen == truth
    assert first == truth[0]


def test_a_change_just_after_a_sample_shows_at_the_next() -> None:
    looks = np.array([100, 200, 300])
    _, samples = Sampling(100, 3, looks).record(Wave(0, np.array([200, 201])))
    assert samples.tolist() == [1, 2]
    _, unseen = Sampling(100, 3, looks).record(Wave(0, np.array([101, 199])))
    assert unseen.tolist() == []


def test_start_and_length_are_counted_in_fields(small: VideoSource) -> None:
    sampling = take_samples(Analyser(WIRES, phase=0.5, start_fields=1.25, fields=2.0), small, 0)
    field_fs = 20 * 64 * 200 * 10**6
    assert sampling.start_fs == 1.25 * field_fs + 5 * 10**6
    assert sampling.count == 2 * field_fs // 10**7 + 1


def test_the_length_can_be_given_in_seconds(small: VideoSource) -> None:
    assert take_samples(Analyser(WIRES, duration_s=1e-4), small, 0).count == 10**4 + 1


def test_the_timebase_error_makes_frequencies_read_wrong(record: Any, small: VideoSource) -> None:
    made = record(small, timebase_ppm=20000.0, fields=10)
    edges = made.signal("pixel_clock").rising()
    read = (edges.size - 1) / (edges[-1] - edges[0]) * 1e9
    assert read == pytest.approx(5e6 / 1.02, rel=1e-4)


def test_sampling_instants_can_jitter_but_stay_in_order(small: VideoSource) -> None:
    settings = Analyser(WIRES, phase=0.0, jitter_ns=2.0)
    plain = take_samples(replace(settings, jitter_ns=0.0), small, 3).instants
    jittered = take_samples(settings, small, 3).instants
    assert np.std(jittered - plain) == pytest.approx(2e6, rel=0.05)
    assert (np.diff(jittered) >= 0).all()


def test_the_phase_is_drawn_by_the_seed(small: VideoSource) -> None:
    starts = {take_samples(Analyser(WIRES, start_fields=1.0), small, seed).start_fs for seed in range(20)}
    field_fs = 20 * 64 * 200 * 10**6
    assert len(starts) == 20
    assert all(0 <= start - field_fs < 10**7 for start in starts)


def test_an_odd_rate_stays_exact_over_a_long_recording(small: VideoSource) -> None:
    sampling = take_samples(
        Analyser(WIRES, rate_hz=Fraction(24_000_000), phase=0.0, start_fields=0.0, fields=40), small, 0
    )
    last = sampling.count - 1
    assert sampling.instants[-1] == last * 10**15 // 24_000_000


def test_signals_are_plugged_in_order_or_dealt_by_a_seed(small: VideoSource) -> None:
    usual = plug(small, channels=9, extras=("noise",))
    assert [signal for _, signal in usual] == [*small.signals, "noise", "low"]
    dealt = plug(small, channels=9, extras=("noise",), scramble=5)
    assert [label for label, _ in dealt] == [f"D{n}" for n in range(9)]
    assert sorted(signal for _, signal in dealt) == sorted(signal for _, signal in usual)
    assert dealt != usual
    assert dealt == plug(small, channels=9, extras=("noise",), scramble=5)


@pytest.mark.parametrize("name", EXTRAS)
def test_every_extra_signal_can_be_recorded(record: Any, small: VideoSource, name: str) -> None:
    line = record(small, wires=(("X", name),), fields=40.0).lines["X"]
    expected = {"low": 0, "high": 0, "noise": 2560, "tone": 9, "other_clock": 75_500}[
        name
    ]  # changes in 10.24 ms
    assert line.times.size == pytest.approx(expected, rel=0.1)
    assert line.initial == {"low": 0, "high": 1}.get(name, line.initial)


@pytest.mark.parametrize(
    "settings",
    [
        {"wires": ()},
        {"wires": (("D0", "hsync"), ("D0", "vsync"))},
        {"wires": (("D 0", "hsync"),)},
        {"rate_hz": Fraction(0)},
        {"fields": 0.0},
        {"duration_s": 0.0},
        {"start_fields": -1.0},
        {"timebase_ppm": 2e5},
    ],
)
def test_settings_that_give_no_recording_are_refused(settings: dict[str, Any]) -> None:
    with pytest.raises(UsageError, match="analyser"):
        replace(Analyser(WIRES), **settings)


def test_a_channel_needs_a_signal_that_exists(record: Any, small: VideoSource) -> None:
    with pytest.raises(UsageError, match="no signal 'chroma'"):
        record(small, wires=(("D0", "chroma"),))
