"""Sync from two channels: one pulse a line, one pulse a field."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rastertap.errors import DecodeError
from rastertap.match import Match
from rastertap.streams.field_blanking import long_pulses, place_fields
from rastertap.streams.interface import CONTRACT, Context
from rastertap.streams.lines import track
from rastertap.streams.pulses import Pulses, polarity_of, pulses_of
from rastertap.streams.role_clean import SHORTEST_FIELD_PULSE_S, settled
from rastertap.streams.sync_build import Parts, build, join_syncs

if TYPE_CHECKING:
    from rastertap.capture.model import Channel
    from rastertap.streams.model import Sync


@dataclass(frozen=True)
class SeparateSyncOptions:
    """Options of the separate sync decoder.

    Parameters
    ----------
    tolerance : float
        How far from due a line may begin, in line periods.
    shortest_field_sync_us : float
        Shorter levels on the vsync channel are glitches.
    """

    tolerance: float = 0.03
    shortest_field_sync_us: float = SHORTEST_FIELD_PULSE_S * 1e6


class SeparateSync:
    """Lines from hsync, fields from vsync (or vertical blanking); lines alone when there is no vsync."""

    name: ClassVar[str] = "sync-separate"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = "line and field sync from separate hsync and vsync channels"
    needs: ClassVar[frozenset[str]] = frozenset()
    gives: ClassVar[str] = "sync"
    Options: ClassVar[type] = SeparateSyncOptions

    def match(self, context: Context) -> Match:
        """Fit when there is an hsync; better when there is a vsync too."""
        found = [p for role in ("hsync", "vsync") for p in context.pins_with(role)]
        roles = {p.role for p in found}
        if "hsync" not in roles:
            return Match(0.0, ("no channel behaves like a line sync",))
        whole = "vsync" in roles
        score = min(p.score for p in found) if whole else 0.3
        why = f"{' and '.join(f'{p.role} on {p.channel}' for p in found)}"
        return Match(score, (why if whole else why + ", no vsync",))

    def decode(self, context: Context, options: SeparateSyncOptions) -> Sync:
        """Track the lines, then place the field syncs on them."""
        line_channel = context.channel_with("hsync")
        if line_channel is None:
            raise DecodeError("no channel behaves like a line sync")
        line = pulses_of(line_channel, context.capture, context.step)
        found = track(line.starts, line.widths, context.capture, context.step, tolerance=options.tolerance)
        field_channel = context.channel_with("vsync")
        field, spikes = self._field_pulses(field_channel, context, options)
        blanked = long_pulses(field, found)
        fields, interlaced = place_fields(field, found, context.before.get("sync"), blanked=blanked)
        return build(
            context,
            Parts(
                kind="separate",
                channels=tuple(c.name for c in (line_channel, field_channel) if c is not None),
                track=found,
                fields_at=Pulses(field.active, fields.starts, fields.widths),
                fields=(fields, interlaced),
                glitches=np.sort(np.concatenate((line.starts[found.spare], spikes.starts))),
                glitch_widths=_in_order(line, found.spare, spikes),
                line_polarity=polarity_of(line.active),
                field_polarity=polarity_of(field.active) if field.starts.size else None,
                plain=np.ones(found.lines.starts.size, bool),
            ),
        )

    @staticmethod
    def _field_pulses(
        channel: Channel | None, context: Context, options: SeparateSyncOptions
    ) -> tuple[Pulses, Pulses]:
        """Field syncs, and what is too short to be one."""
        none = np.empty(0, np.int64)
        if channel is None:
            return Pulses(0, none, none), Pulses(0, none, none)
        shortest = int(options.shortest_field_sync_us * 1e-6 / float(context.capture.tick))
        found = pulses_of(channel, context.capture, context.step)
        short = (found.widths > 0) & (found.widths < shortest)
        spikes = Pulses(found.active, found.starts[short], found.widths[short])
        return pulses_of(settled(channel, shortest), context.capture, context.step), spikes

    def join(self, earlier: Sync, later: Sync, at: int) -> Sync:
        """Join two pieces."""
        return join_syncs(earlier, later, at)


def _in_order(
    line: Pulses, spare: np.ndarray[tuple[int], np.dtype[np.int64]], spikes: Pulses
) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Widths of the stray pulses of both channels, in order of time."""
    times = np.concatenate((line.starts[spare], spikes.starts))
    widths = np.concatenate((line.widths[spare], spikes.widths))
    return np.asarray(widths[np.argsort(times, kind="stable")], np.int64)
