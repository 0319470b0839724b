"""Findings on what happens to the sync now and then: where, how often, and what it does to the picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.checks.interface import Evidence, Finding
from rastertap.checks.make import PRACTICE, none_allowed
from rastertap.checks.repetition import in_lines
from rastertap.checks.timing_rows import lines_per_field_usual
from rastertap.printable import plural

if TYPE_CHECKING:
    from rastertap.checks.interface import Result
    from rastertap.streams.model import EventKind, Sync

MIDDLE = (0.42, 0.58)
"""Place of a line's middle: a pulse there makes two lines of one."""


def where(sync: Sync, kinds: tuple[EventKind, ...]) -> str:
    """Say at which lines, and how regularly, events of some kinds come."""
    index = np.sort(np.concatenate([sync.events.of(kind) for kind in kinds]))
    if not index.size:
        return ""
    times = sync.events.times[index]
    rhythm = in_lines(times, sync.line_period.value, lines_per_field_usual(sync))
    lines = np.unique(sync.events.lines[index])
    known = lines[lines >= 0]
    parts = [rhythm] if rhythm else []
    if 0 < known.size <= 3 and times.size > 1:  # noqa: PLR2004 - more lines than can be listed
        parts.append(f"in line {', '.join(str(n) for n in known.tolist())} after the field sync")
    elif times.size == 1 and known.size:
        parts.append(f"in line {known[0]} after the field sync")
    return ", ".join(parts)


def _placed(sync: Sync, kind: EventKind) -> str:
    found = where(sync, (kind,))
    return f"; {found}." if found else "."


def _us(evidence: Evidence, ticks: float) -> float:
    return ticks * float(evidence.capture.tick) * 1e6


def _times(sync: Sync, *kinds: EventKind) -> list[int]:
    index = np.concatenate([sync.events.of(kind) for kind in kinds])
    return [int(t) for t in np.sort(sync.events.times[index])]


def glitches(evidence: Evidence, sync: Sync) -> Finding:
    """Sync edges where none belongs; such in the middle of a line make two of it."""
    count = sync.events.count("glitch")
    index = sync.events.of("glitch")
    some = ""
    if count:
        places = sync.events.places[index]
        middle = (places > MIDDLE[0]) & (places < MIDDLE[1])
        whole = np.abs(sync.events.extents[index] - sync.line_width.value) < 0.3 * sync.line_width.value
        doubled = int((middle & whole).sum())
        width = _us(evidence, float(np.median(sync.events.extents[index])))
        some = f"{plural(count, 'sync edge')} where none belongs, {width:.2f} us wide as a rule"
        some += _placed(sync, "glitch")
        if doubled:
            some += f" {doubled} of them stand in the middle of a line and double it."
        some += (
            " They are skipped here, so the frame stands; a set may lose the line there, and tear or roll."
        )
    return none_allowed(
        "sync.glitch", _times(sync, "glitch"), count, evidence, none="No stray sync edge.", some=some
    )


def missing_lines(evidence: Evidence, sync: Sync) -> Finding:
    """Lines whose sync pulse does not come."""
    count = sync.events.count("missing")
    some = f"{plural(count, 'line sync')} missing{_placed(sync, 'missing')}"
    some += " The lines after keep their place, so the chip counted on: its sync output or the tap drops out."
    return none_allowed(
        "sync.missing_hsync",
        _times(sync, "missing"),
        count,
        evidence,
        none="Every line has its sync.",
        some=some,
    )


