"""VCD as five programs write it, read as pyvcd and pywellen read it."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING, Any

import migen
import myhdl
import pytest

from rastertap.capture.interface import Window
from rastertap.capture.model import join
from rastertap.capture.source import Source
from rastertap.capture.vcd import VcdReader
from rastertap.progress import Silent

from ..capture import peers  # noqa: TID252 - the other readers' views are shared

if TYPE_CHECKING:
    from collections.abc import Callable

HDL = Path(__file__).parent / "hdl"
MYHDL_STEPS, MIGEN_CYCLES = 3000, 40


def tool(name: str) -> str:
    """Path of a simulator; one that is missing is an error, for a skipped test proves nothing."""
    found = shutil.which(name)
    if found is None:
        raise FileNotFoundError(f"{name} is not installed: sudo apt-get install --yes {name}")
    return found


def run(folder: Path, *command: str) -> None:
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False, timeout=300)
    assert done.returncode == 0, done.stdout + done.stderr


def icarus(folder: Path) -> Path:
    run(folder, tool("iverilog"), "-o", "writer.vvp", str(HDL / "writer.v"))
    run(folder, tool("vvp"), "writer.vvp")
    return folder / "writer.vcd"


def verilator(folder: Path) -> Path:
    """Verilator translates to C++, whose compilation is what takes its time."""
    options = ["--binary", "--timing", "--trace", "-Wno-fatal", "-CFLAGS", "-O0", "-j", "2"]
    run(folder, tool("verilator"), *options, "--top-module", "writer", str(HDL / "writer.v"))
    run(folder, str(folder / "obj_dir" / "Vwriter"))
    return folder / "writer.vcd"


def ghdl(folder: Path) -> Path:
    run(folder, tool("ghdl"), "-a", "--std=08", str(HDL / "writer.vhd"))
    run(folder, tool("ghdl"), "--elab-run", "--std=08", "writer", "--vcd=writer.vcd")
    return folder / "writer.vcd"


class Counter(migen.Module):  # type: ignore[misc] # migen has no types
    """A counter and a bit of it, in migen's own terms."""

    def __init__(self) -> None:
        self.count = migen.Signal(4)
        self.flag = migen.Signal()
        self.sync += self.count.eq(self.count + 1), self.flag.eq(self.count[1] ^ self.count[0])


def by_migen(folder: Path) -> Path:
    def wait() -> Any:
        for _ in range(MIGEN_CYCLES):
            yield

    path = folder / "writer.vcd"
    migen.run_simulation(Counter(), wait(), vcd_name=str(path), clocks={"sys": 125})
    return path


@myhdl.block  # type: ignore[untyped-decorator] # myhdl has no types
def counter() -> Any:
    clock, count = myhdl.Signal(bool(0)), myhdl.Signal(myhdl.modbv(0)[4:])
    tristate = myhdl.TristateSignal(bool(0))
    driver = tristate.driver()

    @myhdl.always(myhdl.delay(62))  # type: ignore[untyped-decorator]
    def tick() -> None:
        clock.next = not clock

    @myhdl.always(clock.posedge)  # type: ignore[untyped-decorator]
    def up() -> None:
        count.next = count + 1
        driver.next = None if count[3] else bool(count[0])

    return tick, up


def by_myhdl(folder: Path) -> Path:
    bench = counter()
    bench.config_sim(trace=True, directory=str(folder), filename="writer", timescale="1ns")
    bench.run_sim(MYHDL_STEPS, quiet=1)
    bench.quit_sim()
    return folder / "writer.vcd"


WRITERS = {"icarus": icarus, "verilator": verilator, "ghdl": ghdl, "migen": by_migen, "myhdl": by_myhdl}


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """The file that a program writes, made once."""
    made: dict[str, Path] = {}

    def by(name: str) -> Path:
        if name not in made:
            made[name] = WRITERS[name](tmp_path_factory.mktemp(name))
        return made[name]

    return by


def counted_down(view: dict[str, Any]) -> dict[str, Any]:
    """Name the bits of a vector that is declared upwards as the other readers' views do."""
    return {
        re.sub(r"\.rising\[(\d)\]$", lambda m: f".rising[{2 - int(m[1])}]", k): v for k, v in view.items()
    }


@pytest.mark.parametrize("name", WRITERS)
def test_what_a_program_writes_is_read_as_others_read_it(written: Callable[[str], Path], name: str) -> None:
    path = written(name)
    for block_bytes in (1 << 12, 1 << 22):
        with Source(path) as source:
            blocks = VcdReader(block_bytes=block_bytes).blocks(source, window=Window(), progress=Silent())
            capture = join(blocks)
        ours = counted_down(peers.of_capture(capture))
        assert ours == peers.of_pyvcd(path)
        assert ours == peers.of_pywellen(path, capture.start)
    assert capture.truncated == ""


@pytest.mark.parametrize(
    ("name", "edges", "tick"),
    [
        ("icarus", 79, 1e-12),
        ("verilator", 79, 1e-12),
        ("ghdl", 79, 1e-15),
        ("migen", 2 * MIGEN_CYCLES, 1e-9),
        ("myhdl", MYHDL_STEPS // 62 - 1, 1e-9),
    ],
)
def test_the_clock_has_the_edges_it_was_given(
    written: Callable[[str], Path], name: str, edges: int, tick: float
) -> None:
    """5 us of half periods of 62.5 ns: 79 edges after the first time, or 80 with that at 5 us itself.

    MyHDL's first time is its first edge.
    """
    with Source(written(name)) as source:
        capture = join(VcdReader().blocks(source, window=Window(), progress=Silent()))
    clock = next(c for c in capture.channels if c.name.endswith(("clock", "clk")))
    assert edges <= clock.ticks.size <= edges + 2
    assert float(capture.tick) == pytest.approx(tick)


def test_the_nine_levels_of_vhdl_are_known_unknown_or_floating(written: Callable[[str], Path]) -> None:
    """At time 0 the vector is UX01ZWLH-, the highest bit first."""
    with Source(written("ghdl")) as source:
        capture = join(VcdReader().blocks(source, window=Window(), progress=Silent()))
    assert [capture.channel(f"writer.nine[{bit}]").initial for bit in range(8, -1, -1)] == [
        2,
        2,
        0,
        1,
        3,
        2,
        0,
        1,
        2,
    ]
