"""Drift of the line rate and the subcarrier's frequency, jitter and drift, against sources of known ones."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.analyse import Request, analyse, analyse_path
from rastertap.capture.read import read_capture
from rastertap.checks.timing_drift import drift_of

from .blanking_source import simulate_blanking
from .resample import resample

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from rastertap.checks.interface import Finding

    from .simulate import Simulated

LINE_RATE = 1 / (432 * 148_148e-12)
"""Of hdl/blanking.v as it is run here: 216 clocks of two half clocks a line."""


def findings(
    path: Path, limits: str, *, without: tuple[str, ...] = (), ppm: float = 50.0
) -> dict[str, Finding]:
    capture = read_capture(str(path))
    channels = tuple(c for c in capture.channels if c.name not in without)
    request = Request(limits=limits, timebase_ppm=ppm)
    return {f.id: f for f in analyse(replace(capture, channels=channels), request).findings}


@pytest.mark.parametrize(
    ("femtoseconds", "result"), [(0, "pass"), (20, "pass"), (33, "fail"), (-33, "fail"), (-20, "pass")]
)
def test_a_line_rate_that_drifts_is_judged_by_the_broadcast_limit(
    femtoseconds: int, result: str, tmp_path: Path
) -> None:
    # 0.1 Hz/s: BT.470 Table 1 note 8 (references 1.1). A line longer than the one before by d seconds is a
    # change of -f^3 d: 26 fs at 15 625 Hz. Lines of 1 ps more than nominal leave room for shorter ones.
    source = simulate_blanking(tmp_path, DRIFT=femtoseconds)
    found = findings(source.vcd, "625-broadcast", without=("hblank", "vblank"))["timing.line_rate_drift"]
    assert found.result == result
    assert found.measured == pytest.approx(-(LINE_RATE**3) * femtoseconds * 1e-15, abs=2e-3)
    assert "note 8" in found.source


def test_a_capture_of_an_analyser_says_how_long_it_would_have_to_be(
    simulated: Callable[..., Simulated], tmp_path: Path
) -> None:
    made = resample(simulated("sd625-interlaced"), tmp_path / "made.vcd", rate_hz=10**8, seed=3)
    found = findings(made.path, "625-broadcast")["timing.line_rate_drift"]
    assert found.result == "not_measured"
    assert "Record 0.1" in found.text  # 8 x 6.8 ns x 15625 Hz x 4 / 0.1 Hz/s, its root: 0.18 s


def test_two_field_syncs_show_no_drift(simulated: Callable[..., Simulated]) -> None:
    source = simulated("sd625-312")
    capture = read_capture(str(source.vcd))
    # From its start in mid-field on, 1.4 fields: one field sync, or two.
    end = capture.start + round(28e-3 / float(capture.tick))
    cut = replace(capture, end=end, channels=tuple(c.between(capture.start, end) for c in capture.channels))
    found = {f.id: f for f in analyse(cut, Request(limits="625-broadcast")).findings}
    assert found["timing.line_rate_drift"].result == "not_measured"
    assert "three field syncs" in found["timing.line_rate_drift"].text


def test_the_fit_is_exact_for_a_steady_change_and_its_doubt_covers_the_grid() -> None:
    lines = np.arange(40) * 312.5
    for rate, change in ((15_625.0, 0.3), (15_734.0, -5.0)):
        # t(n) of a rate that changes steadily, f + f' t: n = f t + f' t^2 / 2.
        times = (np.sqrt(rate**2 + 2 * change * lines) - rate) / change
        found = drift_of(lines, times, 0.0)
        middle = rate + change * times.mean()
        assert found.rate == pytest.approx(middle, rel=1e-6)
        assert found.change == pytest.approx(change, rel=1e-3)
        for phase in (0.1, 0.5, 0.77):
            grid = np.ceil(times / 1e-8 + phase) * 1e-8
            seen = drift_of(lines, grid, 1e-8)
            assert abs(seen.change - change) <= 2 * seen.uncertainty


@pytest.mark.parametrize(("off", "result"), [(0.0, "pass"), (2.0, "pass"), (4.0, "fail"), (-4.0, "fail")])
def test_a_subcarrier_is_held_against_its_ten_hertz(
    off: float, result: str, simulated: Callable[..., Simulated], tmp_path: Path
) -> None:
    # +-10 Hz of 3 579 545.4545 Hz (SMPTE 170M 11.1, references 1.1) are 2.794 ppm. The simulator's clock has
    # whole picoseconds; the recording analyser runs so that what it sees is off by as many ppm as wanted.
    source = simulated("sd525-interlaced", subcarrier=True)
    wanted = 3_579_545.4545 * (1 + off * 1e-6)
    ppm = (float(source.truth["clock_hz"]) / 2 / wanted - 1) * 1e6
    made = resample(source, tmp_path / "made.vcd", rate_hz=10**8, seed=1, ppm=ppm)
    found = findings(made.path, "525-broadcast", ppm=0.01)["timing.subcarrier"]
    assert found.result == result
    assert found.measured == pytest.approx(wanted, abs=1.0)
    assert "170M 11.1" in found.source


def test_an_ordinary_analyser_cannot_tell_ten_hertz_and_says_what_could(
    simulated: Callable[..., Simulated], tmp_path: Path
) -> None:
    made = resample(
        simulated("sd525-interlaced", subcarrier=True), tmp_path / "made.vcd", rate_hz=10**8, seed=2
    )
    found = findings(made.path, "525-broadcast")
    assert found["timing.subcarrier"].result == "warn"
    assert "timebase" in found["timing.subcarrier"].text
    assert found["timing.subcarrier_drift"].result == "not_measured"
    assert "Record" in found["timing.subcarrier_drift"].text
    assert found["timing.subcarrier_jitter"].result == "not_measured"
    assert "oscilloscope" in found["timing.subcarrier_jitter"].text


def test_a_simulators_subcarrier_has_no_jitter(simulated: Callable[..., Simulated]) -> None:
    source = simulated("sd525-interlaced", subcarrier=True)
    request = Request(limits="525-broadcast")
    found = {f.id: f for f in analyse_path(str(source.vcd), request).findings}
    jitter = found["timing.subcarrier_jitter"]
    assert jitter.result == "pass"
    assert isinstance(jitter.measured, float)
    assert jitter.measured <= 3e-3  # us: edges are rounded to the simulator's 1 ps


def test_without_a_subcarrier_the_rows_say_so(simulated: Callable[..., Simulated]) -> None:
    source = simulated("sd525-interlaced")
    found = {f.id: f for f in analyse_path(str(source.vcd), Request(limits="525-studio")).findings}
    for name in ("timing.subcarrier", "timing.subcarrier_drift", "timing.subcarrier_jitter"):
        assert found[name].result == "not_measured"
        assert "No channel carries" in found[name].text
    ordinary = {f.id for f in analyse_path(str(source.vcd), Request()).findings}
    assert "timing.subcarrier" not in ordinary
