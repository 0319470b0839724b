"""Which channel shows which bit of the known picture: as it is, inverted, or mixed with another."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from rastertap.checks.picture_lay import NOISE, RARE, Overlap, correlated, lay, places_of

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from numpy.typing import NDArray

    from rastertap.checks.expected_picture import ExpectedPicture
    from rastertap.frames.model import Frame, Frames
    from rastertap.streams.model import ColourBus

NEARLY = 0.25
"""Part of a bit's rarer level up to which a channel is that bit, with the picture changed."""
LINES_RIGHT, FEWEST_LINES = 0.3, 8
"""Part of the lines that move a bit, and how many, in which a channel shows it exactly to be that bit, wrong
in the others: a wire that carries something else shows it in none."""
MIXED_BITS = 8
"""Bits up to which every pair is tried as bridged."""
Rule = Literal["and", "or"]


@dataclass(frozen=True)
class Fit:
    """A bit that a channel shows."""

    bit: int
    inverted: bool


@dataclass(frozen=True)
class Mix:
    """Two bits that a channel shows the and, or the or, of."""

    first: int
    second: int
    rule: Rule


@dataclass(frozen=True, eq=False)
class BitSolution:
    """What the known picture says of the colour channels.

    Parameters
    ----------
    fits : mapping of str to tuple of Fit
        By channel; none: it shows no bit of the picture; more than one: the picture cannot tell.
    mixes : mapping of str to tuple of Mix
        Of the channels without a fit.
    still : mapping of int to int
        Bits that the picture holds at one level throughout, with that level.
    alike : tuple of (int, int)
        Bits that the picture cannot tell apart.
    shown : bool
        Whether the picture is on the screen at all: most of the moving channels show it.
    at : (int, int)
        Where its top left corner lies on the raster.
    pixels : int
        Pixels compared.
    wrong : ndarray of bool, shape (height, width)
        Pixels that differ from the picture, once every channel is read as the bit that it shows.
    wrong_on : tuple of str
        Channels on which they do.
    placed : bool
        Whether ``at`` is counted from the syncs; else the picture was found by its own lines.
    moved : (int, int)
        Pixels to the right, and lines down, from where the board file has it.
    """

    fits: Mapping[str, tuple[Fit, ...]]
    mixes: Mapping[str, tuple[Mix, ...]]
    still: Mapping[int, int]
    alike: tuple[tuple[int, int], ...]
    shown: bool
    at: tuple[int, int]
    pixels: int
    wrong: NDArray[np.bool_]
    wrong_on: tuple[str, ...]
    placed: bool = True
    moved: tuple[int, int] = (0, 0)


def solve(
    frames: Frames, bus: ColourBus, expected: Sequence[ExpectedPicture], bits: int
) -> BitSolution | None:
    """Find which bit each channel of the bus shows; None when there is no field to look at.

    Parameters
    ----------
    frames : Frames
        Codes as wired.
    bus : ColourBus
        Names the channel of each bit of those codes.
    expected : sequence of ExpectedPicture
        The picture of each kind of field; each is tried.
    bits : int
        Of the picture's codes; the bus may have more or fewer.
    """
    chosen = fullest(frames)
    names = [bit.name for bit in bus.bits]
    if chosen is None or not any(names):
        return None
    tries = (
        (picture, chosen, at)
        for picture in expected
        for at in places_of(picture, chosen, frames.active_of(chosen), names, bits)
    )
    return _best(tries, names, bits)


def fullest(frames: Frames) -> Frame | None:
    """Give a complete field, else the one with the most lines; None when there is none."""
    fields = [f for f in frames.frames if f.field != "woven"]
    tallest = max(fields, key=lambda f: f.codes.shape[0], default=None)
    return next((f for f in fields if f.complete), tallest)


def solve_unplaced(
    rasters: Sequence[Frame], names: Sequence[str], expected: Sequence[ExpectedPicture], bits: int
) -> BitSolution | None:
    """Find which bit each channel shows where no sync tells where the picture lies.

    Parameters
    ----------
    rasters : sequence of Frame
        Each is tried.
    names : sequence of str
        Channel of each bit of their codes.
    expected, bits
        As in `solve`.
    """
    tries = (
        (picture, raster, at)
        for raster in rasters
        for picture in expected
        for at in correlated(picture, raster, len(names), bits)
    )
    found = _best(tries, names, bits)
    return None if found is None else replace(found, placed=False)


def _best(
    tries: Iterable[tuple[ExpectedPicture, Frame, tuple[int, int]]], names: Sequence[str], bits: int
) -> BitSolution | None:
    best: BitSolution | None = None
    for picture, frame, at in tries:
        overlap = lay(frame, picture, at, len(names), bits)
        if overlap is None:
            continue
        found = _solved(overlap, names, at)
        if picture.at is not None:
            found = replace(found, moved=(at[0] - picture.at[0], at[1] - picture.at[1]))
        if best is None or _goodness(found) > _goodness(best):
            best = found
        if all(found.fits.values()) and not found.wrong.any():
            return found
    return best


def _goodness(solution: BitSolution) -> tuple[int, int, int]:
    mixed = sum(bool(m) for m in solution.mixes.values())
    return sum(bool(f) for f in solution.fits.values()) + mixed, -mixed, -int(solution.wrong.sum())


