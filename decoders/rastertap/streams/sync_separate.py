"""Sync from two channels: one pulse a line, one pulse a field."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rastertap.errors import DecodeError
from rastertap.match import Match
from rastertap.measured import Measured
from rastertap.streams.fields import find_fields
from rastertap.streams.interface import CONTRACT, Context
from rastertap.streams.lines import track
from rastertap.streams.model import Sync
from rastertap.streams.pulses import Pulses, polarity_of, pulses_of

if TYPE_CHECKING:
    from rastertap.capture.model import Channel


@dataclass(frozen=True)
class SeparateSyncOptions:
    """Options of the separate sync decoder.

    Parameters
    ----------
    tolerance : float
        How far from due a line may begin, in line periods.
    shortest_field_sync_us : float
        Shorter pulses on the vsync channel are glitches.
    """

    tolerance: float = 0.03
    shortest_field_sync_us: float = 1.0


class SeparateSync:
    """Lines from hsync, fields from vsync; lines alone when there is no vsync."""

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
        step = context.step
        line = pulses_of(line_channel, context.capture, step)
        found = track(line.starts, line.widths, context.capture, step, tolerance=options.tolerance)
        field_channel = context.channel_with("vsync")
        field = self._field_pulses(field_channel, context, options)
        fields, interlaced = find_fields(field.starts, field.widths, found.lines)
        known = field.widths[field.widths > 0]
        width = None
        if known.size:
            width = Measured(
                float(np.median(known)) / found.period.value, step / np.sqrt(6) / found.period.value, "lines"
            )
        return Sync(
            kind="separate",
            channels=tuple(c.name for c in (line_channel, field_channel) if c is not None),
            lines=found.lines,
            fields=fields,
            line_period=found.period,
            line_width=found.width,
            line_polarity=polarity_of(line.active),
            field_polarity=polarity_of(field.active) if field.starts.size else None,
            field_width=width,
            interlaced=interlaced,
            glitches=line.starts[found.spare],
            steps=found.steps,
        )

    @staticmethod
    def _field_pulses(channel: Channel | None, context: Context, options: SeparateSyncOptions) -> Pulses:
        if channel is None:
            none = np.empty(0, np.int64)
            return Pulses(0, none, none)
        shortest = int(options.shortest_field_sync_us * 1e-6 / float(context.capture.tick))
        return pulses_of(channel, context.capture, context.step).at_least(shortest)
