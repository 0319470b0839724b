"""Fields known by their blanking: interlace shows as half a line, or a line more and one less in turn."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.streams.fields import find_fields
from rastertap.streams.model import Fields
from rastertap.streams.role_judges import FIELD_BLANKING

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.streams.lines import LineTrack
    from rastertap.streams.model import Sync
    from rastertap.streams.pulses import Pulses

FRAMES = (525.0, 625.0)
"""Lines of the standards' interlaced frames (BT.470 Table 1)."""
FEWEST_TURNS = 4
"""Fields long and short in turn from which a frame of any other number of lines is taken to be interlaced."""


def long_pulses(pulses: Pulses, found: LineTrack) -> bool:
    """Whether field pulses are too long to be field syncs: field blanking then."""
    known = pulses.widths[pulses.widths > 0]
    return bool(known.size and float(np.median(known)) > FIELD_BLANKING * found.period)


def place_fields(
    pulses: Pulses, found: LineTrack, before: Sync | None, *, blanked: bool
) -> tuple[Fields, bool | None]:
    """Place fields on the lines, and say whether they interlace.

    Parameters
    ----------
    pulses : Pulses
        Field syncs, or field blanking.
    found : LineTrack
        Lines.
    before : Sync or None
        Of the pieces before this one.
    blanked : bool
        Whether the pulses are field blanking, whose place in the line need not be the field sync's.
    """
    fields, interlaced = find_fields(pulses.starts, pulses.widths, found.lines)
    if interlaced or not blanked:
        return fields, interlaced
    if before is not None and before.interlaced:
        # A piece of a few fields may not show it by itself.
        return lowered(fields, _lower_by(before, fields), found.period), True
    turned = interlaced_by_turns(fields, found.period)
    return (fields, interlaced) if turned is None else (turned, True)


def _lower_by(before: Sync, fields: Fields) -> NDArray[np.bool_]:
    """Which fields begin half a line late against the even spacing of those in the pieces before."""
    known = before.fields.lines[np.isfinite(before.fields.lines)]
    usual = float(np.median(known)) * before.line_period.value
    since = fields.starts - before.fields.starts[-1]
    return np.asarray(since - np.rint(since / usual) * usual > before.line_period.value / 4)


def interlaced_by_turns(fields: Fields, period: float) -> Fields | None:
    """Read interlace from field blanking that begins with a line in both fields of a frame.

    Field syncs lie half a frame, that is a number of half lines, apart; whole lines of picture after them
    come half a line sooner or later. So there is one line more and one less between in turn, and the field
    before the longer interval lies half a line higher. A source that is not interlaced and really has one
    line more in every second field looks the same.

    Parameters
    ----------
    fields : Fields
        By their field blanking.
    period : float
        Line period, ticks.

    Returns
    -------
    Fields or None
        With the starts of the lower fields moved half a line ahead; None when fields are not so in turn.
    """
    counts = fields.lines[:-1]
    if counts.size < 2 or not np.isfinite(counts).all():  # noqa: PLR2004 - a turn takes two
        return None
    turns = (np.abs(np.diff(counts)) == 1).all() and (counts[2:] == counts[:-2]).all()
    if not turns or (counts[0] + counts[1] not in FRAMES and counts.size < FEWEST_TURNS):
        return None
    lower = np.arange(fields.starts.size) % 2 == int(counts[0] > counts[1])
    return lowered(fields, lower, period)


def lowered(fields: Fields, lower: NDArray[np.bool_], period: float) -> Fields:
    """Put the syncs of the fields marked ``lower``, bool, shape (fields,), half a line ahead."""
    starts = fields.starts - np.rint(lower * period / 2).astype(np.int64)
    lines = np.diff(starts) / period
    return Fields(
        starts,
        fields.first_line,
        fields.offset + lower / 2,
        fields.widths,
        np.append(np.round(lines * 2) / 2, np.nan) if starts.size else np.empty(0),
    )
