"""Which channel carries what, from behaviour: a score and its reasons for every role, then the best of all."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import HIGH, Capture
from rastertap.match import Match
from rastertap.streams.bits import order_bits
from rastertap.streams.clocks import pick_pixel_clock, rate_words
from rastertap.streams.interface import Pin
from rastertap.streams.lines import LONGEST_LINE_S, SHORTEST_LINE_S
from rastertap.streams.pulses import polarity_of
from rastertap.streams.rhythm import Behaviour, concentration, dominant_interval, phases
from rastertap.streams.role_clean import RUNT, settled
from rastertap.streams.role_moves import kind_of
from rastertap.streams.role_other import describe

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rastertap.board.model import Board
    from rastertap.roles import Role

FIELD_RATE_S = (5e-3, 60e-3)
"""Field periods looked for: 17 to 200 Hz."""
USUAL_LINE_S = 64e-6
"""Line taken for granted where no line sync is found (BT.470 Table 1-1, 625 lines)."""
FEWEST_LINES = 12
FEWEST_CHANGES = 20
"""Changes from which it means something that they keep to a clock."""
OTHER = 0.3
"""Score of "none of these": what a role must beat."""
SYNC = 0.7
"""Score from which a channel is the line sync that the others are held against."""
EXPECTED = 0.04
"""What it counts that the board file expects a role: enough to decide between two that fit equally well."""
NOT_TAPPED = 0.1
"""What it counts against blanking that the board file taps none: a plain picture behaves like it."""
SINGLE: tuple[Role, ...] = ("pixel_clock", "hsync", "vsync", "csync", "blank", "display_enable", "subcarrier")
SUBCARRIERS = {"PAL": 17_734_475 / 4, "NTSC": 39_375_000 / 11}
"""BT.470 Table 2; SMPTE 170M clause 11.1 (315/88 MHz)."""


@dataclass
class Survey:
    """What is known of all channels together, step by step.

    Parameters
    ----------
    behaviours : dict of str to Behaviour
        By channel name.
    clock : str
        Channel of the pixel clock, or empty.
    line : float
        Line period in ticks, or 0.
    sync : str
        Channel with the best line sync, or empty.
    """

    behaviours: dict[str, Behaviour]
    clock: str = ""
    clock_why: tuple[str, ...] = ()
    line: float = 0.0
    sync: str = ""
    clocks: dict[str, float] = field(default_factory=dict)


def _line_like(b: Behaviour) -> bool:
    period = b.leading.period * b.seconds
    return (
        b.leading.share > 0.5
        and SHORTEST_LINE_S < period < LONGEST_LINE_S
        and b.pulses[0].size >= FEWEST_LINES
    )


def _broad(b: Behaviour) -> int:
    """Pulses far wider than the usual one: field sync in a composite."""
    return int((b.pulses[1] > max(0.2 * b.leading.period, 2 * b.width)).sum())


def hsync_score(b: Behaviour, survey: Survey) -> Match:
    """Judge one narrow pulse of one width at one rate, all through the capture."""
    if not _line_like(b):
        return Match(0.0)
    duty = b.width / b.leading.period
    score = b.leading.share * b.steady_width * (1 - 0.5 * duty)
    if duty > 0.35:  # noqa: PLR2004 - no line sync is a third of a line: common practice, no source
        score *= 0.3
    if _broad(b) and b.steady_width < 0.999:  # noqa: PLR2004 - more than a stray glitch
        score *= 0.5
    period_us, width_us = b.leading.period * b.seconds * 1e6, b.width * b.seconds * 1e6
    why = f"one {width_us:.2f} us pulse every {period_us:.2f} us, {b.leading.share:.0%} of the time"
    return Match(score, (why,))


def csync_score(b: Behaviour, survey: Survey) -> Match:
    """Judge line pulses that change their width in the field sync."""
    if not _line_like(b) or b.width > 0.25 * b.leading.period:
        return Match(0.0)
    broad = _broad(b)
    if not broad:
        return Match(0.0)
    starts, widths = b.pulses
    wide = starts[widths > max(0.2 * b.leading.period, 2 * b.width)]
    groups = 1 + int((np.diff(wide) > 12 * b.leading.period).sum())
    share = b.leading.share
    # Broad pulses come in few groups, a field apart; scattered ones are something else.
    lines = (b.capture.end - b.capture.start) / b.leading.period
    if groups > 1 + lines / 100:
        return Match(0.1, ("line-rate pulses of many widths",))
    why = f"line pulses every {b.leading.period * b.seconds * 1e6:.2f} us, and {broad} broad ones in {groups} group(s)"
    return Match(min(1.0, 0.1 + share), (why,))


def vsync_score(b: Behaviour, survey: Survey) -> Match:
    """Judge one pulse a field."""
    starts, _ = b.pulses
    line = survey.line or USUAL_LINE_S / b.seconds
    if not starts.size or b.edges > 4 * (b.capture.end - b.capture.start) / (100 * line) + 4:
        return Match(0.0)
    lines = b.width / line
    if not 0.02 < lines < 60 or b.steady_width < 0.8:  # noqa: PLR2004
        return Match(0.0)
    # A field sync lasts a few lines; vertical blanking, some dozens: common practice, no source.
    score = 0.95 if lines <= 10 else 0.55  # noqa: PLR2004
    why = [f"{starts.size} pulse(s) of {lines:.1f} lines"]
    if not survey.line:
        score *= 0.7
        why.append("no line sync to compare with")
    if starts.size > 1:
        rhythm = dominant_interval(starts, b.step)
        period = rhythm.period * b.seconds
        if not FIELD_RATE_S[0] < period < FIELD_RATE_S[1]:
            return Match(0.1, (f"pulses {period * 1e3:.1f} ms apart: no field rate",))
        why.append(f"{period * 1e3:.3f} ms apart")
    else:
        score *= 0.8
        why.append("only one in the capture")
    return Match(score, tuple(why))


def blanking_score(b: Behaviour, survey: Survey) -> Match:
    """Judge one window a line, of one width, that stays shut for many lines each field."""
    if not survey.line or b.edges < 2 * FEWEST_LINES or b.channel.name == survey.sync:
        return Match(0.0)
    starts = b.channel.edges_to(HIGH)
    rhythm = dominant_interval(starts, b.step)
    if abs(rhythm.period - survey.line) > 0.02 * survey.line + 2 * b.step or rhythm.share < 0.3:  # noqa: PLR2004
        return Match(0.0)
    gaps = np.diff(starts) / survey.line
    odd = gaps[np.abs(gaps - 1) > 0.05]  # noqa: PLR2004
    steady = 1 - odd.size / gaps.size
    shut = odd[odd > 3]  # noqa: PLR2004 - lines without a window
    width = b.width / survey.line
    score = steady * b.steady_width * (0.9 if shut.size else 0.5)
    if width < 0.12:  # noqa: PLR2004 - narrower than any blanking (BT.470: 10.2 to 12 us of 64)
        score *= 0.3
    why = (
        f"a window a line; shut for {shut.max():.0f} lines in the field"
        if shut.size
        else "a window every line"
    )
    return Match(score, (why,))


def _picture_level(b: Behaviour, survey: Survey) -> int:
    """Level that a blanking channel has while there is picture: not the one of its longest stay."""
    bounds = np.concatenate(([b.capture.start], b.channel.ticks, [b.capture.end]))
    levels = np.concatenate(([b.channel.initial], b.channel.levels))
    longest = int(np.argmax(np.diff(bounds)))
    if np.diff(bounds)[longest] > 2 * survey.line:
        return 1 - int(levels[longest])
    return 1 - b.active


def colour_score(b: Behaviour, survey: Survey) -> Match:
    """Judge changes that keep to the pixel clock and are quiet in the line sync."""
    if b.edges < 2:  # noqa: PLR2004
        return Match(0.0)
    why, score = [], 0.5
    if survey.clock:
        clock = survey.behaviours[survey.clock].channel.edges_to(HIGH)
        lock = concentration(phases(b.channel.ticks[:20_000], clock))
        why.append(f"changes keep to the pixel clock ({lock:.2f} of 1)")
        score *= lock
    if survey.sync:
        quiet = _quiet_in_sync(b, survey)
        why.append(f"{quiet:.0%} quieter than chance in the line sync")
        # Without a clock to keep to, silence in the sync is all there is to tell a picture from noise; a few
        # changes keep to a clock by chance.
        score *= 0.4 + 0.6 * quiet if survey.clock and b.edges >= FEWEST_CHANGES else quiet
    else:
        score *= 0.7
    return Match(min(2 * score * 0.85, 0.85), tuple(why))


def _quiet_in_sync(b: Behaviour, survey: Survey) -> float:
    starts, widths = survey.behaviours[survey.sync].pulses
    times = b.channel.ticks
    pulse = np.searchsorted(starts, times, side="right") - 1
    inside = (
        (pulse >= 0)
        & (times > starts[pulse] + 2 * b.step)
        & (times < starts[pulse] + widths[pulse] - 2 * b.step)
    )
    expected = widths.sum() / max(b.capture.end - b.capture.start, 1)
    return float(np.clip(1 - inside.mean() / max(expected, 1e-9), 0, 1))


def subcarrier_score(b: Behaviour, survey: Survey) -> Match:
    """Judge a steady clock at a colour subcarrier's frequency."""
    if b.channel.name not in survey.clocks or b.channel.name == survey.clock:
        return Match(0.0)
    rising = b.channel.edges_to(HIGH)
    frequency = (rising.size - 1) / (float(rising[-1] - rising[0]) * b.seconds)
    for system, nominal in SUBCARRIERS.items():
        if abs(frequency / nominal - 1) < 1e-3:  # noqa: PLR2004 - a pulled crystal and the timebase
            return Match(0.9, (f"steady at {frequency / 1e6:.5f} MHz, the {system} subcarrier",))
    return Match(0.0)


