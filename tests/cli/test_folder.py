"""`rastertap check` on a folder, and other commands that refuse one."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable


@pytest.fixture
def folder(good: str, faulty: str, tmp_path: Path) -> Path:
    """A sound capture, a faulty one, and what lies beside captures."""
    folder = tmp_path / "bench"
    (folder / "older").mkdir(parents=True)
    shutil.copy(faulty, folder / "b.vcd.gz")
    shutil.copy(good, folder / "c")  # known by its content
    shutil.copy(good, folder / ".hidden.vcd.gz")
    (folder / "notes.txt").write_text("board 3, socketed chip\n")
    (folder / "a.toml").write_text('schema = "rastertap.board/1"\n')
    return folder


def test_every_capture_of_a_folder_gets_a_line_in_the_order_of_names(
    rastertap: Callable[..., Any], folder: Path
) -> None:
    result = rastertap("check", str(folder))
    lines = result.out.splitlines()
    assert [line.split(":")[0].split() for line in lines] == [
        ["FAULT", str(folder / "b.vcd.gz")],
        ["ok", str(folder / "c")],
    ]
    assert "the video chip" in lines[0]
    assert result.code == 1


def test_an_unreadable_capture_stops_none_of_the_rest(rastertap: Callable[..., Any], folder: Path) -> None:
    (folder / "a.vcd").write_bytes(b"rubbish")
    result = rastertap("check", str(folder))
    assert [line.split()[0] for line in result.out.splitlines()] == ["unreadable", "FAULT", "ok"]
    assert "a.vcd (byte 0): no reader knows this format" in result.out
    assert result.code == 3


def test_a_sound_folder_leaves_with_0_and_quiet_writes_nothing(
    rastertap: Callable[..., Any], folder: Path
) -> None:
    (folder / "b.vcd.gz").unlink()
    result = rastertap("check", str(folder), "--quiet")
    assert (result.code, result.out) == (0, "")


def test_a_folder_without_captures_leaves_with_3(rastertap: Callable[..., Any], tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("nothing yet\n")
    result = rastertap("check", str(tmp_path))
    assert (result.code, result.out) == (3, "")
    assert "no capture in this folder" in result.err


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="named pipes are a Unix thing")
def test_a_named_pipe_in_a_folder_is_not_waited_for(rastertap: Callable[..., Any], folder: Path) -> None:
    os.mkfifo(folder / "pipe.vcd")
    (folder / "b.vcd.gz").unlink()
    assert rastertap("check", str(folder)).code == 0


@pytest.mark.parametrize("option", ["--json", "--frames"])
def test_results_of_several_captures_do_not_overwrite_each_other(
    rastertap: Callable[..., Any], folder: Path, option: str
) -> None:
    result = rastertap("check", str(folder), option, "out")
    assert (result.code, result.out) == (2, "")
    assert "check one capture at a time" in result.err
    assert not Path("out").exists()


@pytest.mark.parametrize("command", [("pins",), ("timing",), ("frames",), ("board", "new")])
def test_other_commands_refuse_a_folder(
    rastertap: Callable[..., Any], folder: Path, command: tuple[str, ...]
) -> None:
    result = rastertap(*command, str(folder))
    assert (result.code, result.out) == (3, "")
    assert "this is a folder, not a capture" in result.err
    assert "rastertap check" in result.err


@pytest.mark.parametrize("option", ["--report", "--json", "--frames"])
def test_results_of_several_captures_do_not_go_into_one_place(
    rastertap: Callable[..., Any], folder: Path, tmp_path: Path, option: str
) -> None:
    result = rastertap("check", str(folder), option, str(tmp_path / "out"))
    assert result.code == 2
    assert option in result.err
    assert result.out == ""
    assert not (tmp_path / "out").exists()
