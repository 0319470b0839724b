"""Holds what the channels show against the board file, for one way to put the connector on after another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.checks.wiring_look import still
from rastertap.checks.wiring_story import Fault, Story
from rastertap.streams.role_coincidence import beside
from rastertap.streams.role_moves import FEWEST_EXPLAINED, Move, kind_of, like_a_window

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from rastertap.board.model import Board
    from rastertap.board.model import Pin as BoardPin
    from rastertap.checks.interface import Evidence
    from rastertap.checks.wiring_look import Look, Looks
    from rastertap.checks.wiring_twins import Twins

MOVED_WIRE = 0.45
"""Cost of a wire on another's place: two make a swap, which costs a little less than two faults."""
UNEXPLAINED = 2.0
"""Cost of a channel that nothing explains."""
COLOURS_ONLY = 0.9
"""Cost of a moved connector that only colour bits speak for, which look like each other."""
UNKNOWN = 0.3
"""Cost of a wire that carries something on a place where nothing is meant."""
ODD = 0.5
"""Cost of activity, the connector moved, on a place whose signal the board file does not know."""
LOST = 0.1
"""Cost of a signal that a moved connector no longer brings in: it says nothing for the move."""
FIELD_CERTAIN_S = 0.045
"""A capture this long holds a field sync if there is one: no field of a 25 Hz frame or faster is longer."""
FIELDS_CERTAIN = 1.1
"""Fields that a capture must hold for the same, where the board file says how long a field is."""


def bridges(twins: Sequence[Twins]) -> tuple[Fault, ...]:
    """Give the pairs of channels that touch."""
    return tuple(Fault("bridged", (t.first, t.second)) for t in twins)


def crosstalk(looks: Looks) -> tuple[Fault, ...]:
    """Channels with short pulses of their own: where two are bridged, both show what disturbs the pair."""
    partners: dict[str, list[str]] = {}
    for t in looks.twins:
        partners.setdefault(t.first, []).append(t.second)
        partners.setdefault(t.second, []).append(t.first)
    found = []
    for name, one in looks.by_channel.items():
        own = one.runts
        for partner in partners.get(name, ()):
            own = own[~beside(own, looks.channels[partner].ticks, 1)]
        if own.size and not one.loose:
            found.append(Fault("crosstalk", (name, *(one.source.channels if one.source is not None else ()))))
    return tuple(found)


def _cheapest(table: NDArray[np.float64]) -> list[int]:
    """Assign to each row the column that costs least in all; each its own where none would cost less."""
    if (table.diagonal() <= table.min(axis=1)).all():
        return list(range(len(table)))
    from scipy.optimize import linear_sum_assignment

    return [int(e) for e in linear_sum_assignment(table)[1]]


