"""Files made to take much memory, read by a process that may have little."""

from __future__ import annotations

import gzip
import json
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest
import zstandard

if TYPE_CHECKING:
    from pathlib import Path

MB = 1 << 20
FLOOR = 96 * MB
"""Beside 4 times the file: the reader's buffers, which do not grow with it, and the stacks of its threads."""

LIMITED = """
import resource, sys
from rastertap.capture.read import read_capture, read_pieces
from rastertap.errors import RastertapError

how, warm, path, allowed = sys.argv[1:]
read_capture(warm)  # kernels are compiled, libraries loaded: what comes is for the file alone
used = next(int(line.split()[1]) << 10 for line in open("/proc/self/status") if line.startswith("VmData"))
resource.setrlimit(resource.RLIMIT_DATA, (used + int(allowed),) * 2)
try:
    if how == "whole":
        read_capture(path, text_limit=10**8)
    else:
        for piece in read_pieces(path):
            del piece
    print("read")
except RastertapError as error:
    print("refused:", error)
"""

MEASURED = """
import sys
from rastertap.cli.main import main

try:
    main(sys.argv[1:])
except SystemExit:
    pass
# The rusage of a child begins at its parent's: the process says its own peak, kB.
print(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")))
"""

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="RLIMIT_DATA and /proc are Linux's")

HEADER = b"$timescale 1 ns $end\n$var wire 1 ! a $end\n$enddefinitions $end\n"
SMALL = HEADER + b"#0\n0!\n#5\n1!\n"
TABLE = b"time_ns,a\n0,0\n1,1\n"


def read_limited(folder: Path, data: bytes, *, how: str = "whole", name: str = "hostile") -> str:
    """Read in a process that gets 4 times the file's size and `FLOOR`; what it said."""
    (folder / "warm").write_bytes(TABLE if name.endswith(".csv") else SMALL)
    (folder / name).write_bytes(data)
    arguments = [how, str(folder / "warm"), str(folder / name), str(4 * len(data) + FLOOR)]
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, *arguments], capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.parametrize("pack", [gzip.compress, zstandard.compress], ids=["gzip", "zstd"])
@pytest.mark.parametrize(
    ("begin", "filler", "says"),
    [
        (b"", b"\0", "no reader knows this format"),
        (HEADER + b"#0\n0!\n", b" ", "unpacks to more than 100000000 bytes"),
        (HEADER + b"#0\n0!\n#5\n", b"1", "a token of more than"),
        (b"time_ns,a\n0,0\n", b"1", "a line of more than"),
    ],
    ids=["zeros", "blanks", "token", "line"],
)
def test_a_decompression_bomb_is_refused(
    tmp_path: Path, pack: object, begin: bytes, filler: bytes, says: str
) -> None:
    """128 MB of text in 128 kB or less."""
    assert callable(pack)
    many = pack(filler * (64 * MB))  # members and frames may follow one another
    told = read_limited(tmp_path, pack(begin) + many * 2, name="bomb.csv" if b"time" in begin else "bomb")
    assert told.startswith("refused: ")
    assert says in told


@pytest.mark.parametrize(
    "declarations",
    [
        b"$var wire 1000000000 ! a $end\n",
        b"$var wire 99999999999999999999 ! a $end\n",
        b"".join(b"$var wire 60000 %c a%d $end\n" % (33 + i, i) for i in range(90)),
        b"$var wire 60000 ! a" + b"a" * 1_000_000 + b" $end\n",
        b"$scope module " + b"s" * 1_000_000 + b" $end\n" + b"$var wire 9 ! a $end\n" * 1000,
        b"$var wire 1 ! a [" + b"9" * 5000 + b":0] $end\n",
        b"$var wire " + b"9" * 5000 + b" ! a $end\n",
        b"$var wire 1 ! a [999999999:0] $end\n",
        b"$scope module x $end\n" * 20_000 + b"$var wire 1 ! a $end\n",
        b"$var wire 1 " + b"!" * 3_000_000 + b" a $end\n",
        b"$timescale " + b"1" * 1_000_000 + b" ns $end\n$var wire 1 ! a $end\n",
    ],
    ids=[
        "wide",
        "wider",
        "many",
        "long name",
        "long scope",
        "long range",
        "long width",
        "range",
        "deep",
        "long code",
        "long scale",
    ],
)
def test_absurd_declarations_are_refused(tmp_path: Path, declarations: bytes) -> None:
    data = b"$timescale 1 ns $end\n" + declarations + b"$enddefinitions $end\n#0\n0!\n#5\n1!\n"
    assert read_limited(tmp_path, data).startswith(("refused: ", "read"))


def test_many_signals_take_four_times_the_file_at_most(tmp_path: Path) -> None:
    count = 20_000
    names = b"".join(b"$var wire 1 %x memory_cell_%d $end\n" % (i + 0x100000, i) for i in range(count))
    data = b"$timescale 1 ns $end\n" + names + b"$enddefinitions $end\n#0\n0100000\n#5\n1100000\n"
    assert read_limited(tmp_path, data) == "read\n"


def test_absurd_tables_are_refused(tmp_path: Path) -> None:
    wide = b",".join([b"time_ns", *(b"c%d" % i for i in range(9000))]) + b"\n" + b"5" + b",0" * 9000 + b"\n"
    assert "refused" in read_limited(tmp_path, wide, name="wide.csv")
    deep = b"time_ns,a\n" + b"".join(b"%d,%d\n" % (t % 2 + t, t % 2) for t in range(0, 60_000, 2))
    assert "read" in read_limited(tmp_path, deep, name="deep.csv")


def test_a_dense_recording_takes_four_times_its_size_at_most(tmp_path: Path) -> None:
    """A change in every six bytes, each of which becomes a time of eight bytes and a level."""
    text = HEADER + b"".join(b"#%d\n%d!\n" % (t, t & 1) for t in range(1_500_000))
    assert read_limited(tmp_path, text) == "read\n"
    assert read_limited(tmp_path, text, how="pieces") == "read\n"


def test_a_check_of_wide_vectors_that_always_toggle_keeps_to_the_memory_of_any_other(tmp_path: Path) -> None:
    """64 changes in a line of 70 bytes, all in less time than a piece lasts: so it is with any file."""
    path = tmp_path / "wide.vcd"
    pair = f"b{'10' * 32} !\n#%d\nb{'01' * 32} !\n#%d\n"
    lines = "".join(pair % (t, t + 1) for t in range(1, 600_000, 2))
    path.write_text(
        f"$timescale 1 ns $end\n$var wire 64 ! bus [63:0] $end\n$enddefinitions $end\n#0\n{lines}"
    )
    out = tmp_path / "out.json"
    command = [sys.executable, "-c", MEASURED, "check", str(path), "--json", str(out), "--quiet"]
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=300)
    told = json.loads(out.read_text())
    assert sum(c["edges"] for c in told["capture"]["channels"]) == 64 * 600_000 - 64
    assert int(done.stdout) < 650_000
