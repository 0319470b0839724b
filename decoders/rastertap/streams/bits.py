"""Which colour channel is which bit of the code: by the board file, else by the names, else by channel order."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rastertap.board.model import Board
    from rastertap.streams.interface import Pin

INDEX = re.compile(r"^(?P<stem>.*)[\[(](?P<index>\d+)[\])]$")
LETTER = re.compile(r"(?:^|[._\s])(?P<letter>[rgbi])(?:[a-z]*)(?P<digit>\d*)$", re.IGNORECASE)
RANK = {"b": 0, "g": 1, "r": 2, "i": 3}
"""Bit order of named colour lines in a code: blue lowest, then green, red, intensity (as the IRGB codes of
references section 6 are written)."""


def _by_index(names: list[str]) -> list[str] | None:
    """Order the bits of one vector by their index."""
    found = [INDEX.match(name) for name in names]
    stems = {m["stem"] for m in found if m}
    if not all(found) or len(stems) != 1:
        return None
    return sorted(names, key=lambda name: int(m["index"]) if (m := INDEX.match(name)) else 0)


def _by_letter(names: list[str]) -> list[str] | None:
    """Order lines called red, green, blue, intensity (or r, g, b, i, with a digit for their weight)."""
    found = {name: LETTER.search(name) for name in names}
    if not all(found.values()):
        return None
    keys = {name: (RANK[m["letter"].lower()], int(m["digit"] or 0)) for name, m in found.items() if m}
    if len(set(keys.values())) != len(names):
        return None
    return sorted(names, key=lambda name: keys[name])


def order_bits(pins: tuple[Pin, ...], board: Board | None) -> tuple[Pin, ...]:
    """Number the colour bits.

    With a board file its bits hold, and a pin that it calls colour but that never changes stays on the bus.
    Colour channels that the board file does not know come after those.
    """
    expected = {n: p.bit for n, p in board.pins.items() if p.role == "colour"} if board is not None else {}
    still = [p.channel for p in pins if p.role == "other" and p.score == 1.0 and p.channel in expected]
    colours = [p.channel for p in pins if p.role == "colour"] + still
    bits: dict[str, int] = {}
    if expected:
        bits = {n: b for n in colours if (b := expected.get(n)) is not None}
        free = [b for b in range(len(expected) + len(colours)) if b not in set(expected.values())]
        # A colour channel on a pin meant for something else stands in for a bit that is missing.
        free = sorted(set(expected.values()) - set(bits.values()), key=lambda b: b or 0) + free  # type: ignore[assignment]
        bits |= dict(zip([n for n in colours if n not in bits], free, strict=False))
        why = "bit by the board file"
    else:
        ordered, why = _by_index(colours), "bit by its index in the vector"
        if ordered is None:
            ordered, why = _by_letter(colours), "bit by its name"
        if ordered is None:
            ordered, why = colours, "bit by channel order: which colour bit it is cannot be told without a known picture"
        bits = {name: bit for bit, name in enumerate(ordered)}
    return tuple(
        replace(p, role="colour", bit=bits[p.channel], why=(*p.why, why)) if p.channel in bits else p for p in pins
    )
