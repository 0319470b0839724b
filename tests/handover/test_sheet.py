"""The handover sheet's numbers against others worked out apart: HDL truth, published tables, arithmetic."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from rastertap.analyse import Request, analyse, analyse_path
from rastertap.capture.read import read_capture
from rastertap.cli.main import main
from rastertap.errors import CaptureError
from rastertap.handover.sheet import make_sheet
from rastertap.report.handover import handover_text

from ..peers.resample import resample  # noqa: TID252 - the simulators are shared
from ..peers.simulate import simulate  # noqa: TID252 - the simulators are shared

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from rastertap.handover.sheet import Sheet

    from ..peers.simulate import Simulated  # noqa: TID252 - the simulators are shared

    Handed = Callable[[str], tuple[Simulated, Sheet]]

# references.md 3.2: Y, Pb, Pr of the 100 % bars in mV, by R G B.
BARS_MV = {
    (255, 255, 255): (700.0, 0, 0),
    (255, 255, 0): (620.2, -350.00, 56.92),
    (0, 255, 255): (490.7, 118.12, -350.00),
    (0, 255, 0): (410.9, -231.88, -293.08),
    (255, 0, 255): (289.1, 231.88, 293.08),
    (255, 0, 0): (209.3, -118.12, 350.00),
    (0, 0, 255): (79.8, 350.00, -56.92),
    (0, 0, 0): (0, 0, 0),
}


@pytest.fixture(scope="module")
def handed(tmp_path_factory: pytest.TempPathFactory) -> Handed:
    """``handed(name)``: a source and its sheet, simulated once."""

    @lru_cache
    def make(name: str) -> tuple[Simulated, Sheet]:
        source = simulate(name, tmp_path_factory.mktemp("handover"))
        return source, make_sheet(analyse_path(str(source.vcd)), (1, 78))

    return make


@pytest.fixture(params=["sd625-312", "sd525-263", "sd625-interlaced", "vga640", "sd625-odd"])
def made(request: pytest.FixtureRequest, handed: Handed) -> tuple[Simulated, Sheet]:
    return handed(request.param)


def test_rates_are_those_of_the_source(made: tuple[Simulated, Sheet]) -> None:
    source, sheet = made
    truth = source.truth
    clock = float(truth["clock_hz"])
    assert sheet.pixel_clock.value == pytest.approx(clock, rel=1e-6)
    assert sheet.line_rate_hz == pytest.approx(clock / truth["pixels_per_line"], rel=1e-6)
    field = clock / truth["pixels_per_line"] / float(truth["lines_per_field"])
    assert sheet.field_rate_hz == pytest.approx(field, rel=1e-6)
    assert sheet.interlaced == truth["interlaced"]


def test_lines_and_pixels_are_those_of_the_source(made: tuple[Simulated, Sheet]) -> None:
    source, sheet = made
    truth, active = source.truth, source.truth["active"]
    assert (sheet.across.total, sheet.across.active, sheet.across.offset) == (
        truth["pixels_per_line"],
        active["width"],
        active["x"],
    )
    assert (sheet.down.total, sheet.down.active) == (float(truth["lines_per_field"]), active["height"])
    offsets = sorted(sheet.offsets.values())
    wanted = sorted({float(y) for y in active["y"]} if truth["interlaced"] else {float(active["y"][0])})
    assert offsets == pytest.approx(wanted, abs=0.01)
    tapped = {"blank", "display_enable"} & {role for role, _ in truth["roles"].values()}
    how = "from display enable or blanking" if tapped else "by the picture: outer lines and columns"
    assert sheet.active_from.startswith(how)
    assert sheet.active_from in handover_text(sheet)


def test_porches_add_up_to_the_line_and_the_field(made: tuple[Simulated, Sheet]) -> None:
    source, sheet = made
    # Widths of sync that the HDL was given: 4.7 us (BT.470), rounded to whole clocks; 96 clocks for 640x480.
    clock = float(source.truth["clock_hz"])
    expected = 96 if source.name == "vga640" else 4.7e-6 * clock
    assert sheet.across.sync == pytest.approx(expected, abs=0.51)
    for part in (sheet.across, sheet.down):
        assert part.sync + part.back_porch + part.active + part.front_porch == pytest.approx(part.total)
        assert part.back_porch > 0
        assert part.front_porch > 0


def test_the_first_pixel_is_read_in_its_middle_after_the_line_sync(made: tuple[Simulated, Sheet]) -> None:
    """The bench moves bus and sync on one edge: the middle of pixel x comes (x + 1/2) clocks after sync."""
    source, sheet = made
    assert sheet.sampling.after_sync_s is not None
    clock = float(source.truth["clock_hz"])
    assert sheet.sampling.after_sync_s * clock == pytest.approx(source.truth["active"]["x"] + 0.5, abs=0.02)
    assert sheet.sampling.phase_after_sync == pytest.approx(0.5, abs=0.02)
    for margin in (sheet.sampling.margin_before_s, sheet.sampling.margin_after_s):
        assert margin.value * clock == pytest.approx(0.5, abs=0.03)


@pytest.mark.parametrize(
    ("launch", "delay_ns", "edge"), [("rising", 10, "falling"), ("falling", 20, "rising")]
)
def test_a_late_bus_moves_the_sampling_point_as_much(
    launch: str, delay_ns: int, edge: str, tmp_path: Path
) -> None:
    source = simulate("sd625-312", tmp_path, fields=2, launch_edge=launch, bus_delay_ps=delay_ns * 1000)
    sheet = make_sheet(analyse_path(str(source.vcd)))
    clock = float(source.truth["clock_hz"])
    assert sheet.sampling.after_sync_s is not None
    middle = (source.truth["active"]["x"] + 0.5) / clock + delay_ns * 1e-9
    assert sheet.sampling.after_sync_s == pytest.approx(middle, abs=0.02 / clock)
    half = 0.5 if launch == "falling" else 0.0
    assert sheet.sampling.delays_s[0] * clock % 1 == pytest.approx(
        (0.5 + half + delay_ns * 1e-9 * clock) % 1, abs=0.02
    )
    assert sheet.sampling.edges == (edge,)


def test_an_analysers_capture_gives_the_same_within_its_step(handed: Handed, tmp_path: Path) -> None:
    source = handed("sd625-312")[0]
    recorded = resample(source, tmp_path / "r.vcd", rate_hz=100_000_000, seed=3, ppm=20.0)
    sheet = make_sheet(analyse_path(str(recorded.path)))
    clock = float(source.truth["clock_hz"])
    # The analyser's own timebase is 20 ppm fast: inside what is stated.
    assert abs(sheet.pixel_clock.value - clock) < 2 * sheet.pixel_clock.uncertainty
    assert sheet.across.offset == source.truth["active"]["x"]
    assert sheet.sampling.after_sync_s is not None
    assert sheet.sampling.after_sync_s == pytest.approx(
        (source.truth["active"]["x"] + 0.5) / clock, abs=10e-9
    )


def test_scales_and_borders_of_640_by_480_are_the_known_ones(handed: Handed) -> None:
    # 640 x 480 has square pixels: 1280/640 = 2 but 720/480 = 1; 1080/480 = 2; 2160/480 = 4.
    sheet = handed("vga640")[1]
    assert sheet.shape.aspect == pytest.approx(1.0)
    found = [(f.screen, f.scale, f.size, f.border) for f in sheet.even]
    assert found == [
        ((1280, 720), (1, 1), (640, 480), (640, 240)),
        ((1920, 1080), (2, 2), (1280, 960), (640, 120)),
        ((3840, 2160), (4, 4), (2560, 1920), (1280, 240)),
    ]
    assert [f.scale for f in sheet.in_shape] == [(1, 1), (2, 2), (4, 4)]


def test_scales_of_an_interlaced_source_are_of_the_whole_frame(handed: Handed) -> None:
    sheet = handed("sd625-interlaced")[1]  # 320 x 2 x 280
    assert [f.scale for f in sheet.even] == [(1, 1), (1, 1), (3, 3)]
    # 6.75 MHz is half of BT.601's 13.5 MHz, whose pixels are 1.094 wide for 1 high on 576 lines.
    assert sheet.shape.aspect == pytest.approx(2 * 576 * 4 / 3 / 702, rel=1e-3)


def test_a_delay_of_lines_is_its_part_of_a_field(handed: Handed) -> None:
    sheet = handed("sd625-312")[1]
    assert [(n, part) for n, part, _ in sheet.delays] == [
        (1, pytest.approx(1 / 312)),
        (78, pytest.approx(0.25)),
    ]
    # 312 lines of 64 us are 19.968 ms (references.md 2.1).
    assert sheet.delays[1][2] == pytest.approx(0.019968 / 4, rel=1e-6)


def test_what_fixed_displays_do_is_arithmetic_on_the_published_rates(handed: Handed) -> None:
    # 312 lines: 50.080 128 205 Hz (references.md 2.1). Against 50 Hz one field too many every 12.48 s.
    shown = {s.display: s for s in handed("sd625-312")[1].displays}
    assert shown["50 Hz"].what == "drops"
    assert shown["50 Hz"].every_s == pytest.approx(12.48, rel=1e-3)
    assert shown["50 Hz"].smooth
    assert shown["60 Hz"].what == "repeats"
    assert shown["60 Hz"].a_second == pytest.approx(60 - 50.080128205, rel=1e-6)
    assert not shown["60 Hz"].smooth
    assert shown["59.94 Hz"].a_second == pytest.approx(float(Fraction(60000, 1001)) - 50.080128205, rel=1e-6)


def test_component_levels_are_the_published_ones(handed: Handed) -> None:
    sheet = handed("vga640")[1]  # three bits: the eight bars
    assert {c.rgb for c in sheet.colours} == set(BARS_MV)
    for colour in sheet.colours:
        assert colour.component_mv == pytest.approx(BARS_MV[colour.rgb], abs=0.051)


def test_a_wide_bus_lists_only_the_colours_seen(tmp_path: Path) -> None:
    source = simulate("sd525-262", tmp_path, fields=2, bits=24, picture="bars", sync="separate")
    pins = "".join(
        f'[pins."{n.rpartition(".")[2]}"]\nrole = "{r}"\n' + (f"bit = {b}\n" if b is not None else "")
        for n, (r, b) in source.truth["roles"].items()
    )
    board = tmp_path / "board.toml"
    board.write_text(f'schema = "rastertap.board/1"\nname = "b"\n{pins}[colours]\nset = "rgb24"\n')
    result = CliRunner().invoke(
        main, ["handover", str(source.vcd), "--board", str(board), "--json", "-"], catch_exceptions=False
    )
    told = json.loads(result.stdout)
    # The black bar, at the right edge, has the code of blanking: it is no part of the active area found.
    assert {tuple(c["rgb"]) for c in told["colours"]} == set(BARS_MV) - {(0, 0, 0)}
    assert told["colours_left_out"] == 2**24 - 7
    for colour in told["colours"]:
        assert colour["component_mv"] == pytest.approx(BARS_MV[tuple(colour["rgb"])], abs=0.051)


def test_a_capture_without_a_whole_field_gives_no_sheet_and_says_why(handed: Handed) -> None:
    source = handed("sd625-312")[0]
    capture = read_capture(source.vcd)
    end = capture.start + (capture.end - capture.start) // 8
    short = replace(capture, end=end, channels=tuple(c.between(None, end) for c in capture.channels))
    with pytest.raises(CaptureError, match="the handover sheet needs"):
        make_sheet(analyse(short, Request()))
