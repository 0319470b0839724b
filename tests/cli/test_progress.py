"""The bar on standard error: for someone who watches and waits, and for nobody else."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import time
from typing import TYPE_CHECKING

import pytest

from rastertap.cli import progress
from rastertap.progress import Silent

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

pty = pytest.importorskip("pty", reason="pseudo-terminals are a Unix thing")

IMPATIENT = """
import sys
from rastertap.cli import progress
progress.PATIENCE_S = float(sys.argv.pop(1))
from rastertap.cli.main import run
run()
"""


def on_terminal(*arguments: str, patience: float) -> tuple[int, bytes, bytes]:
    """Run the command with standard error on a terminal: exit code, output, what the terminal was sent."""
    watcher, terminal = pty.openpty()
    environment = {**os.environ, "TERM": "xterm", "COLUMNS": "100"}
    with subprocess.Popen(
        [sys.executable, "-c", IMPATIENT, str(patience), *arguments],
        stdout=subprocess.PIPE,
        stderr=terminal,
        env=environment,
    ) as running:
        os.close(terminal)
        seen = b"".join(_until_closed(watcher))
        assert running.stdout is not None
        out = running.stdout.read()
    os.close(watcher)
    return running.returncode, out, seen


def _until_closed(watcher: int) -> Iterator[bytes]:
    while True:
        try:
            piece = os.read(watcher, 1 << 16)
        except OSError:  # Linux's way to say that nobody holds the terminal any more
            return
        if not piece:
            return
        yield piece


def test_who_waits_on_a_terminal_sees_how_many_bytes_are_read(good: str) -> None:
    code, out, seen = on_terminal("pins", good, patience=0)
    assert code == 0
    assert b"reading" in seen
    assert b"MB" in seen
    assert b"reading" not in out
    assert seen.rstrip().endswith((b"\x1b[2K", b"\x1b[?25h", b"\x1b[1A\x1b[2K"))  # and taken away again


def test_who_need_not_wait_sees_no_bar(good: str) -> None:
    assert on_terminal("pins", good, patience=3600)[::2] == (0, b"")


def test_quiet_means_no_bar(good: str) -> None:
    assert on_terminal("check", good, "--quiet", patience=0)[::2] == (0, b"")


def test_the_bar_comes_after_a_second(monkeypatch: pytest.MonkeyPatch) -> None:
    now = 0.0
    monkeypatch.setattr(time, "monotonic", lambda: now)
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    drawn = progress._Bar()
    drawn.start("reading x", 100)
    now = 0.99
    drawn.advance(10)
    assert drawn._rich is None
    now = 1.01
    drawn.advance(20)
    assert drawn._rich is not None
    assert drawn._rich.tasks[0].completed == 20
    assert drawn._rich.tasks[0].total == 100
    drawn.finish()


def test_a_pipe_gets_no_bar(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(progress, "PATIENCE_S", 0)
    with (tmp_path / "err").open("w") as err:
        monkeypatch.setattr(sys, "stderr", err)
        with progress.bar(quiet=False) as given:
            assert isinstance(given, Silent)
