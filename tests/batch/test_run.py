"""The loop, with workers that die."""

from __future__ import annotations

import os
from typing import Any

import pytest

from rastertap.analyse import Request
from rastertap.batch import local
from rastertap.batch.run import rows_of
from rastertap.batch.task import Settings, serial_of

SETTINGS = Settings(Request(), "k")


class Deadly(str):
    """A path that ends the process to which it is sent, as a capture does that takes all memory."""

    __slots__ = ()

    def __reduce__(self) -> tuple[Any, ...]:
        return os._exit, (1,)


def test_a_capture_that_kills_its_worker_is_named_and_the_rest_is_checked() -> None:
    paths = ["/none/a", Deadly("/none/deadly 1"), "/none/b", "/none/c", Deadly("/none/deadly 2"), "/none/d"]
    with local.LocalPool(2) as pool:
        found = sorted((str(row["path"]), row["result"]) for row in rows_of(paths, SETTINGS, pool))
    assert found == [(p, "crashed" if "deadly" in p else "unreadable") for p in sorted(map(str, paths))]


@pytest.mark.parametrize(
    ("pattern", "name", "serial"),
    [
        (r"sn(?P<serial>\w+)-(\d)", "/x/snA12-3.vcd", "A12"),
        (r"(\d+)\.vcd", "/77/b-0042.vcd.gz", "0042"),
        (r"\d+", "b7.vcd", "7"),
        (r"\d+", "/8/b.vcd", ""),
        ("", "b7.vcd", ""),
        (r"b(\d)?", "b.vcd", ""),
    ],
)
def test_the_serial_number_comes_from_the_file_name(pattern: str, name: str, serial: str) -> None:
    assert serial_of(name, pattern) == serial
