"""Sync from one channel that carries line and field sync together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rastertap.errors import DecodeError
from rastertap.match import Match
from rastertap.measured import Measured
from rastertap.streams.fields import find_fields, positions
from rastertap.streams.interface import CONTRACT, Context
from rastertap.streams.lines import LineTrack, track
from rastertap.streams.model import Sync
from rastertap.streams.pulses import Pulses, polarity_of, pulses_of

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True)
class CompositeSyncOptions:
    """Options of the composite sync decoder.

    Parameters
    ----------
    tolerance : float
        How far from due a line may begin, in line periods.
    broad : float
        A pulse wider than this, in line periods (and than twice the line sync), is part of a field sync.
    """

    tolerance: float = 0.03
    broad: float = 0.2


NEAR_FIELD_SYNC = 12.0
"""Lines round a field sync in which half-line pulses are equalising pulses, not glitches (7.5 to 9 are used:
BT.470 Table 1-2, 2.5 H or 3 H each)."""


def broad_pulses(width: float, period: float, broad: float) -> float:
    """Width in ticks from which a pulse is a broad one."""
    return max(broad * period, 2 * width)


def field_syncs(pulses: Pulses, period: float, shortest: float) -> Pulses:
    """Join neighbouring broad pulses into field syncs."""
    wide = pulses.at_least(max(int(shortest), 1))
    keep = wide.widths > 0
    starts, ends = wide.starts[keep], wide.starts[keep] + wide.widths[keep]
    if not starts.size:
        return Pulses(pulses.active, starts, starts)
    new = np.concatenate(([True], starts[1:] - ends[:-1] > period))
    last = np.concatenate((np.flatnonzero(new)[1:] - 1, [starts.size - 1]))
    return Pulses(pulses.active, starts[new], ends[last] - starts[new])


class CompositeSync:
    """Lines and fields from composite sync: with or without serrations and equalising pulses, or inverted in the field sync."""

    name: ClassVar[str] = "sync-composite"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = "line and field sync from one composite sync channel"
    needs: ClassVar[frozenset[str]] = frozenset()
    gives: ClassVar[str] = "sync"
    Options: ClassVar[type] = CompositeSyncOptions

    def match(self, context: Context) -> Match:
        """Fit when there is a composite sync, a little less than a good pair of separate ones."""
        found = context.pins_with("csync")
        if not found:
            return Match(0.0, ("no channel behaves like a composite sync",))
        return Match(0.8 * found[0].score, (f"csync on {found[0].channel}",))

    def decode(self, context: Context, options: CompositeSyncOptions) -> Sync:
        """Track the lines through the field sync, then find the broad pulses."""
        channel = context.channel_with("csync")
        if channel is None:
            raise DecodeError("no channel behaves like a composite sync")
        step = context.step
        pulses = pulses_of(channel, context.capture, step)
        found = track(pulses.starts, pulses.widths, context.capture, step, tolerance=options.tolerance)
        period = found.period.value
        fields_at = field_syncs(pulses, period, broad_pulses(found.width.value, period, options.broad))
        fields, interlaced = find_fields(fields_at.starts, fields_at.widths, found.lines)
        width = None
        if fields_at.starts.size:
            median = float(np.median(fields_at.widths)) / period
            width = Measured(median, step / np.sqrt(6) / period, "lines")
        return Sync(
            kind="composite",
            channels=(channel.name,),
            lines=found.lines,
            fields=fields,
            line_period=found.period,
            line_width=found.width,
            line_polarity=polarity_of(pulses.active),
            field_polarity=polarity_of(pulses.active) if fields_at.starts.size else None,
            field_width=width,
            interlaced=interlaced,
            glitches=_glitches(pulses, found, fields_at, options),
            steps=found.steps,
        )


def _glitches(
    pulses: Pulses, found: LineTrack, fields_at: Pulses, options: CompositeSyncOptions
) -> NDArray[np.int64]:
    """Edges that begin no line, and are no equalising, broad or inverted pulse of a field sync."""
    spare = pulses.starts[found.spare]
    if not spare.size:
        return spare
    place = positions(spare, found.lines)
    half = np.abs(place % 1 - 0.5) <= 2 * options.tolerance
    period = found.period.value
    near = np.zeros(spare.size, bool)
    inside = np.zeros(spare.size, bool)
    for start, width in zip(fields_at.starts, fields_at.widths, strict=True):
        near |= np.abs(spare - start) <= NEAR_FIELD_SYNC * period
        inside |= (spare >= start - 0.1 * period) & (spare <= start + width + 0.1 * period)
    # A capture can begin or end among the equalising pulses of a field sync that it does not hold.
    edge = NEAR_FIELD_SYNC * period
    near |= (spare - found.lines.starts[0] <= edge) | (found.lines.starts[-1] - spare <= edge)
    return spare[~(inside | (half & near))]
