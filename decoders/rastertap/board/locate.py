"""Where each key of a TOML text stands: key path -> line.

Written for text that `tomllib` has already accepted, so nothing is checked twice: the scanner only has to
know where keys, values and comments begin and end.
"""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

Path = tuple[str | int, ...]

_SPACE = re.compile(r"[ \t]*")
_BETWEEN = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_KEY_PART = re.compile(r"\"(?:[^\"\\\n]|\\.)*\"|'[^'\n]*'|[A-Za-z0-9_-]+")
_STRING = re.compile(
    r"\"\"\"(?:[^\\]|\\.)*?\"{3,5}|'''.*?'{3,5}|\"(?:[^\"\\\n]|\\.)*\"|'[^'\n]*'",
    re.DOTALL,
)
_PLAIN = re.compile(r"[^,\]}\n#]*")


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[Path, int] = {}
        self._counted_to = 0
        self._line = 1
        self._elements: dict[Path, int] = {}

    def skip(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self.text, self.at)
        if found is None:
            raise ValueError(f"not TOML at character {self.at}")
        self.at = found.end()
        return found.group()

    def line(self) -> int:
        """Line of the current place; the scanner only moves forward, so it counts on from the last call."""
        self._line += self.text.count("\n", self._counted_to, self.at)
        self._counted_to = self.at
        return self._line

    def note(self, path: Path) -> None:
        self.lines.setdefault(path, self.line())

    def key(self, base: Path) -> Path:
        """Read a dotted key."""
        path = base
        while True:
            self.skip(_SPACE)
            path = (*path, _unquote(self.skip(_KEY_PART)))
            self.skip(_SPACE)
            if self.text[self.at : self.at + 1] != ".":
                return path
            self.at += 1

    def value(self, path: Path) -> None:
        self.skip(_SPACE)
        opener = self.text[self.at : self.at + 1]
        if opener in ('"', "'"):
            self.skip(_STRING)
        elif opener == "[":
            self._array(path)
        elif opener == "{":
            self._inline_table(path)
        else:
            self.skip(_PLAIN)

    def _array(self, path: Path) -> None:
        self.at += 1
        index = 0
        while True:
            self.skip(_BETWEEN)
            if self.text[self.at : self.at + 1] == "]":
                break
            self.note((*path, index))
            self.value((*path, index))
            self.skip(_BETWEEN)
            index += 1
            if self.text[self.at : self.at + 1] == ",":
                self.at += 1
        self.at += 1

    def _inline_table(self, path: Path) -> None:
        self.at += 1
        while True:
            self.skip(_BETWEEN)
            if self.text[self.at : self.at + 1] == "}":
                break
            self.pair(path)
            self.skip(_BETWEEN)
            if self.text[self.at : self.at + 1] == ",":
                self.at += 1
        self.at += 1

    def pair(self, base: Path) -> None:
        path = self.key(base)
        for depth in range(len(base) + 1, len(path) + 1):
            self.note(path[:depth])
        self.at += 1
        self.value(path)

    def header(self) -> Path:
        """Read ``[table]`` or ``[[array of tables]]`` and return the path of what follows."""
        is_array = self.text.startswith("[[", self.at)
        self.at += 2 if is_array else 1
        path = self._through_arrays(self.key(()), last_is_array=is_array)
        for depth in range(1, len(path) + 1):
            self.note(path[:depth])
        self.at += 2 if is_array else 1
        return path

    def _through_arrays(self, names: Path, *, last_is_array: bool) -> Path:
        path: Path = ()
        for depth, name in enumerate(names):
            path = (*path, name)
            if last_is_array and depth == len(names) - 1:
                self._elements[path] = self._elements.get(path, -1) + 1
            if path in self._elements:
                path = (*path, self._elements[path])
        return path


def _unquote(part: str) -> str:
    if part[0] == "'":
        return part[1:-1]
    if part[0] == '"':
        return str(tomllib.loads(f"key = {part}")["key"])
    return part


def key_lines(text: str) -> dict[Path, int]:
    """Find the line, from 1, on which every key, table and array element of a valid TOML text first stands.

    Paths hold table keys as str and array positions as int, as pydantic's error locations do. Where a place
    cannot be followed, what was found up to there is returned.
    """
    scanner = _Scanner(text)
    base: Path = ()
    try:
        while True:
            scanner.skip(_BETWEEN)
            if scanner.at >= len(text):
                break
            if text[scanner.at] == "[":
                base = scanner.header()
            else:
                scanner.pair(base)
    except (ValueError, RecursionError):
        return scanner.lines
    return scanner.lines


def line_of(lines: dict[Path, int], path: Sequence[str | int]) -> int:
    """Line of the longest known beginning of ``path``; 0 when none of it is in the file."""
    for depth in range(len(path), 0, -1):
        if tuple(path[:depth]) in lines:
            return lines[tuple(path[:depth])]
    return 0
