"""What a wiring fault is, and a story of several."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rastertap.streams.role_moves import Move

FaultKind = Literal[
    "shifted",
    "reversed",
    "rows",
    "swapped",
    "inverted",
    "stuck_low",
    "stuck_high",
    "bridged",
    "open",
    "crosstalk",
    "mismatch",
]


@dataclass(frozen=True)
class Fault:
    """One change that the wiring needs.

    Parameters
    ----------
    kind : FaultKind
        What happened.
    channels : tuple of str
        Channels concerned; of a swap and of a bridge both, of crosstalk the disturbed one first.
    amount : int
        Positions, for ``shifted``.
    """

    kind: FaultKind
    channels: tuple[str, ...] = ()
    amount: int = 0


@dataclass(frozen=True, eq=False)
class Story:
    """All changes together.

    Parameters
    ----------
    move : Move
        How the connector sits.
    faults : tuple of Fault
        The most dangerous first.
    cost : float
        Number of changes, about.
    carries : mapping of str to str
        Channel to the channel that the signal on it is meant for; one that nothing is meant to reach, as the
        connector sits, is not in it.
    """

    move: Move
    faults: tuple[Fault, ...]
    cost: float
    carries: Mapping[str, str] = field(default_factory=dict)

    @property
    def rings(self) -> tuple[tuple[str, ...], ...]:
        """Channels whose wires are exchanged with each other: two of a pair, more in a ring."""
        found: list[list[str]] = []
        for fault in self.of("swapped"):
            joined = [ring for ring in found if set(ring) & set(fault.channels)]
            found = [ring for ring in found if ring not in joined]
            found.append(list(dict.fromkeys([*(c for ring in joined for c in ring), *fault.channels])))
        return tuple(map(tuple, found))

    def of(self, *kinds: FaultKind) -> tuple[Fault, ...]:
        """Faults of some kinds."""
        return tuple(f for f in self.faults if f.kind in kinds)
