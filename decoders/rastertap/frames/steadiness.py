"""Whether fields agree with each other: how often each bit of each pixel differs, and whether that is noise.

A noisy bit flips at single pixels for a single field; a picture that moves or blinks changes groups of
pixels, several bits together, or for longer. A flip is a bit of a field that differs from the fields before
and after it (with two fields, from the other one). It counts as noise where no pixel beside it flips too
and no other bit of it, unless most flips of that bit in that field are not so; outside the active area
nothing may ever flip. These rules are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from rastertap.frames.model import Area, Frame

    Codes = NDArray[np.unsignedinteger]
    Counts = NDArray[np.uint32]

FEWEST_ALONE = 0.25
"""Part of a bit's flips in a field that must stand alone for these to be called noise and not motion."""
NEIGHBOURS = 3
"""Fields that judge one: itself, the one before and the one after."""


@dataclass(frozen=True, eq=False)
class Steadiness:
    """How the complete fields of one kind agree, over the whole raster.

    Parameters
    ----------
    fields : int
        Fields compared.
    reference : ndarray of unsigned integer, shape (lines, pixels)
        Codes of the first one.
    apart : ndarray of uint32, shape (bits, lines, pixels)
        Fields in which each bit differs from the reference.
    unsure : ndarray of uint32, shape (lines, pixels)
        Fields in which the pixel was unsure (see `Frame`).
    changes : ndarray of uint32, shape (lines, pixels)
        Times that the pixel's code differs from that of the field before.
    other_size : int
        Fields left out, for their lines or pixels are not as many.
    area : Area or None
        The active area by which flips were judged.
    """

    fields: int
    reference: Codes
    apart: Counts
    unsure: Counts
    changes: Counts
    other_size: int
    area: Area | None
    _flips: Counts
    _marginal: NDArray[np.int64]
    _last: tuple[Frame, ...]

    @cached_property
    def _closed(self) -> tuple[Counts, NDArray[np.int64]]:
        """Flips with those of the last field, which no later field has judged."""
        if self.fields == 1:
            return self._flips, self._marginal
        *earlier, last = self._last
        flips, marginal = self._flips.copy(), self._marginal.copy()
        _judge(last, (earlier[0], earlier[-1]), self.area, flips, marginal)
        return flips, marginal

    @property
    def flips(self) -> Counts:
        """Flips that are noise, by bit, line and pixel, uint32, shape (bits, lines, pixels)."""
        return self._closed[0]

    @property
    def marginal(self) -> NDArray[np.int64]:
        """Flips at unsure pixels by bit: the bus changed within a sampling step of where it is read."""
        return self._closed[1]

    @property
    def rates(self) -> NDArray[np.float64]:
        """Flips of each bit in a pixel and field, shape (bits,); 0 with fewer than two fields."""
        judged = self.reference.size * max(self.fields, 1)
        return np.asarray(self.flips.sum(axis=(1, 2)) / judged)

    @property
    def differing(self) -> int:
        """Pixels that are not the same in all fields."""
        return int((self.changes > 0).sum())

    @property
    def moving(self) -> int:
        """Pixels that change otherwise than by noise: the picture moves or blinks there."""
        noise = self.flips.sum(axis=0)
        # A flip is two changes, one at either end of the recording or with two fields.
        return int((self.changes > 2 * noise).sum())

    @property
    def consensus(self) -> Codes:
        """Each bit as it is in most fields (in the first one when half of them differ)."""
        codes = self.reference.copy()
        for bit, count in enumerate(self.apart):
            codes ^= ((2 * count > self.fields).astype(codes.dtype)) << codes.dtype.type(bit)
        return codes

    @property
    def agreement(self) -> NDArray[np.float64]:
        """Part of the fields in which the least steady bit of each pixel agrees with most, 0.5..1."""
        away = np.minimum(self.apart, self.fields - self.apart).max(axis=0)
        return np.asarray(1 - away / max(self.fields, 1))


def begin(first: Frame, bits: int, area: Area | None) -> Steadiness:
    """Begin with the first field of a kind."""
    shape = first.codes.shape
    return Steadiness(
        fields=1,
        reference=first.codes,
        apart=np.zeros((bits, *shape), np.uint32),
        unsure=first.unsure.astype(np.uint32),
        changes=np.zeros(shape, np.uint32),
        other_size=0,
        area=area,
        _flips=np.zeros((bits, *shape), np.uint32),
        _marginal=np.zeros(bits, np.int64),
        _last=(first,),
    )


def extend(sofar: Steadiness, fields: Iterable[Frame], area: Area | None) -> Steadiness:
    """Take more fields in, in order; ``sofar`` stays as it is.

    Parameters
    ----------
    sofar : Steadiness
    fields : iterable of Frame
        Complete ones of its kind that follow.
    area : Area or None
        Active area as known by now.
    """
    apart, unsure, changes = sofar.apart.copy(), sofar.unsure.copy(), sofar.changes.copy()
    flips, marginal = sofar._flips.copy(), sofar._marginal.copy()  # noqa: SLF001 - this module's own
    last, count, other = list(sofar._last), sofar.fields, sofar.other_size  # noqa: SLF001 - the same
    for field in fields:
        if field.codes.shape != sofar.reference.shape:
            other += 1
            continue
        _count_bits(field.codes ^ sofar.reference, apart)
        unsure += field.unsure
        changes += field.codes != last[-1].codes
        if count == NEIGHBOURS - 1:  # the very first field has its judges only now
            _judge(last[0], (last[1], field), area, flips, marginal)
        if count >= NEIGHBOURS - 1:
            _judge(last[-1], (last[-2], field), area, flips, marginal)
        last = [*last, field][-NEIGHBOURS:]
        count += 1
    return replace(
        sofar,
        fields=count,
        apart=apart,
        unsure=unsure,
        changes=changes,
        other_size=other,
        area=area,
        _flips=flips,
        _marginal=marginal,
        _last=tuple(last),
    )


def _count_bits(differ: Codes, counts: Counts) -> None:
    """Add one for every bit set, where any is."""
    y, x = np.nonzero(differ)
    for bit in range(counts.shape[0]) if y.size else ():
        counts[bit, y, x] += ((differ[y, x] >> differ.dtype.type(bit)) & 1).astype(np.uint32)


def _beside(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Pixels with a neighbour (left, right, above, below) in the mask."""
    found = np.zeros_like(mask)
    found[:, 1:] |= mask[:, :-1]
    found[:, :-1] |= mask[:, 1:]
    found[1:] |= mask[:-1]
    found[:-1] |= mask[1:]
    return found


def _judge(
    field: Frame,
    judges: tuple[Frame, Frame],
    area: Area | None,
    flips: Counts,
    marginal: NDArray[np.int64],
) -> None:
    """Count the noise of a field that two others (or one, given twice) judge."""
    differ = (field.codes ^ judges[0].codes) & (field.codes ^ judges[1].codes)
    if not differ.any():
        return
    single = (differ & (differ - differ.dtype.type(1))) == 0
    alone = single & ~_beside(differ != 0)
    outside = np.ones(differ.shape, bool)
    if area is not None:
        outside[area.y : area.y + area.height, area.x : area.x + area.width] = False
    for bit in range(flips.shape[0]):
        flipped = ((differ >> differ.dtype.type(bit)) & 1) != 0
        inside = flipped & ~outside
        noise = flipped & outside
        if (inside & alone).sum() >= FEWEST_ALONE * inside.sum():
            noise |= inside & alone
        flips[bit] += noise
        marginal[bit] += int((noise & field.unsure).sum())
