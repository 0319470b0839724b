"""Porches and blanking: from a display-enable or blanking channel, else from the picture's own edge."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.streams.tally import Tally, tally

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rastertap.capture.model import Channel
    from rastertap.streams.interface import Context
    from rastertap.streams.model import Fields, Lines

FIELD_GAP = 3.0
"""A window that stays shut for more than this many lines is shut for the field blanking."""
NEAR = 0.1
"""A porch further than this part of a line from the usual one belongs to a half line or a fault."""
MID_LINE = 0.4
"""A picture that begins this part of a line or more after the line sync begins in mid-line."""
PLAIN_PART = 0.25
"""A line sync is this near to the usual width; half of it is an equalising pulse."""


def window_channel(context: Context) -> tuple[str, Channel | None]:
    """Name and give the channel that says where the picture is; empty and None without one."""
    for role in ("display_enable", "blank"):
        channel = context.channel_with(role)
        if channel is not None:
            return role, channel
    return "", None


def _level_at(channel: Channel, times: NDArray[np.int64]) -> NDArray[np.uint8]:
    levels = np.concatenate((np.array([channel.initial], np.uint8), channel.levels))
    return levels[np.searchsorted(channel.ticks, times, side="right")]


def _usual(values: NDArray[np.float64], period: float) -> NDArray[np.float64]:
    """Leave out what is far from the median."""
    if not values.size:
        return values
    kept: NDArray[np.float64] = values[np.abs(values - np.median(values)) <= NEAR * period]
    return kept


def picture_level(channel: Channel, lines: Lines) -> int:
    """Level of a window channel while there is picture: not the one that it has at the line syncs."""
    inside = lines.starts[lines.measured]
    return 1 - round(float(_level_at(channel, inside).mean())) if inside.size else 1


def window_tallies(
    channel: Channel,
    lines: Lines,
    fields: Fields,
    period: float,
    *,
    begins: NDArray[np.int64],
    span: tuple[int, int],
) -> dict[str, Tally]:
    """Measure porches and blanking by a window channel.

    Parameters
    ----------
    channel : Channel
        Display enable or blanking.
    lines, fields : Lines, Fields
        Of the sync.
    period : float
        Line period, ticks.
    begins : ndarray of int64, shape (fields,)
        Leading edge of the first pulse of each field sync, equalising pulses included.
    span : (int, int)
        First tick that counts, and the first that does not.
    """
    shown = picture_level(channel, lines)
    opens, shuts = channel.edges_to(shown), channel.edges_to(1 - shown)
    starts = lines.starts
    if opens.size < 2 or shuts.size < 2 or starts.size < 2:  # noqa: PLR2004 - nothing to measure between
        return {}
    place = np.searchsorted(opens, starts[:-1], side="right")
    open_at = opens[np.minimum(place, opens.size - 1)].astype(np.float64)
    open_at[(place >= opens.size) | (open_at >= starts[1:])] = np.nan
    place = np.searchsorted(shuts, starts[1:], side="right") - 1
    shut_at = shuts[np.maximum(place, 0)].astype(np.float64)
    shut_at[(place < 0) | (shut_at <= starts[:-1])] = np.nan
    counted = lines.measured[:-1] & (starts[:-1] >= span[0]) & (starts[:-1] < span[1])
    wide = np.where(lines.widths[:-1] > 0, lines.widths[:-1], np.nan)
    # An equalising or broad pulse is no line sync to measure a back porch from.
    usual = float(np.nanmedian(wide)) if np.isfinite(wide).any() else 0.0
    plain = np.abs(wide - usual) <= PLAIN_PART * usual
    active = np.isfinite(open_at)
    # The last line of the picture is followed by the field's blanking, whose edge has its own place.
    follows = lines.measured[1:] & np.append(active[1:], False)
    found = {
        "sync_to_active": (open_at - starts[:-1])[counted],
        "back_porch": (open_at - starts[:-1] - wide)[counted & plain],
        "front_porch": (starts[1:] - shut_at)[counted & follows],
        "line_blanking": (open_at[1:] - shut_at[:-1])[counted[1:] & active[:-1]],
    }
    tallies = {key: tally(_usual(v[np.isfinite(v)], period)) for key, v in found.items()}
    gaps = _field_gaps((opens, shuts), period, begins, span) | _to_sync((opens, shuts), lines, period, span)
    return tallies | gaps | _active_rows(active, fields, span)


def _field_gaps(
    edges: tuple[NDArray[np.int64], NDArray[np.int64]],
    period: float,
    begins: NDArray[np.int64],
    span: tuple[int, int],
) -> dict[str, Tally]:
    """Field blanking, and how long it is shut before the field sync's first pulse."""
    opens, shuts = edges
    after = np.searchsorted(opens, shuts, side="right")
    shuts, after = shuts[after < opens.size], after[after < opens.size]
    gaps = opens[after] - shuts
    long = (gaps > FIELD_GAP * period) & (shuts >= span[0]) & (shuts < span[1])
    shut_at, blanking = shuts[long], gaps[long]
    place = np.searchsorted(begins, shut_at, side="right")
    known = place < begins.size
    ahead = (begins[place[known]] - shut_at[known]).astype(np.float64)
    return {
        "field_blanking": tally(blanking),
        "blanking_to_equalising": tally(ahead[ahead < blanking[known]]),
    }


