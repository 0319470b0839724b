"""The rows of a run on disk: one JSON line each, written whole as it comes, good again after a kill."""

from __future__ import annotations

import json
import os
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from rastertap.batch.task import SCHEMA, Row
from rastertap.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path
    from typing import Self


class Journal:
    """Appends rows and finds them again by path; memory holds a place in the file for each, not the rows.

    Parameters
    ----------
    path : Path
        The file; made with its folder. A last line that a kill cut short is taken off.
    key : str
        Only rows with this key are found; others stay in the file.

    Raises
    ------
    UsageError
        When another run uses the file, or it holds something else.
    """

    def __init__(self, path: Path, key: str) -> None:
        self._path, self._key = path, key
        self._places: dict[str, int] = {}
        path.parent.mkdir(parents=True, exist_ok=True)
        self._file = path.open("a+b")
        try:
            self._lock()
            self._read()
        except BaseException:
            self._file.close()
            raise

    def __enter__(self) -> Self:
        """Give itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close the file, and so give up the lock."""
        self._file.close()

    def _lock(self) -> None:
        with suppress(ImportError):  # where there is no fcntl, two runs at once are the user's to avoid
            import fcntl

            try:
                fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                raise UsageError(
                    f"another run writes to {self._path.parent}", hint="wait for it, or choose another --out"
                ) from None

    def _read(self) -> None:
        self._file.seek(0)
        place = 0
        for number, line in enumerate(self._file, 1):
            if not line.endswith(b"\n"):
                self._file.truncate(place)
                break
            row = self._parsed(line, number)
            if row["key"] == self._key:
                self._places[row["path"]] = place
            place += len(line)
        self._file.seek(0, os.SEEK_END)

    def _parsed(self, line: bytes, number: int) -> Row:
        try:
            row: Any = json.loads(line)
            if row["schema"] == SCHEMA and isinstance(row["key"], str) and isinstance(row["path"], str):
                return dict(row)
        except (ValueError, TypeError, KeyError):
            pass
        raise UsageError(
            f"{self._path}:{number}: is no row of a batch", hint="choose another --out, or delete that line"
        )

    def add(self, row: Row) -> None:
        """Write a row; when this returns it is on disk."""
        self._places[row["path"]] = self._file.seek(0, os.SEEK_END)
        self._file.write(json.dumps(row, allow_nan=False, separators=(",", ":")).encode() + b"\n")
        self._file.flush()
        os.fsync(self._file.fileno())

    def get(self, path: str) -> Row | None:
        """Give the last row of a capture under this key."""
        place = self._places.get(path)
        if place is None:
            return None
        self._file.seek(place)
        return dict(json.loads(self._file.readline()))

    def rows(self, paths: Iterable[str]) -> Iterator[Row]:
        """Give the rows of these captures, in this order, without those that have none yet."""
        for path in paths:
            row = self.get(path)
            if row is not None:
                yield row
