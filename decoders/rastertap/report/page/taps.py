"""The table of the taps, each with its levels around one line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

from rastertap.report.page.places import row_starts

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.analyse import Analysis
    from rastertap.capture.model import Channel
    from rastertap.streams.interface import Pin
    from rastertap.streams.model import Sync

WIDTH, HEIGHT = 480, 26
HIGH_Y, LOW_Y = 4, 22
BEFORE, AFTER = 0.05, 1.05
"""Part of a line shown before the line sync, and where the stretch ends, in lines."""
CYCLES = 24
"""Clock cycles shown where there are no lines."""


@dataclass(frozen=True)
class Tap:
    """One row: what the channel carries, what was expected, how sure, why, and its levels."""

    channel: str
    role: str
    expected: str
    agrees: bool
    score: float
    edges: int
    why: tuple[str, ...]
    wave: Markup


def role_words(role: str, bit: int | None, polarity: str | None) -> str:
    """Write a role for people."""
    name = f"colour bit {bit}" if role == "colour" else role.replace("_", " ")
    return name if polarity is None else f"{name}, {polarity}"


def stretch(analysis: Analysis) -> tuple[float, float, str]:
    """Choose the time that the waveforms show: begin and end in ticks, and what it is."""
    capture, sync = analysis.capture, analysis.evidence.sync
    held = max((int(c.ticks[-1]) for c in capture.channels if c.ticks.size), default=capture.end)
    if sync is not None:
        period = sync.line_period.value
        begin = min(_telling_line(analysis, sync) - BEFORE * period, held - (BEFORE + AFTER) * period)
        micro = period * float(capture.tick) * 1e6
        return begin, begin + (BEFORE + AFTER) * period, f"one line ({micro:.2f} µs) and a little around it"
    middle = (capture.start + held) / 2
    clock = analysis.evidence.pixel_clock
    length = CYCLES * clock.period.value if clock is not None else (held - capture.start) / 10
    micro = length * float(capture.tick) * 1e6
    return middle, middle + length, f"{micro:.3g} µs from the middle of what is held"


def _telling_line(analysis: Analysis, sync: Sync) -> float:
    """When the most colourful line of the first complete field begins, ticks; else any line or field."""
    frames = analysis.evidence.frames
    if frames is not None and frames.complete:
        field = frames.complete[0]
        ordered = np.sort(field.codes, axis=1)
        row = int(np.argmax((np.diff(ordered, axis=1) != 0).sum(axis=1)))
        return float(row_starts(field, sync)[row])
    starts = sync.lines.starts if sync.lines.starts.size else sync.fields.starts
    return float(starts[starts.size // 2]) if starts.size else float(analysis.capture.start)


def tap_rows(analysis: Analysis) -> tuple[list[Tap], str]:
    """Give the rows, and what their waveforms show."""
    begin, end, words = stretch(analysis)
    edges = analysis.evidence.edges
    rows = [
        _row(
            analysis, pin, edges.get(pin.channel, 0), wave(analysis.capture.channel(pin.channel), begin, end)
        )
        for pin in analysis.pins
    ]
    return rows, words


def _row(analysis: Analysis, pin: Pin, edges: int, drawn: Markup) -> Tap:
    board = analysis.request.board
    expected = board.pins.get(pin.channel) if board is not None else None
    role = role_words(pin.role, pin.bit, pin.polarity)
    agrees = expected is None or (expected.role == pin.role and expected.bit == pin.bit)
    return Tap(
        pin.channel,
        f"nothing known ({pin.kind})" if pin.role == "other" and pin.kind else role,
        "" if expected is None else role_words(expected.role, expected.bit, expected.polarity),
        agrees,
        pin.score,
        edges,
        pin.why,
        drawn,
    )


def wave(channel: Channel, begin: float, end: float) -> Markup:
    """Draw a channel's levels; where it changes faster than the drawing can show, a filled block."""
    low, high = np.searchsorted(channel.ticks, (begin, end))
    levels = channel.levels[low:high]
    before = int(channel.levels[low - 1]) if low else channel.initial
    xs = (channel.ticks[low:high] - np.float64(begin)) / (end - begin) * WIDTH
    count = int(high - low)
    name = (
        f"levels of {channel.name}: {count} changes in the stretch shown"
        if count
        else f"{channel.name} stays {'high' if before else 'low'}"
    )
    return Markup(
        '<svg class="wave" viewBox="0 0 {} {}" role="img" aria-label="{}" preserveAspectRatio="none">'
        '<path class="block" d="{}"/><path d="{}"/></svg>'
    ).format(WIDTH, HEIGHT, name, *_paths(xs, levels, before))


def _y(level: int) -> int:
    return HIGH_Y if level == 1 else LOW_Y if level == 0 else (HIGH_Y + LOW_Y) // 2


def _paths(xs: NDArray[np.float64], levels: NDArray[np.uint8], before: int) -> tuple[str, str]:
    """Give blocks over columns with two changes or more, and the line of the levels between them."""
    columns = np.minimum(xs.astype(np.int64), WIDTH - 1)
    busy = np.append(np.bincount(columns, minlength=WIDTH) > 1, False)
    blocks, line, place = [], [f"M0 {_y(before)}"], 0
    while place < xs.size:
        column = int(columns[place])
        if not busy[column]:
            line.append(f"H{xs[place]:.1f}V{_y(int(levels[place]))}")
            place += 1
            continue
        end = column + int(np.argmin(busy[column:]))
        place = int(np.searchsorted(columns, end))
        blocks.append(f"M{column} {HIGH_Y}H{end}V{LOW_Y}H{column}Z")
        line.append(f"H{column}M{end} {_y(int(levels[place - 1]))}")
    return "".join(blocks), "".join(line) + f"H{WIDTH}"
