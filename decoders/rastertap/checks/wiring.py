"""The simplest wiring story that turns the expected signals into the ones found."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from rastertap.checks.wiring_look import Looks, look
from rastertap.checks.wiring_solver import Solver, bridges, crosstalk
from rastertap.checks.wiring_story import Fault, Story
from rastertap.roles import ROLES
from rastertap.streams.role_moves import Move, connector_order, moves

if TYPE_CHECKING:
    from rastertap.checks.expected_picture import ExpectedPicture
    from rastertap.checks.interface import Evidence
    from rastertap.checks.wiring_twins import Twins

ALIKE = 0.12
"""Stories whose costs differ by less are equally good: a swap more or less is not the same as a fault."""


@dataclass(frozen=True, eq=False)
class Explanation:
    """The best story, and the others that explain as much with as little.

    Parameters
    ----------
    looks : Looks
        The evidence.
    story : Story
        The simplest.
    rivals : tuple of Story
        As simple.
    """

    looks: Looks
    story: Story
    rivals: tuple[Story, ...]


@lru_cache(maxsize=2)
def explain(evidence: Evidence, pictures: tuple[ExpectedPicture, ...] | None = None) -> Explanation:
    """Find the simplest wiring story; without a board file only what shows by itself.

    Parameters
    ----------
    evidence : Evidence
        The last few are kept, for several checks and the report ask.
    pictures : tuple of ExpectedPicture, optional
        What the screen shows, instead of the board file's known picture.
    """
    looks = look(evidence, pictures)
    board = evidence.board
    if board is None or not board.pins:
        nothing = Move("none", 0, {})
        faults = (*_loose_bits(looks), *bridges(_odd_twins(looks)), *crosstalk(looks))
        return Explanation(looks, Story(nothing, faults, float(len(faults))), ())
    solver = Solver(evidence, board, looks)
    order = connector_order(board, list(looks.by_channel))
    used = [n for n in order if n in board.pins and board.pins[n].role != "other"]
    told = []
    for move in moves(order, used):
        if (story := solver.story(move)) is not None:
            told.append(story)
            if move.kind == "none" and not story.faults and not story.cost:
                break  # nothing is wrong: no other way to put the connector on explains more
    told.sort(key=lambda s: s.cost)
    best = told[0]
    rivals = tuple(s for s in told[1:] if s.cost <= best.cost + ALIKE and set(s.faults) != set(best.faults))
    return Explanation(looks, best, rivals)


def _loose_bits(looks: Looks) -> tuple[Fault, ...]:
    """Colour bits, as they behave, that only repeat another channel at random."""
    return tuple(
        Fault("open", (n,)) for n, o in looks.by_channel.items() if o.loose and o.pin.role == "colour"
    )


def _odd_twins(looks: Looks) -> tuple[Twins, ...]:
    """Equal channels that are not both colour bits: white text on black has all of those equal."""
    role = {n: o.pin.role for n, o in looks.by_channel.items()}
    return tuple(t for t in looks.twins if not role[t.first] == role[t.second] == "colour")


def role_words(role: str, bit: int | None = None) -> str:
    """Write a role for a repairer."""
    if role not in ROLES:
        return role
    return f"colour bit {bit}" if role == "colour" and bit is not None else role.replace("_", " ")
