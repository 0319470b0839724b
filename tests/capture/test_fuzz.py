"""Mutated files: nothing but the errors meant for users may come out, and soon."""

from __future__ import annotations

import gzip
import random
import time
from typing import TYPE_CHECKING

from rastertap.capture.read import read_capture
from rastertap.errors import RastertapError

from .conftest import HEADER, read_file
from .test_vcd_blocks import TEXT
from .test_vcd_peers import random_text

if TYPE_CHECKING:
    from pathlib import Path

SECONDS = 8
WORDS = [
    *(b"$end", b"$comment", b"$dumpvars", b"#", b"#5", b"b", b"b01x !", b"1!", b"r1.5 r", b"\0", b"\xff"),
    *(b"#99999999999999999999", b"$var wire 3 ( v $end", b"\n", b" ", b"-", b"p"),
]


def mutated(text: bytes, rng: random.Random) -> bytes:
    data = bytearray(text)
    for _ in range(rng.choice([1, 1, 2, 5, 20])):
        at = rng.randrange(len(data) + 1)
        kind = rng.randrange(5)
        if kind == 0 and at < len(data):
            data[at] = rng.randrange(256)
        elif kind == 1:
            del data[at : at + rng.randrange(1, 30)]
        elif kind == 2:
            data[at:at] = rng.choice(WORDS)
        elif kind == 3:
            end = min(len(data), at + rng.randrange(1, 60))
            data[at:at] = data[at:end]
        else:
            data = data[:at] if rng.random() < 0.3 else data
    return bytes(data)


def test_mutated_files_raise_only_errors_for_users(tmp_path: Path) -> None:
    rng = random.Random(85)  # noqa: S311 - a fixed seed is the point
    texts = [TEXT, HEADER + b"#0 0! #5 1! #9 0!\n", random_text(6, 120, 5), random_text(7, 60, 120)]
    begin, runs, refused = time.perf_counter(), 0, 0
    path = tmp_path / "fuzz.vcd"
    while time.perf_counter() - begin < SECONDS:
        data = mutated(rng.choice(texts), rng)
        stored = mutated(gzip.compress(data), rng) if rng.random() < 0.1 else data
        path.write_bytes(stored)
        once = time.perf_counter()
        try:
            if rng.random() < 0.2:
                read_capture(path, reader=rng.choice(["vcd", "vcdvcd"]))
            else:
                whole = read_file(path, time_back=rng.choice(["error", "drop"]))
                for channel in whole.channels:
                    assert (channel.ticks[1:] > channel.ticks[:-1]).all()
                    assert (channel.levels[1:] != channel.levels[:-1]).all()
                    assert (channel.levels <= 3).all()
        except RastertapError:
            refused += 1
        assert time.perf_counter() - once < 5
        runs += 1
    assert runs > 100
    assert 0.1 * runs < refused < 0.95 * runs
