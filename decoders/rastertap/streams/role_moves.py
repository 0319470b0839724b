"""How a connector can be put on wrongly as a whole: shifted, the wrong way round, its two rows exchanged."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from rastertap.board.model import Board
    from rastertap.streams.interface import Pin

LONGEST_SHIFT = 8
"""Positions; a connector further off hardly stays on: common practice, no source."""
FEWEST_EXPLAINED = 3
"""Roles that a move must put in place: fewer are better explained by single wires."""
WINDOW = 0.35
"""Score as blanking from which a channel may be that."""
MoveKind = Literal["none", "shifted", "reversed", "rows"]


@dataclass(frozen=True, eq=False)
class Move:
    """One way to put the connector on.

    Parameters
    ----------
    kind : MoveKind
        ``rows``: the two rows of a dual-row header exchanged.
    amount : int
        Positions shifted, towards higher positions when positive; 0 for the other kinds.
    target : mapping of str to str
        Channel that a signal is meant for, to the channel that it arrives at; a signal pushed off the end is
        not in it.
    """

    kind: MoveKind
    amount: int
    target: Mapping[str, str]

    @property
    def meant_for(self) -> dict[str, str]:
        """Channel to the channel that its signal is meant for."""
        return {has: meant for meant, has in self.target.items()}


def natural(name: str) -> tuple[str | int, ...]:
    """Sort key that puts D2 before D10."""
    return tuple(int(part) if part.isdigit() else part for part in re.split(r"(\d+)", name))


def connector_order(board: Board, channels: Sequence[str]) -> list[str]:
    """Channels along the connector: by the board file's positions, those without one after them by name."""
    place = {name: board.pins[name].connector for name in channels if name in board.pins}
    if any(place.get(name) is None for name in channels if name in board.pins):
        return sorted(channels, key=natural)
    last = max((p for p in place.values() if p is not None), default=0) + 1
    return sorted(channels, key=lambda name: (place.get(name, last) or last, natural(name)))


def moves(order: Sequence[str], used: Sequence[str]) -> Iterator[Move]:
    """List the ways to put a connector on, the right one first.

    Parameters
    ----------
    order : sequence of str
        Channels along the connector.
    used : sequence of str
        Those that the board file gives a signal.
    """
    yield Move("none", 0, {name: name for name in order})
    count = len(order)
    for by in sorted(range(-LONGEST_SHIFT, LONGEST_SHIFT + 1), key=abs):
        if by and abs(by) < count:
            target = {order[i]: order[i + by] for i in range(count) if 0 <= i + by < count}
            yield Move("shifted", by, target)
    places = sorted(order.index(name) for name in used)
    ends = [(0, count - 1), *([(places[0], places[-1])] if places else [])]
    for low, high in dict.fromkeys(ends):
        if high - low > 1:
            yield Move("reversed", 0, _turned(order, low, high))
    beside = [i ^ 1 for i in range(count)] if count % 2 == 0 else []
    opposite = [(i + count // 2) % count for i in range(count)] if count % 2 == 0 else []
    for places in (beside, opposite):
        if count >= 4 and places:  # noqa: PLR2004 - two rows of two
            yield Move("rows", 0, {order[i]: order[place] for i, place in enumerate(places)})


def _turned(order: Sequence[str], low: int, high: int) -> dict[str, str]:
    return {name: order[low + high - i] if low <= i <= high else name for i, name in enumerate(order)}


def kind_of(role: str) -> str:
    """Role as behaviour can tell it: blank and display enable are one signal, inverted."""
    return "window" if role in {"blank", "display_enable"} else role


def like_a_window(pin: Pin) -> bool:
    """Whether a channel behaves like blanking or display enable, if less so than like its role."""
    return (
        max((score for role, score in pin.scores.items() if kind_of(role) == "window"), default=0.0) > WINDOW
    )


def likeliest_move(board: Board, pins: Sequence[Pin]) -> Move:
    """Give the move that puts the most of the found roles in their place; the right one when in doubt."""
    found = {p.channel: kind_of(p.role) for p in pins}
    expected = {n: kind_of(p.role) for n, p in board.pins.items() if n in found and p.role != "other"}
    tried = list(moves(connector_order(board, list(found)), list(expected)))
    right = [sum(found.get(m.target.get(n, "")) == role for n, role in expected.items()) for m in tried]
    best = max(range(len(tried)), key=lambda i: (right[i], -i))
    return tried[best] if right[best] >= FEWEST_EXPLAINED and right[best] > right[0] + 1 else tried[0]
