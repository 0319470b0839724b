"""Runs hdl/counted.v (Icarus Verilog), a machine of plain counters, and samples it as an analyser would."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .native_vcd import Wave, parse_vcd
from .resample import _sampled, _write
from .simulate import HDL, _run, _tool

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

SEPARATE = ("clock", "hsync", "vsync", "colour[0]", "colour[1]", "colour[2]")
COMPOSITE = ("clock", "csync", "colour[0]", "colour[1]", "colour[2]")


@dataclass(frozen=True, eq=False)
class CountedSource:
    """The simulator's VCD and the picture, shape (rows, columns); with interlace the rows of both fields."""

    vcd: Path
    picture: NDArray[np.uint32]

    def recorded(
        self,
        path: Path,
        rate_hz: int,
        *,
        pins: Sequence[str] = SEPARATE,
        start_s: float = 0.0,
        end_s: float | None = None,
        ppm: float = 0.0,
        hum: tuple[float, float] = (0.0, 0.0),
    ) -> str:
        """Write what an analyser sees of the pins from ``start_s`` to ``end_s``.

        ``hum``: by how much everything swings to either side, s, and how often a second.
        """
        native = parse_vcd(self.vcd)
        tick = float(native.tick)
        step = 1 / (rate_hz * (1 + ppm * 1e-6)) / tick
        end = native.end if end_s is None else end_s / tick
        samples = int((end - start_s / tick) / step)

        def swung(wave: Wave) -> Wave:
            late = hum[0] / tick * np.sin(2 * np.pi * hum[1] * tick * wave.times)
            return Wave(np.rint(wave.times + late).astype(np.int64), wave.levels)

        found = [swung(native.waves[f"counted_bench.{pin}"]) for pin in pins]
        waves = [_sampled(wave, start_s / tick, step, samples) for wave in found]
        _write(path, waves, rate_hz, samples, "1 ns")
        return str(path)


def simulate_counted(folder: Path, **given: int) -> CountedSource:
    """Run the bench with its plusargs."""
    program = folder / "counted.vvp"
    _run([_tool("iverilog"), "-g2012", "-o", str(program), str(HDL / "counted.v")], folder)
    plus = [f"+{name}={value}" for name, value in given.items()]
    _run([_tool("vvp"), "-n", str(program), *plus], folder)
    return CountedSource(folder / "counted.vcd", np.loadtxt(folder / "pictures.txt", np.uint32))
