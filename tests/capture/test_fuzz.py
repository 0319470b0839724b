"""Mutated files through every reader: nothing but the errors meant for users may come out, and soon.

``RASTERTAP_FUZZ_SECONDS`` makes the run longer (CI: 60), ``RASTERTAP_FUZZ_SEED`` makes it another one. With
``NUMBA_BOUNDSCHECK=1`` (and a ``NUMBA_CACHE_DIR`` of its own) a kernel that leaves its arrays raises as well.
"""

from __future__ import annotations

import faulthandler
import gzip
import os
import random
import time
import zlib
from typing import TYPE_CHECKING, Any

import pytest
import zstandard

from rastertap.capture.csv_reader import CsvReader
from rastertap.capture.interface import Window
from rastertap.capture.model import join
from rastertap.capture.read import read_capture
from rastertap.capture.source import Source
from rastertap.capture.vcd import VcdReader
from rastertap.capture.vcdvcd_reader import VcdvcdReader
from rastertap.errors import RastertapError
from rastertap.progress import Silent

from .conftest import HEADER
from .peers import of_capture
from .test_vcd_blocks import TEXT
from .test_vcd_peers import random_text

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from rastertap.capture.interface import Reader

SECONDS = float(os.environ.get("RASTERTAP_FUZZ_SECONDS", "8"))
SEED = int(os.environ.get("RASTERTAP_FUZZ_SEED", "85"))
HANGS_S = 120
"""One file takes milliseconds; by then the process is ended with a trace of where it hangs."""

VCD_WORDS = [
    *(b"$end", b"$comment", b"$dumpvars", b"#", b"#5", b"b", b"b01x !", b"1!", b"r1.5 r", b"\0", b"\xff"),
    *(b"#99999999999999999999", b"$var wire 3 ( v $end", b"\n", b" ", b"-", b"p", b"$enddefinitions $end"),
    *(b"$var wire 999999999 ~ w $end", b"$timescale 1 fs $end", b"#00000000000000000000000000000001"),
]
CSV_WORDS = [
    *(b",", b";", b"\t", b" ", b"|", b'"', b'""', b"\n", b"\r", b"#", b"//", b"-", b"+", b".", b"e", b"e-30"),
    *(
        b"e999999999",
        b"1e308",
        b"nan",
        b"0",
        b"1",
        b"x",
        b"high",
        b"99999999999999999999",
        b"0.0000000000000000001",
    ),
    *(
        b"Time [us]",
        b"Sample",
        b"# 100 MHz\n",
        b"\0",
        b"\xff",
        b"\xef\xbb\xbf",
        b",,,,,,,,",
        b"-5,0,1\n",
        b"5,0,1\n",
    ),
]


