"""The clock's findings on simulated captures with one fault each, and the words they use."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest

from rastertap.analyse import Analysis, Request, analyse_path
from rastertap.bench.analyser import Analyser, plug
from rastertap.bench.faults import parse_fault
from rastertap.bench.machines import MARLOW_50
from rastertap.bench.make import make_capture
from rastertap.checks.clock_words import offset_words, subcarrier_words
from rastertap.checks.verdict import SINGLE_CAUSES
from rastertap.report.clock_text import clock_text, histogram
from rastertap.report.document import document, dumps
from rastertap.report.meanings import MEANINGS
from rastertap.standards.clocks import MASTER_CLOCKS, origins

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from rastertap.checks.interface import Finding


@pytest.fixture
def analysed(tmp_path: Path) -> Callable[..., Analysis]:
    def run(*faults: str, rate_mhz: int = 100, without_clock: bool = False, **changes: object) -> Analysis:
        source = replace(MARLOW_50, **changes)  # type: ignore[arg-type]
        wires = tuple(w for w in plug(source, channels=8) if not (without_clock and w[1] == "pixel_clock"))
        analyser = Analyser(wires, rate_hz=Fraction(rate_mhz * 10**6), fields=2.2, timebase_ppm=13.0)
        made = make_capture(source, analyser, [parse_fault(f) for f in faults], seed=5)
        path = tmp_path / "made.vcd"
        made.write_vcd(path)
        return analyse_path(str(path), Request())

    return run


def found(analysis: Analysis, name: str) -> Finding:
    return next(f for f in analysis.findings if f.id == name)


def test_a_clean_clock_passes_everything_that_can_be_measured(analysed: Callable[..., Analysis]) -> None:
    analysis = analysed()
    results = {f.id: f.result for f in analysis.findings if f.id.startswith(("clock.", "sampling."))}
    assert {name for name, result in results.items() if result != "pass"} == {"clock.frequency"}
    assert "leave the clock generator alone" in clock_text(analysis)
    assert "576, locked" in clock_text(analysis)


def test_lost_cycles_are_placed_and_blamed_on_the_generator(analysed: Callable[..., Analysis]) -> None:
    finding = found(analysed("clock-missing:one_in=30000"), "clock.missing_cycles")
    assert finding.result == "fail"
    assert "The chip lacks them too" in finding.text
    assert len(finding.at_s) == finding.measured


def test_cycles_that_only_the_lead_misses_are_no_fault_of_the_clock(
    analysed: Callable[..., Analysis],
) -> None:
    analysis = analysed("clock-missing:one_in=9000,seen_by=tap")
    finding = found(analysis, "clock.missing_cycles")
    assert finding.result == "warn"
    assert "Reseat that clip" in finding.text
    assert analysis.verdict.place == "after_the_pins"
    assert any("clock cycles missing" in step for step in analysis.verdict.next)


def test_a_clock_that_stops_once_a_line_does_so_on_purpose(analysed: Callable[..., Analysis]) -> None:
    finding = found(analysed("clock-missing:every=577"), "clock.missing_cycles")
    assert finding.result == "pass"
    assert "once in each line" in finding.text
    assert "on purpose" in finding.text


def test_a_clock_that_stops_once_a_field_does_so_on_purpose(analysed: Callable[..., Analysis]) -> None:
    """A field of the bench's machine lasts 312 x 64 us = 19.968 ms."""
    stops = [f"clock-stopped:at_ms={at},for_ms=1,seen_by=tap" for at in (10, 29.968)]
    finding = found(analysed(*stops), "clock.missing_cycles")
    assert finding.result == "pass"
    assert "same place of each field" in finding.text
    assert "for up to 9000 cycles" in finding.text
    finding = found(analysed(stops[0], stops[1].replace("29.968", "29.9")), "clock.missing_cycles")
    assert finding.result == "warn"


def test_events_at_even_distances_are_told_with_the_distance(analysed: Callable[..., Analysis]) -> None:
    finding = found(analysed("clock-extra:every=10007,width_ns=16"), "clock.extra_edges")
    assert finding.result == "warn"
    assert "every 10007 cycles" in finding.text


def test_a_stretched_cycle_is_a_phase_jump(analysed: Callable[..., Analysis]) -> None:
    analysis = analysed("clock-stretch:every=70001,factor=1.4")
    finding = found(analysis, "clock.phase_jump")
    assert finding.result == "fail"
    assert re.search("by 4[45] ns, late", finding.text)
    assert analysis.verdict.place == "clock"
    assert "too long or too short" in analysis.verdict.next[0]


def test_without_the_clocks_pin_the_clock_is_not_said_to_be_sound(analysed: Callable[..., Analysis]) -> None:
    verdict = analysed(without_clock=True).verdict
    assert verdict.place == "after_the_pins"
    assert verdict.confidence < 1
    assert "without the clock's own pin" in verdict.text
    assert verdict.next[0].startswith("Tap the clock's pin")
    assert not any("alone" in step for step in verdict.next)


