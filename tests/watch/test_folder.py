"""A capture counts when it has landed whole, once, and again when it is saved anew."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from rastertap.watch.folder import Landing, arrivals

if TYPE_CHECKING:
    from pathlib import Path


def watched(folder: Path, *, existing: bool = False) -> Landing:
    return Landing(folder.iterdir, existing=existing)


def names(paths: list[Path]) -> list[str]:
    return [p.name for p in paths]


def test_a_file_counts_once_it_stopped_growing(tmp_path: Path) -> None:
    landing, path = watched(tmp_path), tmp_path / "a.vcd"
    for size in (10, 20, 30):
        path.write_bytes(b"x" * size)
        assert landing.landed() == []
    assert landing.landed() == [path]
    assert landing.landed() == []


def test_a_file_of_the_same_size_that_is_still_written_waits(tmp_path: Path) -> None:
    landing, path = watched(tmp_path), tmp_path / "a.vcd"
    for second in (1, 2, 3):
        path.write_bytes(b"x")
        os.utime(path, ns=(second, second))
        assert landing.landed() == []
    assert landing.landed() == [path]


def test_an_empty_file_and_one_that_goes_away_are_left(tmp_path: Path) -> None:
    landing, empty, fleeting = watched(tmp_path), tmp_path / "empty", tmp_path / "fleeting"
    empty.touch()
    fleeting.write_bytes(b"x")
    assert landing.landed() == []
    fleeting.unlink()
    assert [landing.landed() for _ in range(3)] == [[], [], []]


def test_a_path_that_vanishes_between_listing_and_look_is_left(tmp_path: Path) -> None:
    landing = Landing(lambda: [tmp_path / "gone"])
    assert [landing.landed() for _ in range(3)] == [[], [], []]


def test_what_was_there_before_counts_only_when_asked_and_the_oldest_comes_first(tmp_path: Path) -> None:
    for name, second in (("young", 30), ("old", 10), ("middle", 20)):
        (tmp_path / name).write_bytes(b"x")
        os.utime(tmp_path / name, ns=(second, second))
    plain = watched(tmp_path)
    assert [plain.landed() for _ in range(3)] == [[], [], []]
    asked = watched(tmp_path, existing=True)
    asked.landed()
    assert names(asked.landed()) == ["old", "middle", "young"]


def test_a_capture_saved_anew_under_its_name_counts_again(tmp_path: Path) -> None:
    landing, path = watched(tmp_path), tmp_path / "a.vcd"
    path.write_bytes(b"one")
    landing.landed()
    assert landing.landed() == [path]
    beside = tmp_path / "b.part"
    beside.write_bytes(b"two")
    beside.replace(path)
    assert landing.landed() == []
    assert landing.landed() == [path]


def test_arrivals_sleep_between_looks_and_end_after_so_many(tmp_path: Path) -> None:
    slept: list[float] = []

    def sleep(seconds: float) -> None:
        slept.append(seconds)
        if len(slept) == 2:
            for name in ("a", "b", "c"):
                (tmp_path / name).write_bytes(b"x")

    found = list(arrivals(watched(tmp_path), every=0.5, most=2, sleep=sleep))
    assert len(found) == 2
    assert slept == [0.5] * 3
