"""What a timing does to displays and colour, against arithmetic done here."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.analyse import Analysis, Request, analyse
from rastertap.capture.model import Capture, Channel, SamplePeriod
from rastertap.checks.consequences import colour_system, consequences

from ..streams.sync_source import SyncSource, pin  # noqa: TID252 - tests are no package

if TYPE_CHECKING:
    from rastertap.checks.interface import Evidence

PAL_LINE, NTSC_LINE = 64_000_000, 63_555_556
NTSC_HZ = 39_375_000 / 11


def analysed(source: SyncSource) -> Analysis:
    return analyse(source.capture(), Request(timebase_ppm=0.0))


def with_subcarrier(source: SyncSource, hertz: float) -> Evidence:
    """Evidence of a source beside which 3 ms of a subcarrier were sampled."""
    half = 1e9 / hertz / 2
    edges = np.ceil(np.arange(1, int(3e6 / half)) * half / source.step_ns).astype(np.int64) * source.step_ns
    wave = Channel("s", 0, edges, (np.arange(edges.size) % 2 == 0).astype(np.uint8))
    evidence = analysed(source).evidence
    capture = replace(evidence.capture, channels=(*evidence.capture.channels, wave))
    return replace(evidence, capture=capture, pins=(*evidence.pins, pin("s", "subcarrier")))


def sentence(evidence: Evidence, about: str) -> str:
    return next(text for text in consequences(evidence) if about in text)


def figure(text: str, before: str, after: str = "") -> float:
    found = re.search(before + r" ([\d.]+)" + after, text)
    assert found is not None, text
    return float(found[1])


@pytest.mark.parametrize(
    ("line", "lines", "display", "apart", "what"),
    [
        # references 2.1: 312 lines 50.080128 Hz, 313 49.920128, 262 60.054449, 263 59.826105.
        (PAL_LINE, 312, "50 Hz", 0.080128, "dropped"),
        (PAL_LINE, 313, "50 Hz", 0.079872, "shown twice"),
        (NTSC_LINE, 262, "60 Hz", 0.054449, "dropped"),
        (NTSC_LINE, 263, "60 Hz", 0.173895, "shown twice"),
    ],
)
def test_the_beat_with_a_display_is_the_difference_of_the_rates(
    line: int, lines: int, display: str, apart: float, what: str
) -> None:
    text = sentence(analysed(SyncSource(line_ps=line, lines=lines)).evidence, f"fixed at {display}")
    assert what in text
    assert figure(text, "every", " s") == pytest.approx(1 / apart, rel=0.01)


def test_a_rate_that_agrees_with_the_display_has_no_beat() -> None:
    # 320 lines of 62.5 us last 20 ms: 50 Hz exactly.
    assert "keep step" in sentence(analysed(SyncSource(line_ps=62_500_000, lines=320)).evidence, "50 Hz")


@pytest.mark.parametrize(("line", "lines", "wanted"), [(PAL_LINE, 312, "312.5"), (NTSC_LINE, 262, "262.5")])
def test_a_set_that_wants_interlace_is_warned_of(line: int, lines: int, wanted: str) -> None:
    text = sentence(analysed(SyncSource(line_ps=line, lines=lines)).evidence, "insists")
    assert f"insists on {wanted} lines" in text


@pytest.mark.parametrize(
    ("subcarrier", "line", "lines", "system", "cycles"),
    [
        # references 1.1: 227.5 cycles a line; 283.7516 for PAL; 909/4 for PAL-M; the rest is fsc x line.
        (NTSC_HZ, NTSC_LINE, 262, "NTSC", 227.5),
        (4_433_618.75, PAL_LINE, 312, "PAL", 283.7516),
        (4_433_618.75, NTSC_LINE, 262, "PAL at 60 Hz", 281.7811),
        (NTSC_HZ, PAL_LINE, 312, "NTSC at 50 Hz", 229.0909),
        (3_582_056.25, PAL_LINE, 312, "PAL-N", 229.2516),
        (3_575_611.888, NTSC_LINE, 262, "PAL-M", 227.25),
    ],
)
def test_a_tapped_subcarrier_names_the_system_and_its_cycles_a_line(
    subcarrier: float, line: int, lines: int, system: str, cycles: float
) -> None:
    evidence = with_subcarrier(SyncSource(line_ps=line, lines=lines), subcarrier)
    assert colour_system(evidence) == system
    assert figure(sentence(evidence, "A line holds"), "holds") == pytest.approx(cycles, abs=2e-3)


@pytest.mark.parametrize(
    ("cycles", "words"),
    [(227.5, "each other's gaps"), (228.0, "line up"), (227.25, "slanted stripes")],
)
def test_the_dots_of_a_line_follow_from_the_part_of_a_cycle_left_over(cycles: float, words: str) -> None:
    source = SyncSource(line_ps=round(cycles / NTSC_HZ * 1e12), lines=262)
    assert words in sentence(with_subcarrier(source, NTSC_HZ), "A line holds")


def test_nothing_is_said_without_sync() -> None:
    nothing = Channel("x", 0, np.array([10], np.int64), np.array([1], np.uint8))
    period = SamplePeriod(10.0, 0.0, known=True)
    capture = Capture("made", Fraction(1, 10**9), 0, 1000, (nothing,), sample_period=period)
    assert consequences(analyse(capture, Request()).evidence) == []
