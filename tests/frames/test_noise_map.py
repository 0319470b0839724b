"""Flips put into a capture by hand are found where they are, and motion is not called noise.

The sources are HDL simulations (tests/peers); the flips go into the channel's changes, before anything
decodes them.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.analyse import Request, analyse
from rastertap.capture.model import Channel
from rastertap.capture.read import read_capture

from ..peers.simulate import simulate  # noqa: TID252 - the simulators are shared

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.analyse import Analysis
    from rastertap.capture.model import Capture
    from rastertap.frames.steadiness import Steadiness

RATE = 1000
"""One pixel in so many."""
SMALL = {"WIDTH": 200, "HEIGHT": 120, "CLOCKS": 288, "LINES": 156, "ACTIVE_X": 60, "ACTIVE_Y": 20}
"""A smaller raster simulates quicker; nothing here depends on a standard."""


@pytest.fixture(scope="module")
def still(tmp_path_factory: pytest.TempPathFactory) -> Capture:
    return read_capture(simulate("sd625-312", tmp_path_factory.mktemp("still"), fields=6, geometry=SMALL).vcd)


@pytest.fixture(scope="module")
def moving(tmp_path_factory: pytest.TempPathFactory) -> Capture:
    folder = tmp_path_factory.mktemp("moving")
    return read_capture(simulate("sd625-312", folder, fields=6, moving=True, geometry=SMALL).vcd)


def flipped(capture: Capture, name: str, one_in: int, seed: int) -> tuple[Capture, NDArray[np.int64]]:
    """Invert a channel for the middle of one pixel clock in so many; give the clock edges struck."""
    clock = capture.channel("pixel_clock").edges_to(1)
    period = int(np.median(np.diff(clock)))
    random = np.random.default_rng(seed)
    struck = clock[:-1][random.random(clock.size - 1) < 1 / one_in]
    channel = capture.channel(name)
    # From just after the bus may have changed to just before it may change again.
    pulses = np.stack([struck + period // 8, struck + period * 7 // 8], axis=1).ravel()
    ticks = np.concatenate([channel.ticks, pulses])
    order = np.argsort(ticks, kind="stable")
    ticks = ticks[order]
    assert (np.diff(ticks) > 0).all()
    levels = (channel.initial ^ (np.arange(1, ticks.size + 1) & 1)).astype(np.uint8)
    noisy = Channel(name, channel.initial, ticks, levels)
    channels = tuple(noisy if c.name == name else c for c in capture.channels)
    return replace(capture, channels=channels), struck


def steady_of(analysis: Analysis) -> Steadiness:
    assert analysis.evidence.frames is not None
    return analysis.evidence.frames.steadiness["progressive"]


def bit_of(analysis: Analysis, channel: str) -> int:
    return next(p.bit for p in analysis.pins if p.channel == channel and p.bit is not None)


def finding(analysis: Analysis, name: str = "picture.unstable_pixels") -> tuple[str, str]:
    found = next(f for f in analysis.findings if f.id == name)
    return found.result, found.text


def places(analysis: Analysis, struck: NDArray[np.int64]) -> NDArray[np.int64]:
    """How often each place of the raster was struck in a complete field."""
    frames, sync = analysis.evidence.frames, analysis.evidence.sync
    assert frames is not None
    assert sync is not None
    counts = np.zeros(steady_of(analysis).reference.shape, np.int64)
    clock = analysis.capture.channel("pixel_clock").edges_to(1)
    lines = analysis.capture.channel("hsync").edges_to(0)
    for frame in frames.complete:
        first = lines[np.searchsorted(lines, frame.start)]
        origin = int(np.searchsorted(clock, first))
        place = np.searchsorted(clock, struck) - origin
        place = place[(place >= 0) & (place < counts.size)]
        np.add.at(counts.ravel(), place, 1)
    return counts


def test_one_flip_in_a_thousand_on_one_bit_is_found_and_nothing_else(still: Capture) -> None:
    noisy, struck = flipped(still, "colour[2]", RATE, seed=1)
    analysis = analyse(noisy, Request())
    steady, bit = steady_of(analysis), bit_of(analysis, "colour[2]")
    expected = places(analysis, struck)
    assert expected.sum() == pytest.approx(steady.fields * expected.size / RATE, rel=0.2)
    assert steady.flips[[b for b in range(4) if b != bit]].sum() == 0
    found = steady.flips[bit].astype(np.int64)
    assert (found[expected == 0] == 0).all()
    # A flip beside another one (some 4 in 1000), or in two of three fields, cannot be told from motion.
    assert found.sum() > 0.98 * expected.sum()
    assert steady.rates[bit] == pytest.approx(1 / RATE, rel=0.15)
    assert steady.moving < 10
    result, text = finding(analysis)
    assert result == "fail"
    assert f"Bit {bit} (colour[2])" in text
    assert "the other bits are steady" in text


def test_the_consensus_of_a_noisy_still_picture_is_the_clean_picture(still: Capture) -> None:
    noisy, _ = flipped(still, "colour[0]", RATE, seed=2)
    clean, steady = steady_of(analyse(still, Request())), steady_of(analyse(noisy, Request()))
    assert (steady.consensus == clean.reference).all()
    assert clean.agreement.min() == 1
    assert steady.agreement.min() == pytest.approx(1 - 1 / steady.fields)


def test_noise_does_not_make_the_active_area_grow(still: Capture) -> None:
    noisy, _ = flipped(still, "colour[3]", RATE, seed=3)
    clean, found = analyse(still, Request()).evidence.frames, analyse(noisy, Request()).evidence.frames
    assert clean is not None
    assert found is not None
    assert found.areas == clean.areas
    assert (found.areas["progressive"].width, found.areas["progressive"].height) == (200, 120)


def test_a_steady_still_picture_has_no_flip(still: Capture) -> None:
    analysis = analyse(still, Request())
    assert steady_of(analysis).flips.sum() == steady_of(analysis).moving == 0
    assert finding(analysis)[0] == "pass"


def test_a_picture_that_changes_all_over_is_motion_not_noise(moving: Capture) -> None:
    analysis = analyse(moving, Request())
    steady = steady_of(analysis)
    assert steady.flips.sum() == 0
    assert steady.moving > 0.8 * 200 * 120
    result, text = finding(analysis)
    assert result == "pass"
    assert "moves" in text


def test_noise_is_found_in_the_blanking_of_a_moving_picture(moving: Capture) -> None:
    noisy, _ = flipped(moving, "colour[1]", RATE, seed=4)
    analysis = analyse(noisy, Request())
    steady, bit = steady_of(analysis), bit_of(analysis, "colour[1]")
    area = steady.area
    assert area is not None
    blanking = steady.reference.size - area.width * area.height
    assert steady.flips.sum() == steady.flips[bit].sum()
    assert steady.flips[bit].sum() == pytest.approx(steady.fields * blanking / RATE, rel=0.2)


@pytest.mark.parametrize("fields", [2, 3, 4])
def test_few_fields_are_enough_to_find_the_bit(still: Capture, fields: int) -> None:
    noisy, _ = flipped(still, "colour[2]", RATE, seed=5)
    period = (still.end - still.start) / 6.6
    end = still.start + int(period * (fields + 1.3))
    cut = replace(noisy, end=end, channels=tuple(c.between(None, end) for c in noisy.channels))
    analysis = analyse(cut, Request())
    steady = steady_of(analysis)
    assert fields <= steady.fields <= fields + 1
    assert np.flatnonzero(steady.rates).tolist() == [bit_of(analysis, "colour[2]")]
    assert finding(analysis)[0] == "fail"
