"""The reader against independent writers and readers: pyvcd and pywellen."""

from __future__ import annotations

import io
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from vcd import VCDWriter

from . import peers
from .conftest import read_file

if TYPE_CHECKING:
    from pathlib import Path

UNITS = {"s": 0, "ms": 3, "us": 6, "ns": 9, "ps": 12, "fs": 15}


@st.composite
def recordings(draw: Any) -> Any:
    """Variables (name, width), a timescale, and steps of (time gap, {variable: value text})."""
    widths = draw(st.lists(st.integers(1, 5), min_size=1, max_size=6))
    scale = (draw(st.sampled_from([1, 10, 100])), draw(st.sampled_from(list(UNITS))))
    value = [st.text("01xz", min_size=width, max_size=width) for width in widths]
    steps = draw(
        st.lists(
            st.tuples(
                st.integers(1, 10**6),
                st.dictionaries(st.integers(0, len(widths) - 1), st.integers(0, 1), max_size=4).flatmap(
                    lambda which: st.fixed_dictionaries({i: value[i] for i in which})
                ),
            ),
            max_size=30,
        )
    )
    return widths, scale, draw(st.fixed_dictionaries(dict(enumerate(value)))), steps


def write(recording: Any) -> tuple[bytes, dict[str, tuple[int, list[tuple[int, int]]]], Fraction]:
    """Write with pyvcd; also what must be read, from the recording itself."""
    widths, (count, unit), first, steps = recording
    out = io.StringIO()
    writer = VCDWriter(out, timescale=f"{count} {unit}", date="now", version="test", comment="#1 $var 1!")
    variables = [
        writer.register_var(f"top.s{i}" if i % 2 else "top", f"n{i}", "wire", size=w, init=first[i])
        for i, w in enumerate(widths)
    ]
    now, events = 0, {i: [(0, first[i])] for i in range(len(widths))}
    for gap, values in steps:
        now += gap
        for i, value in values.items():
            writer.change(variables[i], now, value)
            events[i].append((now, value))
    writer.close(now + 5)
    expected = {}
    for i, width in enumerate(widths):
        stem = f"top.s{i}.n{i}" if i % 2 else f"top.n{i}"
        for bit in range(width):
            name = stem if width == 1 else f"{stem}[{width - 1 - bit}]"
            pairs = [(time, peers.LEVELS[value[bit]]) for time, value in events[i]]
            expected[name] = peers._settle(0, pairs)
    return out.getvalue().encode(), expected, Fraction(count, 10 ** UNITS[unit])


@given(recordings())
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_what_pyvcd_writes_is_read_back(tmp_path: Path, recording: Any) -> None:
    text, expected, tick = write(recording)
    path = tmp_path / "pyvcd.vcd"
    path.write_bytes(text)
    capture = read_file(path)
    assert peers.of_capture(capture) == expected
    assert capture.tick == tick
    assert peers.of_pyvcd(path) == expected
    assert read_file(path, block_bytes=4096).end == capture.end


def random_text(seed: int, times: int, signals: int) -> bytes:
    """A dump with scalars and vectors, short values, repeats, several tokens to a line and comments."""
    rng = np.random.default_rng(seed)
    codes = [chr(33 + i % 94) + (chr(33 + i // 94) if i >= 94 else "") for i in range(signals)]
    widths = rng.choice([1, 1, 1, 4, 9], signals)
    out = ["$timescale 1 ns $end\n$scope module m $end\n"]
    out += [f"$var wire {w} {c} n{i} $end\n" for i, (c, w) in enumerate(zip(codes, widths, strict=True))]
    out.append("$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n")
    out += [f"0{c}\n" if w == 1 else f"b0 {c}\n" for c, w in zip(codes, widths, strict=True)]
    out.append("$end\n")
    now = 0
    for _ in range(times):
        now += int(rng.integers(1, 50))
        out.append(f"#{now}\n")
        for i in rng.integers(0, signals, int(rng.integers(0, 5))):
            digits = "".join(
                rng.choice(list("01xz"), int(rng.integers(1, widths[i] + 1)), p=[0.45, 0.45, 0.05, 0.05])
            )
            out.append(f"{digits}{codes[i]}\n" if widths[i] == 1 else f"b{digits} {codes[i]}\n")
        if rng.random() < 0.01:
            out.append("$comment #99999999 1! $dumpvars $end\n")
    return "".join(out).encode()


def test_random_dumps_are_read_as_pyvcd_and_pywellen_read_them(tmp_path: Path) -> None:
    for seed, signals in ((1, 3), (2, 40), (3, 300)):
        path = tmp_path / f"{seed}.vcd"
        path.write_bytes(random_text(seed, 3000, signals))
        seen = peers.of_capture(read_file(path))
        assert seen == peers.of_pyvcd(path)
        assert seen == peers.of_pywellen(path, 0)
        for size in (1 << 12, 10_007, 1 << 16):
            assert peers.of_capture(read_file(path, block_bytes=size)) == seen


def test_both_threads_read_a_long_dump_as_pywellen_does(tmp_path: Path) -> None:
    path = tmp_path / "long.vcd"
    path.write_bytes(random_text(4, 60_000, 12))
    seen = peers.of_capture(read_file(path))
    assert seen == peers.of_pywellen(path, 0)
    assert sum(len(pairs) for _, pairs in seen.values()) > 100_000
