"""Fields that the capture's beginning cuts, placed by the whole ones: Icarus Verilog's counted machine."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.analyse import analyse_path
from rastertap.handover.sheet import make_sheet

from .counted_source import simulate_counted

if TYPE_CHECKING:
    from pathlib import Path

FIRST = 40


def test_an_interlaced_capture_that_begins_inside_a_field_sync_has_its_first_field_in_place(
    tmp_path: Path,
) -> None:
    source = simulate_counted(tmp_path, INTERLACED=1, START=0, Y=FIRST)
    # The field sync lasts 160 us; the capture ends before a second field of its kind is whole.
    analysis = analyse_path(source.recorded(tmp_path / "a.vcd", 80_000_000, start_s=60e-6, end_s=0.055))
    frames = analysis.evidence.frames
    assert frames is not None
    cut, whole = frames.frames[:2]
    assert (cut.field, cut.complete, whole.field, whole.complete) == ("first", False, "second", True)
    for frame, rows in ((cut, source.picture[0::2]), (whole, source.picture[1::2])):
        area = frames.active_of(frame)
        assert area is not None
        assert np.array_equal(area.crop(frame.codes), rows)
    sheet = make_sheet(analysis)
    # Its sync begins with a line, the other's half a line before one.
    assert sheet.offsets["first"] == pytest.approx(FIRST, abs=0.01)
    assert sheet.offsets["second"] == pytest.approx(FIRST + 0.5, abs=0.01)


@pytest.mark.parametrize(("skipped", "lines"), [(0, 262), (257, 263)], ids=["a short one", "a long one"])
def test_a_cut_field_is_as_long_as_the_others_of_its_kind(skipped: int, lines: int, tmp_path: Path) -> None:
    source = simulate_counted(tmp_path, LINES=262, MORE=1, START=10, Y=FIRST, FIELDS=4)
    # Line 10 of a field; 252 lines later the next, longer one begins.
    start_s = skipped * 64e-6 + 1e-5
    frames = analyse_path(source.recorded(tmp_path / "a.vcd", 50_000_000, start_s=start_s)).evidence.frames
    assert frames is not None
    cut = frames.frames[0]
    area = frames.active_of(cut)
    assert area is not None
    assert (cut.complete, cut.codes.shape[0], area.y) == (False, lines, FIRST)
    assert np.array_equal(area.crop(cut.codes), source.picture)
