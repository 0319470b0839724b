"""A capture too short for a line rate or a field: what is lacking is said, and nobody is blamed for it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from rastertap.analyse import Request, analyse
from rastertap.capture.read import read_capture

if TYPE_CHECKING:
    from collections.abc import Callable

    from rastertap.analyse import Analysis

    from .simulate import Simulated

FIELD_MS = 312 * 0.064
"""312 lines of 64 us: what the HDL source was given."""


def cut(source: Simulated, begin_ms: float, length_ms: float) -> Analysis:
    """Analyse a part of a simulator's capture."""
    capture = read_capture(str(source.vcd))
    low = round(begin_ms * 1e-3 / float(capture.tick))
    high = low + round(length_ms * 1e-3 / float(capture.tick))
    channels = tuple(c.between(low, high) for c in capture.channels)
    return analyse(replace(capture, start=low, end=high, channels=channels), Request())


@pytest.mark.parametrize("begin", [1.0, 5.2, 11.0, 22.0])
@pytest.mark.parametrize("length", [0.3, 0.6])
def test_less_than_a_dozen_lines_are_too_short_to_tell(
    begin: float, length: float, simulated: Callable[..., Simulated]
) -> None:
    analysis = cut(simulated("sd625-312"), begin, length)
    assert analysis.evidence.sync is None
    found = {f.id: f for f in analysis.findings}
    assert found["sync.present"].result == "not_measured"
    assert f"lasts {length:g} ms" in found["sync.present"].text
    assert "50 ms" in found["sync.present"].text
    assert not [f.id for f in analysis.findings if f.result == "fail"]
    assert analysis.verdict.place == "undecided"
    assert "two fields" in analysis.verdict.next[0]


@pytest.mark.parametrize(("begin", "length"), [(5.0, 3.0), (1.0, 8.0), (12.0, 15.0), (13.0, 19.0)])
def test_less_than_a_field_has_lines_and_no_counts(
    begin: float, length: float, simulated: Callable[..., Simulated]
) -> None:
    analysis = cut(simulated("sd625-312"), begin, length)
    found = {f.id: f for f in analysis.findings}
    assert found["sync.present"].result in {"pass", "not_measured"}
    assert found["timing.lines_per_field"].result == "not_measured"
    assert found["timing.field_rate"].result == "not_measured"
    sync = analysis.evidence.sync
    assert sync is not None
    assert sync.line_period.value * float(analysis.capture.tick) == pytest.approx(64e-6, rel=1e-5)
    assert not [f.id for f in analysis.findings if f.result == "fail"]
    assert analysis.verdict.place == "undecided"


def test_between_one_field_and_two_what_was_seen_is_judged(simulated: Callable[..., Simulated]) -> None:
    # The source starts in mid-field (line 234 of 312): its first field sync comes 78 lines on.
    analysis = cut(simulated("sd625-312"), 1.0, 1.6 * FIELD_MS)
    found = {f.id: f for f in analysis.findings}
    assert found["timing.lines_per_field"].result == "pass"
    assert found["capture.too_short"].result == "pass"
    assert "1 complete field" in found["capture.too_short"].text
    assert found["picture.unstable_pixels"].result == "not_measured"
    assert not [f.id for f in analysis.findings if f.result == "fail"]
