"""The sources are what they say, proved without rastertap by published figures and the benches' pictures."""

from __future__ import annotations

from fractions import Fraction
from itertools import groupby, pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest
import pywellen

from .native_vcd import Native, Wave, parse_vcd
from .resample import resample
from .simulate import SOURCES, Simulated, TrueField, simulate

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from numpy.typing import NDArray

    Make = Callable[..., Simulated]
    Parse = Callable[[Simulated], Native]

NAMES = (*SOURCES, "pyvcd")
SEPARATE = ("vga640", "sd625-312", "sd625-odd", "pyvcd")
COMPOSITE = ("sd525-262", "sd525-263", "sd525-interlaced", "sd625-interlaced")

# (clock Hz, clocks a line, lines a frame)
PUBLISHED = {
    "vga640": (25.175e6, 800, 525),  # DMT 04h, references.md 5.1
    "sd525-262": (315e6 / 44, 455, 262),  # half of 4fsc and of its 910 samples (244M 4.1), references.md 1.1
    "sd525-263": (315e6 / 44, 455, 263),
    "sd525-interlaced": (315e6 / 44, 455, 525),
    "sd625-312": (
        6.75e6,
        432,
        312,
    ),  # BT.601 Table 2: chroma sampling 6.75 MHz, 432 samples, references.md 3.1
    "sd625-interlaced": (6.75e6, 432, 625),
    "sd625-odd": (8e6, 509, 311),  # invented; common practice, no source
    "pyvcd": (2.5e6, 160, 312),  # 64 us lines (BT.470 Table 1-1)
}
# (width in us, tolerance): the fourth figure of each row is the gap between broad pulses.
PULSES_525 = {"line": (4.7, 0.1), "equalising": (2.3, 0.1), "broad": (27.1, 0.1), "serration": (4.7, 0.1)}
"""170M Tables 2, 3 and BT.470 Table 1-2 (broad: nominal there), references.md 1.2, 1.3."""
PULSES_625 = {"line": (4.7, 0.2), "equalising": (2.35, 0.1), "broad": (27.3, 0.1), "serration": (4.7, 0.2)}
"""BT.470 Tables 1-1, 1-2 (broad: +-0.1 in BT.1700), references.md 1.2, 1.3."""
BARS_601 = {  # references.md 3.2: R G B, Y, Cb, Cr
    "white": ((1, 1, 1), (235, 128, 128)),
    "yellow": ((1, 1, 0), (210, 16, 146)),
    "cyan": ((0, 1, 1), (170, 166, 16)),
    "green": ((0, 1, 0), (145, 54, 34)),
    "magenta": ((1, 0, 1), (106, 202, 222)),
    "red": ((1, 0, 0), (81, 90, 240)),
    "blue": ((0, 0, 1), (41, 240, 110)),
    "black": ((0, 0, 0), (16, 128, 128)),
}
UNLIKE_THE_OTHERS = {
    "launch_edge": "falling",
    "bus_delay_ps": 12_000,
    "hsync_polarity": "positive",
    "vsync_polarity": "positive",
    "cpu_divider": 4,
    "moving": True,
}
"""12 ns: less than half of the shortest pixel, so that every source can have it."""


def pins(source: Simulated, native: Native, role: str) -> list[Wave]:
    """Waves that carry ``role``, bit 0 first."""
    named = [(bit or 0, name) for name, (one, bit) in source.truth["roles"].items() if one == role]
    return [native.waves[name] for _, name in sorted(named)]


def launches(source: Simulated, native: Native) -> NDArray[np.int64]:
    """Times of the pixel-clock edges at which the bus changes, ticks."""
    (clock,) = pins(source, native, "pixel_clock")
    return clock.edges_to(1 if source.truth["launch_edge"] == "rising" else 0)