def _tables() -> Iterator[bytes]:
    rows = [(t, t % 3 == 0, t // 7 % 2) for t in range(60)]
    yield b"Time [us],a,b\n" + b"".join(b"%d,%d,%d\n" % row for row in rows)
    yield b"# 24 MHz\r\nSample;a;b\r\n" + b"".join(b"%d;%d;%d\r\n" % row for row in rows)
    yield b'"time_ns"\t"a"\t"b"\n' + b"".join(b'"%d.5"\t"%d"\t%d\n' % row for row in rows)
    yield b"t a b\n" + b"".join(b"  %d.25e-6   %d  %d\n" % row for row in rows)
    yield b"Zeit;a;b\n" + b"".join(b"0,%06d;%d;%d;\n" % row for row in rows)
    yield b"a,Time (s),b,volts\n" + b"".join(b"high,0.%06d,%d,%d.5\n" % row for row in rows)


VCDS = [TEXT, HEADER + b"#0 0! #5 1! #9 0!\n", random_text(6, 120, 5), random_text(7, 60, 120)]
KINDS = (
    (VCDS, VCD_WORDS, ["vcd"] * 6 + ["vcdvcd", "csv"]),
    (list(_tables()), CSV_WORDS, ["csv"] * 7 + ["vcd"]),
)


def mutated(text: bytes, words: list[bytes], rng: random.Random) -> bytes:
    """Change, leave out, insert, repeat or cut, some times over."""
    data = bytearray(text)
    for _ in range(rng.choice([1, 1, 1, 2, 4, 20])):
        at = rng.randrange(len(data) + 1)
        kind = rng.randrange(5)
        if kind == 0 and at < len(data):
            data[at] = rng.randrange(256)
        elif kind == 1:
            del data[at : at + rng.randrange(1, 30)]
        elif kind == 2:
            data[at:at] = rng.choice(words)
        elif kind == 3:
            end = min(len(data), at + rng.randrange(1, 60))
            data[at:at] = data[at:end] * rng.choice([1, 1, 3, 100])
        else:
            data = data[:at] if rng.random() < 0.3 else data
    return bytes(data)


def packed(data: bytes, rng: random.Random) -> bytes:
    """Compress and damage now and then."""
    if rng.random() < 0.9:
        return data
    stored = gzip.compress(data, 1) if rng.random() < 0.5 else zstandard.compress(data, 1)
    return mutated(stored, VCD_WORDS, rng) if rng.random() < 0.7 else stored


def a_reader(name: str, rng: random.Random, block_bytes: int) -> Reader:
    """Make a reader with some options."""
    if name == "vcdvcd":
        return VcdvcdReader()
    if name == "vcd":
        return VcdReader(time_back=rng.choice(["error", "drop"]), block_bytes=block_bytes)
    given: dict[str, Any] = rng.choice([{}, {}, {"rate": "24M"}, {"unit": "us"}])
    return CsvReader(block_bytes=block_bytes, **given)


def outcome(path: Path, name: str, seed: int, block_bytes: int) -> Any:
    """Read with options and a window of a seed: what the capture holds, or None when it is refused."""
    rng = random.Random(seed)  # noqa: S311 - to make the same choices twice
    reader = a_reader(name, rng, block_bytes)
    window = rng.choice([Window(), Window(), Window(1e-6, 3e-6)])
    try:
        with Source(path) as source:
            whole = join(reader.blocks(source, window=window, progress=Silent()))
    except RastertapError:
        return None
    for channel in whole.channels:
        ticks = channel.ticks.tolist()
        assert (channel.ticks[1:] > channel.ticks[:-1]).all()
        assert not ticks or (whole.start < ticks[0] and ticks[-1] <= whole.end)
        assert (channel.levels[1:] != channel.levels[:-1]).all()
        assert not ticks or channel.levels[0] != channel.initial
        assert (channel.levels <= 3).all()
    return whole.tick, whole.start, whole.end, whole.truncated, of_capture(whole)


def test_mutated_files_raise_only_errors_for_users(tmp_path: Path) -> None:
    rng = random.Random(SEED)  # noqa: S311 - a fixed seed is the point
    begin, runs, refused = time.perf_counter(), 0, 0
    path = tmp_path / "fuzz"
    while time.perf_counter() - begin < SECONDS:
        texts, words, readers = rng.choice(KINDS)
        stored = packed(mutated(rng.choice(texts), words, rng), rng)
        path.write_bytes(stored)
        name, seed = rng.choice(readers), rng.randrange(1 << 30)
        faulthandler.dump_traceback_later(HANGS_S, exit=True)
        once = time.process_time()
        try:
            whole = outcome(path, name, seed, 1 << 16)
            refused += whole is None
            if whole is not None and name != "vcdvcd" and rng.random() < 0.3:
                pieces = outcome(path, name, seed, 1 << 12)
                assert pieces in (None, whole)  # None: a token that a small block does not hold
            if rng.random() < 0.1:
                read_chosen(path)
        except BaseException:
            print(f"\nrun {runs}, reader {name}, seed {seed}, zlib: {zlib.compress(stored)!r}")
            raise
        finally:
            faulthandler.cancel_dump_traceback_later()
        assert time.process_time() - once < 5, zlib.compress(stored)
        runs += 1
    print(f"{runs} files, {refused} refused")
    assert runs > 100
    assert 0.1 * runs < refused < 0.97 * runs


def read_chosen(path: Path) -> None:
    """Read with whatever reader the host chooses."""
    try:
        read_capture(path)
    except RastertapError:
        return


@pytest.mark.parametrize("kind", KINDS, ids=["vcd", "csv"])
def test_a_file_cut_anywhere_is_read_or_refused(
    tmp_path: Path, kind: tuple[list[bytes], list[bytes], list[str]]
) -> None:
    path = tmp_path / "cut"
    for text in kind[0]:
        for size in range(0, len(text), max(1, len(text) // 60)):
            path.write_bytes(text[:size])
            read_chosen(path)