def displaced(evidence: Evidence, sync: Sync) -> Finding:
    """Line syncs early or late by themselves, and the scatter of all."""
    count = sync.events.count("displaced")
    lines = sync.intervals.of("line_period")
    spread = _us(evidence, lines.spread) * 1e3
    step = _us(evidence, sync.intervals.step) * 1e3
    text = (
        f"From line to line the period varies by {spread:.2f} ns rms (the analyser's step is {step:.2f} ns)."
    )
    if evidence.frames is not None and evidence.frames.turn:
        text += " Lines of two lengths in turn alone make half a clock of it."
    if (scatter := sync_jitter(evidence)) is not None:
        return _jitters(evidence, sync, scatter, text)
    if not count:
        return Finding("timing.line_jitter", "pass", text, spread, None, "", "ns", PRACTICE)
    extents = sync.events.extents[sync.events.of("displaced")]
    most = _us(evidence, float(np.abs(extents).max()))
    some = f"{plural(count, 'line sync')} early or late by up to {most:.3f} us{_placed(sync, 'displaced')}"
    text = f"{some} Those lines stand to the left or right of the others. {text}"
    limit = "no line sync off by itself"
    at = evidence.at_s(_times(sync, "displaced"))
    return Finding("timing.line_jitter", "fail", text, spread, None, limit, "ns", PRACTICE, at)


ODD_PART, WRONG_PART = 0.125, 0.25
"""Parts of a pixel, rms, from which a line sync that jitters against the clock is odd, and shows as ragged
edges where the set or a digitiser follows every sync (common practice, no source)."""


MOST_SIGMAS, ONE_PIXEL = 6.0, 1.5
"""A line lasts from sync to sync: root 2 times the scatter, and some 4 of those; or one pixel and a bit."""


def sync_jitter(evidence: Evidence) -> float | None:
    """Give the line sync's jitter against a tapped clock, pixels rms; None where none is seen.

    Sync edge and clock edge are each seen up to a step late: what that makes is taken out, and the jitter
    that the clock has by itself.
    """
    frames, clock, sync = evidence.frames, evidence.pixel_clock, evidence.sync
    if frames is None or clock is None or sync is None or clock.source != "tapped":
        return None
    if sync.kind not in {"separate", "composite"}:
        return None
    pixel = clock.period.value / frames.pixels_per_clock
    step = sync.intervals.step / pixel
    # A clock tap whose edges scatter is not held against the sync: two of them make a period.
    edge = clock.period_jitter.value / pixel / np.sqrt(2) if clock.period_jitter is not None else 0.0
    own = frames.sync_scatter**2 - step**2 / 6 - edge**2
    if own <= ODD_PART**2 or frames.sync_scatter <= step:
        return None
    return float(np.sqrt(own))


def _by_jitter(evidence: Evidence, sync: Sync, scatter: float | None) -> bool:
    """Whether all lines too short or too long are so by no more than a sync that jitters makes them."""
    clock, frames = evidence.pixel_clock, evidence.frames
    if scatter is None or clock is None or frames is None:
        return False
    index = np.concatenate([sync.events.of("short"), sync.events.of("long")])
    reach = max(MOST_SIGMAS * scatter, ONE_PIXEL) * clock.period.value / frames.pixels_per_clock
    return bool((np.abs(sync.events.extents[index]) <= reach).all())


def _jitters(evidence: Evidence, sync: Sync, scatter: float, text: str) -> Finding:
    frames, clock = evidence.frames, evidence.pixel_clock
    if frames is None or clock is None:
        raise ValueError("no clock to compare with")
    nano = scatter * _us(evidence, clock.period.value / frames.pixels_per_clock) * 1e3
    said = (
        f"The line sync jitters against the pixel clock: {nano:.1f} ns rms, {scatter:.2f} of a pixel. What"
        " follows every sync (a set, a digitiser) shows edges ragged by as much; the frames here are counted"
        f" by the clock. {text}"
    )
    result: Result = "fail" if scatter > WRONG_PART else "warn"
    limit = f"{WRONG_PART * nano / scatter:.1f} ns rms, a quarter of a pixel"
    at = evidence.at_s(_times(sync, "displaced"))
    return Finding("timing.line_jitter", result, said, nano, None, limit, "ns", PRACTICE, at)


def odd_widths_text(evidence: Evidence, sync: Sync) -> str:
    """Say how many line syncs have another width; empty when none."""
    count = sync.events.count("width")
    if not count:
        return ""
    extents = sync.events.extents[sync.events.of("width")]
    low, high = (_us(evidence, float(v)) for v in (extents.min(), extents.max()))
    text = f" {plural(count, 'line sync')} of another width, {low:.2f} to {high:.2f} us"
    return text + _placed(sync, "width")


