"""Waiting for files to land in a folder, and to be whole."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

LOOKS = 2
"""Looks in a row at which a file must be the same before it counts as whole."""


@dataclass(frozen=True)
class Look:
    """A file as it was at one look: size in bytes, time of its last change in ns, inode."""

    size: int
    changed: int
    inode: int


def look_at(path: Path) -> Look | None:
    """Look at a file; None when it has gone."""
    try:
        found = path.stat()
    except OSError:
        return None
    return Look(found.st_size, found.st_mtime_ns, found.st_ino)


class Landing:
    """Finds files that are new, or saved anew, once nothing writes to them any more.

    Parameters
    ----------
    listing : callable
        Gives the paths in the folder that may be captures.
    existing : bool
        Whether what is there at first counts as new too.
    """

    def __init__(self, listing: Callable[[], Iterable[Path]], *, existing: bool = False) -> None:
        self._listing = listing
        self._done: dict[Path, Look] = {}
        self._seen: dict[Path, tuple[Look, int]] = {}
        if not existing:
            self._done = {p: found for p in listing() if (found := look_at(p)) is not None}

    def landed(self) -> list[Path]:
        """Look once; give what is whole now and was not given before as it is, the oldest first.

        A file that is empty, still grows or has gone is left for the next look.
        """
        there: dict[Path, Look] = {}
        for path in self._listing():
            found = look_at(path)
            if found is not None and found.size and found != self._done.get(path):
                there[path] = found
        self._seen = {
            path: (
                found,
                self._seen[path][1] + 1 if path in self._seen and self._seen[path][0] == found else 1,
            )
            for path, found in there.items()
        }
        whole = [p for p, (_, looks) in self._seen.items() if looks >= LOOKS]
        for path in whole:
            self._done[path] = self._seen.pop(path)[0]
        return sorted(whole, key=lambda p: (self._done[p].changed, p.name))


def arrivals(
    landing: Landing, *, every: float, most: int | None = None, sleep: Callable[[float], None] = time.sleep
) -> Iterator[Path]:
    """Give captures as they land, looking ``every`` so many seconds; for ever, or up to ``most`` of them."""
    given = 0
    while most is None or given < most:
        for path in landing.landed():
            yield path
            given += 1
            if given == most:
                return
        sleep(every)
