"""Memory and time of ``rastertap check`` on captures of growing length, in one table.

Run: ``python tests/benchmarks/memory.py [GIGABYTES ...]`` (default 0.2 1 2.3; some minutes, and as much
room in the folder for temporary files).

The capture is a simulated home computer's: a few fields are made once, sampled at 100 MS/s, and written again
and again with later times. Everything in it repeats exactly in each field, so nothing shows where they meet.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

FIELDS = 4
FIELD_NS = 19_968_000
"""312 lines of 64 us."""
BEGIN_NS = 100 * 10**9
"""First time, so that all have the same number of digits."""
DIGITS = 12


def events() -> tuple[list[str], NDArray[np.int64], NDArray[np.uint8], NDArray[np.uint8]]:
    """Channel names, and times in ns, channels and levels of all changes in `FIELDS` fields, in order."""
    from rastertap.bench.analyser import Analyser, plug
    from rastertap.bench.card import card_for
    from rastertap.bench.machines import MACHINES
    from rastertap.bench.make import make_capture
    from rastertap.capture.read import read_capture

    source = MACHINES["marlow85-50"].source
    analyser = replace(Analyser(plug(source)), fields=FIELDS + 1, start_fields=0.5)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "fields.vcd"
        make_capture(source, analyser, (), card_for(source), seed=85).write_vcd(path)
        capture = read_capture(path)
    times = np.concatenate([c.ticks for c in capture.channels])
    channels = np.repeat(
        np.arange(len(capture.channels), dtype=np.uint8), [len(c.ticks) for c in capture.channels]
    )
    levels = np.concatenate([c.levels for c in capture.channels])
    order = np.argsort(times, kind="stable")
    times, channels, levels = times[order], channels[order], levels[order]
    vsync = capture.channel("D2").ticks  # both ends in vertical blanking, where every field is alike
    inside = (times > vsync[0] + 1_000) & (times <= vsync[0] + 1_000 + FIELDS * FIELD_NS)
    times = times[inside] - (vsync[0] + 1_000)
    return [c.name for c in capture.channels], times, channels[inside], levels[inside]


class Writer:
    """Writes the same changes again and again: the text is made once, and only the digits change."""

    def __init__(self) -> None:
        self.names, self._times, channels, levels = events()
        new = np.diff(self._times, prepend=-1) > 0
        sizes = np.where(new, DIGITS + 5, 3)  # "#digits\n0!\n" or "0!\n"
        ends = np.cumsum(sizes)
        self.text = np.full(int(ends[-1]), ord("\n"), np.uint8)
        self.text[ends - 3] = levels + ord("0")
        self.text[ends - 2] = channels + ord("!")
        self._hashes = (ends - sizes)[new]
        self.text[self._hashes] = ord("#")
        self._stamps = self._times[new]

    def header(self) -> bytes:
        """Declare the channels, all low at first."""
        variables = "".join(f"$var wire 1 {chr(33 + i)} {name} $end\n" for i, name in enumerate(self.names))
        start = f"#{BEGIN_NS}\n" + "".join(f"0{chr(33 + i)}\n" for i in range(len(self.names)))
        return f"$timescale 1 ns $end\n{variables}$enddefinitions $end\n{start}".encode()

    def parts(self) -> Iterator[memoryview]:
        """Give the text of `FIELDS` fields after the other, for ever."""
        begin = BEGIN_NS
        while True:
            rest = self._stamps + begin
            for digit in range(DIGITS, 0, -1):
                self.text[self._hashes + digit] = rest % 10 + ord("0")
                rest //= 10
            yield self.text.data
            begin += FIELDS * FIELD_NS


def make(writer: Writer, path: Path, size: int) -> float:
    """Write at least ``size`` bytes, as whole fields; returns the seconds recorded."""
    with path.open("wb") as out:
        out.write(writer.header())
        for count, part in enumerate(writer.parts(), 1):
            out.write(part)
            if out.tell() >= size:
                return count * FIELDS * FIELD_NS / 1e9
    raise AssertionError("the parts never end")


def measure(path: Path) -> tuple[int, float, float, float]:
    """Exit code, wall time and processor time in s, and peak resident memory in MB of ``rastertap check``."""
    command = [sys.executable, "-m", "rastertap", "check", str(path), "--quiet"]
    begin = time.perf_counter()
    process = subprocess.Popen(command)
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    wall = time.perf_counter() - begin
    return process.returncode, wall, used.ru_utime + used.ru_stime, used.ru_maxrss / 1e3 * 1.024


def main() -> None:
    """Make the captures one after the other, check each, print a line."""
    sizes = [float(word) for word in sys.argv[1:]] or [0.2, 1.0, 2.3]
    writer = Writer()
    print(f"{'GB':>6}{'recorded s':>12}{'exit':>6}{'wall s':>9}{'CPU s':>8}{'wall s/GB':>11}{'peak MB':>9}")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.vcd"
        for gigabytes in sizes:
            recorded = make(writer, path, round(gigabytes * 1e9))
            size = path.stat().st_size / 1e9
            code, wall, processor, peak = measure(path)
            times = f"{wall:9.1f}{processor:8.1f}{wall / size:11.1f}"
            print(f"{size:6.2f}{recorded:12.2f}{code:6}{times}{peak:9.0f}", flush=True)


if __name__ == "__main__":
    main()
