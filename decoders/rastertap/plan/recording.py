"""Sample rate and memory for a recording, and what a given analyser can and cannot show with them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rastertap.errors import UsageError

if TYPE_CHECKING:
    from rastertap.board.model import Board, Timing

LEAST, GOOD = 3.0, 8.0
"""Samples a pixel clock cycle: every pixel is read surely; duty, margins and short pulses show too. Common
practice, no source."""
DUTY = 4.0
"""Samples a cycle from which the duty shows."""
SYNC_ONLY_HZ = 2e6
"""Rate at which a line sync of 4.7 us (BT.470 Table 1-1) is still ten samples wide: lines and fields show."""
SHORT_PULSE_S = 15e-9
"""Crosstalk and glitches of old logic are about this wide: common practice, no source."""
FIRST_TO_LEAVE_OUT = ("subcarrier", "other", "blank", "display_enable", "csync", "vsync")
"""Roles that can be spared, the first one first: lines and fields come from csync alone too."""


@dataclass(frozen=True)
class Analyser:
    """What an analyser can do; None where the user did not say."""

    rate_hz: float | None = None
    channels: int | None = None
    depth: int | None = None


@dataclass(frozen=True)
class Recording:
    """Settings for a recording.

    Parameters
    ----------
    clock_hz, field_rate_hz : float or None
        As the board file has them; None when it does not say.
    fields : int
        Whole fields wanted.
    least_hz, good_hz : float or None
        Lowest safe sample rate, and one that shows all.
    seconds : float or None
        Length that holds the fields, whenever it starts.
    rate_hz : float or None
        The analyser's, or the good one.
    samples : int or None
        Memory depth needed at that rate.
    bytes : int or None
        The same in bytes, a bit a channel.
    """

    clock_hz: float | None
    field_rate_hz: float | None
    fields: int
    least_hz: float | None
    good_hz: float | None
    seconds: float | None
    rate_hz: float | None
    samples: int | None
    bytes: int | None


@dataclass(frozen=True)
class Ability:
    """One thing that the recording shows or does not show, and why."""

    what: str
    shown: bool
    why: str


def clock_of(timing: Timing) -> float | None:
    """Pixel clock in Hz: as stated, or from line rate and pixels of a line."""
    if timing.pixel_clock_hz is not None:
        return float(timing.pixel_clock_hz)
    line_rate = _line_rate(timing)
    if line_rate is not None and timing.pixels_per_line is not None:
        return line_rate * timing.pixels_per_line
    return None


def _line_rate(timing: Timing) -> float | None:
    if timing.line_rate_hz is not None:
        return float(timing.line_rate_hz)
    if timing.pixel_clock_hz is not None and timing.pixels_per_line is not None:
        return float(timing.pixel_clock_hz) / timing.pixels_per_line
    return float(timing.mode.line_rate_hz) if timing.mode is not None else None


def field_rate_of(timing: Timing) -> float | None:
    """Fields in a second: as stated, or from line rate and lines of a field."""
    if timing.field_rate_hz is not None:
        return float(timing.field_rate_hz)
    line_rate = _line_rate(timing)
    if line_rate is not None and timing.lines_per_field is not None:
        return line_rate * len(timing.lines_per_field) / sum(timing.lines_per_field)
    return float(timing.mode.field_rate_hz) if timing.mode is not None else None


def recording(board: Board, analyser: Analyser, fields: int) -> Recording:
    """Work out rate and memory for ``fields`` whole fields, whenever the recording starts.

    Raises
    ------
    UsageError
        When not even one field is wanted.
    """
    if fields < 1:
        raise UsageError("a recording needs one field at least", hint="e.g. --fields 3")
    clock, field_rate = clock_of(board.timing), field_rate_of(board.timing)
    least = LEAST * clock if clock is not None else None
    good = GOOD * clock if clock is not None else None
    # The field that the recording starts in is lost, whatever is left of it.
    seconds = (fields + 1) / field_rate if field_rate is not None else None
    rate = analyser.rate_hz if analyser.rate_hz is not None else good
    samples = math.ceil(rate * seconds) if rate is not None and seconds is not None else None
    channels = analyser.channels if analyser.channels is not None else max(len(board.pins), 1)
    size = math.ceil(samples * channels / 8) if samples is not None else None
    return Recording(clock, field_rate, fields, least, good, seconds, rate, samples, size)


def abilities(board: Board, analyser: Analyser, wanted: Recording) -> list[Ability]:
    """Say what the analyser shows of this board, and what it does not."""
    found = [*_by_rate(analyser, wanted), *_by_depth(analyser, wanted), *_by_channels(board, analyser)]
    return found or [Ability("all of it", shown=True, why="no limit of the analyser was given")]


def _by_rate(analyser: Analyser, wanted: Recording) -> list[Ability]:
    rate, clock = analyser.rate_hz, wanted.clock_hz
    if rate is None:
        return []
    found = [
        Ability(
            "lines, fields, sync widths", rate >= SYNC_ONLY_HZ, f"{rate * 4.7e-6:.0f} samples in a line sync"
        ),
        Ability(
            f"pulses of {SHORT_PULSE_S * 1e9:.0f} ns (crosstalk, glitches)",
            rate >= 1 / SHORT_PULSE_S,
            f"a sample every {1e9 / rate:.1f} ns",
        ),
    ]
    if clock is not None:
        cycles = rate / clock
        why = f"{cycles:.2f} samples a pixel clock cycle"
        found[1:1] = [
            Ability("every pixel, and the frames", cycles >= LEAST, f"{why}, at least {LEAST:g} are needed"),
            Ability("duty of the pixel clock", cycles >= DUTY, f"{why}, at least {DUTY:g} are needed"),
            Ability("setup and hold of each bit to a few ns", cycles >= GOOD, f"{why}, {GOOD:g} are good"),
        ]
    return found


def _by_depth(analyser: Analyser, wanted: Recording) -> list[Ability]:
    if analyser.depth is None or wanted.rate_hz is None or wanted.field_rate_hz is None:
        return []
    seconds = analyser.depth / wanted.rate_hz
    whole = max(math.floor(seconds * wanted.field_rate_hz) - 1, 0)
    why = f"{analyser.depth} samples are {seconds * 1e3:.3g} ms: {whole} whole field(s) for sure"
    found = [Ability(f"{wanted.fields} whole field(s)", whole >= wanted.fields, why)]
    if whole < 1 and wanted.least_hz is not None:
        at_least = analyser.depth / wanted.least_hz * wanted.field_rate_hz
        more = f"at {wanted.least_hz / 1e6:.1f} MS/s it holds {at_least:.2g} fields"
        found.append(Ability("one field, at the lowest safe rate", at_least >= 2, more))  # noqa: PLR2004 - one whole, whenever
    return found


def _by_channels(board: Board, analyser: Analyser) -> list[Ability]:
    used = [n for n, p in board.pins.items() if p.role != "other"]
    if analyser.channels is None:
        return []
    if len(used) <= analyser.channels:
        why = f"{len(used)} of {analyser.channels} channels"
        return [Ability("all pins of the board file at once", shown=True, why=why)]
    roles = {n: board.pins[n].role for n in used}
    over = len(used) - analyser.channels
    has_csync = "csync" in roles.values()
    spare = [
        n
        for role in FIRST_TO_LEAVE_OUT
        for n in used
        if roles[n] == role
        and (role != "vsync" or has_csync)
        and (role != "csync" or "vsync" in roles.values())
    ][:over]
    why = f"{len(used)} pins, {analyser.channels} channels"
    if len(spare) == over:
        why += f": leave out {', '.join(spare)} ({', '.join(roles[n] for n in spare)})"
    else:
        colours = sum(role == "colour" for role in roles.values())
        room = analyser.channels - (len(used) - colours)
        why += (
            f": record the colour bits in {-(-colours // room)} goes, clock and sync in each"
            if room > 0
            else ": too few for clock and sync beside one colour bit"
        )
    return [Ability("all pins of the board file at once", shown=False, why=why)]
