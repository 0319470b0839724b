"""A pixel clock recovered from the bus: rate, phase and kind, against buses made with numpy alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rastertap.decode import decode
from rastertap.errors import DecodeError
from rastertap.streams.interface import Context, Pin
from rastertap.streams.recovery import RecoveredPixelClock, RecoveredPixelClockOptions
from rastertap.streams.recovery_rate import finer_grid

from .clock_signal import Bus, bus_context, raster

HZ = 9_000_117.0


def recovered(bus: Bus, rate_hz: float):  # noqa: ANN201 - the decoder's own type
    context = bus_context(bus, rate_hz)
    sync = decode(context).streams["sync"]
    context = replace(context, streams={"sync": sync})
    return context, RecoveredPixelClock().decode(context, RecoveredPixelClockOptions())


@pytest.mark.parametrize("samples", [2.6, 4.0, 4.37, 8.1, 20.0])
def test_the_rate_is_right_within_its_uncertainty(samples: float) -> None:
    bus = raster(HZ, pixels=512, lines=120)
    _, clock = recovered(bus, samples * HZ)
    assert clock.recovered is not None
    assert clock.recovered.kind == "steady"
    assert abs(clock.period.value - 1e12 / HZ) <= 3 * clock.period.uncertainty


def test_boundaries_are_where_the_bus_changes() -> None:
    bus = raster(HZ, pixels=512, lines=120)
    _, clock = recovered(bus, 5.5 * HZ)
    step = 1e12 / (5.5 * HZ)
    changes = bus.boundaries + bus.delay_ps
    inside = (changes > clock.edges[2]) & (changes < clock.edges[-2])
    near = np.clip(np.searchsorted(clock.edges, changes[inside]), 1, clock.edges.size - 1)
    off = np.minimum(
        np.abs(clock.edges[near] - changes[inside]), np.abs(clock.edges[near - 1] - changes[inside])
    )
    # Recorded changes are half a step late on average, and so is the recovered clock.
    assert np.abs(off - step / 2).max() < 0.3 * step
    assert clock.edges.size == pytest.approx(inside.sum(), abs=12)


def test_lines_need_not_be_whole_numbers_of_pixels() -> None:
    """The clock runs on; the line sync comes every 512.37 pixels, as of a source that is not locked."""
    bus = raster(HZ, pixels=512, lines=120, line_pixels=512.37)
    _, clock = recovered(bus, 6.2 * HZ)
    assert clock.recovered is not None
    assert clock.recovered.kind == "steady"
    assert abs(clock.period.value - 1e12 / HZ) <= 3 * clock.period.uncertainty


def test_a_clock_that_restarts_in_each_line_is_found_out() -> None:
    bus = raster(HZ, pixels=512, lines=120, restart_pixels=512.37)
    _, clock = recovered(bus, 6.2 * HZ)
    assert clock.recovered is not None
    assert clock.recovered.kind == "restarted"
    assert clock.period.value == pytest.approx(1e12 / HZ, rel=2e-5)


def test_jitter_of_a_tenth_of_a_pixel_does_not_hide_the_rate() -> None:
    bus = raster(HZ, pixels=512, lines=120, jitter_ps=11_000)
    _, clock = recovered(bus, 6.2 * HZ)
    assert abs(clock.period.value - 1e12 / HZ) <= 3 * clock.period.uncertainty


def test_a_picture_with_few_odd_pixels_is_not_taken_for_one_of_half_the_rate() -> None:
    """Nine in ten changes stand at even pixels, as of text in letters two pixels wide."""
    bus = raster(HZ, pixels=512, lines=120, odd_share=0.02)
    _, clock = recovered(bus, 6.2 * HZ)
    assert clock.period.value == pytest.approx(1e12 / HZ, rel=1e-5)


def test_scatter_alone_is_no_finer_grid() -> None:
    rng = np.random.default_rng(1)
    assert finer_grid(rng.standard_normal(20_000) * 0.12) == 1
    odd = np.where(rng.random(20_000) < 0.03, 0.5, 0.0) + rng.standard_normal(20_000) * 0.05
    assert finer_grid(odd - np.round(odd)) == 2


def test_a_bus_that_keeps_to_no_rate_is_refused() -> None:
    bus = raster(HZ, pixels=512, lines=120)
    rng = np.random.default_rng(1)
    scattered = replace(
        bus, boundaries=np.sort(rng.uniform(bus.boundaries[0], bus.boundaries[-1], bus.boundaries.size))
    )
    with pytest.raises(DecodeError, match=r"no pixel rate|only loosely"):
        recovered(scattered, 6.2 * HZ)


def test_a_blank_picture_is_refused_with_the_reason() -> None:
    bus = raster(HZ, pixels=512, lines=120)
    few = replace(bus, levels=np.zeros_like(bus.levels))
    with pytest.raises(DecodeError, match="colour changes enough"):
        recovered(few, 6.2 * HZ)


def test_without_a_colour_bus_there_is_nothing_to_recover_from() -> None:
    context = bus_context(raster(HZ, pixels=512, lines=40), 6 * HZ)
    bare = Context(context.capture, tuple(p for p in context.pins if p.role != "colour"))
    assert RecoveredPixelClock().match(bare).score == 0


def test_the_host_recovers_a_clock_that_no_channel_carries() -> None:
    context = bus_context(raster(HZ, pixels=512, lines=120), 6.2 * HZ)
    decoded = decode(context)
    assert decoded.streams["pixel_clock"].source == "recovered"
    assert {t.name for t in decoded.tried if t.ran and t.gives == "pixel_clock"} == {"pixel-clock-recovered"}


def test_an_undersampled_tapped_clock_is_named_as_the_reason() -> None:
    """The tap is clocked at 4 times the pixel rate, too fast for the analyser; the bus is not."""
    bus = raster(HZ, pixels=512, lines=120)
    context = bus_context(bus, 4.5 * HZ, tap_hz=4 * HZ / 1.9)
    with_tap = replace(context, pins=(*context.pins, Pin("D9", "pixel_clock", None, None, 1.0, ())))
    decoded = decode(with_tap)
    clock = decoded.streams["pixel_clock"]
    assert clock.recovered is not None
    assert "undersampled" in clock.recovered.why
