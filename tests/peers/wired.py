"""Wiring faults put on the channels of a recording, wave by wave, apart from rastertap's own bench."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import Capture, Channel

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from numpy.typing import NDArray

Waves = dict[str, Channel]
Name = tuple[str, tuple[str, ...]]
PICKED_UP, STRUCK = 0.3, 0.2
"""Part of a neighbour's edges that an open wire repeats; part of them that leave a pulse on another."""
PULSE_S = 15e-9
DENSE = 0.6


@dataclass(frozen=True, eq=False)
class Wiring:
    """What the channels show, and what that should be called."""

    waves: Waves
    names: frozenset[Name]


def with_waves(capture: Capture, waves: Waves) -> Capture:
    """Put other waves on a capture's channels."""
    channels = tuple(replace(waves[c.name], name=c.name) for c in capture.channels)
    return replace(capture, channels=channels)


def still(level: int) -> Channel:
    """A lead that never moves."""
    return Channel("", level, np.empty(0, np.int64), np.empty(0, np.uint8))


def changing(times: NDArray[np.int64], initial: int = 0) -> Channel:
    """A lead that changes at some times."""
    return Channel("", initial, times, ((np.arange(1, times.size + 1) + initial) % 2).astype(np.uint8))


def inverted(channel: Channel) -> Channel:
    """A lead behind an inverter."""
    return replace(channel, initial=1 - channel.initial, levels=(1 - channel.levels).astype(np.uint8))


def both(one: Channel, other: Channel, rule: np.ufunc) -> Channel:
    """Two leads that touch, level by level."""
    times = np.unique(np.concatenate((one.ticks, other.ticks)))

    def levels(channel: Channel) -> np.ndarray:
        known = np.concatenate(([channel.initial], channel.levels))
        return known[np.searchsorted(channel.ticks, times, side="right")]

    mixed = rule(levels(one), levels(other)).astype(np.uint8)
    first = int(rule(one.initial, other.initial))
    changed = mixed != np.concatenate(([first], mixed[:-1]))
    return Channel("", first, times[changed], mixed[changed])


def noise(capture: Capture, rng: np.random.Generator, changes: int = 4000) -> Channel:
    """A lead that is connected to nothing."""
    samples = np.unique(rng.integers(1, round(capture.end / capture.step), changes))
    return changing(_stamped(samples, capture))


def picking_up(source: Channel, rng: np.random.Generator) -> Channel:
    """A lead that is connected to nothing, and follows a neighbour now and then."""
    return changing(source.ticks[rng.random(source.ticks.size) < PICKED_UP])


def disturbed(victim: Channel, source: Channel, capture: Capture, rng: np.random.Generator) -> Channel:
    """A lead with pulses beside edges of another, as an analyser of this rate happens to see them."""
    struck = source.ticks[rng.random(source.ticks.size) < STRUCK]
    # A pulse between two samples is not seen; a longer one is, for as many samples as it covers.
    step_s = capture.step * float(capture.tick)
    seen = np.floor(PULSE_S / step_s + rng.random(struck.size)).astype(np.int64)
    starts = np.rint(struck[seen > 0] / capture.step).astype(np.int64)
    edges, counts = np.unique(np.concatenate((starts, starts + seen[seen > 0])), return_counts=True)
    pulses = changing(_stamped(edges[counts % 2 == 1], capture))
    return both(victim, pulses, np.not_equal)


def singles(capture: Capture, used: Sequence[str], spare: str, seed: int) -> Iterator[Wiring]:
    """Every single fault on every lead in use, with its neighbour, one further off, and a spare one."""
    waves = {c.name: c for c in capture.channels}
    rng = np.random.default_rng(seed)
    for place, name in enumerate(used):
        near = used[place + 1] if place + 1 < len(used) else used[place - 1]
        far = used[(place + 3) % len(used)]
        own = waves[name]
        for other in (near, far, spare):
            yield Wiring(waves | {name: waves[other], other: own}, _named("swapped", name, other))
        for other, rule in ((near, np.minimum), (far, np.maximum), (near, np.maximum), (far, np.minimum)):
            yield _bridged(waves, name, other, rule)
        yield Wiring(waves | {name: inverted(own)}, _named("inverted", name))
        yield Wiring(waves | {name: still(0)}, _named("stuck_low", name))
        yield Wiring(waves | {name: still(1)}, _named("stuck_high", name))
        yield Wiring(waves | {name: noise(capture, rng)}, _named("open", name))
        loose = picking_up(waves[near], rng)
        # One that picks nothing up is as still as a lead that is held low.
        yield Wiring(waves | {name: loose}, _named("open" if loose.ticks.size else "stuck_low", name))
        yield Wiring(
            waves | {name: disturbed(own, waves[far], capture, rng)}, frozenset({("crosstalk", (name, far))})
        )
    names = [c.name for c in capture.channels]
    for by in (-2, -1, 1, 2):
        moved = {
            n: waves[names[i - by]] if 0 <= i - by < len(names) else still(0) for i, n in enumerate(names)
        }
        yield Wiring(moved, _named("shifted", str(by)))


def pairs(found: Sequence[Wiring], capture: Capture, count: int, seed: int) -> Iterator[Wiring]:
    """Random pairs of single faults of leads that have none in common."""
    rng = np.random.default_rng(seed)
    clean = {c.name: c for c in capture.channels}
    while count:
        one, other = (found[int(i)] for i in rng.choice(len(found), 2, replace=False))
        touched = [{n for n in clean if not same(w.waves[n], clean[n])} for w in (one, other)]
        names = [{c for _, channels in w.names for c in channels} for w in (one, other)]
        if any(k == "shifted" for k, _ in one.names | other.names) or names[0] & names[1]:
            continue
        count -= 1
        yield Wiring(one.waves | {n: other.waves[n] for n in touched[1]}, one.names | other.names)


def dense(channel: Channel, capture: Capture) -> bool:
    """Whether a channel changes at nearly every sample, so that everything happens beside its edges."""
    return bool(channel.ticks.size * 3 * capture.step > DENSE * capture.end)


def same(one: Channel, other: Channel) -> bool:
    """Whether two leads show the same."""
    return one.initial == other.initial and np.array_equal(one.ticks, other.ticks)


def all_same(one: Mapping[str, Channel], other: Mapping[str, Channel]) -> bool:
    """Whether two wirings leave the same recording."""
    return all(same(one[n], other[n]) for n in one)


def _bridged(waves: Waves, name: str, other: str, rule: np.ufunc) -> Wiring:
    mixed = both(waves[name], waves[other], rule)
    if mixed.ticks.size:
        return Wiring(waves | {name: mixed, other: mixed}, _named("bridged", name, other))
    # Two that are never high (or low) together hold each other still.
    kind = "stuck_high" if mixed.initial else "stuck_low"
    return Wiring(waves | {name: mixed, other: mixed}, _named(kind, name) | _named(kind, other))


def _named(kind: str, *channels: str) -> frozenset[Name]:
    return frozenset({(kind, tuple(sorted(channels)))})


def _stamped(samples: NDArray[np.int64], capture: Capture) -> NDArray[np.int64]:
    """Give the analyser's time stamps of samples: whole ticks, as it rounds them."""
    return np.rint(samples * capture.step).astype(np.int64)