def _solved(overlap: Overlap, names: Sequence[str], at: tuple[int, int]) -> BitSolution:
    differ, count = overlap.differing()
    allowed, bits = overlap.allowed(), len(overlap.expected)
    lit = (overlap.expected * overlap.known).sum(axis=1)
    still = {k: int(lit[k] > 0) for k in range(bits) if lit[k] in {0, count[k]}}
    fits: dict[str, tuple[Fit, ...]] = {}
    for c, name in enumerate(names):
        if name:
            plain = [Fit(k, inverted=False) for k in range(bits) if differ[c, k] <= allowed[k]]
            turned = [
                Fit(k, inverted=True)
                for k in range(bits)
                # A bit that stands still says nothing of being inverted or stuck.
                if count[k] - differ[c, k] <= allowed[k] and k not in still
            ]
            fits[name] = (*plain, *turned)
    moving = [n for c, n in enumerate(names) if n and 0 < overlap.seen[c].mean() < 1]
    mixes = _mixes(overlap, [c for c, n in enumerate(names) if n in moving and not fits[n]], names)
    taken = {f.bit for each in fits.values() for f in each}
    for c, name in enumerate(names):
        if name in moving and not fits[name] and not mixes.get(name):
            fits[name] = _nearly(differ[c], count, lit) or _in_some_lines(overlap, c, taken)
    showing = [n for n in moving if any(f.bit not in still for f in fits[n]) or mixes.get(n)]
    wrong, wrong_on = _wrong(overlap, names, fits)
    return BitSolution(
        fits,
        mixes,
        still,
        _alike(overlap),
        shown=bool(showing) and 2 * len(showing) >= len(moving),
        at=at,
        pixels=int(count.max(initial=0)),
        wrong=wrong,
        wrong_on=wrong_on,
    )


def _nearly(
    differ: NDArray[np.float32], count: NDArray[np.float32], lit: NDArray[np.float32]
) -> tuple[Fit, ...]:
    """Give the bit that a channel shows but for a part of the picture, if one is far nearer than the rest."""
    rarer = np.maximum(np.minimum(lit, count - lit), 1)
    apart = np.concatenate((differ / rarer, (count - differ) / rarer))
    nearest, *others = np.argsort(apart)
    if apart[nearest] > NEARLY or (others and apart[others[0]] < 2 * apart[nearest]):
        return ()
    turned, bit = divmod(int(nearest), differ.size)
    return (Fit(bit, inverted=bool(turned)),)


def _in_some_lines(overlap: Overlap, channel: int, taken: Collection[int]) -> tuple[Fit, ...]:
    """Give the bit that a channel alone shows exactly in many of the lines that move it."""
    seen = overlap.seen[channel].reshape(overlap.shape)
    right = np.zeros(len(overlap.expected))
    for bit in set(range(right.size)) - set(taken):
        wanted = overlap.expected[bit].reshape(overlap.shape)
        sure = overlap.known[bit].reshape(overlap.shape) > 0
        lit, count = (wanted * sure).sum(axis=1), sure.sum(axis=1)
        moving = (lit > 0) & (lit < count)
        same = ((seen == wanted) | ~sure).all(axis=1)
        if int((same & moving).sum()) >= FEWEST_LINES:
            right[bit] = float((same & moving).sum() / moving.sum())
    bit = int(np.argmax(right))
    alone = 2 * float(np.delete(right, bit).max(initial=0.0)) < right[bit]
    return (Fit(bit, inverted=False),) if right[bit] >= LINES_RIGHT and alone else ()


def _mixes(overlap: Overlap, channels: list[int], names: Sequence[str]) -> dict[str, tuple[Mix, ...]]:
    """Try the and, and the or, of every two bits."""
    bits = len(overlap.expected)
    if not channels or bits > MIXED_BITS:
        return {}
    found: dict[str, list[Mix]] = {names[c]: [] for c in channels}
    rules: tuple[tuple[Rule, np.ufunc], ...] = (("and", np.minimum), ("or", np.maximum))
    for first in range(bits):
        for second in range(first + 1, bits):
            known = overlap.known[first] * overlap.known[second]
            for rule, combine in rules:
                mixed = combine(overlap.expected[first], overlap.expected[second])
                lit = float((mixed * known).sum())
                rarer = min(lit, float(known.sum()) - lit)
                for c in channels:
                    differ = float((np.abs(overlap.seen[c] - mixed) * known).sum())
                    if differ <= min(max(NOISE * float(known.sum()), 1), max(RARE * rarer, 1)):
                        found[names[c]].append(Mix(first, second, rule))
    return {name: tuple(mixes) for name, mixes in found.items()}


def _alike(overlap: Overlap) -> tuple[tuple[int, int], ...]:
    """Give the pairs of bits that differ in too few pixels to be told apart."""
    bits = len(overlap.expected)
    allowed = overlap.allowed()
    pairs = []
    for a in range(bits):
        for b in range(a + 1, bits):
            known = overlap.known[a] * overlap.known[b]
            differ = float((np.abs(overlap.expected[a] - overlap.expected[b]) * known).sum())
            if differ <= 2 * max(allowed[a], allowed[b]):
                pairs.append((a, b))
    return tuple(pairs)


def _wrong(
    overlap: Overlap, names: Sequence[str], fits: Mapping[str, tuple[Fit, ...]]
) -> tuple[NDArray[np.bool_], tuple[str, ...]]:
    """Give the pixels in which a channel differs from the bit that it shows, and those channels."""
    wrong, channels = np.zeros(overlap.shape[0] * overlap.shape[1], bool), []
    for c, name in enumerate(names):
        own = next((f for f in fits.get(name, ()) if f.bit == c), next(iter(fits.get(name, ())), None))
        if own is not None:
            seen = 1 - overlap.seen[c] if own.inverted else overlap.seen[c]
            mine = (seen != overlap.expected[own.bit]) & (overlap.known[own.bit] > 0)
            wrong |= mine
            channels += [name] if mine.any() else []
    return wrong.reshape(overlap.shape), tuple(channels)
