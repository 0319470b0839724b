"""What makes a row of another run no answer to this one."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from rastertap.analyse import Request
from rastertap.batch import key
from rastertap.batch.task import Settings, check_shard
from rastertap.board.load import load_board
from rastertap.capture.interface import Window
from rastertap.errors import PluginError

BOARD = Path(__file__).parents[2] / "captures" / "marlow85-50.toml"
KNOWN = BOARD.with_name("marlow85-50.pictures.npy")
"""What its known picture refers to."""
REST: dict[str, Any] = {
    "serial": "", "reader": None, "options": {}, "window": Window(), "text_limit": None
}  # fmt: skip


def keyed(board: Path, request: Request | None = None, **changes: Any) -> str:
    return key.settings_key(
        request or Request(load_board(board)), board_path=str(board), **{**REST, **changes}
    )


def test_the_same_question_has_the_same_key(tmp_path: Path) -> None:
    shutil.copy(BOARD, tmp_path / "copy.toml")
    shutil.copy(KNOWN, tmp_path)
    assert keyed(BOARD) == keyed(tmp_path / "copy.toml")


@pytest.mark.parametrize(
    "changes",
    [
        {"serial": "x"},
        {"reader": "vcd"},
        {"options": {"a": "b"}},
        {"window": Window(0, 0.01)},
        {"text_limit": 9},
    ],
)
def test_every_option_changes_the_key(changes: dict[str, Any]) -> None:
    assert keyed(BOARD, **changes) != keyed(BOARD)


def test_board_limits_and_versions_change_the_key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    other = tmp_path / "other.toml"
    other.write_text(BOARD.read_text().replace("9000000", "9000001"))
    shutil.copy(KNOWN, tmp_path)
    request = Request(load_board(BOARD))
    before = keyed(BOARD)
    keys = {
        before,
        keyed(other),
        keyed(BOARD, replace(request, timebase_ppm=20.0)),
        keyed(BOARD, replace(request, limits="625-broadcast")),
        keyed(BOARD, replace(request, settings={"x": {"y": "z"}})),
    }
    here = key.versions()
    monkeypatch.setattr(key, "versions", lambda: {**here, "plug-in": "2"})
    assert len(keys | {keyed(BOARD)}) == 6


def test_a_reference_picture_that_changes_changes_the_key(tmp_path: Path) -> None:
    board = tmp_path / "board.toml"
    board.write_text(f'{BOARD.read_text().partition("[picture]")[0]}\n[picture]\nreference = "known.npy"\n')
    keys = set()
    for content in (b"one", b"two"):
        (tmp_path / "known.npy").write_bytes(content)
        keys.add(keyed(board))
    assert len(keys) == 2


def test_a_worker_with_other_versions_refuses_and_names_them() -> None:
    settings = Settings(Request(), "k", versions={**key.versions(), "rastertap": "99", "only-here": "1"})
    with pytest.raises(PluginError, match=r"only-here missing instead of 1, rastertap .* instead of 99"):
        check_shard(settings, ["none.vcd"])
