"""`rastertap check`: what it writes where, and its exit codes."""

from __future__ import annotations

import gzip
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable


def test_a_capture_in_which_all_is_right_leaves_with_0(
    rastertap: Callable[..., Any], good: str, board: str
) -> None:
    result = rastertap("check", good, "--board", board)
    assert (result.code, result.err) == (0, "")
    assert "FAULT" not in result.out


def test_a_capture_out_of_limits_leaves_with_1_and_says_why_and_what_next(
    rastertap: Callable[..., Any], faulty: str, board: str
) -> None:
    result = rastertap("check", faulty, "--board", board)
    assert (result.code, result.err) == (1, "")
    assert "VERDICT: the video chip" in result.out
    headings = ("NEXT", "FOUND", "PINS", "FINDINGS", "BEFORE YOU TOUCH ANYTHING")
    assert [h for h in headings if f"\n{h}\n" not in result.out] == []
    assert "FAULT  timing.lines_per_field" in result.out


@pytest.mark.parametrize(
    ("content", "place"),
    [
        (b"", "capture.vcd (byte 0): no reader knows this format"),
        (b"not a dump", "capture.vcd (byte 0): no reader knows this format"),
        (b"$timescale 1 ns $end\n", "capture.vcd:2:1 (byte 21): the file ends before any signal"),
        (
            b"$timescale 1 ns $end $var wire 1 ! a $end $enddefinitions $end\n#0\n0!\n#x\n",
            "capture.vcd:4:1 (byte 69): ",
        ),
    ],
    ids=["empty", "other", "headless", "broken"],
)
def test_an_unreadable_capture_leaves_with_3_and_says_where(
    rastertap: Callable[..., Any], content: bytes, place: str
) -> None:
    Path("capture.vcd").write_bytes(content)
    result = rastertap("check", "capture.vcd")
    assert (result.code, result.out) == (3, "")
    assert result.err.startswith(f"error: {place}")
    assert "\nhint: " in result.err


def test_a_capture_that_is_not_there_leaves_with_3(rastertap: Callable[..., Any]) -> None:
    result = rastertap("check", "nothing.vcd")
    assert (result.code, result.out) == (3, "")
    assert "error: nothing.vcd: no such file" in result.err


@pytest.mark.parametrize("packed", [True, False])
def test_standard_input_gives_what_the_file_gives(
    process: Callable[..., Any], good: str, *, packed: bool
) -> None:
    stored = Path(good).read_bytes()
    read = json.loads(process("check", good, "--json", "-").stdout)
    piped = process("check", "-", "--json", "-", stdin=stored if packed else gzip.decompress(stored))
    assert (piped.returncode, piped.stderr) == (0, b"")
    result = json.loads(piped.stdout)
    assert result["capture"]["path"] == "-"
    for part in ("pins", "clock", "sampling", "timing", "frames", "findings", "verdict"):
        assert result[part] == read[part]


def test_quiet_writes_nothing_and_the_exit_code_tells(
    rastertap: Callable[..., Any], good: str, faulty: str, board: str
) -> None:
    fine, wrong = (rastertap("check", path, "--board", board, "--quiet") for path in (good, faulty))
    assert (fine.code, fine.out, fine.err) == (0, "", "")
    assert (wrong.code, wrong.out, wrong.err) == (1, "", "")


def test_json_on_standard_output_is_all_that_is_there(
    rastertap: Callable[..., Any], faulty: str, board: str
) -> None:
    result = rastertap("check", faulty, "--board", board, "--json", "-")
    assert (result.code, result.err) == (1, "")
    assert json.loads(result.out)["schema"] == "rastertap.check/1"


def test_json_into_a_folder_that_is_not_there_makes_it(rastertap: Callable[..., Any], good: str) -> None:
    result = rastertap("check", good, "--json", "new/folder/result.json")
    assert result.code == 0
    assert "VERDICT" in result.out
    assert json.loads(Path("new/folder/result.json").read_text())["schema"] == "rastertap.check/1"
    assert [p.name for p in Path("new/folder").iterdir()] == ["result.json"]


@pytest.mark.parametrize("option", ["--json", "--frames"])
def test_an_output_that_cannot_be_written_leaves_with_2_and_names_it(
    rastertap: Callable[..., Any], good: str, option: str
) -> None:
    """A file stands where a folder is needed, which stops even the super-user."""
    Path("file").write_text("in the way")
    result = rastertap("check", good, option, "file/out")
    assert (result.code, result.out) == (2, "")
    assert "error: cannot write file/out: " in result.err
    assert "hint: " in result.err
    assert Path("file").read_text() == "in the way"


def test_frames_written_by_check_are_named_in_its_json(rastertap: Callable[..., Any], good: str) -> None:
    rastertap("check", good, "--frames", "out", "--json", "out/result.json", "--quiet")
    frames = json.loads(Path("out/result.json").read_text())["frames"]
    assert len(frames) >= 2
    for frame in frames:
        assert Path(frame["png"]).is_file()
        assert Path(frame["codes"]).is_file()


def test_without_frames_the_json_names_no_file(rastertap: Callable[..., Any], good: str) -> None:
    frames = json.loads(rastertap("check", good, "--json", "-").out)["frames"]
    assert {(frame["png"], frame["codes"]) for frame in frames} == {(None, None)}


@pytest.mark.parametrize("columns", ["20", "80", "100", "500"])
def test_neither_width_nor_colour_of_the_terminal_changes_what_is_said(
    rastertap: Callable[..., Any], faulty: str, monkeypatch: pytest.MonkeyPatch, columns: str
) -> None:
    usual = rastertap("check", faulty).out.split()
    monkeypatch.setenv("COLUMNS", columns)
    monkeypatch.setenv("NO_COLOR", "1")
    result = rastertap("check", faulty)
    assert result.out.split() == usual
    assert "\x1b" not in result.out


@pytest.mark.parametrize("command", ["check", "pins"])
def test_hostile_names_do_not_reach_the_terminal(
    rastertap: Callable[..., Any], hostile: Path, command: str
) -> None:
    result = rastertap(command, str(hostile))
    assert result.code in {0, 1}
    assert (result.out + result.err).replace("\n", "").isprintable()
    assert "\\x1b]0;owned" in result.out
    assert "<script>alert(1)</script>" in result.out
    assert "[bold]red[/bold]" in result.out
    assert max(map(len, result.out.splitlines())) < 300, "a very long name may not flood the screen"


def test_hostile_names_are_kept_whole_in_the_json(rastertap: Callable[..., Any], hostile: Path) -> None:
    result = rastertap("check", str(hostile), "--json", "-")
    names = [channel["name"] for channel in json.loads(result.out)["capture"]["channels"]]
    assert "\x1b]0;owned\x07" in names
    assert result.out.replace("\n", "").isprintable()


def test_a_hostile_name_in_an_error_does_not_reach_the_terminal(rastertap: Callable[..., Any]) -> None:
    result = rastertap("check", "\x1b[2Jgone.vcd")
    assert result.code == 3
    assert "\x1b" not in result.err
    assert "\\x1b[2Jgone.vcd" in result.err
