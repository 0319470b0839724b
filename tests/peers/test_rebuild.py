"""The main job on sources that rastertap had no hand in, bit for bit.

The simulator (Icarus Verilog or GHDL) writes the capture, its test bench the true picture; the resampler is
an independent asynchronous analyser. No board file is given.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from rastertap.analyse import analyse_path

from .rebuilt import compare, found_roles, without_scope
from .resample import resample
from .simulate import SOURCES

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from rastertap.analyse import Analysis

    from .simulate import Simulated

STANDARDS = {
    "vga640": ("640x480", 800, [525], False),
    "sd525-262": ("262/60", 455, [262], False),
    "sd525-263": ("263/60", 455, [263], False),
    "sd525-interlaced": ("525/60", 455, [262.5], True),
    "sd625-312": ("312/50", 432, [312], False),
    "sd625-interlaced": ("625/50", 432, [312.5], True),
    # 8 MHz / 509 clocks / 311 lines is no standard: nearest is 312/50, and it must be said not to be it.
    "sd625-odd": (None, 509, [311], False),
}
"""Standard, clocks a line, lines a field, interlace; the figures are those the HDL cores were given."""
RATES_MHZ = (24, 50, 100, 200)
FEWEST_SAMPLES = 3.0
"""Samples a pixel from which every pixel must be right."""


def timing_of(analysis: Analysis) -> tuple[str | None, int, list[float], bool]:
    from rastertap.report.document import document

    timing = document(analysis)["timing"]
    return (
        timing["standard"],
        timing["pixels_per_line"],
        sorted(set(timing["lines_per_field"])),
        timing["interlaced"],
    )


def assert_clean(analysis: Analysis) -> None:
    bad = [(f.id, f.text) for f in analysis.findings if f.result in {"warn", "fail"}]
    assert not bad
    assert analysis.verdict.place == "after_the_pins"


@pytest.mark.parametrize("name", list(SOURCES))
def test_a_simulators_own_capture_is_rebuilt_bit_for_bit(
    name: str, simulated: Callable[..., Simulated]
) -> None:
    source = simulated(name)
    analysis = analyse_path(str(source.vcd))
    wanted = without_scope(source.truth["roles"])
    assert found_roles(analysis, wanted) == {}
    assert timing_of(analysis) == STANDARDS[name]
    result = compare(analysis, source, source.fields, wanted, 0.0)
    assert result.fields >= 2
    assert not any(result.differing)
    assert_clean(analysis)


@pytest.mark.parametrize("rate", RATES_MHZ)
@pytest.mark.parametrize("name", list(SOURCES))
def test_an_asynchronous_analysers_capture_is_rebuilt_bit_for_bit(
    name: str, rate: int, simulated: Callable[..., Simulated], tmp_path: Path
) -> None:
    source = simulated(name)
    if rate * 1e6 / float(source.truth["clock_hz"]) < FEWEST_SAMPLES:
        pytest.skip("too few samples a pixel: see test_an_undersampled_clock_is_said_to_be_so")
    made = resample(source, tmp_path / "resampled.vcd", rate_hz=rate * 10**6, seed=rate, ppm=17.0)
    analysis = analyse_path(str(made.path))
    assert found_roles(analysis, made.channels) == {}
    assert timing_of(analysis) == STANDARDS[name]
    result = compare(analysis, source, made.fields, made.channels, made.start_s)
    assert result.fields >= 1
    assert not any(result.differing)
    assert_clean(analysis)


@pytest.mark.parametrize("rate", [24, 50])
def test_an_undersampled_clock_is_said_to_be_so(
    rate: int, simulated: Callable[..., Simulated], tmp_path: Path
) -> None:
    """25.175 MHz at 24 or 50 MS/s: sync can be measured, pixels cannot, and nothing may be invented."""
    source = simulated("vga640")
    made = resample(source, tmp_path / "resampled.vcd", rate_hz=rate * 10**6, seed=rate, ppm=17.0)
    analysis = analyse_path(str(made.path))
    standard, _, lines, interlaced = timing_of(analysis)
    assert (standard, lines, interlaced) == ("640x480", [525], False)
    assert analysis.evidence.frames is None
    assert analysis.verdict.place in {"capture", "undecided"}
