"""Which captures a batch is about."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator


def find_captures(
    given: Iterable[str], captures_in: Callable[[Path], Iterable[Path]], leave_out: Path
) -> list[str]:
    """Give each capture once, absolute, in order: files as given, folders with all that is in them.

    Parameters
    ----------
    given : iterable of str
        Files and folders; what is not there stays in the list, to become a row that says so.
    captures_in : callable
        Gives the captures that lie in one folder.
    leave_out : Path
        A folder that is not searched: that of the results.
    """
    found: dict[str, None] = {}
    for name in given:
        path = Path(os.path.abspath(name))  # noqa: PTH100 - a link keeps its own name, as the serial number is in it
        for one in _under(path, captures_in, leave_out.absolute()) if path.is_dir() else (path,):
            found[str(one)] = None
    return list(found)


def _under(folder: Path, captures_in: Callable[[Path], Iterable[Path]], leave_out: Path) -> Iterator[Path]:
    for place, folders, _ in os.walk(folder):
        folders[:] = sorted(f for f in folders if not f.startswith(".") and Path(place, f) != leave_out)
        if Path(place) != leave_out:
            yield from captures_in(Path(place))
