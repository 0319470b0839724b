"""Sync hidden in a blanking or display-enable channel: a window in every line, none between fields."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rastertap.capture.model import HIGH
from rastertap.errors import DecodeError
from rastertap.match import Match
from rastertap.streams.blanking import FIELD_GAP, window_channel
from rastertap.streams.interface import CONTRACT, Context
from rastertap.streams.lines import track
from rastertap.streams.model import Fields
from rastertap.streams.pulses import Pulses, polarity_of
from rastertap.streams.sync_build import Parts, build, join_syncs

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.capture.model import Channel
    from rastertap.streams.lines import LineTrack
    from rastertap.streams.model import Sync


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
    """Lines from the end of the picture in each; fields from the long gap. The sync itself is not known."""

    name: ClassVar[str] = "sync-blanking"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = "line and field rate from a blanking or display-enable channel without hsync"
    needs: ClassVar[frozenset[str]] = frozenset()
    gives: ClassVar[str] = "sync"
    Options: ClassVar[type] = BlankingSyncOptions

    def match(self, context: Context) -> Match:
        """Fit, less than any real sync, when there is a window and no line sync."""
        role, channel = window_channel(context)
        if channel is None:
            return Match(0.0, ("no channel behaves like a blanking window",))
        if context.pins_with("hsync") or context.pins_with("csync"):
            return Match(0.0, ("there is a line sync",))
        return Match(0.4, (f"{role.replace('_', ' ')} on {channel.name}, and no line sync",))

    def decode(self, context: Context, options: BlankingSyncOptions) -> Sync:
        """Track the closing edges of the window; where it stays shut a field begins."""
        _, channel = window_channel(context)
        if channel is None:
            raise DecodeError("no channel behaves like a blanking window")
        step, capture = context.step, context.capture
        shown = open_level(channel)
        opens, shuts = channel.edges_to(shown), channel.edges_to(1 - shown)
        found = track(shuts, np.zeros(shuts.size, np.int64), capture, step, tolerance=options.tolerance)
        place = np.searchsorted(opens, shuts, side="right")
        known = place < opens.size
        gap = np.where(known, opens[np.minimum(place, opens.size - 1)] - shuts, 0)
        long = gap > FIELD_GAP * found.period
        stray = found.spare[~long[found.spare]]
        fields = _fields(shuts[long], gap[long], found)
        return build(
            context,
            Parts(
                kind="blanking",
                channels=(channel.name,),
                track=found,
                fields_at=Pulses(1 - shown, fields.starts, fields.widths),
                glitches=shuts[stray],
                glitch_widths=gap[stray],
                line_polarity=polarity_of(1 - shown),
                field_polarity=polarity_of(1 - shown) if long.any() else None,
                plain=_between(found, shuts[long], gap[long]),
                fields=(fields, False if fields.starts.size > 1 else None),
            ),
        )

    def join(self, earlier: Sync, later: Sync, at: int) -> Sync:
        """Join two pieces."""
        return join_syncs(earlier, later, at)


def open_level(channel: Channel) -> int:
    """Level of a window channel while there is picture: not that of its longest stay, a field blanking."""
    if channel.ticks.size < 2:  # noqa: PLR2004 - no stay has two ends
        return HIGH
    stays = np.diff(channel.ticks)
    return 1 - int(channel.levels[:-1][np.argmax(stays)])


def _fields(times: NDArray[np.int64], widths: NDArray[np.int64], found: LineTrack) -> Fields:
    """Each field begins where the picture of the one before it ends."""
    starts = found.lines.starts
    first = np.clip(np.searchsorted(starts, times - 0.25 * found.period), 0, starts.size - 1)
    lines = np.append(np.diff(first).astype(np.float64), np.nan) if times.size else np.empty(0)
    return Fields(times, first, np.zeros(times.size), widths, lines)


def _between(found: LineTrack, times: NDArray[np.int64], widths: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Lines outside the field blankings, where the window is due."""
    starts, reach = found.lines.starts, 0.5 * found.period
    plain = np.ones(starts.size, bool)
    for begin, width in zip(times, widths, strict=True):
        plain &= (starts < begin + reach) | (starts > begin + width)
    # Before the first and after the last edge nothing is known to be due.
    measured = np.flatnonzero(found.lines.measured)
    plain[: measured[0]] = plain[measured[-1] + 1 :] = False
    return plain
