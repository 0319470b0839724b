"""Every row of the line and field tables that a capture can show, just inside and just outside its limit.

The figures are typed in here from the references (section 1), not read from the package. The source is
Verilog (``tests/peers/hdl/exact.v``), simulated by Icarus Verilog, its intervals exact to the picosecond.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pytest

from rastertap.analyse import Request, analyse_path

from ..peers.exact import NOMINAL_525, NOMINAL_625, compile_exact, run_exact  # noqa: TID252 - tests are no package

if TYPE_CHECKING:
    from pathlib import Path

    from rastertap.checks.interface import Finding

US = 1_000_000  # ps
MARGIN = 40
"""Picoseconds inside and outside of a limit; the capture's step is 1 ps."""
H625, H525 = 64 * US, 63_555_556


@dataclass(frozen=True)
class Row:
    """One row of a table: the integer that sets it, the value of that integer at both limits, its source."""

    sets: str
    finding: str
    integer: str
    low: float  # of the integer, us
    high: float
    source: str
    rest: dict[str, int] = field(default_factory=dict)

    @property
    def label(self) -> str:
        return f"{self.sets}-{self.finding}-{self.integer}"


_AIR = "BT.470-6 Table 1-1 (references 1.2)"
_AIR_FIELD = "BT.470-6 Table 1-2 (references 1.3)"
_STUDIO = "SMPTE 170M Table 2 (references 1.2)"

SHORT_J = {"J": 1_610_000_000}
"""A field blanking that ends within the line blanking in both fields, so that every line opens alike."""

ROWS = [
    # 625 lines on air.
    Row("625-broadcast", "sync.width", "D", 4.5, 4.9, f"d, 4.7 +-0.2: {_AIR}"),
    Row("625-broadcast", "timing.front_porch", "C", 1.5, 1.8, f"c, 1.5 +0.3/-0: {_AIR}"),
    Row("625-broadcast", "timing.blanking", "C", 1.4, 1.7, f"a, 12 +0/-0.3: {_AIR}", {"B": 10_300_000}),
    Row("625-broadcast", "sync.equalising", "P", 2.25, 2.45, f"p, 2.35 +-0.1: {_AIR_FIELD}"),
    Row("625-broadcast", "sync.serration", "Q", 27.1, 27.5, f"r, 4.7 +-0.2, so q = 32 - r: {_AIR_FIELD}"),
    Row("625-broadcast", "sync.broad", "Q", 27.1, 27.5, f"q + r = H/2: {_AIR_FIELD}, BT.1700 Fig. 5"),
    Row(
        "625-broadcast", "timing.sync_to_active", "B", 9.9, 10.5, "b = a - c, at its ends (derived)", SHORT_J
    ),
    Row(
        "625-broadcast",
        "timing.back_porch",
        "B",
        9.7,
        10.7,
        "b - d, 5.0 to 6.0 us, at its ends (derived)",
        SHORT_J,
    ),
    # The picture opens at the field blanking's own end, so b must not hold it shut for longer.
    Row(
        "625-broadcast",
        "timing.field_blanking",
        "J",
        1611.7,
        1612.0,
        f"j, 25 H + a: {_AIR_FIELD}",
        {"B": 9_000_000},
    ),
    Row(
        "625-broadcast", "timing.blanking_to_equalising", "K", 1, 5, f"k, 3 +-2: {_AIR_FIELD}", {"C": 500_000}
    ),
    # 625 lines in the studio.
    Row("625-studio", "sync.serration", "Q", 27.2, 27.4, "r, 4.7 +-0.1: BT.1700 Table 3 (references 1.3)"),
    Row("625-studio", "sync.broad", "Q", 27.2, 27.4, "q, 27.3 +-0.1: BT.1700 Table 3 (references 1.3)"),
    Row("625-studio", "sync.width", "D", 4.5, 4.9, "d, 4.7 +-0.2: BT.1700 Table 2 (references 1.2)"),
    # 525 lines on air.
    Row("525-broadcast", "sync.width", "D", 4.6, 4.8, f"d, 4.7 +-0.1: {_AIR}"),
    Row("525-broadcast", "timing.front_porch", "C", 1.27, 2.22, f"c, 1.27 to 2.22: {_AIR}"),
    Row("525-broadcast", "timing.blanking", "C", 1.5, 1.9, f"a, 10.9 +-0.2: {_AIR}"),
    Row("525-broadcast", "timing.sync_to_active", "B", 9.2, 10.3, f"b, 9.2 to 10.3: {_AIR}"),
    Row("525-broadcast", "sync.equalising", "P", 2.2, 2.4, f"p, 2.3 +-0.1: {_AIR_FIELD}"),
    Row(
        "525-broadcast",
        "sync.serration",
        "Q",
        H525 / 2 / US - 4.8,
        H525 / 2 / US - 4.6,
        f"r, 4.7 +-0.1, so q = H/2 - r: {_AIR_FIELD}",
    ),
    Row(
        "525-broadcast",
        "timing.blanking_to_equalising",
        "K",
        1.4,
        1.6,
        f"k, 1.5 +-0.1: {_AIR_FIELD}",
        {"C": 500_000},
    ),
    # 525 lines in the studio.
    Row("525-studio", "timing.front_porch", "C", 1.4, 1.6, f"c, 1.5 +-0.1: {_STUDIO}"),
    Row("525-studio", "timing.sync_to_active", "B", 9.1, 9.4, f"b, 9.2 +0.2/-0.1: {_STUDIO}"),
    Row("525-studio", "timing.blanking", "C", 1.3, 1.8, "a, 10.5 to 11.0: BT.1700 Table 2 (references 1.2)"),
    Row("525-studio", "timing.back_porch", "B", 9.0, 9.5, "b - d, 4.5 +0.3/-0.2 (references 1.2, derived)"),
    Row("525-studio", "sync.equalising", "P", 2.2, 2.4, "p, 2.3 +-0.1: SMPTE 170M Table 3 (references 1.3)"),
]

