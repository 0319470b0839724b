"""Folders of captures, and the command in this process."""

from __future__ import annotations

import json
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from rastertap.cli.main import run

if TYPE_CHECKING:
    from collections.abc import Callable

CAPTURES = Path(__file__).parents[2] / "captures"
BOARD = str(CAPTURES / "marlow85-50.toml")


@dataclass(frozen=True)
class Result:
    code: int
    out: str
    err: str


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Seven captures: sound ones, faulty ones, one cut short, one that is none."""
    place = tmp_path / "in"
    place.mkdir()
    for number, name in enumerate(("", "-clock-drops", "-shifted", "", "-lost-lines")):
        shutil.copy(CAPTURES / f"marlow85-50{name}.vcd.gz", place / f"board-{1000 + number}.vcd.gz")
    whole = (CAPTURES / "marlow85-50.vcd.gz").read_bytes()
    (place / "board-1005.vcd.gz").write_bytes(whole[: len(whole) // 2])
    (place / "board-1006.vcd").write_text("this is no capture\n")
    return place


@pytest.fixture
def rastertap(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[..., Result]:
    def command(*arguments: str | Path) -> Result:
        monkeypatch.setattr(sys, "argv", ["rastertap", *map(str, arguments)])
        with pytest.raises(SystemExit) as left:
            run()
        written = capsys.readouterr()
        assert isinstance(left.value.code, int)
        return Result(left.value.code, written.out, written.err)

    return command


@pytest.fixture
def rows_in() -> Callable[[Path], list[dict[str, Any]]]:
    return _rows_in


@pytest.fixture
def says_what_a_plain_loop_says(folder: Path) -> Callable[[list[dict[str, Any]]], bool]:
    """Whether rows are what a plain loop gives, in every finding and to the last bit."""
    return lambda rows: _comparable(rows) == _plain_loop(folder)


def _rows_in(out: Path) -> list[dict[str, Any]]:
    """All rows of a folder, sorted by capture."""
    lines = (out / "rows.jsonl").read_text().splitlines()
    return sorted((json.loads(line) for line in lines), key=lambda row: row["path"])


_KNOWN: dict[bytes, dict[str, Any]] = {}
"""What was said of a capture, by its content: each is analysed once for all tests."""


def _plain_loop(folder: Path) -> list[dict[str, Any]]:
    """What a loop over `analyse_path` says."""
    from rastertap.errors import CaptureError

    said = []
    for path in sorted(folder.iterdir()):
        content = path.read_bytes()
        try:
            if content not in _KNOWN:
                _KNOWN[content] = _analysed(path)
            said.append({"path": str(path), **_KNOWN[content]})
        except CaptureError as error:
            said.append({"path": str(path), "place": "", "text": str(error), "findings": []})
    return said


def _analysed(path: Path) -> dict[str, Any]:
    from rastertap.analyse import Request, analyse_path
    from rastertap.board.load import load_board

    analysis = analyse_path(str(path), Request(load_board(BOARD)))
    found = [[f.id, f.result, f.measured, f.uncertainty] for f in analysis.findings]
    return {"place": analysis.verdict.place, "text": analysis.verdict.text, "findings": found}


def _comparable(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Rows as `_plain_loop` gives them."""
    keys = ("id", "result", "measured", "uncertainty")
    return [
        {k: row[k] for k in ("path", "place", "text")}
        | {"findings": [[f[k] for k in keys] for f in row["findings"]]}
        for row in rows
    ]
