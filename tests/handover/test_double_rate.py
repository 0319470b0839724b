"""The handover sheet of a bus with a pixel on each clock edge: Icarus Verilog's source states all numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from rastertap.analyse import analyse_path
from rastertap.handover.sheet import make_sheet
from rastertap.report.handover import handover_document, handover_text

from ..peers.counted_source import simulate_counted  # noqa: TID252 - the simulators are shared

if TYPE_CHECKING:
    from pathlib import Path

CLOCK_HZ, CLOCKS, SYNC, FIRST, WIDTH = 3.125e6, 200, 15, 71, 280


def test_all_is_counted_and_timed_in_pixels_of_which_a_clock_has_two(tmp_path: Path) -> None:
    source = simulate_counted(
        tmp_path, DOUBLE=1, CLOCKS=CLOCKS, SYNC=SYNC, X=FIRST, WIDTH=WIDTH, HALF=160_000
    )
    sheet = make_sheet(analyse_path(source.recorded(tmp_path / "a.vcd", 100_000_000)))
    across, pixel_s = sheet.across, 0.5 / CLOCK_HZ
    assert (across.total, across.active, across.offset) == (2 * CLOCKS, WIDTH, FIRST)
    assert across.sync == pytest.approx(2 * SYNC, abs=0.05)
    assert sheet.pixel_s == pytest.approx(pixel_s, rel=1e-6)
    # The bus changes 3 ns, the sync 10 ns after either edge: each pixel is read in its own middle.
    assert sheet.sampling.delays_s == pytest.approx((0.5 * pixel_s, 1.5 * pixel_s), abs=20e-9)
    assert set(sheet.sampling.edges) == {"falling", "rising"}
    assert sheet.sampling.after_sync_s == pytest.approx((FIRST + 0.5) * pixel_s - 7e-9, abs=20e-9)
    text = handover_text(sheet)
    assert "total                        400 pixels  (64.000 us)" in text
    assert "x 400" in text
    assert "x 200" in text
    data = handover_document(sheet)
    assert data["pixels_per_clock"] == len(data["sampling"]["delays_s"]) == 2