# Hz either side of the nominal line rate: references 1.1.
RATES = [
    ("625-broadcast", H625, 15_625, 0.015_625, "BT.470-6 Table 1: 0.0001 %"),
    ("625-studio", H625, 15_625, 0.003_125, "BT.1700 Table 1 item 2: 0.00002 %"),
    ("525-broadcast", H525, 2_250_000 / 143, 0.0472, "BT.470-6 Table 1: 0.0003 %"),
    ("525-studio", H525, 2_250_000 / 143, 20 / 455, "2/455 of 10 Hz: SMPTE 170M 11.1"),
]


@pytest.fixture(scope="module")
def program(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return compile_exact(tmp_path_factory.mktemp("exact"))


def nominal(sets: str) -> dict[str, int]:
    return dict(NOMINAL_625 if sets.startswith("625") else NOMINAL_525)


def findings(program: Path, folder: Path, sets: str, **given: int) -> dict[str, Finding]:
    vcd = run_exact(program, folder, **(nominal(sets) | given))
    return {f.id: f for f in analyse_path(str(vcd), Request(limits=sets, timebase_ppm=0.0)).findings}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.label)
@pytest.mark.parametrize("end", ["low", "high"])
def test_a_limit_passes_just_inside_and_fails_just_outside(
    row: Row, end: str, program: Path, tmp_path: Path
) -> None:
    at = round((row.low if end == "low" else row.high) * US)
    inwards = MARGIN if end == "low" else -MARGIN
    inside = findings(program, tmp_path / "in", row.sets, **(row.rest | {row.integer: at + inwards}))
    outside = findings(program, tmp_path / "out", row.sets, **(row.rest | {row.integer: at - inwards}))
    assert (inside[row.finding].result, outside[row.finding].result) == ("pass", "fail"), row.source
    assert inside[row.finding].source


def test_studio_field_blanking_of_525_lines_is_20_lines_and_a_front_porch(
    program: Path, tmp_path: Path
) -> None:
    # j, 20 H + 1.5 +-0.1 us: SMPTE 170M Table 3 (references 1.3). It begins K before the equalising ones.
    for porch, result in ((1.4, "pass"), (1.6, "pass"), (1.39, "fail"), (1.61, "fail")):
        inwards = {1.4: MARGIN, 1.6: -MARGIN}.get(porch, 0)
        start = round(porch * US) + inwards
        given = {"C": 500_000, "K": start, "J": 20 * H525 + start}
        found = findings(program, tmp_path / str(porch), "525-studio", **given)
        assert found["timing.field_blanking"].result == result, porch


