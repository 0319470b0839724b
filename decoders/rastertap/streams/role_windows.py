"""How well a channel behaves like blanking or display enable: a window on the picture, in every line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import HIGH
from rastertap.match import Match
from rastertap.streams.rhythm import dominant_interval
from rastertap.streams.role_judges import (
    FEWEST_CHANGES,
    FEWEST_LINES,
    FIELD_BLANKING,
    NARROWEST_BLANKING,
    line_like,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.streams.rhythm import Behaviour
    from rastertap.streams.role_judges import Survey

AT_EDGE = 2.5
"""Pixels from a window's edge within which a picture that fills it begins and ends."""
FILLED = 0.02
"""Part of the lines in which it must do so."""
FEWEST_FIELD_LINES = 100
"""Lines of a field, at least."""
FIELD_FOR_SURE = 700
"""Lines that hold a field blanking wherever they begin (625 a frame: BT.470 Table 1; 525 of VGA modes)."""
STEADY = 0.8
"""Part of the pulses that have the usual width."""
WIDEST_LINE_BLANKING = 0.5
"""Lines; no picture leaves half a line dark."""


def blanking_score(b: Behaviour, survey: Survey) -> Match:
    """Judge one window a line, of one width, that is shut for many lines a field or holds the picture."""
    if not survey.line or b.edges < 2 * FEWEST_LINES or b.channel.name == survey.sync:
        return Match(0.0)
    starts = b.channel.edges_to(HIGH)
    rhythm = dominant_interval(starts, b.step)
    if abs(rhythm.period - survey.line) > 0.02 * survey.line + 2 * b.step or rhythm.share < 0.3:  # noqa: PLR2004
        return Match(0.0)
    gaps = np.diff(starts) / survey.line
    odd = gaps[np.abs(gaps - 1) > 0.05]  # noqa: PLR2004
    steady = 1 - odd.size / gaps.size
    # A capture of little more than a field begins and ends in the field's blanking.
    ends = np.array([starts[0] - b.capture.start, b.capture.end - starts[-1]]) / survey.line
    shut = np.concatenate((odd, ends))
    shut = shut[shut > 3]  # noqa: PLR2004 - lines without a window
    filled = not shut.size and line_blanking(b, survey)
    # Of two, that with the field's blanking tells more.
    score = steady * b.steady_width * (0.9 if shut.size else 0.88 if filled else 0.5)
    if b.width / survey.line < NARROWEST_BLANKING:
        score *= 0.3
    why = "a window every line"
    if shut.size:
        why = f"a window a line; shut for {shut.max():.0f} lines in the field"
    elif filled:
        why = "a window every line, wide as line blanking is, with the picture or a field blanking to fit"
    return Match(score, (why,))


def picture_level(b: Behaviour, survey: Survey) -> int:
    """Level that a blanking channel has while there is picture: not the one of its longest stay."""
    bounds = np.concatenate(([b.capture.start], b.channel.ticks, [b.capture.end]))
    levels = np.concatenate(([b.channel.initial], b.channel.levels))
    longest = int(np.argmax(np.diff(bounds)))
    if np.diff(bounds)[longest] > 2 * survey.line:
        return 1 - int(levels[longest])
    return 1 - b.active


def line_blanking(b: Behaviour, survey: Survey) -> bool:
    """Judge whether the pulses of a line-rate channel are line blanking, not line sync.

    They are wide, and the picture fills all between or another channel is field blanking.
    """
    if not line_like(b) or not NARROWEST_BLANKING < b.width / b.leading.period < WIDEST_LINE_BLANKING:
        return False
    return holds_picture(b, survey) or any(
        _field_blanking(o, b.leading.period) for o in survey.behaviours.values() if o is not b
    )


def goes_on(b: Behaviour, survey: Survey) -> bool:
    """Judge whether line blanking is there in the field blanking too, where no picture is."""
    lines = (b.capture.end - b.capture.start) / max(survey.line, 1)
    if not survey.line or lines < FIELD_FOR_SURE or not line_blanking(b, survey):
        return False
    return bool(np.diff(b.pulses[0]).max() < 2 * survey.line)


def _field_blanking(b: Behaviour, line: float) -> bool:
    """Judge whether a channel has few pulses, each longer than a field sync ever is."""
    fields = (b.capture.end - b.capture.start) / (FEWEST_FIELD_LINES * line)
    few = 0 < b.pulses[0].size <= fields + 1
    return bool(few and b.width > FIELD_BLANKING * line and b.steady_width > STEADY)


def holds_picture(b: Behaviour, survey: Survey) -> bool:
    """Judge whether the picture begins where the pulses end and ends where they begin, without porches."""
    shuts, widths = b.pulses
    opens = shuts + widths
    near = 2.2 * b.step
    if survey.clock:
        near = max(near, AT_EDGE * survey.behaviours[survey.clock].leading.period)
    changes = _picture_changes(b, survey)
    if changes.size < FEWEST_CHANGES:
        return False
    inside = np.searchsorted(changes, opens - near) - np.searchsorted(changes, shuts + near)
    if np.count_nonzero(inside) > FILLED * inside.size:
        return False
    begins = np.searchsorted(changes, opens + near, side="right") - np.searchsorted(changes, opens - near)
    ends = np.searchsorted(changes, shuts + near, side="right") - np.searchsorted(changes, shuts - near)
    return bool(min((begins > 0).mean(), (ends > 0).mean()) > FILLED)


def _picture_changes(b: Behaviour, survey: Survey) -> NDArray[np.int64]:
    """Gather the changes of the channels that may be colour bits: busier than a line rate, and no clock."""
    lines = (b.capture.end - b.capture.start) / b.leading.period
    busy = [
        o.channel.ticks
        for name, o in survey.behaviours.items()
        if o is not b and name not in survey.clocks and o.edges >= FEWEST_CHANGES and not _steady(o, lines)
    ]
    return np.unique(np.concatenate(busy)) if busy else np.empty(0, np.int64)


def _steady(b: Behaviour, lines: float) -> bool:
    """Whether a channel is a line sync or blanking itself: one steady pulse a line."""
    return line_like(b) and b.edges < 2.2 * lines and b.steady_width > STEADY
