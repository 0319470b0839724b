"""How fast captures are read, side by side in one run.

Run: ``python tests/benchmarks/reading.py [MEGABYTES]`` (default 100; half a minute).

The capture is what an analyser writes: one ``#time`` line, then one line for each input that changed. It is
made here with numpy alone, the same bytes each time: an 8 MHz pixel clock, sync and four colour bits, sampled
at 100 MS/s and stamped in ns.
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

CODES = b"!\"#$%&'"
NAMES = ("pclk", "hsync", "vsync", "r", "g", "b", "i")
STEP_NS = 10
PIXEL_NS = 1e3 / 7.9987
PIXELS_PER_LINE, LINES = 512, 312
ROWS = 1 << 18


def header() -> bytes:
    """Declare the channels."""
    variables = "".join(f"$var wire 1 {chr(c)} {n} $end\n" for c, n in zip(CODES, NAMES, strict=True))
    start = "#0\n$dumpvars\n" + "".join(f"0{chr(c)}\n" for c in CODES) + "$end\n"
    scope = f"$scope module top $end\n{variables}$upscope $end\n"
    return f"$timescale 1 ns $end\n{scope}$enddefinitions $end\n{start}".encode()


def changes(
    first_pixel: int, count: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times in ns (sampled), channels and levels of all changes in some pixels, in order of time."""
    pixel = np.arange(first_pixel, first_pixel + count)
    column, line = pixel % PIXELS_PER_LINE, pixel // PIXELS_PER_LINE % LINES
    levels = np.zeros((count, 7), np.int8)
    levels[:, 1] = column < 38
    levels[:, 2] = line < 3
    shown = (column > 100) & (column < 420) & (line > 40) & (line < 240)
    runs = np.repeat(rng.integers(0, 16, count // 4 + 1), 4)[:count]
    levels[:, 3:7] = ((runs[:, None] >> np.arange(4)) & 1) * shown[:, None]
    where, channel = np.nonzero(np.diff(levels, axis=0, prepend=np.zeros((1, 7), np.int8)))
    rise = np.arange(first_pixel, first_pixel + count) * PIXEL_NS + 20
    times = np.concatenate((rise, rise + PIXEL_NS / 2, rise[where] + 30))
    channels = np.concatenate((np.zeros(2 * count, np.int64), channel))
    values = np.concatenate((np.ones(count, np.int8), np.zeros(count, np.int8), levels[where, channel]))
    times = (np.ceil(times / STEP_NS) * STEP_NS).astype(np.int64)
    order = np.lexsort((channels, times))
    return times[order], channels[order], values[order]


def text_of(times: np.ndarray, channels: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Write the changes: a row of bytes for each, of which some are kept."""
    digits = 12
    rows = np.zeros((len(times), digits + 5), np.uint8)
    kept = np.zeros(rows.shape, bool)
    new = np.diff(times, prepend=-1) > 0
    rest = times.copy()
    for at in range(digits, 0, -1):
        rows[:, at] = rest % 10 + 48
        kept[:, at] = new & ((rest > 0) | (at == digits))
        rest //= 10
    rows[:, 0], kept[:, 0] = ord("#"), new
    rows[:, digits + 1], kept[:, digits + 1] = ord("\n"), new
    rows[:, digits + 2], kept[:, digits + 2] = values + 48, True
    rows[:, digits + 3], kept[:, digits + 3] = np.frombuffer(CODES, np.uint8)[channels], True
    rows[:, digits + 4], kept[:, digits + 4] = ord("\n"), True
    return rows[kept]


def make(path: Path, size: int) -> int:
    """Write at least ``size`` bytes; returns the number of changes."""
    rng = np.random.default_rng(85)
    total, pixel = 0, 0
    with path.open("wb") as out:
        out.write(header())
        while out.tell() < size:
            part = changes(pixel, ROWS, rng)
            out.write(text_of(*part).tobytes())
            total += len(part[0])
            pixel += ROWS
    return total


def touch(path: Path) -> int:
    """Read every byte and add them up: what no reader can beat."""
    total = 0
    buffer = bytearray(1 << 24)
    words = np.frombuffer(buffer, np.uint64)
    with path.open("rb", buffering=0) as file:
        while file.readinto(buffer):
            total += int(words.sum())
    return total


def rastertap_blocks(path: Path) -> int:
    """Count the changes block by block."""
    from rastertap.capture.read import open_blocks

    return sum(len(channel.ticks) for block in open_blocks(path) for channel in block.channels)


def rastertap_whole(path: Path) -> int:
    """Read the capture whole, hash and sample period included."""
    from rastertap.capture.read import read_capture

    return sum(len(channel.ticks) for channel in read_capture(path).channels)


def pywellen_arrays(path: Path) -> int:
    """Read with pywellen and make arrays of its signals."""
    import pywellen

    total = 0
    for variable in pywellen.Waveform(str(path)).all_vars():
        pairs = list(variable.signal)
        ticks = np.fromiter((t for t, _ in pairs), np.int64, len(pairs))
        levels = np.fromiter((int(v) for _, v in pairs), np.uint8, len(pairs))
        total += len(ticks) - (ticks[0] == 0 and levels[0] == 0)
    return total


def vcdvcd_arrays(path: Path) -> int:
    """Read with vcdvcd and make arrays of its lists."""
    from vcdvcd import VCDVCD

    total = 0
    for signal in VCDVCD(str(path)).data.values():
        ticks = np.fromiter((t for t, _ in signal.tv), np.int64, len(signal.tv))
        levels = np.fromiter((int(v) for _, v in signal.tv), np.uint8, len(signal.tv))
        total += len(ticks) - (ticks[0] == 0 and levels[0] == 0)
    return total


def seconds(run: Callable[[Path], int], path: Path, times: int) -> tuple[float, float, int]:
    """Best wall time and best processor time of several runs, and what the run counted."""
    wall, processor, counted = float("inf"), float("inf"), 0
    for _ in range(times):
        begin, begin_processor = time.perf_counter(), time.process_time()
        counted = run(path)
        wall = min(wall, time.perf_counter() - begin)
        processor = min(processor, time.process_time() - begin_processor)
    return wall, processor, counted


def slice_of(path: Path, size: int) -> Path:
    """The first ``size`` bytes, ended at a line."""
    cut = path.with_suffix(".slice.vcd")
    with path.open("rb") as file:
        data = file.read(size)
    cut.write_bytes(data[: data.rindex(b"\n#") + 1])
    return cut


def main() -> None:
    """Make the capture, time the readers, print the table."""
    megabytes = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "analyser.vcd"
        total = make(path, megabytes * 10**6)
        short = slice_of(path, 5 * 10**6)
        print(
            f"{path.stat().st_size / 1e6:.0f} MB of VCD, {total} changes; best of several runs, file cached"
        )
        rastertap_blocks(short)  # compiles, or loads what was compiled
        print(f"{'':34}{'s':>9}{'CPU s':>9}{'GB/s':>9}{'times slower than touching':>30}")
        reference = 0.0
        for name, run, file, times in (
            ("touching every byte (numpy sum)", touch, path, 7),
            ("rastertap, blocks", rastertap_blocks, path, 7),
            ("rastertap, read_capture", rastertap_whole, path, 5),
            ("pywellen, to numpy arrays", pywellen_arrays, path, 1),
            ("vcdvcd, to numpy (5 MB, scaled)", vcdvcd_arrays, short, 1),
        ):
            took, processor, counted = seconds(run, file, times)
            rate = file.stat().st_size / took / 1e9
            reference = reference or rate
            scale = path.stat().st_size / file.stat().st_size
            print(
                f"{name:34}{took * scale:9.3f}{processor * scale:9.3f}{rate:9.3f}{reference / rate:30.1f}",
                flush=True,
            )
            if file is path and run is not touch and counted != total:
                print(f"   counted {counted} changes instead of {total}")


if __name__ == "__main__":
    main()
