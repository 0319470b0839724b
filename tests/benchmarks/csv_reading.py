"""How fast tables of samples are read, beside pandas in one run.

Run: ``python tests/benchmarks/csv_reading.py [MEGABYTES]`` (default 100; under a minute).

Three shapes of one recording of eight inputs, an 8 MHz clock among them: every sample at 100 MS/s, changes
only, and sample numbers with levels. The other side is ``pandas.read_csv``, which gives the columns as they
stand; that they still have to be searched for changes is not counted against it.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

CHANNELS = 8
PART = 1 << 18


def samples(first: int, count: int) -> NDArray[np.uint8]:
    """Levels of all inputs, shape (count, CHANNELS): a clock, two syncs, colour bits."""
    at = np.arange(first, first + count) * 0.079987
    pixel = at.astype(np.int64)
    levels = np.empty((count, CHANNELS), np.uint8)
    levels[:, 0] = (at % 1) < 0.5
    levels[:, 1] = pixel % 512 < 38
    levels[:, 2] = pixel // 512 % 312 < 3
    for bit in range(3, CHANNELS):
        levels[:, bit] = (pixel // 16 * 2654435761 >> (8 + bit)) & 1
    return levels


def digits(numbers: NDArray[np.int64], width: int, decimals: int) -> NDArray[np.uint8]:
    """Write numbers with a point before the last ``decimals`` digits: a row of bytes for each."""
    places = np.empty((len(numbers), width), np.uint8)
    rest = numbers.copy()
    for column in range(width - 1, -1, -1):
        places[:, column] = rest % 10 + 48
        rest //= 10
    if not decimals:
        return places
    point = np.full((len(numbers), 1), ord("."), np.uint8)
    return np.hstack((places[:, : width - decimals], point, places[:, width - decimals :]))


def make(path: Path, size: int, *, every_sample: bool, indexed: bool) -> int:
    """Write at least ``size`` bytes; returns the number of changes."""
    first, changes, last = 0, 0, None
    with path.open("wb") as out:
        names = ",".join(f"D{i}" for i in range(CHANNELS))
        out.write(f"{'# 100 MHz' + chr(10) + 'Sample' if indexed else 'Time [s]'},{names}\n".encode())
        while out.tell() < size:
            levels = samples(first, PART)
            before = np.vstack((levels[:1] if last is None else last, levels[:-1]))
            changed = levels != before
            changes += int(changed.sum())
            kept = np.ones(PART, bool) if every_sample else changed.any(axis=1)
            kept[0] |= first == 0
            number = np.arange(first, first + PART)[kept]
            head = digits(number, 10, 0) if indexed else digits(number, 10, 8)
            comma = np.full((len(number), 1), ord(","), np.uint8)
            cells = np.full((len(number), 2 * CHANNELS), ord(","), np.uint8)
            cells[:, ::2] = levels[kept] + 48
            cells[:, -1] = ord("\n")
            out.write(np.hstack((head, comma, cells)).tobytes())
            first, last = first + PART, levels[-1:]
    return changes


def by_rastertap(path: Path) -> int:
    """Count the changes block by block."""
    from rastertap.capture.read import open_blocks

    return sum(len(channel.ticks) for block in open_blocks(path) for channel in block.channels)


def by_pandas(path: Path) -> int:
    """Read the columns; the changes are not looked for."""
    import pandas as pd

    return len(pd.read_csv(path, comment="#"))


def best(run: Callable[[Path], int], path: Path, times: int) -> tuple[float, int]:
    """Best wall time of several runs, and what the run counted."""
    took, counted = float("inf"), 0
    for _ in range(times):
        begin = time.perf_counter()
        counted = run(path)
        took = min(took, time.perf_counter() - begin)
    return took, counted


def main() -> None:
    """Make the tables, time the readers, print the table."""
    megabytes = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    print(f"{'':44}{'rastertap MB/s':>16}{'pandas MB/s':>14}{'times':>8}")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "samples.csv"
        make(path, 10**6, every_sample=True, indexed=False)
        by_rastertap(path)  # compiles, or loads what was compiled
        for name, every_sample, indexed in (
            ("times, every sample", True, False),
            ("times, changes only", False, False),
            ("sample numbers and a rate, every sample", True, True),
        ):
            total = make(path, megabytes * 10**6, every_sample=every_sample, indexed=indexed)
            size = path.stat().st_size / 1e6
            ours, counted = best(by_rastertap, path, 5)
            theirs, _ = best(by_pandas, path, 1)
            print(f"{name:44}{size / ours:16.0f}{size / theirs:14.0f}{theirs / ours:8.1f}", flush=True)
            if counted != total:
                print(f"   counted {counted} changes instead of {total}")


if __name__ == "__main__":
    main()