class Solver:
    """Holds the looks against the board file, for one way to put the connector on after another."""

    def __init__(self, evidence: Evidence, board: Board, looks: Looks) -> None:
        self.board, self.looks = board, looks
        self.names = list(looks.by_channel)
        self.solved = looks.solved
        self.short = evidence.capture.span_s < _field_certain_s(board) and not looks.field_sync_seen
        self.crosstalk = crosstalk(looks)

    def story(self, move: Move) -> Story | None:
        """Explain all channels with the connector on like this; None when too little comes into its place."""
        meant = move.meant_for
        signals = {n: self.signal(meant.get(n, "")) for n in self.names}
        twins = [t for t in self.looks.twins if self._is_fault(t, signals)]
        wild = {n for t in twins for n in (t.first, t.second)}
        table = np.array([[self._cost(d, e, signals, wild, move) for e in self.names] for d in self.names])
        carries = _cheapest(table)
        if move.kind != "none" and self._explained(signals, carries) < FEWEST_EXPLAINED:
            return None
        faults = [] if move.kind == "none" else [Fault(move.kind, (), move.amount)]
        faults += _swaps(self.names, carries)
        for d, e in enumerate(carries):
            faults += self._own(self.names[d], signals[self.names[e]], wild, meant.get(self.names[e]))
        faults += bridges(twins)
        faults += self._opposite(twins, signals)
        faults += self.crosstalk
        weight = {"mismatch": UNEXPLAINED, "swapped": 2 * MOVED_WIRE}
        cost = sum(weight.get(f.kind, 1.0) for f in faults) + 0.01 * abs(move.amount)
        cost += ODD * sum(self._odd(self.names[d], self.names[e], move) for d, e in enumerate(carries))
        if move.kind != "none" and not self._tells(signals, carries):
            cost += COLOURS_ONLY
        cost += LOST * sum(n not in move.target for n in self.board.pins if self.signal(n) is not None)
        wires = ((self.names[d], meant.get(self.names[e])) for d, e in enumerate(carries))
        return Story(move, tuple(faults), cost, {name: signal for name, signal in wires if signal})

    def _opposite(self, twins: Sequence[Twins], signals: Mapping[str, BoardPin | None]) -> list[Fault]:
        """Of two equal but opposite channels one is inverted: the one that is not as its signal should be."""
        found = []
        for pair in twins:
            both = (pair.first, pair.second)
            turned = [
                n
                for n in both
                if (s := signals[n]) is not None and self.fits(self.looks.by_channel[n], s) == 1
            ]
            if pair.opposite:
                found.append(Fault("inverted", (turned[0] if turned else pair.second,)))
        return found

    def signal(self, name: str) -> BoardPin | None:
        """Give what the board file means for a channel."""
        pin = self.board.pins.get(name)
        return pin if pin is not None and pin.role != "other" else None

    def _odd(self, d: str, e: str, move: Move) -> bool:
        """Whether a channel is active where a moved connector brings what the board file does not know."""
        known = move.meant_for.get(e, "") in self.board.pins
        return move.kind != "none" and not known and not still(self.looks.by_channel[d])

    def _is_fault(self, twins: Twins, signals: Mapping[str, BoardPin | None]) -> bool:
        """Whether two equal channels should differ."""
        first, second = signals[twins.first], signals[twins.second]
        looks = [self.looks.by_channel[n] for n in (twins.first, twins.second)]
        if first is None and second is None:
            return False
        if first is not None and second is not None and first.role == second.role == "colour":
            if self.solved is None:
                # Greys look like this: nothing can be said, and it is said that nothing can.
                return any(o.pin.role not in {"colour", "other"} for o in looks)
            return tuple(sorted((first.bit or 0, second.bit or 0))) not in self.solved.alike
        if (
            (first is None or second is None)
            and self.solved is None
            and any("window" in o.roles for o in looks)
        ):
            # A plain picture is as bright as display enable is high.
            return not all(o.pin.role in {"colour", "display_enable", "blank"} for o in looks)
        kinds = {s.role for s in (first, second) if s is not None}
        return not (self.short and kinds <= {"hsync", "csync"})

    def _cost(
        self, d: str, e: str, signals: Mapping[str, BoardPin | None], wild: set[str], move: Move
    ) -> float:
        """Cost of channel ``d`` carrying what is meant for ``e``."""
        away = 0.0 if d == e else MOVED_WIRE
        one, signal = self.looks.by_channel[d], signals[e]
        if signal is None:
            if d == e:
                return ODD * self._odd(d, e, move)
            return away if still(one) or d in wild else away + UNKNOWN
        if d in wild:
            return away + (0.0 if d == e else 0.3)
        fits = self.fits(one, signal)
        if fits is not None:
            return away + fits
        return away + (1.0 if still(one) or one.loose or one.echo else UNEXPLAINED)

    def fits(self, one: Look, signal: BoardPin) -> int | None:
        """0: the channel shows the signal; 1: inverted; None: it does not."""
        if signal.role == "colour":
            return self._fits_bit(one, signal.bit or 0)
        if one.loose:
            return None
        kind = kind_of(signal.role)
        if self.short and signal.role in {"vsync", "csync"}:
            quiet = still(one) and signal.role == "vsync"
            return 0 if quiet or ("hsync" in one.roles and signal.role == "csync") else None
        if kind not in one.roles:
            return None
        return int(_turned(one, signal))

    def _fits_bit(self, one: Look, bit: int) -> int | None:
        solution = self.solved
        if solution is None or one.channel not in solution.fits:
            if solution is not None and bit in solution.still and not one.loose and still(one):
                return 0
            # Blanking on a channel that the board file does not use is not taken for a bit.
            spare = like_a_window(one.pin) and one.channel not in self.board.pins
            unsolved = solution is None and "colour" in one.roles and not spare
            return 0 if unsolved and not one.loose and not still(one) else None
        found = [f for f in solution.fits[one.channel] if f.bit == bit]
        if found:
            return min(int(f.inverted) for f in found)
        return None

    def _explained(self, signals: Mapping[str, BoardPin | None], carries: Sequence[int]) -> int:
        """Signals found at their place, moving."""
        right = 0
        for d, e in enumerate(carries):
            one, signal = self.looks.by_channel[self.names[d]], signals[self.names[d]]
            moving = d == e and signal is not None and not still(one)
            right += int(
                moving
                and signal is not None
                and (self.fits(one, signal) is not None or self._mixed(one, signal))
            )
        return right

    def _mixed(self, one: Look, signal: BoardPin) -> bool:
        """Whether a channel shows its own bit of the known picture, and another that it is bridged to."""
        mixes = self.solved.mixes.get(one.channel, ()) if self.solved is not None else ()
        return signal.role == "colour" and any(signal.bit in {m.first, m.second} for m in mixes)

    def _tells(self, signals: Mapping[str, BoardPin | None], carries: Sequence[int]) -> bool:
        """Whether a signal that is unlike the others is found where it should be."""
        for d, e in enumerate(carries):
            one, signal = self.looks.by_channel[self.names[d]], signals[self.names[d]]
            alike = signal is None or still(one) or (signal.role == "colour" and self.solved is None)
            if d == e and not alike and signal is not None and self.fits(one, signal) is not None:
                return True
        return False

    def _own(self, name: str, signal: BoardPin | None, wild: set[str], meant: str | None) -> list[Fault]:
        """Faults of one channel by itself, given the signal that its wire should carry."""
        one = self.looks.by_channel[name]
        if signal is None:
            # Where a moved connector brings in nothing at all, nothing can be seen.
            return (
                [Fault("mismatch", (name,))] if meant is None and not still(one) and name not in wild else []
            )
        if name in wild:
            return []
        fits = self.fits(one, signal)
        if fits is not None:
            return [Fault("inverted", (name,))] if fits else []
        if still(one):
            return [Fault("stuck_high" if one.level == 1 else "stuck_low", (name,))]
        return [Fault("open" if one.loose or one.echo else "mismatch", (name,))]


def _field_certain_s(board: Board) -> float:
    """Length from which a capture holds a field sync, seconds."""
    timing = board.timing
    rate = timing.field_rate_hz or (timing.mode.field_rate_hz if timing.mode is not None else None)
    return FIELDS_CERTAIN / float(rate) if rate else FIELD_CERTAIN_S


def _turned(one: Look, signal: BoardPin) -> bool:
    """Whether a sync or blanking channel has the other polarity than stated."""
    if signal.polarity is None or one.pin.polarity is None or kind_of(one.pin.role) != kind_of(signal.role):
        return False
    # A display enable that is high and a blank that is low in the picture are one thing.
    return (one.pin.polarity == signal.polarity) != (one.pin.role == signal.role)


def _swaps(names: Sequence[str], carries: Sequence[int]) -> list[Fault]:
    """Turn the permutation into exchanges: a cycle of n wires needs n - 1."""
    faults, seen = [], set()
    for start in range(len(names)):
        d = start
        while d not in seen:
            seen.add(d)
            if carries[d] != start:
                faults.append(Fault("swapped", tuple(sorted((names[d], names[carries[d]]), key=names.index))))
            d = carries[d]
    return faults
