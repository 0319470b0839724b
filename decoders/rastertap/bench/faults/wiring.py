"""Faults between the chip's pins and the analyser: wrong pins, bad contacts, bridges."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from rastertap.bench.extras import floating
from rastertap.bench.faults.base import NOTHING, Leads, WiringFault
from rastertap.bench.wave import FS_PER_NS, Wave, combine, constant, from_pulses

if TYPE_CHECKING:
    from numpy.typing import NDArray

NOT_CONNECTED = "low"
"""What a lead carries that ends nowhere: the analyser's pull-down."""


@dataclass(frozen=True)
class Swap(WiringFault):
    """The wires of channels ``first`` and ``second`` are exchanged."""

    name = "swap"
    first: str
    second: str

    def reconnect(self, wires: dict[str, str]) -> dict[str, str]:
        """Exchange two entries."""
        first, second = self.channel(wires, self.first), self.channel(wires, self.second)
        return wires | {first: wires[second], second: wires[first]}


@dataclass(frozen=True)
class Shift(WiringFault):
    """The connector sits ``by`` positions off: each signal is ``by`` channels higher (lower when negative).

    Channels left over at one end are not connected (low); signals pushed off the other end are lost.
    """

    name = "shift"
    by: int

    def reconnect(self, wires: dict[str, str]) -> dict[str, str]:
        """Move every entry along."""
        self.require(
            0 < abs(self.by) < len(wires), f"a connector of {len(wires)} can be 1 to {len(wires) - 1} off"
        )
        signals = list(wires.values())
        moved = [
            signals[i - self.by] if 0 <= i - self.by < len(signals) else NOT_CONNECTED
            for i in range(len(signals))
        ]
        return dict(zip(wires, moved, strict=True))


@dataclass(frozen=True)
class Reverse(WiringFault):
    """The ribbon is the wrong way round, from channel ``first`` to ``last`` (default: all of it)."""

    name = "reverse"
    first: str = ""
    last: str = ""

    def reconnect(self, wires: dict[str, str]) -> dict[str, str]:
        """Turn the order of the signals round."""
        names = list(wires)
        low = names.index(self.channel(wires, self.first)) if self.first else 0
        high = names.index(self.channel(wires, self.last)) if self.last else len(names) - 1
        self.require(low < high, "first comes before last on the connector")
        turned = names[:low] + names[low : high + 1][::-1] + names[high + 1 :]
        return dict(zip(names, (wires[name] for name in turned), strict=True))


@dataclass(frozen=True)
class WrongPin(WiringFault):
    """Channel ``to`` is clipped to another signal, e.g. ``hsync``, ``colour2``, ``cpu_clock``, ``low``."""

    name = "wrong-pin"
    to: str
    signal: str

    def reconnect(self, wires: dict[str, str]) -> dict[str, str]:
        """Put the signal there; where else it went stays as it was."""
        return wires | {self.channel(wires, self.to): self.signal}


@dataclass(frozen=True)
class Invert(WiringFault):
    """Channel ``to`` shows the opposite level."""

    name = "invert"
    to: str

    def distort(self, leads: Leads) -> NDArray[np.int64]:
        """Invert one wave."""
        leads.waves[self.to] = leads.waves[self.channel(leads.waves, self.to)].inverted()
        return NOTHING


@dataclass(frozen=True)
class StuckLow(WiringFault):
    """Channel ``to`` is held low."""

    name = "stuck-low"
    to: str

    def distort(self, leads: Leads) -> NDArray[np.int64]:
        """Replace one wave."""
        leads.waves[self.channel(leads.waves, self.to)] = constant(0)
        return NOTHING


@dataclass(frozen=True)
class StuckHigh(WiringFault):
    """Channel ``to`` is held high."""

    name = "stuck-high"
    to: str

    def distort(self, leads: Leads) -> NDArray[np.int64]:
        """Replace one wave."""
        leads.waves[self.channel(leads.waves, self.to)] = constant(1)
        return NOTHING


@dataclass(frozen=True)
class Bridge(WiringFault):
    """Channels ``first`` and ``second`` touch: both show the ``and`` (or the ``or``) of the two."""

    name = "bridge"
    first: str
    second: str
    rule: Literal["and", "or"] = "and"

    def distort(self, leads: Leads) -> NDArray[np.int64]:
        """Replace both waves."""
        waves = leads.waves
        first, second = self.channel(waves, self.first), self.channel(waves, self.second)
        self.require(first != second, "a bridge needs two channels")
        both = combine(waves[first], waves[second], np.bitwise_and if self.rule == "and" else np.bitwise_or)
        waves[first] = waves[second] = both
        return NOTHING


@dataclass(frozen=True)
class Open(WiringFault):
    """Channel ``to`` is open and shows noise, or now and then (``chance``) what channel ``picks_up`` does."""

    name = "open"
    to: str
    picks_up: str = ""
    chance: float = 0.3

    def distort(self, leads: Leads) -> NDArray[np.int64]:
        """Replace one wave."""
        channel = self.channel(leads.waves, self.to)
        if self.picks_up:
            times = leads.waves[self.channel(leads.waves, self.picks_up)].times
            leads.waves[channel] = Wave(0, times[leads.rng.random(times.size) < self.chance])
        else:
            leads.waves[channel] = floating(leads.rng, leads.span_fs)
        return NOTHING


@dataclass(frozen=True)
class Crosstalk(WiringFault):
    """Channel ``to`` shows pulses of ``width_ns`` at edges of ``aggressor``, each with ``chance``."""

    name = "crosstalk"
    strikes = True
    to: str
    aggressor: str
    width_ns: float = 15.0
    chance: float = 0.2

    def distort(self, leads: Leads) -> NDArray[np.int64]:
        """Invert one wave for a moment after the aggressor's edges."""
        self.require(
            self.width_ns > 0 and 0 < self.chance <= 1, "width_ns is above 0, chance between 0 and 1"
        )
        waves = leads.waves
        victim, edges = self.channel(waves, self.to), waves[self.channel(waves, self.aggressor)].times
        starts = edges[leads.rng.random(edges.size) < self.chance]
        pulses = from_pulses(starts, starts + round(self.width_ns * FS_PER_NS))
        waves[victim] = combine(waves[victim], pulses, np.bitwise_xor)
        return starts
