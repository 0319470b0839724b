"""A bit of the bus that comes late is named; what moves it here is the test, not the bench's own machine."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.analyse import Request, analyse
from rastertap.capture.read import read_capture
from rastertap.report.clock_text import clock_text

if TYPE_CHECKING:
    from rastertap.analyse import Analysis
    from rastertap.capture.model import Capture

GOOD = Path(__file__).parents[2] / "captures" / "marlow85-50.vcd.gz"
RATE_HZ, PIXEL_NS = 100e6, 1e9 / 9e6


@pytest.fixture(scope="module")
def good() -> Capture:
    return read_capture(str(GOOD))


def late(capture: Capture, **steps: int) -> Analysis:
    """Analyse the capture with some channels late by whole steps of the analyser."""
    moved = []
    for channel in capture.channels:
        samples = np.rint(channel.ticks / capture.step) + steps.get(channel.name, 0)
        ticks = np.rint(samples * capture.step).astype(np.int64)
        keep = ticks < capture.end
        moved.append(replace(channel, ticks=ticks[keep], levels=channel.levels[keep]))
    return analyse(replace(capture, channels=tuple(moved)), Request())


def bits_of(analysis: Analysis) -> list[str]:
    return [p.channel for p in analysis.evidence.pins if p.role == "colour"]


@pytest.mark.parametrize(("steps", "way"), [(4, "later"), (-4, "earlier")])
def test_a_bit_late_or_early_by_a_third_of_a_pixel_is_named(good: Capture, steps: int, way: str) -> None:
    name = bits_of(late(good))[1]
    analysis = late(good, **{name: steps})
    finding = next(f for f in analysis.findings if f.id == "sampling.skew")
    assert finding.result == "warn"
    assert finding.text.startswith(f"{name} changes ")
    assert f" ns {way} than the middle of the bits, 0.3" in finding.text
    assert finding.measured == pytest.approx(abs(steps) / RATE_HZ * 1e9, abs=4.0)
    assert f"{way} than the middle of the bits" in clock_text(analysis)


def test_bits_that_come_within_a_step_of_each_other_pass(good: Capture) -> None:
    name = bits_of(late(good))[0]
    for analysis in (late(good), late(good, **{name: 1})):
        finding = next(f for f in analysis.findings if f.id == "sampling.skew")
        assert finding.result == "pass"
        assert finding.measured is not None
        assert finding.measured < PIXEL_NS / 4


def test_of_two_bits_apart_neither_is_blamed(good: Capture) -> None:
    bits = bits_of(late(good))
    others = replace(good, channels=tuple(c for c in good.channels if c.name not in bits[2:]))
    finding = next(f for f in late(others, **{bits[0]: 4}).findings if f.id == "sampling.skew")
    assert finding.result == "warn"
    assert finding.text.startswith(f"{bits[0]} and {bits[1]} change ")


def test_one_bit_has_nothing_to_be_late_against(good: Capture) -> None:
    bits = bits_of(late(good))
    others = replace(good, channels=tuple(c for c in good.channels if c.name not in bits[1:]))
    finding = next(f for f in late(others).findings if f.id == "sampling.skew")
    assert finding.result == "not_measured"
    assert "two bits" in finding.text