def pulses(source: Simulated, native: Native, role: str) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Leading edges and widths of the whole pulses of a sync, ticks."""
    (wave,) = pins(source, native, role)
    active = 1 if source.truth["polarity"][role] == "positive" else 0
    starts, ends = wave.edges_to(active), wave.edges_to(1 - active)
    ends = ends[ends > starts[0]]
    return starts[: len(ends)], ends - starts[: len(ends)]


def microseconds(native: Native, ticks: NDArray[np.int64]) -> NDArray[np.float64]:
    return np.asarray(ticks * float(native.tick * 10**6), np.float64)


def sampled_raster(source: Simulated, native: Native, role: str, field: TrueField) -> NDArray[np.uint32]:
    """Read the pins of ``role`` amid every clock of every whole line of a field, shape (lines, clocks).

    The place of each clock is counted from the field's start, not from hsync.
    """
    clocks, truth = launches(source, native), source.truth
    start = field.start_s / native.tick
    nearest = int(np.searchsorted(clocks, float(start)))
    period = (int(clocks[-1]) - int(clocks[0])) / Fraction(len(clocks) - 1)
    at_start = nearest + (start - int(clocks[nearest])) / period
    half_line = truth["active"]["y"][field.parity] % 1
    first = round(at_start + half_line * truth["pixels_per_line"])
    lines = int(truth["lines_per_field"])
    index = first + np.arange(lines * truth["pixels_per_line"])
    middle = clocks[index] + int(truth["bus_delay_s"] / native.tick + period / 2)
    codes = np.zeros(len(index), np.uint32)
    for bit, wave in enumerate(pins(source, native, role)):
        codes |= wave.at(middle).astype(np.uint32) << bit
    return codes.reshape(lines, -1)


def true_raster(source: Simulated, field: TrueField) -> NDArray[np.uint32]:
    """The bench's picture in its place, blanking round it."""
    truth, active = source.truth, source.truth["active"]
    lines = int(truth["lines_per_field"])
    raster = np.full((lines, truth["pixels_per_line"]), truth["blanking_code"], np.uint32)
    y, x = int(active["y"][field.parity]), active["x"]
    raster[y : y + active["height"], x : x + active["width"]] = field.codes
    return raster


@pytest.mark.parametrize("name", NAMES)
def test_the_pixel_clock_has_the_published_frequency(simulated: Make, parsed: Parse, name: str) -> None:
    source = simulated(name)
    native = parsed(source)
    clocks = launches(source, native)
    frequency = (len(clocks) - 1) / float((clocks[-1] - clocks[0]) * native.tick)
    assert frequency == pytest.approx(PUBLISHED[name][0], rel=11e-6)  # the simulators' 1 ps step
    assert frequency == pytest.approx(float(source.truth["clock_hz"]), rel=1e-9)


@pytest.mark.parametrize("name", SEPARATE)
def test_every_line_and_field_has_the_published_length(simulated: Make, parsed: Parse, name: str) -> None:
    source = simulated(name)
    native = parsed(source)
    clocks = launches(source, native)
    lines, _ = pulses(source, native, "hsync")
    fields, _ = pulses(source, native, "vsync")
    _, per_line, per_frame = PUBLISHED[name]
    assert set(np.diff(np.searchsorted(clocks, lines))) == {per_line}
    assert set(np.diff(np.searchsorted(lines, fields))) == {per_frame}
    assert np.isin(fields, lines).all()


@pytest.mark.parametrize("name", ["sd625-312", "sd625-odd", "pyvcd"])
def test_separate_syncs_have_the_published_widths(simulated: Make, parsed: Parse, name: str) -> None:
    source = simulated(name)
    native = parsed(source)
    nominal, tolerance = PULSES_625["line"]
    assert microseconds(native, pulses(source, native, "hsync")[1]) == pytest.approx(nominal, abs=tolerance)
    line = PUBLISHED[name][1] / PUBLISHED[name][0] * 1e6
    # Three lines: CEA-861 VIC 23, references.md 2.2.
    assert microseconds(native, pulses(source, native, "vsync")[1]) / line == pytest.approx(3, rel=1e-5)


def test_640x480_has_the_sync_widths_and_porches_of_dmt(simulated: Make, parsed: Parse) -> None:
    source = simulated("vga640")
    native = parsed(source)
    clocks = launches(source, native)
    hsync, hsync_width = pulses(source, native, "hsync")
    vsync, vsync_width = pulses(source, native, "vsync")
    # DMT 04h, references.md 5.1: H 640 16 96 48, V 480 10 2 33, both negative.
    assert set(np.searchsorted(clocks, hsync + hsync_width) - np.searchsorted(clocks, hsync)) == {96}
    assert set(np.searchsorted(hsync, vsync + vsync_width) - np.searchsorted(hsync, vsync)) == {2}
    assert source.truth["polarity"] == {"hsync": "negative", "vsync": "negative"}
    lit = sampled_raster(source, native, "colour", source.fields[0]) != 0
    rows, columns = np.flatnonzero(lit.any(axis=1)), np.flatnonzero(lit.any(axis=0))
    assert (rows[0], rows[-1]) == (2 + 33, 2 + 33 + 480 - 1)
    assert (columns[0], columns[-1]) == (96 + 48, 96 + 48 + 640 - 1)


