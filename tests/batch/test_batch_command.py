"""`rastertap batch` on this machine: rows, resuming, a kill in the middle, what a station reads."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
import time
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pyarrow.parquet as pq
import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

    Rows = Callable[[Path], list[dict[str, Any]]]
    Same = Callable[[list[dict[str, Any]]], bool]
    Command = Callable[..., Any]

RESULTS = {
    "board-1000.vcd.gz": "pass",
    "board-1001.vcd.gz": "fail",
    "board-1002.vcd.gz": "fail",
    "board-1003.vcd.gz": "pass",
    "board-1004.vcd.gz": "fail",
    "board-1006.vcd": "unreadable",
}
"""By what the bench did to each; the one that is cut short (1005) may be judged either way."""
PLACES = {"board-1001.vcd.gz": "clock", "board-1002.vcd.gz": "taps", "board-1004.vcd.gz": "video_chip"}
BOARD = str(Path(__file__).parents[2] / "captures" / "marlow85-50.toml")
SERIAL = r"board-(?P<serial>\d+)"


def names(rows: list[dict[str, Any]], key: str) -> dict[str, Any]:
    return {row["path"].rpartition("/")[2]: row[key] for row in rows}


def test_a_batch_says_of_each_capture_what_a_plain_loop_says_and_gives_all_it_is_asked_for(
    rastertap: Command,
    folder: Path,
    tmp_path: Path,
    rows_in: Rows,
    says_what_a_plain_loop_says: Same,
) -> None:
    out = tmp_path / "out"
    asked = ("--table", "csv", "--table", "parquet", "--junit", out / "junit.xml", "--labels")
    result = rastertap(
        "batch", folder, "--board", BOARD, "--out", out, *asked, "--pages", "fault", "--serial", SERIAL
    )
    rows = rows_in(out)
    assert result.code == 3  # the worst: one cannot be read
    assert says_what_a_plain_loop_says(rows)
    assert names(rows, "result").items() >= RESULTS.items()
    assert names(rows, "place").items() >= PLACES.items()
    assert [row["serial"] for row in rows] == [str(n) for n in range(1000, 1007)]
    assert "7 captures" in result.out
    assert "7 checked now, 0 known from before" in result.out
    _tables_hold(out, rows)
    _junit_holds(out, rows)
    _labels_hold(out, rows)
    for row in rows:
        assert bool(row["page"]) == (row["result"] in {"fail", "look"})
        assert not row["page"] or "<html" in (out / row["page"]).read_text()
    rollup = json.loads((out / "rollup.json").read_text())
    assert rollup["captures"] == 7
    assert rollup["faults"]["taps.shifted"] == 1
    assert "board-1006.vcd" in (out / "rollup.html").read_text()
    _is_resumed(rastertap, folder, out)


def _tables_hold(out: Path, rows: list[dict[str, Any]]) -> None:
    with (out / "rows.csv").open(newline="") as file:
        lines = list(csv.DictReader(file))
    assert [line["path"] for line in lines] == [row["path"] for row in rows]
    assert [line["taps.shifted"] for line in lines].count("fail") == 1
    clocks = [
        next((f["measured"] for f in row["findings"] if f["id"] == "clock.frequency"), None) for row in rows
    ]
    assert [
        float(line["clock.frequency [Hz]"] or "nan") for line in lines if line["clock.frequency [Hz]"]
    ] == [c for c in clocks if c is not None]
    assert pq.read_table(out / "rows.parquet").column("clock.frequency [Hz]").to_pylist() == clocks


def _junit_holds(out: Path, rows: list[dict[str, Any]]) -> None:
    suites = ET.parse(out / "junit.xml").getroot().findall("testsuite")  # noqa: S314 - our own file
    assert [suite.get("name") for suite in suites] == [row["serial"] for row in rows]
    for suite, row in zip(suites, rows, strict=True):
        failed = [f for f in row["findings"] if f["result"] == "fail"]
        assert len(suite.findall("testcase/failure")) == len(failed) == int(suite.get("failures", -1))
        assert len(suite.findall("testcase")) == int(suite.get("tests", -1))
        assert len(suite.findall("testcase/error")) == int(suite.get("errors", -1))
        assert bool(int(suite.get("errors", -1))) == (row["result"] == "unreadable")


def _labels_hold(out: Path, rows: list[dict[str, Any]]) -> None:
    labels = sorted((out / "labels").iterdir())
    assert len(labels) == len(rows)
    texts = [label.read_text() for label in labels]
    assert all(len(line) <= 32 for text in texts for line in text.splitlines())
    assert all(len(text.splitlines()) <= 4 for text in texts)
    assert "PASS\n" in texts[0]
    assert "S/N 1000\n" in texts[0]


def _is_resumed(rastertap: Command, folder: Path, out: Path) -> None:
    """Nothing is checked twice; what changed is checked anew: one capture, or all when an option changes."""
    again = ("batch", folder, "--board", BOARD, "--out", out, "--pages", "fault", "--serial", SERIAL)
    before = (out / "rows.jsonl").read_bytes()
    assert "0 checked now, 7 known" in rastertap(*again).out
    assert "0 checked now, 7 known" in rastertap(*again, "--rehash").out
    assert (out / "rows.jsonl").read_bytes() == before
    os.utime(folder / "board-1000.vcd.gz")
    assert "0 checked now, 7 known" in rastertap(*again).out  # touched, and still the same by its hash
    (folder / "board-1006.vcd").write_text("still no capture, but another text\n")
    assert "1 checked now, 6 known" in rastertap(*again).out
    next((out / "pages").iterdir()).unlink()
    assert "1 checked now, 6 known" in rastertap(*again).out
    short = rastertap("batch", folder / "board-1006.vcd", "--out", out)
    assert "1 checked now, 0 known" in short.out  # without the board file it is another question


def test_a_run_killed_in_the_middle_goes_on_and_loses_and_repeats_nothing(
    folder: Path,
    tmp_path: Path,
    rastertap: Command,
    rows_in: Rows,
    says_what_a_plain_loop_says: Same,
) -> None:
    out = tmp_path / "out"
    arguments = ["batch", str(folder), "--board", BOARD, "--out", str(out), "--jobs", "2"]
    running = subprocess.Popen([sys.executable, "-m", "rastertap", *arguments], stdout=subprocess.DEVNULL)
    rows, until = out / "rows.jsonl", time.monotonic() + 60
    while time.monotonic() < until and not (rows.exists() and rows.read_bytes().count(b"\n") >= 2):
        time.sleep(0.01)
    running.send_signal(signal.SIGKILL)
    running.wait()
    kept = rows.read_bytes()
    done = kept.count(b"\n")
    assert 2 <= done < 7
    rows.write_bytes(
        kept + b'{"schema":"rastertap.batch/1","path":"/cut/sh'
    )  # as a kill while writing leaves it
    result = rastertap(*arguments)
    assert f"{7 - done} checked now, {done} known from before" in result.out
    assert rows.read_bytes().startswith(kept)
    found = rows_in(out)
    assert len(found) == 7
    assert says_what_a_plain_loop_says(found)


def test_the_workers_end_when_the_run_is_killed(folder: Path, tmp_path: Path) -> None:
    arguments = ["batch", str(folder), "--out", str(tmp_path / "out"), "--jobs", "2"]
    running = subprocess.Popen([sys.executable, "-m", "rastertap", *arguments], stdout=subprocess.DEVNULL)
    children = f"/proc/{running.pid}/task/{running.pid}/children"
    until = time.monotonic() + 60
    workers: list[str] = []
    while len(workers) < 3 and time.monotonic() < until:  # two, and Python's own keeper of resources
        with open(children) as file:  # noqa: PTH123 - no path of ours
            workers = file.read().split()
        time.sleep(0.02)
    running.kill()
    running.wait()
    while any(_runs(pid) for pid in workers) and time.monotonic() < until:
        time.sleep(0.02)
    assert len(workers) >= 3
    assert not [pid for pid in workers if _runs(pid)]


def _runs(pid: str) -> bool:
    try:
        with open(f"/proc/{pid}/stat") as file:  # noqa: PTH123 - no path of ours
            return file.read().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("nowhere.vcd", "--jobs", "2", "--cluster", "tcp://127.0.0.1:1"), "--jobs is of this machine"),
        (("nowhere.vcd", "--serial", "("), "no regular expression"),
        (("nowhere.vcd", "--limits", "none-such"), "none-such"),
        (("nowhere.vcd", "--board", "none.toml"), "cannot be read"),
        (("nowhere.vcd", "--from", "20ms", "--to", "10ms"), "--to must be later"),
        (("--list", "none.txt"), "cannot be read"),
    ],
)
def test_wrong_usage_is_said_before_any_capture_is_read(
    rastertap: Command, tmp_path: Path, arguments: tuple[str, ...], said: str
) -> None:
    result = rastertap("batch", *arguments, "--out", tmp_path / "out")
    assert result.code == 2
    assert said in result.err
    assert not (tmp_path / "out" / "rows.jsonl").exists()


def test_a_capture_that_is_not_there_gets_a_row_and_is_tried_again(
    rastertap: Command, tmp_path: Path, rows_in: Rows
) -> None:
    listed = tmp_path / "list.txt"
    listed.write_text(f"{tmp_path / 'none.vcd'}\n\n")
    for _ in range(2):
        result = rastertap("batch", "--list", listed, "--out", tmp_path / "out")
        assert result.code == 3
        assert "1 checked now" in result.out
    assert [row["result"] for row in rows_in(tmp_path / "out")] == ["unreadable", "unreadable"]


def test_a_folder_without_captures_is_an_error(rastertap: Command, tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    assert rastertap("batch", tmp_path / "in", "--out", tmp_path / "out").code == 3
