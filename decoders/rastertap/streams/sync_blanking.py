"""Sync hidden in blanking or display enable: a window in every line, none between fields; or fields alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rastertap.capture.model import HIGH
from rastertap.errors import DecodeError
from rastertap.match import Match
from rastertap.streams.blanking import FIELD_GAP, window_channel
from rastertap.streams.bus_lines import line_ends
from rastertap.streams.field_blanking import long_pulses, place_fields
from rastertap.streams.interface import CONTRACT, Context
from rastertap.streams.lines import track
from rastertap.streams.pulses import Pulses, polarity_of, pulses_of
from rastertap.streams.role_clean import SHORTEST_FIELD_PULSE_S, settled
from rastertap.streams.sync_build import Parts, build, join_syncs

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.capture.model import Channel
    from rastertap.streams.lines import LineTrack
    from rastertap.streams.model import Sync

SAME_EDGE = 0.002
"""How far from due, in line periods, a picture's edge may be and still be the one that ends the lines."""


@dataclass(frozen=True)
class BlankingSyncOptions:
    """Options of the blanking sync decoder.

    Parameters
    ----------
    tolerance : float
        How far from due a line may begin, in line periods.
    """

    tolerance: float = 0.03


class BlankingSync:
    """Lines from the end of the picture in each; fields from the long gap, or from a field pulse.

    The line sync itself is not known. Without a window, lines come from where the colour bus goes dark.
    """

    name: ClassVar[str] = "sync-blanking"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = (
        "lines and fields from blanking or display enable, or a field pulse, without hsync"
    )
    needs: ClassVar[frozenset[str]] = frozenset()
    gives: ClassVar[str] = "sync"
    Options: ClassVar[type] = BlankingSyncOptions

    def match(self, context: Context) -> Match:
        """Fit, less than any real sync, when there is a window or a field pulse and no line sync."""
        role, channel = window_channel(context)
        vertical = context.channel_with("vsync")
        if channel is None and vertical is None:
            return Match(0.0, ("no channel behaves like a sync or a blanking window",))
        if context.pins_with("hsync") or context.pins_with("csync"):
            return Match(0.0, ("there is a line sync",))
        found = [f"{role.replace('_', ' ')} on {channel.name}"] if channel is not None else []
        found += [f"a field pulse on {vertical.name}"] if vertical is not None else []
        return Match(0.4 if channel is not None else 0.3, (f"{' and '.join(found)}, and no line sync",))

    def decode(self, context: Context, options: BlankingSyncOptions) -> Sync:
        """Track the closing edges of the window; where it stays shut, or a pulse begins, a field does."""
        _, channel = window_channel(context)
        vertical = context.channel_with("vsync")
        if channel is None:
            return _from_the_bus(context, vertical)
        step, capture = context.step, context.capture
        shown = open_level(channel)
        opens, shuts = channel.edges_to(shown), channel.edges_to(1 - shown)
        # A level that a simulator sets at its start ends no picture.
        shuts = shuts[np.searchsorted(opens, shuts) > 0]
        found = track(shuts, np.zeros(shuts.size, np.int64), capture, step, tolerance=options.tolerance)
        place = np.searchsorted(opens, shuts, side="right")
        known = place < opens.size
        gap = np.where(known, opens[np.minimum(place, opens.size - 1)] - shuts, 0)
        long = gap > FIELD_GAP * found.period
        stray = found.spare[~long[found.spare]]
        pulses = Pulses(1 - shown, shuts[long], gap[long])
        names: tuple[str, ...] = (channel.name,)
        if vertical is not None:
            pulses = pulses_of(vertical, capture, step)
            names = (channel.name, vertical.name)
        fields, interlaced = place_fields(
            pulses, found, context.before.get("sync"), blanked=vertical is None or long_pulses(pulses, found)
        )
        return build(
            context,
            Parts(
                kind="blanking",
                channels=names,
                track=found,
                fields_at=Pulses(pulses.active, fields.starts, fields.widths),
                glitches=shuts[stray],
                glitch_widths=gap[stray],
                line_polarity=polarity_of(1 - shown),
                field_polarity=polarity_of(pulses.active) if fields.starts.size else None,
                plain=_between(found, shuts[long], gap[long]),
                fields=(fields, interlaced),
            ),
        )

    def join(self, earlier: Sync, later: Sync, at: int) -> Sync:
        """Join two pieces."""
        return join_syncs(earlier, later, at)


def _from_the_bus(context: Context, vertical: Channel | None) -> Sync:
    """Fields from the field pulse, lines from where the colour bus goes dark in each."""
    if vertical is None:
        raise DecodeError("no channel behaves like a blanking window")
    # What disturbs the field pulse is no field: one that is too short would leave fields without a line.
    vertical = settled(vertical, SHORTEST_FIELD_PULSE_S / float(context.capture.tick))
    pulses = pulses_of(vertical, context.capture, context.step)
    bits = [context.capture.channel(p.channel) for p in context.pins_with("colour")]
    ends = line_ends(bits, pulses, context.capture, context.step)
    found = track(ends, np.zeros(ends.size, np.int64), context.capture, context.step, tolerance=SAME_EDGE)
    before = context.before.get("sync")
    fields, interlaced = place_fields(pulses, found, before, blanked=long_pulses(pulses, found))
    none = np.empty(0, np.int64)
    return build(
        context,
        Parts(
            kind="vertical",
            channels=(vertical.name,),
            track=found,
            fields_at=Pulses(pulses.active, fields.starts, fields.widths),
            glitches=none,
            glitch_widths=none,
            line_polarity=polarity_of(pulses.active),
            field_polarity=polarity_of(pulses.active),
            plain=np.zeros(found.lines.starts.size, bool),
            fields=(fields, interlaced),
        ),
    )


def open_level(channel: Channel) -> int:
    """Level of a window channel while there is picture: not that of its longest stay, a field blanking.

    Where no stay is longer than a line there is no field blanking; line blanking is the shorter of the two.
    """
    if channel.ticks.size < 3:  # noqa: PLR2004 - two stays to compare
        return HIGH
    stays, levels = np.diff(channel.ticks), channel.levels[:-1]
    usual = [float(np.median(stays[levels == level])) for level in (0, 1)]
    if stays.max() > FIELD_GAP * sum(usual):
        return 1 - int(levels[np.argmax(stays)])
    return int(usual[1] > usual[0])


def _between(found: LineTrack, times: NDArray[np.int64], widths: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Lines outside the field blankings, where the window is due."""
    starts, reach = found.lines.starts, 0.25 * found.period
    plain = np.ones(starts.size, bool)
    for begin, width in zip(times, widths, strict=True):
        plain &= (starts < begin + reach) | (starts > begin + width)
    # Before the first and after the last edge nothing is known to be due.
    measured = np.flatnonzero(found.lines.measured)
    plain[: measured[0]] = plain[measured[-1] + 1 :] = False
    return plain
