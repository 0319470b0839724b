"""The demo captures: what is so is found, and the fault is named on the right side of the pins."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from rastertap.cli.options import exit_code

if TYPE_CHECKING:
    from collections.abc import Callable

CLEAN = ("marlow85-50", "marlow85-60")
FAULTS = {
    "marlow85-50-shifted": ("taps", {"taps.shifted"}),
    "marlow85-50-clock-drops": ("clock", {"clock.missing_cycles"}),
    "marlow85-50-lost-lines": ("video_chip", {"timing.lines_per_field", "timing.line_length"}),
}
"""Place, and the findings that name the fault; what each capture's fault is, captures/README.md says."""
NEAR_S = 1e-6


@pytest.mark.parametrize("name", CLEAN)
@pytest.mark.parametrize("with_board", [True, False])
def test_nothing_is_wrong_where_all_is_right(
    checked: Callable[..., Any], name: str, *, with_board: bool
) -> None:
    done = checked(name, with_board=with_board)
    assert exit_code(done.analysis) == 0
    assert [f for f in done.document["findings"] if f["result"] in {"warn", "fail"}] == []
    assert done.document["verdict"]["place"] == "after_the_pins"


@pytest.mark.parametrize("name", FAULTS)
def test_the_fault_is_named_and_its_side_of_the_pins(checked: Callable[..., Any], name: str) -> None:
    done, (place, findings) = checked(name), FAULTS[name]
    assert exit_code(done.analysis) == 1
    assert findings <= done.failed()
    assert done.document["verdict"]["place"] == place
    assert findings <= set(done.document["verdict"]["because"])


def test_a_ribbon_one_position_off_leaves_clock_and_chip_unblamed(checked: Callable[..., Any]) -> None:
    failed = checked("marlow85-50-shifted").failed()
    assert {f.partition(".")[0] for f in failed} == {"taps"}


def test_missing_cycles_are_counted_and_timed(checked: Callable[..., Any]) -> None:
    done = checked("marlow85-50-clock-drops")
    fault = next(f for f in done.truth["faults"] if f["fault"] == "clock-missing")
    finding = done.finding("clock.missing_cycles")
    assert finding["measured"] == fault["count"]
    np.testing.assert_allclose(finding["at_s"], fault["at_s"], atol=NEAR_S)


def test_a_lost_line_is_seen_in_the_line_counts(checked: Callable[..., Any]) -> None:
    done = checked("marlow85-50-lost-lines")
    lines = int(done.truth["source"]["lines_per_field"])
    assert sorted(done.document["timing"]["lines_per_field"]) == [lines - 1, lines]


def test_a_chips_fault_is_not_laid_on_the_clock(checked: Callable[..., Any]) -> None:
    failed = checked("marlow85-50-lost-lines").failed()
    assert {f.partition(".")[0] for f in failed} <= {"timing", "sync", "picture"}


def test_the_known_picture_of_the_board_file_is_checked(checked: Callable[..., Any]) -> None:
    """All captures show the card; only lines that the chip loses or cuts short move it."""
    for name in (*CLEAN, *FAULTS):
        finding = checked(name).finding("picture.known_picture")
        assert finding["result"] == ("fail" if name == "marlow85-50-lost-lines" else "pass"), name


def test_a_picture_that_differs_comes_after_the_lines_that_are_to_blame(checked: Callable[..., Any]) -> None:
    because = checked("marlow85-50-lost-lines").document["verdict"]["because"]
    assert because[0].startswith("timing.")
    assert because[-1] == "picture.known_picture"


@pytest.mark.parametrize("name", CLEAN)
@pytest.mark.parametrize("with_board", [True, False])
def test_every_active_pixel_is_rebuilt(checked: Callable[..., Any], name: str, *, with_board: bool) -> None:
    """Against the pictures that the source was told to show; which bit is which, only a board file says."""
    done = checked(name, with_board=with_board)
    frames = done.analysis.evidence.frames
    whole = [f for f in done.truth["fields"] if f["active_complete"]]
    assert len(whole) == len(frames.complete) == 2
    for frame, field in zip(frames.complete, whole, strict=True):
        assert done.analysis.capture.seconds(frame.start) == pytest.approx(field["vsync_s"], abs=NEAR_S)
        shown = frames.active_of(frame).crop(frame.codes)
        np.testing.assert_array_equal(shown, done.pictures[field["picture"]])


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_elsewhere_leaves_the_pixels_readable(checked: Callable[..., Any], name: str) -> None:
    """None of the three faults touches the bus, so what is rebuilt holds the colours of the picture only."""
    done = checked(name)
    frames = done.analysis.evidence.frames
    shown = {int(code) for f in frames.complete for code in np.unique(frames.active_of(f).crop(f.codes))}
    assert shown <= {int(code) for code in np.unique(done.pictures)} | {done.truth["source"]["blanking_code"]}
