"""`rastertap watch`: captures checked as they land, in a process of its own, ended as a user ends it."""

from __future__ import annotations

import re
import shutil
import signal
import subprocess
import sys
import threading
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


class Watching:
    """A running command, with what it has written so far."""

    def __init__(self, *arguments: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-u", "-m", "rastertap", "watch", *arguments],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self.text = ""
        self._more = threading.Condition()
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    def _read(self) -> None:
        for line in self.process.stdout or ():
            with self._more:
                self.text += line
                self._more.notify_all()

    def wait_for(self, words: str, seconds: float = 60) -> None:
        with self._more:
            assert self._more.wait_for(lambda: words in self.text, seconds), self.text

    def end(self, how: signal.Signals = signal.SIGINT) -> int:
        self.process.send_signal(how)
        code = self.process.wait(20)
        self._reader.join(20)
        return code

    def close(self) -> None:
        if self.process.poll() is None:
            self.end(signal.SIGKILL)
        if self.process.stdout is not None:
            self.process.stdout.close()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "saved"
    made.mkdir()
    return made


@pytest.fixture
def board(captures: Path) -> str:
    return str(captures / "marlow85-50.toml")


@pytest.fixture
def watching(folder: Path, board: str) -> Iterator[Watching]:
    started = Watching(str(folder), "--board", board, "--every", "100ms")
    yield started
    started.close()


def test_captures_are_checked_as_they_land_and_ctrl_c_leaves_with_130(
    watching: Watching, folder: Path, captures: Path
) -> None:
    watching.wait_for("Ctrl-C ends it")
    whole = (captures / "marlow85-50-clock-drops.vcd.gz").read_bytes()
    with (folder / "before.vcd.gz").open("wb") as file:
        for start in range(0, len(whole), 400_000):
            file.write(whole[start : start + 400_000])
            file.flush()
    watching.wait_for("1  FAULT       before.vcd.gz: the clock")
    shutil.copy(captures / "marlow85-50.vcd.gz", folder / "after.vcd.gz")
    watching.wait_for("clock.missing_cycles: fault → in limits")
    assert "2  ok          after.vcd.gz: after the pins" in watching.text
    assert "since before.vcd.gz:" in watching.text
    (folder / "broken.vcd").write_text("nothing of use\n")
    watching.wait_for("3  unreadable  broken.vcd")
    assert watching.end() == 130
    assert watching.text.rstrip().endswith("interrupted")
    assert "Traceback" not in watching.text
    pages = sorted(p.name for p in (folder / "rastertap-pages").iterdir())
    assert pages == ["001-before.vcd.gz.html", "002-after.vcd.gz.html", "index.html", "version.txt"]


def test_ctrl_c_before_any_capture_leaves_a_history_that_says_so(watching: Watching, folder: Path) -> None:
    watching.wait_for("Ctrl-C ends it")
    assert watching.end() == 130
    assert "No capture yet." in (folder / "rastertap-pages" / "index.html").read_text()


def test_existing_captures_end_a_session_of_so_many(folder: Path, board: str, captures: Path) -> None:
    shutil.copy(captures / "marlow85-50-lost-lines.vcd.gz", folder)
    done = subprocess.run(
        [
            *(sys.executable, "-m", "rastertap", "watch", str(folder), "--board", board, "-q"),
            *("--every", "50ms", "--existing", "--stop-after", "1", "--out", str(folder / "new" / "pages")),
        ],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert (done.returncode, done.stdout, done.stderr) == (1, "", "")
    history = (folder / "new" / "pages" / "index.html").read_text()
    assert re.search(r"<strong>the video chip</strong>", history)


def test_a_path_that_is_no_folder_is_a_usage_error(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "rastertap", "watch", str(tmp_path / "none")],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 2
    assert "is no folder" in done.stderr
