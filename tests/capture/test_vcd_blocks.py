"""Blocks: cut anywhere, in bounded memory, windowed, and cut short."""

from __future__ import annotations

import subprocess
import sys
import tracemalloc
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from rastertap.capture.interface import Window
from rastertap.capture.read import read_capture
from rastertap.capture.source import Source
from rastertap.capture.vcd import VcdReader
from rastertap.errors import CaptureError, UsageError
from rastertap.progress import Silent

from . import peers
from .conftest import HEADER, Read, changes, read_file

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from rastertap.capture.model import Capture

TEXT = (
    b"$timescale 1 ns $end $var wire 1 ! a $end $var wire 3 %% v $end $var real 64 r t $end\n"
    b"$enddefinitions $end\n"
    b"$dumpvars 0! b0 %% $end #10 1! $comment no #4 $end #20 0! b1x1 %% r1.5 r\n#31 1!\n#47 b0 %%\n"
)


def blocks(path: Path, window: Window | None = None, **options: Any) -> Iterator[Capture]:
    with Source(path) as source:
        yield from VcdReader(**options).blocks(source, window=window or Window(), progress=Silent())


def clock(count: int, step: int = 7) -> bytes:
    return b"".join(b"#%d\n%d!\n" % (i * step, i & 1) for i in range(count))


def test_a_capture_cut_at_any_byte_keeps_all_that_came_before(tmp_path: Path) -> None:
    """Whatever is read from the cut file is the whole capture's, up to its last time."""
    path = tmp_path / "cut.vcd"
    path.write_bytes(TEXT)
    whole = peers.of_capture(read_file(path))
    times = [(TEXT.index(b"#%d" % t), t) for t in (10, 20, 31, 47)]
    read, refused = 0, []
    for size in range(len(TEXT)):
        path.write_bytes(TEXT[:size])
        try:
            capture = read_file(path)
        except CaptureError:
            refused.append(size)
            continue
        read += 1
        complete = [time for at, time in times if at + len(b"#%d" % time) < size]
        assert capture.end >= (complete[-1] if complete else 0)
        sure = complete[-2] if len(complete) > 1 else -1
        for name, (_, pairs) in peers.of_capture(capture).items():
            expected = [pair for pair in whole[name][1] if pair[0] <= sure]
            assert [pair for pair in pairs if pair[0] <= sure] == expected
            assert set(pairs) <= set(whole[name][1]) | {(capture.end, level) for level in range(4)}
    assert read > 70
    assert max(refused) <= times[0][0] + 2


@pytest.mark.parametrize(
    ("tail", "cut_at", "end"),
    [
        (b"#30\n1!", None, 30),
        (b"#30\n1! ", None, 30),
        (b"#30", None, 30),
        (b"#3", "#3", 20),
        (b"#30\n1", "1", 30),
        (b"#30\n1?", "1?", 30),
        (b"#30\nb10", "b10", 30),
        (b"#30\nb10 ", "b10", 30),
        (b"#30\nb1 !", None, 30),
        (b"#30\n$dumpo", "$dumpo", 30),
        (b"#30\n$end", None, 30),
        (b"#30\n$comment bla bla", "$comment", 30),
        (b"#30\n#", "#", 30),
        (b"#30\nhello", "hello", 30),
    ],
)
def test_a_file_that_ends_inside_a_token_is_said_to_be_truncated(
    read: Read, tail: bytes, cut_at: str | None, end: Any
) -> None:
    capture = read(b"#0\n0!\n#20\n0!\n" + tail, body=True)
    assert capture.end == end
    if cut_at is None:
        assert capture.truncated == ""
    else:
        size = len(HEADER) + len(b"#0\n0!\n#20\n0!\n") + len(tail)
        assert cut_at in capture.truncated
        assert f"after byte {size} of the text" in capture.truncated


def test_a_last_time_without_line_end_is_taken_and_said(read: Read) -> None:
    assert any("no line end" in note for note in read(b"#0 0! #20", body=True).notes)
    assert not read(b"#0 0! #20\n", body=True).notes