def test_whatever_fails_at_the_taps_or_the_clock_has_a_next_step() -> None:
    judged = {name for name in MEANINGS if name.startswith(("taps.", "clock."))}
    assert len(judged) > 15
    assert judged - {"clock.undersampled"} == {n for n in SINGLE_CAUSES if n.startswith(("taps.", "clock."))}


def test_a_clock_modulated_at_line_rate_makes_stripes(analysed: Callable[..., Analysis]) -> None:
    analysis = analysed("clock-modulation:peak_ns=9,hz=15625")
    finding = found(analysis, "clock.modulation")
    assert finding.result == "fail"
    assert "the line rate" in finding.text
    assert "stripes" in finding.text
    line = document(analysis)["clock"]["measured"]["spectral_line"]
    assert line["amplitude_s"] == pytest.approx(9e-9, rel=0.1)


def test_a_clock_that_walks_is_not_held_against_the_line_sync(analysed: Callable[..., Analysis]) -> None:
    analysis = analysed("clock-jitter:rms_ns=4,kind=walk")
    assert found(analysis, "timing.line_jitter").result == "pass"
    assert found(analysis, "timing.line_length").result == "pass"


def test_jitter_beyond_a_twentieth_of_a_pixel_fails(analysed: Callable[..., Analysis]) -> None:
    assert found(analysed("clock-jitter:rms_ns=9"), "clock.jitter").result == "fail"


def test_drift_fails_with_its_sign(analysed: Callable[..., Analysis]) -> None:
    finding = found(analysed("clock-drift:ppm_per_s=-3000"), "clock.drift")
    assert finding.result == "fail"
    assert float(finding.measured or 0) == pytest.approx(-3000 * 0.044, rel=0.05)


def test_a_recovered_clock_says_so_and_judges_no_cycles(analysed: Callable[..., Analysis]) -> None:
    analysis = analysed(rate_mhz=50, without_clock=True)
    assert found(analysis, "clock.present").result == "pass"
    assert "recovered from the colour changes" in found(analysis, "clock.present").text
    assert found(analysis, "clock.jitter").result == "not_measured"
    clock = json.loads(dumps(document(analysis)))["clock"]
    assert (clock["source"], clock["recovered"]["kind"]) == ("recovered", "steady")
    assert clock["period_jitter_rms_s"] is None
    assert "tap the clock's own pin" in clock_text(analysis)


def test_a_late_bit_is_named(analysed: Callable[..., Analysis]) -> None:
    text = " ".join(clock_text(analysed(delays_ns={"colour2": 31.0})).split())
    assert "19.0 ns later than the middle of the bits" in text


def test_a_second_clock_is_compared_with_the_first(tmp_path: Path) -> None:
    source = MARLOW_50
    wires = (*plug(source, channels=8), ("D8", "cpu_clock"))
    made = make_capture(source, Analyser(wires, fields=2.2), [], seed=5)
    made.write_vcd(tmp_path / "made.vcd")
    related = document(analyse_path(str(tmp_path / "made.vcd")))["clock"]["related"]
    second = next(r for r in related if r["name"] == "clock on D8")
    assert (second["nearest"], second["locked"]) == ("4", True)


@pytest.mark.parametrize(
    ("hz", "text"),
    [
        (17_734_475 / 2, "4 x PAL subcarrier / 2"),
        (315e6 / 44, "4 x NTSC subcarrier / 2"),
        (6_750_000, "13.5 MHz of component video / 2"),
        (25_175_000, "25.175 MHz of 640x480"),
        (8_000_000, "16 MHz crystal / 2"),
    ],
)
def test_the_trades_clocks_are_known_by_small_ratios(hz: float, text: str) -> None:
    assert text in {o.text for o in origins(hz * (1 + 30e-6))[:2]}


def test_master_clocks_are_exact() -> None:
    """Figures of references 1.1: fsc(PAL) = 17 734 475 / 4 Hz, 4 fsc(NTSC) = 315/22 MHz."""
    by_title = {m.title: m.hz for m in MASTER_CLOCKS}
    assert by_title["4 x PAL subcarrier"] == 17_734_475
    assert by_title["4 x NTSC subcarrier"] == Fraction(315_000_000, 22)


def test_an_offset_is_put_in_words_a_repairer_can_use() -> None:
    best = origins(17_734_475 * (1 + 412e-6))[0]
    assert offset_words(best.offset_ppm, 50) == "412 ppm fast"
    words = subcarrier_words(best, 50)
    assert "PAL allows 1.1 ppm (BT.470-6 Table 2)" in words
    assert "colour may not lock" in words
    assert "nothing wrong is seen" in offset_words(-20, 50)
    assert subcarrier_words(origins(17_734_475.0)[0], 50) == ""


def test_the_histogram_shows_every_place_that_was_hit() -> None:
    counts = [0] * 120
    counts[0], counts[60] = 10_000, 1
    drawn = histogram(counts)
    assert (drawn[0], drawn[20], drawn.strip("@. ")) == ("@", ".", "")