def line_length(evidence: Evidence, sync: Sync) -> Finding:
    """Pixel clocks in a line, and lines longer or shorter than the others."""
    # Beside a sync that jitters an interval is no odd line: the clock counts the same in all.
    jitter = sync_jitter(evidence)
    odd = 0 if _by_jitter(evidence, sync, jitter) else sync.events.count("short") + sync.events.count("long")
    frames, clock = evidence.frames, evidence.pixel_clock
    expected = evidence.board.timing.pixels_per_line if evidence.board is not None else None
    pixels = frames.clocks_per_line if frames is not None else None
    text, slips = _length_text(evidence, sync)
    wrong = expected is not None and pixels is not None and pixels != expected
    if wrong:
        text += f" The board file says {expected:g}."
    if odd:
        # What is wrong comes first: the headline is made of it.
        text = f"{_odd_text(evidence, sync).strip()} The usual line: {text}"
    uneven = frames is not None and frames.steady_lines < 1 and clock is not None
    jitters = jitter is not None and not slips
    if uneven and frames is not None:
        part = 1 - frames.steady_lines
        text += f" In {part:.2%} of the lines the clocks between two line syncs are not {pixels}."
        if jitters:
            text += " The sync jitters against the clock (see timing.line_jitter); on the mean they hold"
            text += " together."
        elif not odd and sync.intervals.of("line_period").spread <= sync.intervals.step:
            text += " All lines last equally long, so the sync holds: the tap loses or adds clock edges, or"
            text += " line sync and clock do not come from one source."
    elif odd and frames is not None:
        text += " Yet every line has the same number of clocks: it is the clock that stumbles, not the chip."
    limit = f"{f'{expected:g}' if expected is not None else 'a whole number'}, the same in every line"
    if frames is not None and frames.turn:
        limit = f"{f'{expected:g}' if expected is not None else 'a half more than a whole number'}, in turn"
    source = "board file" if expected is not None else PRACTICE
    result: Result = "fail" if wrong or odd or (uneven and not jitters) or slips else "pass"
    at = evidence.at_s(_times(sync, "short", "long")) if odd else ()
    return Finding("timing.line_length", result, text, pixels, 0.0, limit, "pixel clocks", source, at)


def _length_text(evidence: Evidence, sync: Sync) -> tuple[str, bool]:
    """Say how long a line is, in clocks where they are whole; and whether sync and clock slip."""
    frames, clock = evidence.frames, evidence.pixel_clock
    micro = _us(evidence, sync.line_period.value)
    if clock is None or frames is None:
        return f"A line lasts {micro:.4f} us.", False
    ratio = sync.line_period.value / clock.period.value
    doubt = ratio * np.hypot(
        sync.line_period.uncertainty / sync.line_period.value, clock.period.uncertainty / clock.period.value
    )
    off = ratio - frames.clocks_per_line
    # Lost or added clock edges change the count in some lines; a slip changes the mean ratio itself.
    slips = bool(abs(off) > SURE * doubt + SLIP and frames.steady_lines < 1)
    if slips:
        return (
            f"A line lasts {ratio:.4f} pixel clocks, no whole number: the line sync slips against the clock.",
            True,
        )
    return f"{frames.clock_words}, {micro:.4f} us.", False


SURE, SLIP = 4.0, 1e-3
"""Standard uncertainties, and part of a clock, by which a line must differ from whole clocks to slip."""


def _odd_text(evidence: Evidence, sync: Sync) -> str:
    parts = []
    kinds: tuple[EventKind, ...] = ("short", "long")
    clock = evidence.pixel_clock
    for kind in kinds:
        count = sync.events.count(kind)
        if not count:
            continue
        extents = np.abs(sync.events.extents[sync.events.of(kind)])
        usual = float(np.median(extents))
        by = f"{_us(evidence, usual):.3f} us"
        if clock is not None:
            by += f" ({usual / clock.period.value:.1f} clocks)"
        found = where(sync, (kind,))
        parts.append(f"{plural(count, 'line')} too {kind} by {by}" + (f", {found}" if found else ""))
    return f" {'; '.join(parts)}. All that follows in the picture moves sideways there."
