"""One wiring of the grid: its recording, what it was called, and what the report says of the rest."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from wiring_cases import Case, Name, Names, Recording, named, record, wires_of

if TYPE_CHECKING:
    from rastertap.board.model import Board

TOLD = {"rows": "swapped", "mismatch": "role_mismatch"}
"""Findings whose name is not that of the fault."""
DENSE = 0.6
CROSSTALK_TICKS = 15_000
"""Width of the bench's crosstalk pulse, ps."""


@dataclass(frozen=True, eq=False)
class Bench:
    """One board at one rate: what its recordings are held against."""

    key: str
    rate: int
    seed: int
    board: Board
    unharmed: Recording

    def record(self, faults: tuple[str, ...]) -> Recording:
        """Record a wiring."""
        return record(self.key, self.rate, faults, seed=self.seed)

    def role(self, channel: str) -> str:
        """Signal meant for a channel."""
        return dict(wires_of(self.key)).get(channel, "")

    @property
    def step(self) -> float:
        """Sampling step, ticks."""
        period = self.unharmed.capture.sample_period
        assert period is not None
        return float(period.ticks)

    def dense(self, channel: str) -> bool:
        """Whether a channel changes at nearly every sample, so that everything happens beside its edges."""
        capture = self.unharmed.capture
        return capture.channel(channel).ticks.size * 3 * self.step > DENSE * capture.end


@dataclass(frozen=True, eq=False)
class Seen:
    """One wiring: its recording, and what it was called."""

    bench: Bench
    case: Case
    recording: Recording
    found: Names
    rivals: tuple[Names, ...]
    told: dict[str, tuple[str, str]]
    place: str

    def text(self, kind: str) -> str:
        """Text of the finding on a kind of fault."""
        return self.told[f"taps.{TOLD.get(kind, kind)}"][1]

    @cached_property
    def traceless(self) -> Names:
        """Faults that change nothing that could be seen."""
        found = set()
        for name, fault in parts_of(self.case):
            others = tuple(f for f in self.case.faults if f not in fault)
            without, chance = self.bench.record(others), chance_in(others)
            if without.same_as(self.recording, but_for=chance) or (
                name[0] == "crosstalk" and _only_moves_edges(self.recording, without, name[1][0], self.bench)
            ):
                found.add(name)
        return frozenset(found)


def parts_of(case: Case) -> list[tuple[Name, tuple[str, ...]]]:
    """Give each name of a case with the faults that make it."""
    if len(case.names) == 1:
        (name,) = case.names
        return [(name, case.faults)]
    return [(_name_of_text(fault), (fault,)) for fault in case.faults]


def _name_of_text(fault: str) -> Name:
    """Name a fault of a pair by its text."""
    kind, _, rest = fault.partition(":")
    words = rest.split(",")
    names = {"swap": "swapped", "bridge": "bridged", "invert": "inverted", "shift": "shifted"}
    names |= {"stuck-low": "stuck_low", "stuck-high": "stuck_high", "reverse": "reversed"}
    channels = {"bridge": words[:2], "open": words[:1], "reverse": []}.get(kind, words)
    return named(names.get(kind, kind), *channels)


def chance_in(faults: tuple[str, ...]) -> frozenset[str]:
    """Channels on which chance decides what is seen: not the same when a fault before them is left out."""
    words = [f.partition(":")[2].split(",")[0] for f in faults if f.startswith(("open", "crosstalk"))]
    return frozenset(words)


def _only_moves_edges(recording: Recording, without: Recording, victim: str, bench: Bench) -> bool:
    """Whether crosstalk adds no change to its victim, but only makes some come later."""
    one, other = (r.capture.channel(victim).ticks for r in (recording, without))
    reach = CROSSTALK_TICKS + bench.step
    return one.size == other.size and (not one.size or int(np.abs(one - other).max()) <= reach)


def holds(text: str, word: str) -> bool:
    """Whether a text holds a channel's name, and not only as part of another's."""
    place = -1
    while (place := text.find(word, place + 1)) >= 0:
        after = text[place + len(word) : place + len(word) + 1]
        if not after.isdigit():
            return True
    return False


def undecidable(name: Name, seen: Seen) -> bool:
    """Whether it can be shown, without the checks, that nothing in the recording tells this fault."""
    (kind, channels), role = name, seen.bench.role
    if kind == "inverted" and role(channels[0]) == "pixel_clock":
        return True
    if kind in {"inverted", "bridged"} and all(role(c).startswith("colour") for c in channels):
        taken = {c for k, names in seen.case.names - {name} if k != "inverted" for c in names}
        return any(role(c) in {"pixel_clock", "hsync", "csync"} for c in taken)
    return False


def says(name: Name, seen: Seen, left: Names) -> bool:
    """Whether the report leaves room for a fault in words."""
    kind, channels = name
    if any(name in rival for rival in seen.rivals):
        return any("The capture allows this as well" in text for _, text in seen.told.values())
    stuck = sorted(k for k, _ in left)
    if kind in {"bridged", "open"} and stuck and stuck[0].startswith("stuck"):
        return _stuck_words_allow(name, seen.text(stuck[0]), pair=len(left) == 2)
    words = {
        "inverted": ("Of the pixel clock", "Of the colour bits nothing"),
        "bridged": (f"{' and '.join(channels)} carry the same signal: bridged, or a picture",),
        "open": (f"{channels[0]} is loose",) if channels else (),
    }
    finding = "bridged" if kind in {"open", "bridged"} else kind
    return any(word in seen.text(finding) for word in words.get(kind, ()))


def _stuck_words_allow(name: Name, text: str, *, pair: bool) -> bool:
    """Whether what is said of a still lead allows a bridge, or a wire that picks nothing up."""
    kind, channels = name
    if kind == "bridged" and pair:
        return "touch each other" in text and all(holds(text, c) for c in channels)
    if kind == "bridged":
        return "A bridge to a neighbour that stays" in text and any(holds(text, c) for c in channels)
    return kind == "open" and "The wire" in text and holds(text, channels[0])
