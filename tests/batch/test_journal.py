"""The rows on disk."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from rastertap.batch.journal import Journal
from rastertap.errors import UsageError

if TYPE_CHECKING:
    from pathlib import Path


def row(path: str, key: str = "k", text: str = "") -> dict[str, object]:
    return {"schema": "rastertap.batch/1", "path": path, "key": key, "text": text}


def test_rows_come_back_by_path_the_last_one_first(tmp_path: Path) -> None:
    with Journal(tmp_path / "a" / "rows.jsonl", "k") as journal:
        for text in ("old", "new"):
            journal.add(row("one", text=text))
        journal.add(row("two \udcff", text="ü\n"))
    with Journal(tmp_path / "a" / "rows.jsonl", "k") as journal:
        texts = [r["text"] for r in journal.rows(["two \udcff", "three", "one"])]
    assert texts == ["ü\n", "new"]


def test_rows_of_another_key_stay_and_are_not_found(tmp_path: Path) -> None:
    with Journal(tmp_path / "rows.jsonl", "k") as journal:
        journal.add(row("one"))
    with Journal(tmp_path / "rows.jsonl", "other") as journal:
        assert journal.get("one") is None
    with Journal(tmp_path / "rows.jsonl", "k") as journal:
        assert journal.get("one") is not None


@pytest.mark.parametrize("cut", range(1, 60, 7))
def test_a_line_cut_short_is_taken_off_wherever_it_was_cut(tmp_path: Path, cut: int) -> None:
    path = tmp_path / "rows.jsonl"
    with Journal(path, "k") as journal:
        journal.add(row("one"))
        whole = path.read_bytes()
        journal.add(row("two"))
    path.write_bytes(path.read_bytes()[: len(whole) + cut])
    with Journal(path, "k") as journal:
        assert journal.get("one") is not None
        assert journal.get("two") is None
        journal.add(row("two"))
    assert path.read_bytes().count(b"\n") == 2


def test_two_runs_do_not_write_to_one_folder(tmp_path: Path) -> None:
    with Journal(tmp_path / "rows.jsonl", "k"), pytest.raises(UsageError, match="another run"):
        Journal(tmp_path / "rows.jsonl", "k")
    with Journal(tmp_path / "rows.jsonl", "k"):
        pass


@pytest.mark.parametrize("line", ["{}", "[]", "nonsense", '{"schema": "other", "key": "k", "path": "p"}'])
def test_a_file_that_is_something_else_is_refused_with_its_line_and_left_alone(
    tmp_path: Path, line: str
) -> None:
    path = tmp_path / "rows.jsonl"
    path.write_text(f"{line}\n")
    with pytest.raises(UsageError, match=r"rows.jsonl:1: is no row"):
        Journal(path, "k")
    assert path.read_text() == f"{line}\n"
