"""Which channel carries what: a score and its reasons for every role, then the best assignment of all."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import HIGH, Capture
from rastertap.match import Match
from rastertap.streams.bits import order_bits
from rastertap.streams.clocks import pick_pixel_clock, rate_words
from rastertap.streams.interface import Pin
from rastertap.streams.pulses import polarity_of
from rastertap.streams.rhythm import Behaviour
from rastertap.streams.role_clean import RUNT, SHORTEST_FIELD_PULSE_S, settled
from rastertap.streams.role_judges import (
    OTHER,
    Survey,
    colour_score,
    csync_score,
    hsync_score,
    line_like,
    subcarrier_score,
    vsync_score,
)
from rastertap.streams.role_moves import kind_of
from rastertap.streams.role_other import describe
from rastertap.streams.role_windows import blanking_score, goes_on, line_blanking, picture_level

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rastertap.board.model import Board
    from rastertap.roles import Role

SYNC = 0.7
"""Score from which a channel is the line sync that the others are held against."""
WINDOW = 0.31
"""Score of line blanking as a line sync: its rate is the line rate."""
EXPECTED = 0.04
"""What it counts that the board file expects a role: enough to decide between two that fit equally well."""
NOT_TAPPED = 0.25
"""What it counts against blanking, on a channel that the board file lists, that it taps none: a plain picture
behaves like it."""
SINGLE: tuple[Role, ...] = ("pixel_clock", "hsync", "vsync", "csync", "blank", "display_enable", "subcarrier")


def _survey(capture: Capture, step: float) -> Survey:
    """Find clock and line sync; what is shorter than a pixel is then taken out of the other channels."""
    raw = {c.name: Behaviour(c, capture, step) for c in capture.channels}
    clocks, clock, rate, why = pick_pixel_clock(raw)
    survey = Survey(raw, clock, why, clocks=clocks, rate=rate)
    if clock:
        shortest = RUNT * raw[clock].leading.period / rate
        cleaned = {n: b.channel if n in clocks else settled(b.channel, shortest) for n, b in raw.items()}
        changed = {n: c for n, c in cleaned.items() if c is not raw[n].channel}
        survey.behaviours = raw | {n: Behaviour(c, capture, step) for n, c in changed.items()}
        # Many short pulses touch: of those together that are no longer short, a field sync shows none either.
        fields = {n: settled(c, SHORTEST_FIELD_PULSE_S / float(capture.tick)) for n, c in changed.items()}
        survey.fields = {n: Behaviour(c, capture, step) for n, c in fields.items()}
    behaviours = survey.behaviours
    lines = {name: _line_sync(b, survey) for name, b in behaviours.items()}
    lines |= {n: m for n, b in behaviours.items() if (m := csync_score(b)).score > lines[n].score}
    if lines:
        best = max(lines, key=lambda name: lines[name].score)
        if lines[best].score > OTHER:
            survey.line = behaviours[best].leading.period
        # What only keeps to a line rate, as a display enable does, gives the line but is no sync.
        survey.sync = best if lines[best].score > SYNC else ""
    if not survey.line:
        steady = max(
            (b for b in behaviours.values() if line_like(b)), key=lambda b: b.leading.share, default=None
        )
        survey.line = steady.leading.period if steady is not None else 0.0
    if clock:
        survey.clock_why = (rate_words(behaviours[clock], survey.line), *why)
    return survey


def _line_sync(b: Behaviour, survey: Survey) -> Match:
    """Judge a line sync; line blanking is none."""
    match = hsync_score(b)
    if match.score > OTHER and line_blanking(b, survey):
        return Match(
            WINDOW, (*match.why, "but as wide as line blanking, with the picture or a field blanking to fit")
        )
    return match


def _scores(b: Behaviour, survey: Survey) -> dict[Role, Match]:
    """Score of every role that fits at all."""
    if not b.edges:
        return {}
    name = b.channel.name
    if name in survey.clocks:
        judged: dict[Role, Match] = {"subcarrier": subcarrier_score(b, survey)}
        if name == survey.clock:
            judged["pixel_clock"] = Match(survey.clocks[name], survey.clock_why)
        return {role: match for role, match in judged.items() if match.score > 0}
    blanking = blanking_score(b, survey)
    blank: Role = "display_enable" if blanking.score and picture_level(b, survey) == HIGH else "blank"
    judged = {"vsync": vsync_score(survey.fields.get(name, b), survey), "colour": colour_score(b, survey)}
    judged |= {"hsync": _line_sync(b, survey), "csync": csync_score(b), blank: blanking}
    return {role: match for role, match in judged.items() if match.score > 0}


def _without_spare_windows(
    scores: list[dict[Role, Match]], behaviours: Sequence[Behaviour], survey: Survey
) -> list[dict[Role, Match]]:
    """Leave line blanking no role beside a blanking that knows the fields too: there is but one to give."""
    through = [goes_on(b, survey) for b in behaviours]
    windows = [
        max((m.score for r, m in row.items() if kind_of(r) == "window"), default=0.0) for row in scores
    ]
    if not any(score > SYNC and not on for score, on in zip(windows, through, strict=True)):
        return scores
    return [{} if on else row for row, on in zip(scores, through, strict=True)]


def _assign(scores: Sequence[dict[Role, Match]], expected: Sequence[str]) -> list[Role]:
    """Best assignment of all channels at once: every role but colour and other is held by one channel.

    Where two are nearly as good, the one that the board file expects is taken.
    """
    count = len(scores)
    slots: list[Role] = [*SINGLE]
    slots += ["colour"] * count
    slots += ["other"] * count
    table = np.array([[row[role].score if role in row else 0.0 for role in slots] for row in scores])
    wanted = np.array([[kind_of(role) == kind for role in slots] for kind in expected])
    table += EXPECTED * (wanted & (table > OTHER))
    if any(expected) and "window" not in expected:
        windows = np.array([kind_of(role) == "window" for role in slots])
        table -= NOT_TAPPED * np.outer([bool(kind) for kind in expected], windows)
    table[:, [i for i, role in enumerate(slots) if role == "other"]] = OTHER
    best: list[Role] = [slots[column] for column in table.argmax(axis=1)]
    if all(best.count(role) <= 1 for role in SINGLE):
        # Every channel has the role that fits it best: no assignment is better, and scipy is slow to import.
        return best
    from scipy.optimize import linear_sum_assignment

    rows, columns = linear_sum_assignment(table, maximize=True)
    chosen: list[Role] = ["other"] * count
    for row, column in zip(rows, columns, strict=True):
        chosen[row] = slots[column]
    return chosen


def _pin(b: Behaviour, scores: dict[Role, Match], role: Role, survey: Survey) -> Pin:
    """Put together what is known of one channel."""
    kept = {r: m.score for r, m in scores.items()}
    if role == "other":
        clock = survey.behaviours[survey.clock].channel if survey.clock not in {"", b.channel.name} else None
        others = [o.channel for o in survey.behaviours.values() if o is not b and o.edges]
        kind, why = describe(b, clock, survey.clocks, others)
        return Pin(b.channel.name, role, None, None, 1.0 if not b.edges else OTHER, why, kind, kept)
    polarity = None
    if role in {"hsync", "vsync", "csync"}:
        polarity = polarity_of(b.active)
    elif role in {"blank", "display_enable"}:
        polarity = polarity_of(HIGH)
    match = scores[role]
    return Pin(b.channel.name, role, None, polarity, match.score, match.why, scores=kept)


def find_pins(capture: Capture, board: Board | None = None) -> tuple[Pin, ...]:
    """Find the role of every channel.

    Parameters
    ----------
    capture : Capture
        Two-state channels.
    board : Board or None
        Orders the colour bits, keeps a colour bit that never changes on the bus, and decides between roles
        that fit as well as each other; it does not overrule what a channel does.

    Returns
    -------
    tuple of Pin
        In the order of the capture's channels.
    """
    if not capture.channels:
        return ()
    step = capture.step
    survey = _survey(capture, step)
    behaviours = list(survey.behaviours.values())
    scores = _without_spare_windows([_scores(b, survey) for b in behaviours], behaviours, survey)
    known = board.pins if board is not None else {}
    expected = [kind_of(known[c.name].role) if c.name in known else "" for c in capture.channels]
    roles = _assign(scores, expected)
    pins = [_pin(b, row, role, survey) for b, row, role in zip(behaviours, scores, roles, strict=True)]
    return order_bits(tuple(pins), board)