def _survey(capture: Capture, step: float) -> Survey:
    """Find clock and line sync; what is shorter than a pixel is then taken out of the other channels."""
    raw = {c.name: Behaviour(c, capture, step) for c in capture.channels}
    clocks, clock, why = pick_pixel_clock(raw)
    survey = Survey(raw, clock, why, clocks=clocks)
    if clock:
        shortest = RUNT * raw[clock].leading.period
        cleaned = {n: b.channel if n in clocks else settled(b.channel, shortest) for n, b in raw.items()}
        changed = {n: c for n, c in cleaned.items() if c is not raw[n].channel}
        survey.behaviours = raw | {n: Behaviour(c, capture, step) for n, c in changed.items()}
    behaviours = survey.behaviours
    lines = {name: hsync_score(b, survey) for name, b in behaviours.items()}
    lines |= {n: m for n, b in behaviours.items() if (m := csync_score(b, survey)).score > lines[n].score}
    if lines:
        best = max(lines, key=lambda name: lines[name].score)
        if lines[best].score > OTHER:
            survey.line = behaviours[best].leading.period
        # What only keeps to a line rate, as a display enable does, gives the line but is no sync.
        survey.sync = best if lines[best].score > SYNC else ""
    if not survey.line:
        steady = max(
            (b for b in behaviours.values() if _line_like(b)), key=lambda b: b.leading.share, default=None
        )
        survey.line = steady.leading.period if steady is not None else 0.0
    if clock:
        survey.clock_why = (rate_words(behaviours[clock], survey.line), *why)
    return survey


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
    blank: Role = "display_enable" if blanking.score and _picture_level(b, survey) == HIGH else "blank"
    judges: dict[Role, Callable[[Behaviour, Survey], Match]] = {
        "hsync": hsync_score,
        "vsync": vsync_score,
        "csync": csync_score,
        "colour": colour_score,
    }
    judged = {role: judge(b, survey) for role, judge in judges.items()} | {blank: blanking}
    return {role: match for role, match in judged.items() if match.score > 0}


