"""Running the command line in this process, as the console command does, and in a process of its own."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from rastertap.cli.main import run

if TYPE_CHECKING:
    from collections.abc import Callable

CAPTURES = Path(__file__).parents[2] / "captures"


@dataclass(frozen=True)
class Result:
    """Exit code and what was written."""

    code: int
    out: str
    err: str


@pytest.fixture
def captures() -> Path:
    """The folder of the demo captures."""
    return CAPTURES


@pytest.fixture
def good() -> str:
    """A capture in which all is right."""
    return str(CAPTURES / "marlow85-50.vcd.gz")


@pytest.fixture
def faulty() -> str:
    """A capture in which something is out of limits."""
    return str(CAPTURES / "marlow85-50-lost-lines.vcd.gz")


@pytest.fixture
def board() -> str:
    """The board file of both."""
    return str(CAPTURES / "marlow85-50.toml")


@pytest.fixture
def rastertap(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> Callable[..., Result]:
    """Run the console command's entry point, in an empty folder."""
    monkeypatch.chdir(tmp_path)

    def command(*arguments: str) -> Result:
        monkeypatch.setattr(sys, "argv", ["rastertap", *arguments])
        with pytest.raises(SystemExit) as left:
            run()
        written = capsys.readouterr()
        assert isinstance(left.value.code, int)
        return Result(left.value.code, written.out, written.err)

    return command


@pytest.fixture
def process(tmp_path: Path) -> Callable[..., subprocess.CompletedProcess[bytes]]:
    """Run the command in a process of its own."""

    def command(*arguments: str, stdin: bytes = b"") -> subprocess.CompletedProcess[bytes]:
        return subprocess.run(
            [sys.executable, "-m", "rastertap", *arguments],
            input=stdin,
            cwd=tmp_path,
            capture_output=True,
            timeout=120,
            check=False,
        )

    return command


@pytest.fixture
def hostile(tmp_path: Path) -> Path:
    """A VCD whose names, scopes and comment try to move the cursor, set the title, or be taken for markup."""
    names = [HOSTILE_TITLE, HOSTILE_CLEAR, HOSTILE_HTML, HOSTILE_RICH, HOSTILE_LONG]
    wires = b"".join(b"$var wire 1 %c %s $end\n" % (33 + i, n) for i, n in enumerate(names))
    pulses = b"".join(
        b"#%d\n%d%c\n" % (100 * t + i, (t + i) % 2, 33 + i) for t in range(400) for i in range(len(names))
    )
    path = tmp_path / "hostile.vcd"
    path.write_bytes(b"$timescale 1 ns $end\n" + wires + b"$enddefinitions $end\n" + pulses)
    return path


HOSTILE_TITLE = b"\x1b]0;owned\x07"
HOSTILE_CLEAR = b"\x1b[2J\x1b[Hgone\r"
HOSTILE_HTML = b"<script>alert(1)</script>"
HOSTILE_RICH = b"[bold]red[/bold]"
HOSTILE_LONG = b"n" * 5_000