@pytest.mark.parametrize(("sets", "line", "rate", "tolerance", "source"), RATES, ids=lambda v: str(v)[:15])
def test_the_line_rate_passes_just_inside_and_fails_just_outside(  # noqa: PLR0917 - one table row
    sets: str, line: int, rate: float, tolerance: float, source: str, program: Path, tmp_path: Path
) -> None:
    for sign in (1, -1):
        at = 1e12 / (rate + sign * tolerance)
        inside = findings(program, tmp_path / f"in{sign}", sets, H=round(at + sign * 2))
        outside = findings(program, tmp_path / f"out{sign}", sets, H=round(at - sign * 2))
        for finding in ("timing.line_rate", "timing.field_rate"):
            assert (inside[finding].result, outside[finding].result) == ("pass", "fail"), (line, source)


@pytest.mark.parametrize(
    ("sets", "usual"),
    [
        ("625-broadcast", 5),
        ("525-broadcast", 6),
    ],  # BT.470-6 Table 1-2 l, m, n: 2.5 H and 3 H (references 1.3)
)
@pytest.mark.parametrize(
    ("integer", "finding"),
    [("PRE", "sync.equalising_before"), ("BROAD", "sync.broad_count"), ("POST", "sync.equalising_after")],
)
def test_a_pulse_too_few_or_too_many_in_the_field_sync_fails(  # noqa: PLR0917 - one table row
    sets: str, usual: int, integer: str, finding: str, program: Path, tmp_path: Path
) -> None:
    results = [
        findings(program, tmp_path / str(n), sets, **{integer: n})[finding].result
        for n in (usual - 1, usual, usual + 1)
    ]
    assert results == ["fail", "pass", "fail"]


@pytest.mark.parametrize(("sets", "lines"), [("625-broadcast", 625), ("525-studio", 525)])
def test_another_number_of_lines_fails(sets: str, lines: int, program: Path, tmp_path: Path) -> None:
    # BT.470-6 Table 1: 625 and 525 lines a frame, exactly.
    for halves, result in ((lines - 2, "fail"), (lines, "pass"), (lines + 2, "fail")):
        found = findings(program, tmp_path / str(halves), sets, HALVES=halves)
        assert found["timing.lines_per_frame"].result == result
        assert found["timing.lines_per_field"].result == result
        assert found["timing.lines_per_frame"].measured == halves


def test_a_single_line_may_be_32_ns_off_and_no_more(program: Path, tmp_path: Path) -> None:
    # BT.470-6 Table 1-1 note 3: +-0.032 us instantaneous (references 1.1).
    for odd, result in ((31_960, "pass"), (32_040, "fail"), (-31_960, "pass"), (-32_040, "fail")):
        found = findings(program, tmp_path / str(odd), "625-broadcast", ODD_LINE=400, ODD=odd)
        assert found["timing.single_line"].result == result
        # The wide set, too, must see that the line is not like the others.
        assert found["timing.line_length"].result == "fail"


@pytest.mark.parametrize("sets", ["625-broadcast", "625-studio", "525-broadcast", "525-studio"])
def test_a_source_amid_all_limits_passes_everything(sets: str, program: Path, tmp_path: Path) -> None:
    # b 9.25 us lies within BT.470's range for 525 lines and 170M's tolerance alike.
    amid = {"B": 9_250_000} if sets.startswith("525") else {}
    found = findings(program, tmp_path, sets, **amid)
    mine = {k: f.result for k, f in found.items() if k.partition(".")[0] in {"sync", "timing"}}
    # The source has no subcarrier: the sets that limit one must say that none was tapped.
    untapped = {k: mine.pop(k) for k in list(mine) if k.startswith("timing.subcarrier")}
    assert "timing.subcarrier" in untapped
    assert set(untapped.values()) == {"not_measured"}
    assert ("timing.line_rate_drift" in mine) == sets.endswith("broadcast")
    assert set(mine.values()) == {"pass"}, mine


def test_the_front_porch_that_bt1700_misprints_is_not_accepted(program: Path, tmp_path: Path) -> None:
    # BT.1700 Table 2 prints 1.2 +0.32/-0, which breaks a = b + c: 1.5 is the limit (references 12).
    assert findings(program, tmp_path, "625-studio", C=1_250_000)["timing.front_porch"].result == "fail"


def test_the_older_texts_line_blanking_is_not_accepted(program: Path, tmp_path: Path) -> None:
    # Report 624 has 12 +-0.3; the later text 12 +0/-0.3 holds (references 12).
    assert findings(program, tmp_path, "625-broadcast", C=1_700_000)["timing.blanking"].result == "fail"
