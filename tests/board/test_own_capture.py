"""A board file that ``board new`` makes of a sound capture makes that capture pass."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from rastertap.analyse import Request, analyse, analyse_path
from rastertap.bench.analyser import Analyser
from rastertap.bench.machines import MACHINES
from rastertap.bench.make import make_capture
from rastertap.board.load import parse_board
from rastertap.board.template import board_text
from rastertap.cli.board import found_board

from ..peers.counted_source import simulate_counted  # noqa: TID252 - the simulators are shared
from ..peers.resample import resample  # noqa: TID252 - the simulators are shared
from ..peers.simulate import simulate  # noqa: TID252 - the simulators are shared
from ..streams.sync_source import SyncSource  # noqa: TID252 - tests are no package

if TYPE_CHECKING:
    from pathlib import Path

    from rastertap.analyse import Analysis
    from rastertap.board.model import Board


def made(analysis: Analysis) -> Board:
    return parse_board(board_text(found_board(analysis)))


def wrong(analysis: Analysis) -> list[tuple[str, str]]:
    found = [(f.id, f.text) for f in analysis.findings if f.result in {"fail", "warn"}]
    if not any(pin.role == "colour" for pin in analysis.pins):
        # Made of sync alone: that no clock is there is right.
        found = [(key, text) for key, text in found if not key.startswith("clock.")]
    return found


def of_syncs(source: SyncSource) -> tuple[Board, Analysis]:
    board = made(analyse(source.capture(), Request()))
    return board, analyse(source.capture(), Request(board=board))


def of_file(path: str, **request: float) -> tuple[Board, Analysis]:
    board = made(analyse_path(path, Request(**request)))  # type: ignore[arg-type]
    return board, analyse_path(path, Request(board=board, **request))  # type: ignore[arg-type]


@pytest.mark.parametrize("lines", range(262, 315))
def test_whatever_the_lines_of_a_field(lines: int) -> None:
    # 1/15 734.27 Hz (references.md 2.1) below 288 lines, 1/15 625 Hz from there on.
    board, again = of_syncs(SyncSource(lines=lines, line_ps=63_555_556 if lines < 288 else 64_000_000))
    assert board.timing.lines_per_field == (lines,)
    assert (board.timing.standard is not None) == (lines in {262, 263, 312, 313, 314})
    assert wrong(again) == []


@pytest.mark.parametrize("lines", [262, 287, 312])
def test_fields_a_line_longer_in_turn(lines: int) -> None:
    turn = SyncSource(lines=lines, fields=6, field_off={1: 1, 3: 1, 5: 1})
    board, again = of_syncs(turn)
    assert board.timing.lines_per_field == (lines, lines + 1)
    assert wrong(again) == []


def test_what_the_finding_on_such_fields_advises_is_accepted_beside_the_standard() -> None:
    turn = SyncSource(lines=312, fields=6, field_off={1: 1, 3: 1, 5: 1})
    text = 'schema = "rastertap.board/1"\nname = "made"\n[timing]\nlines_per_field = [312, 313]\n'
    for standard in ("312/50", "313/50"):
        board = parse_board(f'{text}standard = "{standard}"\n')
        found = {f.id: f.result for f in analyse(turn.capture(), Request(board=board)).findings}
        assert found["timing.lines_per_field"] == "pass"


def test_a_field_that_lost_a_line_is_not_stated_as_another_kind() -> None:
    board, _ = of_syncs(SyncSource(fields=7, field_off={3: -1}))
    assert board.timing.lines_per_field == (312,)


@pytest.mark.parametrize("key", sorted(MACHINES))
def test_the_bench_machines(key: str, tmp_path: Path) -> None:
    machine = MACHINES[key]
    path = tmp_path / "made.vcd"
    make_capture(machine.source, Analyser(machine.wires, fields=2.5), seed=12).write_vcd(path)
    _, again = of_file(str(path))
    assert wrong(again) == []


@pytest.mark.parametrize("name", ["sd625-312", "sd525-263", "sd625-interlaced", "vga640"])
def test_simulated_video_chips(name: str, tmp_path: Path) -> None:
    source = simulate(name, tmp_path)
    path = resample(source, tmp_path / "r.vcd", rate_hz=200_000_000, seed=4, ppm=30.0, static=(1, 0)).path
    _, again = of_file(str(path))
    assert wrong(again) == []


@pytest.mark.parametrize(
    "given",
    [{"LINES": 264}, {"INTERLACED": 1, "FIELDS": 4}, {"DOUBLE": 1, "WIDTH": 300, "X": 60}],
    ids=["264 lines", "interlaced", "two pixels a clock"],
)
def test_counted_machines(given: dict[str, int], tmp_path: Path) -> None:
    source = simulate_counted(tmp_path, **given)
    board, again = of_file(source.recorded(tmp_path / "a.vcd", 80_000_000, start_s=0.0003))
    assert board.timing.pixels_per_line == 200
    assert wrong(again) == []


@pytest.mark.parametrize("off_ppm", [-114, -60, 30, 60, 200])
def test_a_nominal_clock_is_stated_only_where_the_analyser_could_tell_it(
    off_ppm: int, tmp_path: Path
) -> None:
    # 200 clocks of a 15 625 Hz line are 3.125 MHz; here the crystal is off by so much.
    source = simulate_counted(tmp_path, HALF=round(160_000 * (1 - off_ppm * 1e-6)))
    path = source.recorded(tmp_path / "a.vcd", 50_000_000, start_s=0.0003)
    board, again = of_file(path)
    stated = float(board.timing.pixel_clock_hz or 0)
    assert stated == pytest.approx(3.125e6 if abs(off_ppm) < 42 else 3.125e6 * (1 + off_ppm * 1e-6), abs=20)
    assert wrong(again) == []