def kinds(source: Simulated, native: Native) -> list[str]:
    """Name each whole pulse of composite sync by its published width; ``?`` where it has none."""
    published = PULSES_525 if source.name.startswith("sd525") else PULSES_625
    _, widths = pulses(source, native, "csync")
    names = np.full(len(widths), "?", dtype="<U10")
    for kind in ("line", "equalising", "broad"):
        nominal, tolerance = published[kind]
        names[np.abs(microseconds(native, widths) - nominal) <= tolerance] = kind
    return list(names)


@pytest.mark.parametrize(
    ("name", "published"),
    [
        # 170M 13.3: six, six, six.
        ("sd525-262", (6, 6, 6)),
        ("sd525-263", (6, 6, 6)),
        ("sd525-interlaced", (6, 6, 6)),
        # BT.470 Table 1-2 l, m, n: 2.5 H = five each.
        ("sd625-interlaced", (5, 5, 5)),
        # Six, five, five where a field is whole lines: references.md 2.2 (Linux comment).
        ("sd625-312", (6, 5, 5)),
    ],
)
def test_every_pulse_of_composite_sync_is_a_published_one_in_the_published_order(
    simulated: Make, parsed: Parse, name: str, published: tuple[int, int, int]
) -> None:
    source = simulated(name, sync="composite") if name in SEPARATE else simulated(name)
    runs = [(kind, len(list(group))) for kind, group in groupby(kinds(source, parsed(source)))]
    whole = runs[next(i for i, run in enumerate(runs) if run[0] == "equalising") :]
    assert {kind for kind, _ in whole} == {"line", "equalising", "broad"}
    lines = source.truth["lines_per_field"] - Fraction(sum(published), 2)
    for start in range(0, len(whole) - 4, 4):
        field = whole[start : start + 4]
        assert field[:3] == list(zip(("equalising", "broad", "equalising"), published, strict=True))
        assert field[3][0] == "line"
        assert abs(field[3][1] - lines) <= Fraction(1, 2)
    fields = sum(kind == "broad" for kind, _ in whole)
    assert fields == len(source.fields) + 1


@pytest.mark.parametrize("name", COMPOSITE)
def test_gaps_between_broad_pulses_are_the_published_serrations(
    simulated: Make, parsed: Parse, name: str
) -> None:
    source = simulated(name)
    native = parsed(source)
    starts, widths = pulses(source, native, "csync")
    broad = np.array(kinds(source, native)) == "broad"
    both = broad[:-1] & broad[1:]
    gaps = microseconds(native, (starts[1:] - starts[:-1] - widths[:-1])[both])
    nominal, tolerance = (PULSES_525 if name.startswith("sd525") else PULSES_625)["serration"]
    assert len(gaps) > 0
    assert gaps == pytest.approx(nominal, abs=tolerance)


@pytest.mark.parametrize("name", COMPOSITE)
def test_composite_fields_have_the_published_number_of_clocks(
    simulated: Make, parsed: Parse, name: str
) -> None:
    source = simulated(name)
    native = parsed(source)
    starts, _ = pulses(source, native, "csync")
    broad = np.array(kinds(source, native)) == "broad"
    first_broad = starts[: len(broad)][broad & ~np.append(False, broad[:-1])]
    _, per_line, per_frame = PUBLISHED[name]
    interlaced = name.endswith("interlaced")
    clock = float(1 / (source.truth["clock_hz"] * native.tick))
    lines = np.diff(first_broad) / clock / per_line
    assert lines == pytest.approx(per_frame / 2 if interlaced else per_frame, abs=1e-6)
    assert [float(one.start_s) for one in source.fields] == pytest.approx(
        first_broad[: len(source.fields)] * float(native.tick), abs=1e-12
    )


