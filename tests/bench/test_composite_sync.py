"""The composite sync outputs; the equalised ones against BT.470 Table 1-2 (as in references.md 1.3)."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from rastertap.bench.raster import equalised_sync
from rastertap.bench.source import CompositeSync, Rectangle, VideoSource
from rastertap.errors import UsageError

STEP_US = 0.01


def broadcast(system: str) -> VideoSource:
    """BT.601 sampling: 864 x 625 or 858 x 525 clocks at 13.5 MHz."""
    line, lines = (864, 625) if system == "625" else (858, 525)
    clock = Fraction(13_500_000)
    return VideoSource(
        name=f"BROADCAST {system}",
        pixel_clock_hz=clock,
        pixels_per_line=line,
        lines_per_field=Fraction(lines, 2),
        active=Rectangle(140, 22, 16, 8),
        colour_bits=1,
        hsync_start=0,
        hsync_width=63,  # 4.667 us
        separate_sync=False,
        composite=equalised_sync(system, clock, line),
    )


def pulses(csync: Any) -> tuple[Any, Any]:
    """Leading edges and widths in microseconds, those cut by the recording's ends left out."""
    starts = csync.falling()
    ends = csync.rising()
    place = np.searchsorted(ends, starts)
    whole = place < ends.size
    return starts[whole] / 1000, (ends[place[whole]] - starts[whole]) / 1000


@pytest.mark.parametrize(
    ("system", "equalising", "broad", "count"),
    [("625", (2.25, 2.45), (27.2, 27.4), 5), ("525", (2.2, 2.4), (27.0, 27.2), 6)],
)
def test_equalised_csync_has_the_pulses_of_bt_470(
    record: Any, system: str, equalising: tuple[float, float], broad: tuple[float, float], count: int
) -> None:
    made = record(broadcast(system), wires=(("D0", "csync"),), fields=2.0, start_fields=0.5)
    starts, widths = pulses(made.signal("csync"))
    is_broad = (widths > broad[0] - STEP_US) & (widths < broad[1] + STEP_US)
    is_equalising = (widths > equalising[0] - STEP_US) & (widths < equalising[1] + STEP_US)
    is_line = (widths > 4.5) & (widths < 4.9)  # d, 4.7 +-0.2 us, BT.470 Table 1-1
    assert np.count_nonzero(is_broad) == 2 * count
    assert np.count_nonzero(is_equalising) == 4 * count
    assert (is_broad | is_equalising | is_line).all()
    gaps = np.diff(starts) - widths[:-1]
    serrations = gaps[is_broad[:-1] & is_broad[1:]]
    assert serrations.size == 2 * (count - 1)
    assert np.abs(serrations - 4.7).max() < 0.1  # r, 4.7 +-0.1 us in the stricter texts


@pytest.mark.parametrize(("system", "half_us"), [("625", 32.0), ("525", 143 / 4.5)])
def test_equalised_csync_keeps_time_in_half_lines(record: Any, system: str, half_us: float) -> None:
    made = record(broadcast(system), wires=(("D0", "csync"),), fields=2.0, start_fields=0.5)
    starts, widths = pulses(made.signal("csync"))
    halves = np.diff(starts) / half_us
    assert np.abs(halves - np.rint(halves)).max() < 0.001
    broad = np.flatnonzero(widths > 20)
    first = broad[np.flatnonzero(np.diff(broad, prepend=-9) > 1)]
    before = (starts[first] - starts[first - 1]) / half_us
    assert np.rint(before).tolist() == [1, 1]
    fields = np.diff(starts[first]) / (2 * half_us)
    assert fields == pytest.approx([float(made.made.source.lines_per_field)], abs=0.001)


def test_the_two_fields_differ_in_where_line_sync_falls(record: Any) -> None:
    made = record(broadcast("625"), wires=(("D0", "csync"),), fields=2.0, start_fields=0.5)
    starts, widths = pulses(made.signal("csync"))
    broad = np.flatnonzero(widths > 20)
    first = broad[np.flatnonzero(np.diff(broad, prepend=-9) > 1)]
    last_line_sync = [np.flatnonzero((widths > 4) & (widths < 5) & (starts < starts[i]))[-1] for i in first]
    halves = (starts[first] - starts[last_line_sync]) / 32.0
    # One field's vsync begins with where a line sync would be, the other's half a line later.
    assert sorted(np.rint(halves) % 2) == [0, 1]


def test_or_style_csync_merges_and_xor_style_keeps_the_line_edges(record: Any, small: VideoSource) -> None:
    merged = record(replace(small, composite=CompositeSync("or")))
    split = record(replace(small, composite=CompositeSync("xor")))
    vsync = merged.signal("vsync")
    start = vsync.falling()[0]
    end = vsync.rising()[vsync.rising() > start][0]

    def inside(made: Any) -> int:
        times = made.signal("csync").times
        return np.count_nonzero((times > start) & (times < end))

    assert inside(merged) == 0
    assert (
        inside(split) == 2 + 1
    )  # hsync ends, comes, ends; its first and the third begin with vsync's own edges


def test_csync_polarity_can_be_positive(record: Any, small: VideoSource) -> None:
    normal = record(replace(small, composite=CompositeSync("or"))).signal("csync")
    turned = record(replace(small, composite=CompositeSync("or", "positive"))).signal("csync")
    np.testing.assert_array_equal(normal.times, turned.times)
    assert normal.initial != turned.initial


def test_equalised_csync_needs_vsync_on_a_half_line(record: Any, small: VideoSource) -> None:
    sync = CompositeSync("equalised", equalising_clocks=3, broad_clocks=26)
    with pytest.raises(UsageError, match="vsync must begin with hsync"):
        record(replace(small, composite=sync, vsync_start_clock=7))
    with pytest.raises(UsageError, match="does not fit in half a line"):
        record(replace(small, composite=replace(sync, broad_clocks=32)))
