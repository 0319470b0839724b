"""The vcdvcd reader gives what the fast reader gives, or refuses."""

from __future__ import annotations

import gzip
import signal
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from rastertap.capture.interface import Window
from rastertap.capture.read import read_capture
from rastertap.errors import CaptureError, UsageError

from .test_vcd_peers import random_text

if TYPE_CHECKING:
    from pathlib import Path

    from rastertap.capture.model import Capture

HEADER = b'$timescale 1 ns $end\n$var wire 1 ! a $end\n$var wire 1 " b $end\n$enddefinitions $end\n'
BODY = b'#0\n0!\n1"\n#5\n1!\n#9\n0!\n'


def both(path: Path, **options: Any) -> tuple[Capture, Capture]:
    return read_capture(path, reader="vcd", **options), read_capture(path, reader="vcdvcd", **options)


def same(one: Capture, other: Capture) -> bool:
    assert (one.start, one.end, one.tick, one.ignored, one.truncated) == (
        other.start,
        other.end,
        other.tick,
        other.ignored,
        other.truncated,
    )
    assert one.sha256 == other.sha256
    assert one.sample_period == other.sample_period
    assert [(c.name, c.initial) for c in one.channels] == [(c.name, c.initial) for c in other.channels]
    for a, b in zip(one.channels, other.channels, strict=True):
        assert np.array_equal(a.ticks, b.ticks)
        assert np.array_equal(a.levels, b.levels)
        assert (a.ticks.dtype, a.levels.dtype) == (b.ticks.dtype, b.levels.dtype)
    return True


@pytest.mark.parametrize("signals", [3, 40, 200])
def test_random_dumps_are_equal(tmp_path: Path, signals: int) -> None:
    path = tmp_path / "r.vcd"
    path.write_bytes(
        random_text(signals, 2000, signals).replace(b"$comment #99999999 1! $dumpvars $end\n", b"")
    )
    same(*both(path))


@pytest.mark.parametrize(
    "window", [Window(0, 3e-9), Window(2e-9, None), Window(5e-9, 5e-9), Window(1e-9, 7e-9)]
)
def test_windows_are_equal(tmp_path: Path, window: Window) -> None:
    path = tmp_path / "w.vcd"
    path.write_bytes(HEADER + BODY)
    same(*both(path, window=window))


def test_aliases_reals_and_compression_are_equal(tmp_path: Path) -> None:
    text = (
        b"$timescale 10 us $end\n$scope module m $end\n$var wire 1 ! a $end\n$var wire 1 ! b $end\n"
        b"$var real 64 r t $end\n$var wire 4 v bus [0:3] $end\n$upscope $end\n$enddefinitions $end\n"
        b"$dumpvars\nx!\nr0.5 r\nbz v\n$end\n#3\n1!\n#4 0!\n#8\nr1 r\nbx1 v\n$comment nothing $end\n"
    )
    path = tmp_path / "a.vcd.gz"
    path.write_bytes(gzip.compress(text))
    same(*both(path))


def test_a_file_cut_short_is_read_up_to_the_cut(tmp_path: Path) -> None:
    path = tmp_path / "c.vcd"
    path.write_bytes(HEADER + BODY + b"#12\nb01")
    one, other = both(path)
    assert "b01" in one.truncated
    assert "b01" in other.truncated
    assert one.end == other.end == 12
    assert [c.ticks.tolist() for c in one.channels] == [c.ticks.tolist() for c in other.channels]


@pytest.mark.parametrize(
    "line",
    [
        b'1! 0"',
        b" 1!",
        b"#20 b1 !",
        b"1!\r0!",
        b"$dumpvars 0! $end",
        b"b1\n!",
        b"$comment one\ntwo $end",
        b"$comment $var $end",
        b"1%",
        b"sabc !",
        b"1 !",
        b"#-3",
        b"#1.5",
    ],
)
def test_a_line_that_vcdvcd_would_misread_is_refused_with_its_place(tmp_path: Path, line: bytes) -> None:
    path = tmp_path / "m.vcd"
    path.write_bytes(HEADER + BODY + line + b"\n#30\n")
    with pytest.raises(CaptureError) as caught:
        read_capture(path, reader="vcdvcd")
    assert caught.value.line == (HEADER + BODY).count(b"\n") + 1
    assert caught.value.byte == len(HEADER + BODY)
    assert caught.value.column == 1
    assert "--reader vcd" in caught.value.hint


def test_a_time_that_goes_back_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "b.vcd"
    path.write_bytes(HEADER + BODY + b"#3\n1!\n")
    with pytest.raises(CaptureError, match="goes back from 9 to 3"):
        read_capture(path, reader="vcdvcd")


@pytest.mark.parametrize(
    "declared",
    [
        b"$var wire 1\n! a $end\n",
        b'$var wire 1 ! a\n$end\n$var wire 1 " b $end\n',
        b"$timescale 1 ns $end $var wire 1 ! a $end\n",
    ],
)
def test_declarations_that_vcdvcd_misreads_are_refused_or_right(tmp_path: Path, declared: Any) -> None:
    path = tmp_path / "d.vcd"
    path.write_bytes(declared + b"$enddefinitions $end\n#0\n0!\n#4\n1!\n")
    expected = read_capture(path, reader="vcd")
    try:
        capture = read_capture(path, reader="vcdvcd")
    except CaptureError as error:
        capture, hint = None, error.hint
    assert same(expected, capture) if capture is not None else "--reader vcd" in hint


def test_a_window_after_the_end_is_an_error(tmp_path: Path) -> None:
    path = tmp_path / "e.vcd"
    path.write_bytes(HEADER + BODY)
    with pytest.raises(UsageError, match="after the end"):
        read_capture(path, reader="vcdvcd", window=Window(1, None))


def test_reading_leaves_the_signal_handlers_alone(tmp_path: Path) -> None:
    path = tmp_path / "s.vcd"
    path.write_bytes(HEADER + BODY)
    before = signal.getsignal(signal.SIGPIPE)
    read_capture(path, reader="vcdvcd")
    assert signal.getsignal(signal.SIGPIPE) == before


@pytest.mark.parametrize(
    ("time", "says"),
    [
        (b"#3", "goes back from 9 to 3"),
        (b"#9223372036854775808", "fit in 64 bits"),
        (b"#" + b"9" * 5000, "64 bits"),
    ],
)
def test_a_wrong_time_is_refused_even_when_nothing_changes_at_it(
    tmp_path: Path, time: bytes, says: str
) -> None:
    path = tmp_path / "time.vcd"
    path.write_bytes(HEADER + b"#0\n0!\n#9\n1!\n" + time + b"\n")
    with pytest.raises(CaptureError, match=says) as caught:
        read_capture(path, reader="vcdvcd")
    assert caught.value.byte == len(HEADER) + 12