@pytest.mark.parametrize("name", ["sd525-interlaced", "sd625-interlaced"])
def test_field_sync_coincides_with_line_sync_in_one_field_and_falls_midway_in_the_other(
    simulated: Make, parsed: Parse, name: str
) -> None:
    # BT.470 Fig. 2-1 notes 2 and 3, references.md 1.3.
    source = simulated(name)
    native = parsed(source)
    starts, _ = pulses(source, native, "csync")
    a_line_start = starts[np.array(kinds(source, native)) == "line"][0]
    line = PUBLISHED[name][1] / float(source.truth["clock_hz"] * native.tick)
    for field in source.fields:
        in_lines = (float(field.start_s / native.tick) - a_line_start) / line
        assert abs(in_lines - field.parity / 2 - round(in_lines - field.parity / 2)) < 1e-4
    assert {field.parity for field in source.fields} == {0, 1}


@pytest.mark.parametrize("name", NAMES)
def test_the_pins_show_the_picture_that_the_bench_wrote_and_blanking_round_it(
    simulated: Make, parsed: Parse, name: str
) -> None:
    source = simulated(name)
    native = parsed(source)
    for field in source.fields:
        raster = sampled_raster(source, native, "colour", field)
        np.testing.assert_array_equal(raster, true_raster(source, field))
    assert len(source.fields) >= 2


@pytest.mark.parametrize("name", ["sd525-interlaced", "sd625-interlaced"])
def test_woven_fields_have_their_frame_of_ones_at_the_extreme_edges_only(simulated: Make, name: str) -> None:
    source = simulated(name)
    active = source.truth["active"]
    by_parity = {field.parity: field.codes for field in source.fields}
    # The line that comes sooner after its vertical sync lies higher.
    top = 0 if active["y"][0] < active["y"][1] else 1
    frame = np.empty((2 * active["height"], active["width"]), np.uint32)
    frame[0::2], frame[1::2] = by_parity[top], by_parity[1 - top]
    assert active["first_frame_row"][top] == 0
    ones = frame == 2 ** source.truth["bits"] - 1
    assert np.flatnonzero(ones.all(axis=1)).tolist() == [0, len(frame) - 1]
    assert np.flatnonzero(ones.all(axis=0)).tolist() == [0, active["width"] - 1]


@pytest.mark.parametrize("name", ["vga640", "sd525-262", "sd625-312", "sd625-odd"])
def test_pictures_use_every_code_and_repeat_no_line(simulated: Make, name: str) -> None:
    source = simulated(name)
    inner = source.pictures[0][1:-1, 1:-1]
    assert len(np.unique(inner)) == 2 ** source.truth["bits"]
    assert len(np.unique(inner, axis=0)) == len(inner)


@pytest.mark.parametrize(
    ("name", "params"),
    [
        ("vga640", {"fields": 1, "bits": 24, "enable": "display_enable", "enable_polarity": "negative"}),
        (
            "sd525-262",
            {"fields": 2, "bits": 3, "enable": "blank", "sync": "both", "csync_polarity": "positive"},
        ),
        ("sd625-312", {"fields": 2, "bits": 24, "enable": "blank", "enable_polarity": "negative"}),
        ("sd625-interlaced", {"bits": 6, "enable": "display_enable", "sync": "separate"}),
        ("sd625-odd", {"fields": 2, "bits": 12, "enable": "display_enable", "whole_design": True}),
    ],
)
def test_a_source_unlike_the_others_still_shows_what_its_bench_wrote(
    simulated: Make, parsed: Parse, name: str, params: dict[str, object]
) -> None:
    source = simulated(name, **UNLIKE_THE_OTHERS, **params)
    native = parsed(source)
    pictures = source.pictures
    assert all((a != b).mean() > 0.4 for a, b in pairwise(pictures))
    role = str(params["enable"])
    for field in source.fields:
        raster = sampled_raster(source, native, "colour", field)
        np.testing.assert_array_equal(raster, true_raster(source, field))
        active = np.zeros(raster.shape, bool)
        y, x = int(source.truth["active"]["y"][field.parity]), source.truth["active"]["x"]
        active[y : y + field.codes.shape[0], x : x + field.codes.shape[1]] = True
        says_active = (role == "display_enable") == (source.truth["polarity"][role] == "positive")
        high = sampled_raster(source, native, role, field).astype(bool)
        np.testing.assert_array_equal(high, active if says_active else ~active)