def test_a_last_code_that_begins_another_is_not_guessed(read: Read) -> None:
    head = b"$timescale 1 ns $end $var wire 1 ! a $end $var wire 1 !! b $end $enddefinitions $end "
    text = head + b"#0 0! 0!! #5 1!"
    capture = read(text)
    assert capture.truncated
    assert changes(capture, "a") == (0, [])
    assert changes(read(text + b"\n"), "a") == (0, [(5, 1)])


def test_consecutive_blocks_join_without_gap_or_overlap(tmp_path: Path) -> None:
    path = tmp_path / "many.vcd"
    path.write_bytes(HEADER + clock(50_000))
    level, end, count = None, 0, 0
    for number, block in enumerate(blocks(path, block_bytes=1 << 14)):
        channel = block.channels[0]
        assert block.start == end
        assert level is None or channel.initial == level
        if len(channel.ticks):
            assert channel.ticks[0] > block.start
            assert channel.ticks[-1] <= block.end
            assert (np.diff(channel.ticks) > 0).all()
            assert (np.diff(channel.levels.astype(int)) != 0).all()
            level = int(channel.levels[-1])
        end, count = block.end, number + 1
    assert end == 49_999 * 7
    assert count > 10


def test_a_long_block_is_given_in_two_halves(tmp_path: Path) -> None:
    path = tmp_path / "halves.vcd"
    path.write_bytes(HEADER + clock(100_000))
    sizes = [len(block.channels[0].ticks) for block in blocks(path)]
    assert len(sizes) == 2
    assert abs(sizes[0] - sizes[1]) < 5000
    assert sum(sizes) == 99_999


@pytest.mark.parametrize("trap", [b"$comment\n#%d\n1!\n%s$end\n", b"#%d\n%s"])
def test_a_cut_inside_a_comment_is_taken_back(tmp_path: Path, trap: bytes) -> None:
    """The middle of the text falls into a comment full of what looks like times."""
    path = tmp_path / "trap.vcd"
    rubbish = b"".join(b"#%d\nrubbish\n0!\n" % i for i in range(60_000))
    before = clock(60_000)
    if trap.startswith(b"$comment"):
        path.write_bytes(HEADER + before + trap % (10**6, rubbish) + b"#900000\n0!\n#900001\n1!\n")
        channel = read_file(path).channels[0]
        assert channel.ticks[-2:].tolist() == [900_000, 900_001]
        assert len(channel.ticks) == 60_001
    else:
        path.write_bytes(HEADER + before + trap % (10**6, b"0!\n1!\n" * 200_000) + b"#1000001\n0!\n")
        capture = read_file(path)
        assert capture.channels[0].ticks[-1] == 1_000_001
        assert len(capture.channels[0].ticks) == 60_000


def test_a_vector_code_that_looks_like_a_time_is_not_cut_at(tmp_path: Path) -> None:
    path = tmp_path / "codes.vcd"
    head = b"$timescale 1 ns $end $var wire 2 #7 v $end $enddefinitions $end\n"
    path.write_bytes(head + b"#0\n" + b"b01 #7\nb10 #7\n" * 60_000 + b"#9\nb00 #7\n")
    capture = read_file(path)
    assert changes(capture, "v[1]") == (1, [(9, 0)])
    assert changes(capture, "v[0]") == (0, [])


def test_one_time_longer_than_a_block_is_read_whole(read: Read) -> None:
    capture = read(b"#0 0! #5 " + b"1! 0! " * 20_000 + b"1! #6 0!", body=True, block_bytes=4096)
    assert changes(capture, "a") == (0, [(5, 1), (6, 0)])


