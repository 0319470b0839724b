"""``rastertap timing`` as a user runs it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from rastertap.bench.analyser import Analyser, plug
from rastertap.bench.faults import parse_fault
from rastertap.bench.machines import MARLOW_50
from rastertap.bench.make import make_capture
from rastertap.cli.main import main

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="module")
def captures(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A clean capture, and one whose chip loses a line in every second field."""
    folder = tmp_path_factory.mktemp("timing")
    made = {}
    for name, faults in (("clean", []), ("lost", [parse_fault("chip-lost-line:every=2")])):
        made[name] = folder / f"{name}.vcd"
        make_capture(MARLOW_50, Analyser(plug(MARLOW_50, channels=8), fields=3.3), faults).write_vcd(
            made[name]
        )
    return made


def run(*arguments: str) -> tuple[int, str]:
    result = CliRunner().invoke(main, ["timing", *arguments], standalone_mode=False)
    assert result.exception is None, result.exception
    return int(result.return_value), result.output


def test_a_clean_capture_passes_and_is_named(captures: dict[str, Path]) -> None:
    code, text = run(str(captures["clean"]))
    assert code == 0
    assert "312/50: 312-line 50 Hz without interlace" in text
    assert "576 pixel clocks, in every line" in text


def test_a_lost_line_gives_exit_code_1_and_the_field(captures: dict[str, Path]) -> None:
    code, text = run(str(captures["lost"]))
    assert code == 1
    assert "311 lines, -1" in text


def test_the_limit_set_can_be_chosen(captures: dict[str, Path]) -> None:
    code, text = run(str(captures["clean"]), "--limits", "625-broadcast", "--timebase-ppm", "0")
    assert code == 1  # no home computer without interlace has 312.5 lines
    assert "timing.lines_per_field" in text


def test_drawings_and_json_are_written(captures: dict[str, Path], tmp_path: Path) -> None:
    code, _ = run(
        str(captures["clean"]), "--draw", str(tmp_path / "new" / "folder"), "--json", str(tmp_path / "t.json")
    )
    assert code == 0
    assert sorted(p.name for p in (tmp_path / "new" / "folder").iterdir()) == ["field-sync.svg", "line.svg"]
    assert json.loads((tmp_path / "t.json").read_text())["timing"]["standard"] == "312/50"


def test_quiet_writes_nothing(captures: dict[str, Path]) -> None:
    assert run(str(captures["clean"]), "--quiet")[1] == ""