def test_the_bus_moves_its_delay_after_the_launching_edge_and_never_else(
    simulated: Make, parsed: Parse
) -> None:
    source = simulated("sd625-312", bus_delay_ps=20_000, launch_edge="falling", cpu_divider=4)
    native = parsed(source)
    clocks = launches(source, native)
    moved = np.unique(np.concatenate([wave.times[1:] for wave in pins(source, native, "colour")]))
    assert np.isin(moved - 20_000_000, clocks).all()  # fs
    (cpu,) = pins(source, native, "other")
    assert set(np.diff(np.searchsorted(clocks, cpu.edges_to(1)))) == {4}


def test_525_lines_can_carry_their_subcarrier_of_455_halves_a_line(simulated: Make, parsed: Parse) -> None:
    source = simulated("sd525-262", fields=1, subcarrier=True)
    native = parsed(source)
    (subcarrier,) = pins(source, native, "subcarrier")
    starts, _ = pulses(source, native, "csync")
    names = np.array(kinds(source, native))
    field = np.flatnonzero(names == "broad")[0]
    lines = starts[field : len(names)][names[field:] == "line"][:101]
    # 170M 11.2: fsc = 455/2 fH, so two lines hold 455 cycles.
    cycles = np.diff(np.searchsorted(subcarrier.edges_to(1), lines[::2]))
    assert set(cycles) == {455}


def test_xor_sync_is_the_difference_of_the_separate_syncs(simulated: Make, parsed: Parse) -> None:
    source = simulated("sd625-312", sync="both", csync_style="xor", fields=1)
    native = parsed(source)
    waves = [pins(source, native, role)[0] for role in ("hsync", "vsync", "csync")]
    times = np.unique(np.concatenate([wave.times for wave in waves]))
    hsync, vsync, csync = (1 - wave.at(times) for wave in waves)
    np.testing.assert_array_equal(csync, hsync ^ vsync)
    assert csync.any()


