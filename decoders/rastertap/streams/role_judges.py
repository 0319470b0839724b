"""How well a channel's behaviour fits each role: a score with its reasons."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from rastertap.capture.model import HIGH
from rastertap.match import Match
from rastertap.streams.lines import LONGEST_LINE_S, SHORTEST_LINE_S
from rastertap.streams.rhythm import Behaviour, concentration, dominant_interval, phases
from rastertap.streams.role_coincidence import beside

FIELD_RATE_S = (5e-3, 60e-3)
"""Field periods looked for: 17 to 200 Hz."""
USUAL_LINE_S = 64e-6
"""Line taken for granted where no line sync is found (BT.470 Table 1-1, 625 lines)."""
FEWEST_LINES = 12
MOST_PULSES = 3
"""Pulses a line up to which it still is a sync, equalising pulses and glitches included; a burst has more."""
AT_SYNC = 0.9
"""Part of the changes at edges of the line sync from which it is no picture: that is blank there."""
WHOLE_LINES = 1.5
"""Lines: a colour bit that is on for longer is off in the line blanking between."""
FEWEST_CHANGES = 20
"""Changes from which it means something that they keep to a clock."""
NARROWEST_BLANKING = 0.12
"""Lines; no line blanking is narrower (BT.470: 10.2 to 12 us of 64), hardly any line sync is wider."""
LONGEST_FIELD_SYNC, LONGEST_PLAIN_SYNC = 10.0, 20.0
"""Lines that a field sync lasts at most; and where the line pulses are no wider than a line sync's: common
practice, no source."""
FIELD_BLANKING = 17.0
"""Lines; a longer pulse a field is no field sync, of which video controllers make up to 16 lines."""
OTHER = 0.3
"""Score of "none of these": what a role must beat."""
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
    clocks : dict of str to float
        Clock-like channels with their scores.
    rate : int
        Pixels in a cycle of the pixel clock.
    fields : dict of str to Behaviour
        Of channels with pulses too short to mean anything, what is left when those too short for a field sync
        are taken out as well.
    """

    behaviours: dict[str, Behaviour]
    clock: str = ""
    clock_why: tuple[str, ...] = ()
    line: float = 0.0
    sync: str = ""
    clocks: dict[str, float] = field(default_factory=dict)
    rate: int = 1
    fields: dict[str, Behaviour] = field(default_factory=dict)


def line_like(b: Behaviour) -> bool:
    """Judge whether pulses come back at a line rate for most of the time, and hardly any come between."""
    period = b.leading.period * b.seconds
    if not SHORTEST_LINE_S < period < LONGEST_LINE_S:
        return False
    lines = (b.capture.end - b.capture.start) / b.leading.period
    often = b.leading.share > 0.5  # noqa: PLR2004 - most of the time
    return bool(often and FEWEST_LINES <= b.pulses[0].size <= MOST_PULSES * lines)


def _broad(b: Behaviour) -> int:
    """Pulses far wider than the usual one: field sync in a composite."""
    return int((b.pulses[1] > max(0.2 * b.leading.period, 2 * b.width)).sum())


def stays_shut(b: Behaviour, longest: float) -> bool:
    """Judge whether the long pulses (ticks) of a line-rate channel are field blanking, not field sync."""
    lines = longest / b.leading.period
    wide = b.width > NARROWEST_BLANKING * b.leading.period
    return lines > LONGEST_PLAIN_SYNC or (wide and lines > LONGEST_FIELD_SYNC)


def hsync_score(b: Behaviour) -> Match:
    """Judge one narrow pulse of one width at one rate, all through the capture."""
    if not line_like(b):
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


def csync_score(b: Behaviour) -> Match:
    """Judge line pulses that change their width in the field sync."""
    if not line_like(b) or b.width > 0.25 * b.leading.period:
        return Match(0.0)
    broad = _broad(b)
    if not broad:
        return Match(0.0)
    starts, widths = b.pulses
    wide = starts[widths > max(0.2 * b.leading.period, 2 * b.width)]
    groups = 1 + int((np.diff(wide) > 12 * b.leading.period).sum())
    share = b.leading.share
    if stays_shut(b, float(np.median(widths[widths > max(0.2 * b.leading.period, 2 * b.width)]))):
        return Match(0.1, ("line-rate pulses, and none for many lines in the field: blanking",))
    # Broad pulses come in few groups, a field apart; scattered ones are something else.
    lines = (b.capture.end - b.capture.start) / b.leading.period
    if groups > 1 + lines / 100:
        return Match(0.1, ("line-rate pulses of many widths",))
    period_us = b.leading.period * b.seconds * 1e6
    why = f"line pulses every {period_us:.2f} us, and {broad} broad ones in {groups} group(s)"
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
    score = 0.95 if lines <= LONGEST_FIELD_SYNC else 0.55
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


def colour_score(b: Behaviour, survey: Survey) -> Match:
    """Judge changes that keep to the pixel clock and are quiet in the line sync."""
    if b.edges < 2:  # noqa: PLR2004
        return Match(0.0)
    line = survey.line or USUAL_LINE_S / b.seconds
    if int(np.diff(b.channel.ticks).min()) > WHOLE_LINES * line:
        return Match(0.1, ("no line blanking interrupts it",))
    if not survey.line and b.edges < FEWEST_CHANGES:
        return Match(0.1, (f"only {b.edges} changes, and no line rate to hold them against",))
    why, score = [], 0.5
    if survey.clock:
        clock = survey.behaviours[survey.clock].channel.edges_to(HIGH)
        lock = concentration(survey.rate * phases(b.channel.ticks[:20_000], clock))
        why.append(f"changes keep to the pixel clock ({lock:.2f} of 1)")
        score *= lock
    if survey.sync:
        sync = survey.behaviours[survey.sync].channel.ticks
        if float(beside(b.channel.ticks[:20_000], sync, 1.01 * b.step).mean()) > AT_SYNC:
            return Match(0.1, ("changes at the edges of the line sync only",))
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
