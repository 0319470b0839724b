"""Which colour channel is which bit: by the board file, else by the names, else by channel order."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

from rastertap.streams.role_moves import like_a_window, likeliest_move
from rastertap.streams.role_other import COLOUR_LIKE, STATIC_HIGH, STATIC_LOW

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


def _by_board(pins: tuple[Pin, ...], board: Board) -> dict[str, int]:
    """Bits as the board file has them, the connector seen as it sits: shifted or turned round if it is.

    A still channel that should be colour stays on the bus. A colour channel on a pin meant for something else
    stands in for a bit that is missing; when none is, it is not on the bus.
    """
    expected = {n: p.bit for n, p in board.pins.items() if p.role == "colour" and p.bit is not None}
    meant = likeliest_move(board, pins).meant_for
    still = [p.channel for p in pins if p.kind in {STATIC_LOW, STATIC_HIGH}]
    colours = [p.channel for p in pins if p.role == "colour"]
    placed = {n: meant.get(n, "") for n in (*colours, *still)}
    bits = {n: expected[m] for n, m in placed.items() if m in expected}
    missing = sorted(set(expected.values()) - {bits[n] for n in colours if n in bits})
    # What may be blanking, on a channel that the board file does not use, stands in for no bit.
    spare = {p.channel for p in pins if like_a_window(p) and p.channel not in board.pins}
    strays = [n for n in colours if n not in bits and n not in spare]
    for name, bit in zip(strays, missing, strict=False):
        held = next((n for n in still if bits.get(n) == bit), "")
        bits = {n: b for n, b in bits.items() if n != held} | {name: bit}
    return bits


def _without_board(colours: list[str]) -> tuple[dict[str, int], str]:
    ordered, why = _by_index(colours), "bit by its index in the vector"
    if ordered is None:
        ordered, why = _by_letter(colours), "bit by its name"
    if ordered is None:
        why = "bit by channel order: which colour bit it is cannot be told without a known picture"
        ordered = colours
    return {name: bit for bit, name in enumerate(ordered)}, why


def order_bits(pins: tuple[Pin, ...], board: Board | None) -> tuple[Pin, ...]:
    """Give every colour bit its number: by the board file, else by the names, else by channel order."""
    if board is not None and board.colour_channels:
        bits, why = _by_board(pins, board), "bit by the board file"
    else:
        bits, why = _without_board([p.channel for p in pins if p.role == "colour"])
    return tuple(_numbered(p, bits.get(p.channel), why) for p in pins)


def _numbered(pin: Pin, bit: int | None, why: str) -> Pin:
    if bit is not None:
        return replace(pin, role="colour", bit=bit, why=(*pin.why, why))
    if pin.role == "colour":
        spare = "but all colour bits of the board file are on other channels"
        return replace(pin, role="other", kind=COLOUR_LIKE, why=(*pin.why, spare))
    return pin
