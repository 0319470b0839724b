"""Sync from one channel that carries line and field sync together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rastertap.errors import DecodeError
from rastertap.match import Match
from rastertap.streams.field_pulses import FieldSyncs, field_pulse_tallies, group_broad
from rastertap.streams.fields import positions
from rastertap.streams.interface import CONTRACT, Context
from rastertap.streams.lines import LineTrack, line_rhythm, main_pulses, track
from rastertap.streams.pulses import Pulses, polarity_of, pulses_of
from rastertap.streams.sync_build import Parts, build, join_syncs

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.streams.model import Lines, Sync


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


class CompositeSync:
    """Lines and fields from composite sync, whatever becomes of the line sync in the field sync."""

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
        """Find the broad pulses, then track the lines through them."""
        channel = context.channel_with("csync")
        if channel is None:
            raise DecodeError("no channel behaves like a composite sync")
        step, capture = context.step, context.capture
        pulses = pulses_of(channel, capture, step)
        rough = line_rhythm(pulses.starts[main_pulses(pulses.widths)], capture, step)
        known = pulses.widths[pulses.widths > 0]
        width = float(np.median(known)) if known.size else 0.0
        shortest = max(options.broad * rough, 2 * width)
        # Where XOR inverts the line sync, it begins with the wrong edge: no line starts there.
        steady = (pulses.widths > 0) & (pulses.widths < shortest)
        found = track(pulses.starts, pulses.widths, capture, step, tolerance=options.tolerance, steady=steady)
        period = found.period
        syncs = group_broad(pulses, period, shortest, (capture.start, capture.end))
        first, after = context.counted
        counts = (syncs.pulses.starts >= first) & (syncs.pulses.starts < after)
        tallies, begins, style = field_pulse_tallies(pulses, syncs, period, width, counts)
        stray = _glitches(pulses, found, syncs, options)
        polarity = polarity_of(pulses.active)
        return build(
            context,
            Parts(
                kind="composite",
                channels=(channel.name,),
                track=found,
                fields_at=syncs.pulses,
                glitches=pulses.starts[stray],
                glitch_widths=pulses.widths[stray],
                line_polarity=polarity,
                field_polarity=polarity if syncs.pulses.starts.size else None,
                plain=~_near(found.lines, syncs, period, (capture.start, capture.end)),
                style=style,
                tallies=tallies,
                begins=begins,
            ),
        )

    def join(self, earlier: Sync, later: Sync, at: int) -> Sync:
        """Join two pieces."""
        return join_syncs(earlier, later, at)


def _within(times: NDArray[np.int64], syncs: FieldSyncs, before: float, after: float) -> NDArray[np.bool_]:
    """Whether each time lies from ``before`` the start to ``after`` the end of a field sync, ticks."""
    near = np.zeros(times.size, bool)
    for start, width in zip(syncs.pulses.starts, syncs.pulses.widths, strict=True):
        near |= (times >= start - before) & (times <= start + width + after)
    return near


def _near(lines: Lines, syncs: FieldSyncs, period: float, bounds: tuple[int, int]) -> NDArray[np.bool_]:
    """Lines that begin near a field sync, seen or cut by the capture's ends."""
    reach = NEAR_FIELD_SYNC * period
    near = _within(lines.starts, syncs, reach, reach)
    return near | (lines.starts - bounds[0] <= reach) | (bounds[1] - lines.starts <= reach)


def _glitches(
    pulses: Pulses, found: LineTrack, syncs: FieldSyncs, options: CompositeSyncOptions
) -> NDArray[np.int64]:
    """Pulses that begin no line, and are no equalising, broad or inverted pulse of a field sync."""
    spare = found.spare
    if not spare.size:
        return spare
    times = pulses.starts[spare]
    place = positions(times, found.lines)
    half = np.abs(place % 1 - 0.5) <= 2 * options.tolerance
    period = found.period
    reach = NEAR_FIELD_SYNC * period
    near = _within(times, syncs, reach, reach)
    inside = _within(times, syncs, 0.1 * period, 0.1 * period)
    # A capture can begin or end among the pulses of a field sync that it does not hold whole.
    edge = (times - found.lines.starts[0] <= reach) | (found.lines.starts[-1] - times <= reach)
    wide = pulses.widths[spare] > options.broad * period
    return np.asarray(spare[~(inside | (half & (near | edge)) | (edge & wide))], np.int64)
