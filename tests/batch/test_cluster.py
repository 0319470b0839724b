"""A real scheduler and two workers on loopback, one of them killed in the middle."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    Command = Callable[..., Any]

BOARD = str(Path(__file__).parents[2] / "captures" / "marlow85-50.toml")
SLOW_S = 240
"""Two workers that compile first, beside other tests on two cores, take over a minute to begin."""


class Cluster:
    """Processes as the README says to start them."""

    def __init__(self, stack: ExitStack, folder: Path) -> None:
        self._stack, self._folder = stack, folder
        host = ("scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--no-show")
        self.scheduler = self._start(*host)
        self.address = self._said(0, r"Scheduler at:\s+(tcp://\S+)")
        self.workers = [self.worker(), self.worker()]

    def _start(self, *arguments: str) -> subprocess.Popen[bytes]:
        log = self._folder / f"log{len(list(self._folder.glob('log*')))}"
        with log.open("wb") as file:
            process = subprocess.Popen(
                [sys.executable, "-m", "distributed.cli.dask_" + arguments[0], *arguments[1:]],
                stdout=file,
                stderr=file,
                cwd=self._folder,
            )
        self._stack.callback(process.wait)
        self._stack.callback(process.kill)
        return process

    def _said(self, log: int, pattern: str) -> str:
        until = time.monotonic() + 40
        while time.monotonic() < until:
            found = re.search(pattern, (self._folder / f"log{log}").read_text())
            if found:
                return found.group(1)
            time.sleep(0.05)
        pytest.fail((self._folder / f"log{log}").read_text())

    def worker(self) -> subprocess.Popen[bytes]:
        """Start one more; without a nanny, so that a kill is the end of it."""
        here = ("--host", "127.0.0.1", "--no-nanny", "--no-dashboard", "--nthreads", "1")
        return self._start("worker", self.address, *here)


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    folder = tmp_path / "cluster"
    folder.mkdir()
    with ExitStack() as stack:
        yield Cluster(stack, folder)


def _wait_for_a_row(running: subprocess.Popen[bytes], out: Path) -> None:
    """Wait until the first capture's row is written whole."""
    rows, until = out / "rows.jsonl", time.monotonic() + SLOW_S
    while not (rows.exists() and b"\n" in rows.read_bytes()):
        if running.poll() is not None or time.monotonic() > until:
            running.kill()
            pytest.fail(f"no row: {running.communicate()}")
        time.sleep(0.01)


def test_a_cluster_that_loses_a_worker_gives_what_a_plain_loop_gives(
    cluster: Cluster,
    folder: Path,
    tmp_path: Path,
    rows_in: Callable[[Path], list[dict[str, Any]]],
    says_what_a_plain_loop_says: Callable[[list[dict[str, Any]]], bool],
) -> None:
    out = tmp_path / "out"
    arguments = ["batch", str(folder), "--board", BOARD, "--out", str(out), "--cluster", cluster.address]
    running = subprocess.Popen(
        [sys.executable, "-m", "rastertap", *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    _wait_for_a_row(running, out)
    cluster.workers[0].kill()
    said, wrong = running.communicate(timeout=SLOW_S)
    assert running.returncode == 3, wrong.decode()
    assert b"7 checked now, 0 known from before" in said
    found = rows_in(out)
    assert len(found) == 7
    assert says_what_a_plain_loop_says(found)
    assert cluster.scheduler.poll() is None
    assert cluster.workers[1].poll() is None


def test_an_address_where_nothing_answers_is_said(
    rastertap: Command, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rastertap.batch.cluster.CONNECT_S", 1)
    result = rastertap("batch", folder, "--out", tmp_path / "out", "--cluster", "tcp://127.0.0.1:9")
    assert result.code == 2
    assert "no scheduler at tcp://127.0.0.1:9" in result.err
    assert "dask scheduler" in result.err


def test_a_run_whose_scheduler_dies_ends_says_so_and_goes_on_elsewhere(
    cluster: Cluster,
    folder: Path,
    tmp_path: Path,
    rows_in: Callable[[Path], list[dict[str, Any]]],
    *,
    says_what_a_plain_loop_says: Callable[[list[dict[str, Any]]], bool],
    rastertap: Command,
) -> None:
    out = tmp_path / "out"
    arguments = ["batch", str(folder), "--board", BOARD, "--out", str(out)]
    command = [sys.executable, "-m", "rastertap", *arguments, "--cluster", cluster.address]
    running = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    _wait_for_a_row(running, out)
    cluster.scheduler.kill()
    _, wrong = running.communicate(timeout=SLOW_S)
    assert running.returncode == 2
    assert b"the scheduler" in wrong
    assert b"Traceback" not in wrong, wrong.decode()
    kept = len(rows_in(out))
    assert 0 < kept < 7
    result = rastertap(*arguments)
    assert f"{7 - kept} checked now, {kept} known from before" in result.out
    assert says_what_a_plain_loop_says(rows_in(out))
