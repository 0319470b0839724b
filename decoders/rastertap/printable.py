"""Text for people: safe on a terminal, for names come from files; counts with their word; sentences."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

SENTENCE_END = re.compile(r"\.(?= [A-Z0-9])")
LONGEST_NAME = 40
"""Longest name shown in a table."""


def printable(text: str) -> str:
    """Write every character that a terminal might act on as its escape, e.g. ESC as backslash x1b."""
    return "".join(
        c if c.isprintable() else c.encode("unicode_escape", "backslashreplace").decode("ascii") for c in text
    )


def table_name(name: str) -> str:
    """Make a name printable, and cut a very long one in its middle, where names differ least."""
    shown = printable(name)
    if len(shown) <= LONGEST_NAME:
        return shown
    kept = (LONGEST_NAME - len("...")) // 2
    return f"{shown[:kept]}...{shown[-kept:]}"


def plural(count: int, word: str) -> str:
    """Write a count with its word: ``1 line``, ``2 lines``."""
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def and_list(words: Sequence[str]) -> str:
    """Join words as people do: ``A, B and C``."""
    return f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else "".join(words)


def sentences(text: str, most: int = 0) -> str:
    """Give a text's first sentences: as many as fit in ``most`` letters, and one at least."""
    ends = [m.start() + 1 for m in SENTENCE_END.finditer(text)] + [len(text)]
    return text[: max([end for end in ends if end <= most] or ends[:1])]
