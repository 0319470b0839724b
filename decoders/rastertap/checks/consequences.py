"""What a timing does to displays, recordings and colour, in words. Nothing here passes or fails."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import HIGH
from rastertap.checks.timing_rows import good_field_periods, lines_per_field_usual
from rastertap.measured import COVERAGE, Measured
from rastertap.standards.broadcast import SUBCARRIER_NTSC, SUBCARRIER_PAL
from rastertap.streams.lines import GRID_WORST

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap.checks.interface import Evidence
    from rastertap.streams.model import Sync

DISPLAY_RATES = (50.0, 60_000 / 1001, 60.0)
"""Hz; those of displays, recordings and capture devices (BT.470 Table 1; SMPTE 170M 11.3; 60: monitors)."""
LONG_S = 3600.0
"""A field repeated or dropped less often than this disturbs nobody (common practice, no source)."""
FAR = 2.0
"""Hz; a display further from the field rate than this is not meant for it (common practice, no source)."""
SUBCARRIERS = {
    "PAL": float(SUBCARRIER_PAL),
    "NTSC": float(SUBCARRIER_NTSC),
    "PAL-N": 3_582_056.25,
    "PAL-M": 2_250_000 / 143 * 909 / 4,
}
"""Hz; BT.470-6 Table 2, for PAL-M its exact ratio 909/4 (references 1.1; the printed one is a misprint)."""
SUBCARRIER_NEAR = 300e-6
"""Part by which a subcarrier may be off and still be that one: PAL-N and PAL-M are 1800 ppm apart, and
PAL-N and NTSC 700."""
NEAR_HALF = 0.03
"""Part of a cycle that counts as none."""


def subcarrier(evidence: Evidence) -> tuple[str, Measured] | None:
    """Give the system that a tapped subcarrier is of, and its frequency in Hz; None without one."""
    channel = next((p.channel for p in evidence.pins if p.role == "subcarrier"), None)
    if channel is None:
        return None
    rising = evidence.capture.channel(channel).edges_to(HIGH)
    if rising.size < 2:  # noqa: PLR2004 - a period has two ends
        return None
    tick = float(evidence.capture.tick)
    span = float(rising[-1] - rising[0])
    value = (rising.size - 1) / (span * tick)
    step = evidence.capture.step
    measured = Measured(value, value * GRID_WORST * step / span, "Hz")
    system = min(SUBCARRIERS, key=lambda name: abs(SUBCARRIERS[name] - value))
    near = abs(value / SUBCARRIERS[system] - 1) <= SUBCARRIER_NEAR + evidence.timebase_ppm * 1e-6
    return (system if near else "", measured)


def colour_system(evidence: Evidence) -> str:
    """Name what subcarrier and field rate make together, e.g. ``PAL at 60 Hz``; empty when not known."""
    found, mode = subcarrier(evidence), evidence.mode
    if found is None or not found[0] or mode is None:
        return ""
    usual = {"PAL": 50, "NTSC": 60, "PAL-N": 50, "PAL-M": 60}[found[0]]
    rate = mode.nominal_field_rate
    return found[0] if rate == usual else f"{found[0]} at {rate} Hz"


def consequences(evidence: Evidence) -> list[str]:
    """Say in whole sentences what displays, recordings and colour will make of this timing."""
    sync = evidence.sync
    if sync is None:
        return []
    return [*_beat(evidence, sync), *_acceptance(evidence, sync), *_dots(evidence, sync)]


def _beat(evidence: Evidence, sync: Sync) -> Iterator[str]:
    periods, _ = good_field_periods(sync)
    if not periods.size:
        return
    tick, step = float(evidence.capture.tick), sync.intervals.step
    rate = 1 / (float(periods.mean()) * tick)
    measured = Measured(rate, rate * GRID_WORST * step / float(periods.sum()), "Hz")
    doubt = COVERAGE * measured.with_timebase(evidence.timebase_ppm).uncertainty
    near = [display for display in DISPLAY_RATES if abs(display - rate) <= FAR]
    if not near:
        yield (
            f"At {rate:.3f} fields a second this fits no display or recorder of 50 or 60 Hz: it needs one"
            " that follows the source."
        )
    for display in near:
        yield _one_beat(rate, display, doubt)


def _one_beat(rate: float, display: float, doubt: float) -> str:
    off = rate - display
    shown = f"{display:.6g} Hz"
    if abs(off) <= max(doubt, 1 / LONG_S):
        apart = max(abs(off) + doubt, 1 / LONG_S)
        return (
            f"On a display or recording of {shown} fields keep step as far as this capture can tell: none is"
            f" repeated or dropped more often than every {_duration(1 / apart)}."
        )
    seconds = 1 / abs(off)
    what = "dropped" if off > 0 else "shown twice"
    judder = (
        "smooth scrolling judders each time"
        if seconds > 1
        else f"smooth scrolling judders all the time, {abs(off):.2f} times a second"
    )
    return (
        f"A display or recording fixed at {shown} does not keep step: {abs(off):.4f} Hz apart, one field in"
        f" {seconds * rate:.0f} is {what}, every {_duration(seconds)}; {judder}."
        " One that follows the source has no beat."
    )


def _duration(seconds: float) -> str:
    if seconds < 120:  # noqa: PLR2004 - two minutes
        return f"{seconds:.3g} s"
    return f"{seconds / 60:.0f} minutes"


def _acceptance(evidence: Evidence, sync: Sync) -> Iterator[str]:
    usual, mode = lines_per_field_usual(sync), evidence.mode
    if usual is None or mode is None or mode.doubled:
        return
    wanted = 312.5 if mode.nominal_field_rate == 50 else 262.5  # noqa: PLR2004 - the 50 Hz family
    if sync.interlaced and usual == wanted:
        yield f"Interlaced, {wanted:g} lines a field: what a television, capture card or genlock expects."
        return
    if usual == wanted:
        return
    lines = f"{usual:g} lines a field, not interlaced"
    yield (
        f"{lines}: a television's own sync follows, and the lines of all fields fall on one another, with"
        f" dark gaps between. Equipment that insists on {wanted:g} lines (capture cards, genlocks, some"
        " digital sets) may take the fields in wrong pairs, or refuse;"
        f" this is {abs(usual - wanted):g} lines off."
    )


def _dots(evidence: Evidence, sync: Sync) -> Iterator[str]:
    mode = evidence.mode
    if mode is None or mode.doubled:
        return
    found = subcarrier(evidence)
    tick = float(evidence.capture.tick)
    period = sync.line_period
    if found is not None:
        system, measured = found
        cycles = measured.value * period.value * tick
        doubt = cycles * float(
            np.hypot(measured.uncertainty / measured.value, period.uncertainty / period.value)
        )
        name = colour_system(evidence) or "no system's known subcarrier"
        yield f"The subcarrier runs at {measured.value / 1e6:.6f} MHz ({name})."
        head = f"A line holds {cycles:.4f} subcarrier cycles"
    else:
        system = "PAL" if mode.nominal_field_rate == 50 else "NTSC"  # noqa: PLR2004 - the 50 Hz family
        cycles = SUBCARRIERS[system] * period.value * tick
        doubt = cycles * evidence.timebase_ppm * 1e-6
        head = (
            f"No subcarrier is tapped; with a {system} one of {SUBCARRIERS[system] / 1e6:.6f} MHz a line"
            f" would hold {cycles:.3f} (+-{doubt:.3f}) of its cycles"
        )
    yield f"{head}, {_line_dots(cycles, system)}"
    usual = lines_per_field_usual(sync)
    standard = sync.interlaced and evidence.mode_close
    if usual is not None and not standard and doubt * usual < 0.1:  # noqa: PLR2004 - else the phase is open
        yield _field_dots(cycles * usual)


def _line_dots(cycles: float, system: str) -> str:
    """Say how the dots of one line stand to those of the next."""
    part = cycles % 1
    to_whole = min(part, 1 - part)
    wanted = "227.5" if system in {"NTSC", ""} else "283.75 (and 25 Hz)"
    if system.startswith("PAL"):
        if abs(part - 0.75) < NEAR_HALF:
            return f"near the {wanted} of the standard: dots on colour edges are fine and hardly seen."
        if to_whole < NEAR_HALF:
            return f"a whole number, not {wanted}: dots on colour edges line up in standing vertical stripes."
        return f"not {wanted}: dots on colour edges make slanted stripes, coarser than the standard's."
    if abs(part - 0.5) < NEAR_HALF:
        return f"near the {wanted} of the standard: dots of neighbouring lines lie in each other's gaps."
    if to_whole < NEAR_HALF:
        return (
            f"a whole number, not {wanted}: dots on colour edges line up in vertical stripes,"
            " and a comb filter mistakes colour for detail."
        )
    return f"not {wanted}: dots on colour edges make slanted stripes, and a comb filter cannot take them out."


def _field_dots(cycles: float) -> str:
    """Say what the dots do from field to field."""
    part = cycles % 1
    away = min(part, 1 - part)
    if away < NEAR_HALF:
        return "From field to field the dots stand still: no crawl, but they can be seen."
    if abs(away - 0.5) < NEAR_HALF:
        return "From field to field the dots change places, and cancel to the eye."
    return f"From field to field the dots move on, and come back after {1 / away:.1f} fields: they crawl."