def _assign(scores: Sequence[dict[Role, Match]], expected: Sequence[str]) -> list[Role]:
    """Best assignment of all channels at once: every role but colour and other is held by one channel.

    Where two are nearly as good, the one that the board file expects is taken.
    """
    from scipy.optimize import linear_sum_assignment

    count = len(scores)
    slots: list[Role] = [*SINGLE]
    slots += ["colour"] * count
    slots += ["other"] * count
    table = np.array([[row[role].score if role in row else 0.0 for role in slots] for row in scores])
    wanted = np.array([[kind_of(role) == kind for role in slots] for kind in expected])
    table += EXPECTED * (wanted & (table > OTHER))
    if any(expected) and "window" not in expected:
        table[:, [i for i, role in enumerate(slots) if kind_of(role) == "window"]] -= NOT_TAPPED
    table[:, [i for i, role in enumerate(slots) if role == "other"]] = OTHER
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
    step = capture.sample_period.ticks if capture.sample_period is not None else 1.0
    survey = _survey(capture, step)
    behaviours = list(survey.behaviours.values())
    scores = [_scores(b, survey) for b in behaviours]
    known = board.pins if board is not None else {}
    expected = [kind_of(known[c.name].role) if c.name in known else "" for c in capture.channels]
    roles = _assign(scores, expected)
    pins = [_pin(b, row, role, survey) for b, row, role in zip(behaviours, scores, roles, strict=True)]
    return order_bits(tuple(pins), board)
