"""The simplest wiring story that turns the expected roles into the found ones."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rastertap.board.model import Board
    from rastertap.streams.interface import Pin

LONGEST_SHIFT = 8
FEWEST_EXPLAINED = 2
"""Roles that a shift or a reversal must put right: one alone is better explained by that wire."""
StoryKind = Literal["shifted", "reversed", "swapped"]


@dataclass(frozen=True)
class Story:
    """One wiring fault.

    Parameters
    ----------
    kind : StoryKind
        What happened.
    amount : int
        Positions shifted, towards higher positions when positive; number of swapped pairs otherwise.
    pairs : tuple of (str, str)
        Channels concerned: (the one that has the signal, the one that should).
    explained : int
        Expected roles that the story puts right.
    """

    kind: StoryKind
    amount: int
    pairs: tuple[tuple[str, str], ...]
    explained: int


def natural(name: str) -> tuple[str | int, ...]:
    """Sort key that puts D2 before D10."""
    return tuple(int(part) if part.isdigit() else part for part in re.split(r"(\d+)", name))


def positions_of(board: Board, channels: Sequence[str]) -> list[str]:
    """Channels in the order of the connector: by the board file's positions when it states all, else by name."""
    stated = {name: pin.connector for name, pin in board.pins.items()}
    if all(stated.get(name) is not None for name in channels):
        return sorted(channels, key=lambda name: stated[name] or 0)
    return sorted(channels, key=natural)


def kind_of(role: str, polarity: str | None = None) -> str:
    """Role as behaviour can tell it: blank and display enable are one signal, inverted."""
    return "window" if role in {"blank", "display_enable"} else role


def roles_match(expected: Mapping[str, str], found: Mapping[str, str]) -> list[str]:
    """Channels whose found role is not the expected one."""
    return [name for name, role in expected.items() if role != "other" and found.get(name) != role]


def _moved(order: Sequence[str], expected: Mapping[str, str], found: Mapping[str, str], move: Mapping[int, int]) -> int:
    """Expected roles found at the moved position, or -1 when one that must be there is not."""
    right = 0
    for place, name in enumerate(order):
        role = expected.get(name, "other")
        if role == "other":
            continue
        target = move.get(place, -1)
        if not 0 <= target < len(order):
            continue
        if found.get(order[target]) != role:
            # A colour bit that never changes has no behaviour to be found by.
            if role == "colour" and found.get(order[target]) == "other":
                continue
            return -1
        right += 1
    return right


def stories(board: Board, pins: Sequence[Pin]) -> list[Story]:
    """Explain the found roles, the fewest changes first; empty when they match or nothing simple explains them."""
    found = {p.channel: kind_of(p.role) for p in pins}
    expected = {name: kind_of(pin.role) for name, pin in board.pins.items() if name in found}
    wrong = roles_match(expected, found)
    if len(wrong) < FEWEST_EXPLAINED:
        return []
    order = positions_of(board, list(found))
    results = []
    for shift in sorted(range(-LONGEST_SHIFT, LONGEST_SHIFT + 1), key=abs):
        move = {i: i + shift for i in range(len(order))}
        right = _moved(order, expected, found, move) if shift else -1
        if right >= FEWEST_EXPLAINED + 1:
            pairs = tuple((order[i + shift], n) for i, n in enumerate(order) if n in wrong and 0 <= i + shift < len(order))
            results.append(Story("shifted", shift, pairs, right))
    results += _reversals(order, expected, found, wrong)
    swapped = _swaps(expected, found, wrong)
    if swapped is not None:
        results.append(swapped)
    cost = {"shifted": 1, "reversed": 1}
    return sorted(results, key=lambda s: (cost.get(s.kind, s.amount), -s.explained, abs(s.amount)))


def _reversals(
    order: Sequence[str], expected: Mapping[str, str], found: Mapping[str, str], wrong: Sequence[str]
) -> list[Story]:
    """Try turning round the whole connector, and the part of it that the board file uses."""
    used = [i for i, n in enumerate(order) if expected.get(n, "other") != "other"]
    results = []
    for low, high in dict.fromkeys([(0, len(order) - 1), (used[0], used[-1])]):
        move = {i: low + high - i for i in range(low, high + 1)}
        right = _moved(order, expected, found, move)
        if right >= FEWEST_EXPLAINED + 1:
            pairs = tuple((order[move[i]], n) for i, n in enumerate(order) if n in wrong and i in move)
            results.append(Story("reversed", 1, pairs, right))
    return results[:1]


def _swaps(expected: Mapping[str, str], found: Mapping[str, str], wrong: Sequence[str]) -> Story | None:
    """Pair up the wrong channels so that each has the other's role."""
    left, pairs = list(wrong), []
    while left:
        one = left.pop(0)
        other = next((n for n in left if found[n] == expected[one] and found[one] == expected[n]), None)
        if other is None:
            return None
        left.remove(other)
        pairs.append((other, one))
    return Story("swapped", len(pairs), tuple(pairs), 2 * len(pairs))
