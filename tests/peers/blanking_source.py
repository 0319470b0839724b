"""Runs hdl/blanking.v (Icarus Verilog): a source whose timing pins are blanking ones; its true pictures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .simulate import HDL, _run, _tool

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class BlankingField:
    """One field that was shown: parity (0: its field sync begins with a line), first line's start, codes."""

    parity: int
    start_s: float
    codes: NDArray[np.uint32]


@dataclass(frozen=True, eq=False)
class BlankingSource:
    """The simulator's VCD and all whole fields that the bench showed, in order."""

    vcd: Path
    fields: tuple[BlankingField, ...]


QUICK = {"CLOCKS": 216, "HALF": 148_148, "WIDTH": 176, "FIELDS": 3}
"""3.375 MHz: a quarter of BT.601's clock (references.md 3.1), so that a frame takes a second or two."""


def simulate_blanking(folder: Path, **given: int) -> BlankingSource:
    """Run the bench with its plusargs, over `QUICK`."""
    program = folder / "blanking.vvp"
    _run([_tool("iverilog"), "-g2012", "-o", str(program), str(HDL / "blanking.v")], folder)
    plus = [f"+{name}={value}" for name, value in (QUICK | given).items()]
    _run([_tool("vvp"), "-n", str(program), *plus], folder)
    fields = []
    # The first one began before time did, the last one ends after it.
    for block in (folder / "pictures.txt").read_text().split("field ")[1:-1]:
        header, _, rows = block.partition("\n")
        parity, start = header.split()
        codes = np.array([row.split() for row in rows.splitlines() if row.strip()]).astype(np.uint32)
        fields.append(BlankingField(int(parity), int(start) * 1e-12, codes))
    return BlankingSource(folder / "blanking.vcd", tuple(fields))
