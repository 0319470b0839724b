"""A palette as text: one colour a line, ``R G B`` of 0 to 255, code 0 first."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

MAX_COLOURS = 65536
_LINE = re.compile(r"\s*(\S+)\s+(\S+)\s+(\S+)(?:\s.*)?")


@dataclass(frozen=True)
class PaletteProblem:
    """One thing wrong: the line from 1 (0: the file), what, and what to do."""

    line: int
    message: str
    hint: str


def parse_palette(text: str) -> tuple[NDArray[np.uint8], tuple[PaletteProblem, ...]]:
    """Read the text of a palette.

    Parameters
    ----------
    text : str
        Lines of three whole numbers 0 to 255; what follows them on the line is a remark. Empty lines and
        lines that begin with ``#`` are left out.

    Returns
    -------
    colours : ndarray of uint8, shape (n, 3)
        Without the lines that are wrong.
    problems : tuple of PaletteProblem
        Empty when all is right.
    """
    colours: list[list[int]] = []
    problems: list[PaletteProblem] = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        found = _colour(line)
        if isinstance(found, str):
            problems.append(PaletteProblem(number, found, "a line is R G B of 0 to 255, e.g. 255 128 0"))
        else:
            colours.append(found)
    if not problems and not 2 <= len(colours) <= MAX_COLOURS:  # noqa: PLR2004 - one bit has two codes
        message = f"has {len(colours)} colours; 2 to {MAX_COLOURS} are possible"
        problems.append(PaletteProblem(0, message, "write one colour a line, code 0 first"))
    return np.array(colours, np.uint8).reshape(-1, 3), tuple(problems)


def _colour(line: str) -> list[int] | str:
    """Give the three numbers, or what is wrong."""
    found = _LINE.fullmatch(line)
    if found is None:
        return "has fewer than three numbers"
    values = []
    for word in found.groups():
        if not word.isascii() or not word.isdigit():
            return f"{word[:40]!r} is no whole number"
        if len(word) > 3 or int(word) > 255:  # noqa: PLR2004 - three digits, one byte
            return f"{word[:40]} is more than 255"
        values.append(int(word))
    return values