@pytest.mark.parametrize(
    ("name", "bits", "picture"),
    [
        ("sd625-312", 3, "bars"),
        ("sd625-312", 4, "bars"),
        ("sd525-262", 24, "bars"),
        ("sd525-262", 24, "bars_component"),
    ],
)
def test_bars_are_those_of_bt601(simulated: Make, parsed: Parse, name: str, bits: int, picture: str) -> None:
    source = simulated(name, bits=bits, picture=picture, fields=1)
    raster = sampled_raster(source, parsed(source), "colour", source.fields[0])
    active = source.truth["active"]
    line = raster[int(active["y"][0]) + 5, active["x"] : active["x"] + active["width"]]
    full = 2 ** (bits // 3) - 1
    for shown, ((red, green, blue), (y, cb, cr)) in zip(line.reshape(8, -1), BARS_601.values(), strict=True):
        rgb = ((red * full) << 2 * (bits // 3)) | ((green * full) << (bits // 3)) | (blue * full)
        intensity = 8 if bits == 4 and rgb else 0
        expected = (y << 16) | (cb << 8) | cr if picture == "bars_component" else rgb | intensity
        assert set(shown) == {expected}


@pytest.mark.parametrize("name", ["sd525-262", "sd625-odd", "pyvcd"])
def test_an_independent_reader_finds_the_same_changes(simulated: Make, parsed: Parse, name: str) -> None:
    source = simulated(name)
    native = parsed(source)
    variables = {one.full_name: one for one in pywellen.Waveform(str(source.vcd)).all_vars()}
    assert len(variables) == len({bit.split("[")[0] for bit in native.waves})
    for full_name, variable in variables.items():
        changes = [(when, value) for when, value in variable.signal if isinstance(value, int)]
        times = np.array([when for when, _ in changes], np.int64)
        values = np.array([value for _, value in changes], np.uint32)
        bits = (
            [full_name] if full_name in native.waves else [f"{full_name}[{n}]" for n in range(variable.size)]
        )
        ours = sum(native.waves[bit].at(times).astype(np.uint32) << n for n, bit in enumerate(bits))
        np.testing.assert_array_equal(ours, values)
        moved = np.unique(np.concatenate([native.waves[bit].times[1:] for bit in bits]))
        assert np.isin(moved, times).all()


@pytest.mark.parametrize("rate_hz", [24_000_000, 50_000_000, 100_000_000, 200_000_000])
def test_the_analyser_shows_each_edge_at_the_first_sample_after_it(
    simulated: Make, parsed: Parse, tmp_path: Path, rate_hz: int
) -> None:
    source = simulated("sd625-312")
    native = parsed(source)
    record = resample(source, tmp_path / "record.vcd", rate_hz=rate_hz, seed=rate_hz, timescale="1 ps")
    recorded = parse_vcd(record.path)
    period_s = 1 / rate_hz
    for channel, (role, bit) in record.channels.items():
        if role.startswith("static"):
            continue
        pin = pins(source, native, role)[bit or 0]
        edges = pin.times[1:] * float(native.tick) - record.start_s
        edges = edges[(edges > 0) & (edges < (record.samples - 1) * period_s)]
        shown = recorded.waves[f"recorder.{channel}"].times[1:] * float(recorded.tick)
        assert len(shown) == len(edges)
        late = shown - edges
        assert late.min() > -1e-12  # the stamps' rounding
        assert late.max() < period_s + 1e-12


def test_the_analysers_fast_clock_stretches_every_time(simulated: Make, tmp_path: Path) -> None:
    source = simulated("sd625-312")
    record = resample(source, tmp_path / "record.vcd", rate_hz=200_000_000, seed=3, ppm=100)
    channel = next(name for name, (role, _) in record.channels.items() if role == "hsync")
    lines = parse_vcd(record.path).waves[f"recorder.{channel}"].edges_to(0)
    period = (lines[-1] - lines[0]) / (len(lines) - 1)
    assert period == pytest.approx(64_000 * (1 + 100e-6), abs=5 / (len(lines) - 1) + 1e-4)  # ns
    late = [np.min(np.abs(lines * 1e-9 - record.recorded_s(float(one.start_s)))) for one in record.fields]
    assert max(late) < 5e-9  # a field starts with a line


def test_the_analysers_channels_are_scrambled_and_some_never_move(simulated: Make, tmp_path: Path) -> None:
    source = simulated("sd625-312")
    records = [
        resample(source, tmp_path / f"{seed}.vcd", rate_hz=50_000_000, seed=seed, duration_s=0.002)
        for seed in (1, 2)
    ]
    assert list(records[0].channels.values()) != list(records[1].channels.values())
    assert records[0].start_s != records[1].start_s
    for record in records:
        recorded = parse_vcd(record.path)
        assert recorded.tick == Fraction(1, 10**9)
        for channel, (role, _) in record.channels.items():
            wave = recorded.waves[f"recorder.{channel}"]
            if role.startswith("static"):
                assert wave.levels.tolist() == [int(role == "static_high")]
    assert {"static_low", "static_high"} <= {role for role, _ in records[0].channels.values()}


def test_the_analyser_at_a_random_start_records_two_whole_fields(simulated: Make, tmp_path: Path) -> None:
    for name in ("sd625-312", "sd525-interlaced"):
        source = simulated(name)
        for seed in range(3):
            path = tmp_path / "record.vcd"
            record = resample(source, path, rate_hz=50_000_000, seed=seed, omit={"pixel_clock"})
            assert len(record.fields) >= 2
            assert "pixel_clock" not in {role for role, _ in record.channels.values()}
            last = pywellen.Waveform(str(path)).all_vars()
            assert [one.full_name for one in last] == [f"recorder.{channel}" for channel in record.channels]


@pytest.mark.parametrize(("name", "package"), [("sd625-312", "ghdl"), ("vga640", "iverilog")])
def test_a_missing_simulator_is_an_error_with_the_command_that_installs_it(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, name: str, package: str
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(FileNotFoundError, match=f"apt-get install --yes {package}"):
        simulate(name, tmp_path / "work")


def test_a_source_that_cannot_be_is_refused_before_the_simulator_runs(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="separate syncs only"):
        simulate("vga640", tmp_path, sync="composite")
    assert list(tmp_path.iterdir()) == []


def test_a_simulator_that_refuses_is_quoted(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError, match="interlace needs an odd line count"):
        simulate("sd625-312", tmp_path, geometry={"INTERLACED": True})