@pytest.mark.parametrize("size", [1 << 12, 1 << 14, 1 << 22])
@pytest.mark.parametrize(
    ("start", "end"), [(0, None), (0, 60e-6), (100e-6, 200e-6), (123.456e-6, None), (349e-6, None)]
)
def test_a_window_has_the_right_levels_and_changes(tmp_path: Path, size: int, start: float, end: Any) -> None:
    path = tmp_path / "window.vcd"
    path.write_bytes(HEADER + b'#0\n1"\n' + clock(50_000))
    capture = read_file(path, window=Window(start, end), block_bytes=size)
    low, high = round(start * 1e9), 349_993 if end is None else round(end * 1e9)
    times = np.arange(1, 50_000) * 7
    wanted = times[(times > low) & (times <= high)]
    assert (capture.start, capture.end) == (low, high)
    assert capture.channel("a").ticks.tolist() == wanted.tolist()
    assert capture.channel("a").initial == low // 7 % 2
    assert changes(capture, "b") == (1, [])


def test_a_window_counts_from_the_first_time(read: Read) -> None:
    capture = read(b"#1000 0! #1010 1! #1020 0! #1030 1! #1040", body=True, window=Window(15e-9, 30e-9))
    assert (capture.start, capture.end) == (1015, 1030)
    assert changes(capture, "a") == (1, [(1020, 0), (1030, 1)])


def test_a_window_after_the_end_is_an_error(read: Read) -> None:
    with pytest.raises(UsageError, match="after the end of the recording") as caught:
        read(b"#0 0! #1000 1!\n", body=True, window=Window(2e-6, None))
    assert "1e-06 s long" in caught.value.hint


def test_the_memory_for_blocks_does_not_grow_with_the_file(tmp_path: Path) -> None:
    peaks = []
    for count in (100_000, 800_000):
        path = tmp_path / f"{count}.vcd"
        path.write_bytes(HEADER + clock(count))
        for _ in blocks(path, block_bytes=1 << 18):  # compiled and loaded: not counted below
            break
        tracemalloc.start()
        for _ in blocks(path, block_bytes=1 << 18):
            pass
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.2 * peaks[0]
    assert peaks[1] < 8 << 20


def test_two_readers_can_run_at_once(tmp_path: Path) -> None:
    path = tmp_path / "shared.vcd"
    path.write_bytes(HEADER + clock(60_000))
    pairs = zip(blocks(path, block_bytes=1 << 15), blocks(path, block_bytes=1 << 15), strict=True)
    for one, other in pairs:
        assert (one.channels[0].ticks == other.channels[0].ticks).all()


def test_reading_from_standard_input_and_its_error_places() -> None:
    code = (
        "from rastertap.capture.source import Source\nfrom rastertap.capture.vcd import VcdReader\n"
        "from rastertap.capture.interface import Window\nfrom rastertap.progress import Silent\n"
        "from rastertap.errors import CaptureError\n"
        "try:\n with Source('-', hashed=True) as s:\n"
        "  reader = VcdReader(block_bytes=8192)\n"
        "  n = sum(len(c.ticks) for b in reader.blocks(s, window=Window(), progress=Silent())"
        " for c in b.channels)\n  print(n, s.sha256())\n"
        "except CaptureError as e:\n print(e.line, e.column, e.byte, e.path)\n"
    )
    import hashlib

    text = HEADER + clock(20_000)
    done = subprocess.run([sys.executable, "-c", code], input=text, capture_output=True, check=True)
    assert done.stdout.decode().split() == ["19999", hashlib.sha256(text).hexdigest()]
    bad = text + b"1?\n"
    done = subprocess.run([sys.executable, "-c", code], input=bad, capture_output=True, check=True)
    assert done.stdout.decode().split() == [str(text.count(b"\n") + 1), "2", str(len(text) + 1), "-"]


def test_a_stated_rate_is_the_sample_period_of_the_capture(tmp_path: Path) -> None:
    path = tmp_path / "few.vcd"
    path.write_text("$timescale 1 ns $end\n$var wire 1 ! a $end\n$enddefinitions $end\n#0\n0!\n#125\n1!\n")
    assert not read_capture(path).sample_period.known
    stated = read_capture(path, reader="vcd", options={"rate": "48M"}).sample_period
    assert stated.known
    assert stated.ticks == pytest.approx(125 / 6)
    with pytest.raises(UsageError, match="is no sampling rate"):
        read_capture(path, reader="vcd", options={"rate": "fast"})
