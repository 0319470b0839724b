"""The exact-timing source in Verilog: every interval of line and field in picoseconds.

Nothing here imports rastertap.
"""

from __future__ import annotations

import subprocess
from typing import TYPE_CHECKING

from .simulate import HDL, _tool

if TYPE_CHECKING:
    from pathlib import Path

NOMINAL_625: dict[str, int] = {}
"""The core's own defaults: BT.470 Tables 1-1 and 1-2 (references.md 1.2, 1.3)."""
NOMINAL_525 = {
    "H": 63_555_556,  # 143/2.25 us, references.md 1.1
    "D": 4_700_000,
    "P": 2_300_000,
    "Q": 31_777_778 - 4_700_000,  # H/2 - r
    "B": 9_200_000,
    "C": 1_500_000,
    "J": 20 * 63_555_556 + 1_500_000,  # 20 H + 1.5 us: references.md 1.3
    "K": 1_500_000,
    "PRE": 6,
    "BROAD": 6,
    "POST": 6,
    "HALVES": 525,
    "START": 470,
}
"""SMPTE 170M Tables 2 and 3 (references.md 1.2, 1.3)."""


def compile_exact(folder: Path) -> Path:
    """Compile the source; gives the program for `run_exact`."""
    program = folder / "exact.vvp"
    subprocess.run([_tool("iverilog"), "-g2012", "-o", str(program), str(HDL / "exact.v")], check=True)
    return program


def run_exact(program: Path, folder: Path, **picoseconds: int) -> Path:
    """Run the source with some of its integers changed; gives the VCD."""
    folder.mkdir(parents=True, exist_ok=True)
    given = [f"+{name}={value}" for name, value in picoseconds.items()]
    done = subprocess.run(
        [_tool("vvp"), "-n", str(program), *given], cwd=folder, capture_output=True, text=True, check=False
    )
    if done.returncode:
        raise RuntimeError(done.stdout + done.stderr)
    return folder / "exact.vcd"