def _to_sync(
    edges: tuple[NDArray[np.int64], NDArray[np.int64]], lines: Lines, period: float, span: tuple[int, int]
) -> dict[str, Tally]:
    """Field blanking up to the line sync before the picture; to the picture if that begins in mid-line."""
    opens, shuts = edges
    after = np.searchsorted(opens, shuts, side="right")
    shuts, after = shuts[after < opens.size], after[after < opens.size]
    shown = opens[after]
    long = (shown - shuts > FIELD_GAP * period) & (shuts >= span[0]) & (shuts < span[1])
    shown, shut_at = shown[long], shuts[long]
    line = lines.starts[np.maximum(np.searchsorted(lines.starts, shown, side="right") - 1, 0)]
    until = np.where(shown - line < MID_LINE * period, line, shown)
    return {"field_blanking_to_sync": tally(until - shut_at)}


def _active_rows(active: NDArray[np.bool_], fields: Fields, span: tuple[int, int]) -> dict[str, Tally]:
    """Lines with picture in each whole field, and lines from the field sync to the first of them."""
    rows, first_rows = [], []
    for i, first in enumerate(fields.first_line[:-1].tolist()):
        if span[0] <= fields.starts[i] < span[1]:
            there = np.flatnonzero(active[first : int(fields.first_line[i + 1])])
            rows.append(float(there.size))
            if there.size:
                first_rows.append(float(there[0]) + float(fields.offset[i]))
    return {"active_lines": tally(np.array(rows)), "lines_to_active": tally(np.array(first_rows))}


def picture_tallies(bits: Sequence[Channel], lines: Lines, span: tuple[int, int]) -> dict[str, Tally]:
    """Measure where in the line the colour bus first and last changes: the edge of picture or border."""
    starts = lines.starts
    if not bits or starts.size < 2:  # noqa: PLR2004 - a line needs a start and an end
        return {}
    known = lines.widths[lines.widths > 0]
    guard = float(np.median(known)) / 2 if known.size else 0.0
    first = np.full(starts.size - 1, np.inf)
    last = np.full(starts.size - 1, -np.inf)
    for channel in bits:
        ticks = channel.ticks
        if not ticks.size:
            continue
        # Changes within the line sync's own edge are the line before's, or switch with it.
        place = np.searchsorted(ticks, starts[:-1] + guard, side="right")
        begin = ticks[np.minimum(place, ticks.size - 1)]
        first = np.where((place < ticks.size) & (begin < starts[1:]), np.minimum(first, begin), first)
        place = np.searchsorted(ticks, starts[1:], side="right") - 1
        end = ticks[np.maximum(place, 0)]
        last = np.where((place >= 0) & (end > starts[:-1] + guard), np.maximum(last, end), last)
    counted = lines.measured[:-1] & np.isfinite(first) & (starts[:-1] >= span[0]) & (starts[:-1] < span[1])
    return {
        "picture_from": tally((first - starts[:-1])[counted]),
        "picture_to": tally((starts[1:] - last)[counted & lines.measured[1:]]),
    }
