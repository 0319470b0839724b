"""The written file: as analysers write VCD, the same bytes each time."""

from __future__ import annotations

import gzip
import hashlib
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from rastertap.bench.analyser import Analyser, plug
from rastertap.bench.make import make_capture
from rastertap.bench.vcd import exact_tick, write_vcd
from rastertap.errors import UsageError

if TYPE_CHECKING:
    from pathlib import Path

    from rastertap.bench.source import VideoSource


def body(text: str) -> list[str]:
    return text.partition("$enddefinitions $end\n")[2].split("\n")


def test_the_file_reads_as_an_analyser_writes_it(tmp_path: Path) -> None:
    path = tmp_path / "a.vcd"
    channels = [("D0", 1, np.array([3, 10])), ("D1", 0, np.array([3]))]
    write_vcd(path, channels, count=21, sample_period=Fraction(1, 10**8), exact=False, comment="made here")
    text = path.read_text()
    assert text.startswith("$comment made here $end\n$timescale 1 ns $end\n$scope module logic $end\n")
    assert '$var wire 1 ! D0 $end\n$var wire 1 " D1 $end\n' in text
    assert body(text) == ["#0", "$dumpvars", "1!", '0"', "$end", "#30", "0!", '1"', "#100", "1!", "#200", ""]


def test_times_are_rounded_to_nanoseconds_at_24_mhz(tmp_path: Path) -> None:
    path = tmp_path / "a.vcd"
    channels = [("D0", 0, np.arange(1, 6))]
    write_vcd(path, channels, count=6, sample_period=Fraction(1, 24 * 10**6), exact=False, comment="x")
    assert [line for line in body(path.read_text()) if line.startswith("#")] == [
        "#0",
        "#42",
        "#83",
        "#125",
        "#167",
        "#208",
    ]


def test_times_can_count_an_exact_tick(tmp_path: Path) -> None:
    path = tmp_path / "a.vcd"
    write_vcd(
        path,
        [("D0", 0, np.array([7]))],
        count=9,
        sample_period=Fraction(1, 50 * 10**6),
        exact=True,
        comment="x",
    )
    assert "$timescale 10 ns $end" in path.read_text()
    assert body(path.read_text()) == ["#0", "$dumpvars", "0!", "$end", "#14", "1!", "#16", ""]


@pytest.mark.parametrize(
    ("period", "tick"),
    [
        (Fraction(1, 10**8), ("10 ns", 1)),
        (Fraction(1, 25 * 10**6), ("10 ns", 4)),
        (Fraction(1, 2 * 10**8), ("1 ns", 5)),
        (Fraction(1, 125 * 10**6), ("1 ns", 8)),
        (Fraction(1), ("1 s", 1)),
        (Fraction(100), ("100 s", 1)),
        (Fraction(3, 10**15), ("1 fs", 3)),
    ],
)
def test_the_exact_tick_is_the_largest_that_fits(period: Fraction, tick: tuple[str, int]) -> None:
    assert exact_tick(period) == tick


def test_no_exact_tick_is_an_error() -> None:
    with pytest.raises(UsageError, match="no VCD timescale"):
        exact_tick(Fraction(1, 24 * 10**6))


def test_the_same_seed_gives_the_same_bytes_and_another_seed_others(
    small: VideoSource, tmp_path: Path
) -> None:
    analyser = replace(Analyser(plug(small, extras=("noise",))), timebase_ppm=3.0)
    digests = []
    for name, seed in (("a.vcd.gz", 4), ("b.vcd.gz", 4), ("c.vcd.gz", 5)):
        make_capture(small, analyser, seed=seed).write_vcd(tmp_path / name)
        digests.append(hashlib.sha256((tmp_path / name).read_bytes()).hexdigest())
    assert digests[0] == digests[1] != digests[2]


def test_a_gzipped_file_holds_the_plain_one(small: VideoSource, tmp_path: Path) -> None:
    made = make_capture(small, Analyser(plug(small)))
    made.write_vcd(tmp_path / "a.vcd")
    made.write_vcd(tmp_path / "deep" / "down" / "a.vcd.gz")
    packed = (tmp_path / "deep" / "down" / "a.vcd.gz").read_bytes()
    assert gzip.decompress(packed) == (tmp_path / "a.vcd").read_bytes()
    assert packed[4:8] == bytes(4)  # no time, RFC 1952


def test_many_chunks_join_without_a_seam(record: Any, small: VideoSource) -> None:
    made = record(small, fields=60.0)
    clock = made.signal("pixel_clock")
    assert clock.times.size > 140_000
    assert set(np.diff(clock.times)) == {100}
    assert set(np.abs(np.diff(clock.levels.astype(int)))) == {1}


def test_a_recording_in_which_nothing_changes_still_has_its_end(record: Any, small: VideoSource) -> None:
    made = record(small, wires=(("D0", "high"), ("D1", "low")))
    assert made.end == (made.made.count - 1) * 10
    assert [line.initial for line in made.lines.values()] == [1, 0]


def test_too_many_channels_are_refused(tmp_path: Path) -> None:
    channels = [(f"D{n}", 0, np.array([1])) for n in range(95)]
    with pytest.raises(UsageError, match="95 channels"):
        write_vcd(tmp_path / "a.vcd", channels, count=2, sample_period=Fraction(1), exact=True, comment="x")
