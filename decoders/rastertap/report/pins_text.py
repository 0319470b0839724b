"""The taps as text: what is wrong with the wiring first, then every channel, its room and its reasons."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rastertap.checks.wiring import explain, role_words
from rastertap.checks.wiring_margins import lowest_safe_rate, margins
from rastertap.checks.wiring_words import story_words
from rastertap.printable import printable, table_name
from rastertap.report.text import finding_lines, wrapped
from rastertap.streams.role_moves import natural

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap.analyse import Analysis
    from rastertap.checks.wiring_margins import Margin
    from rastertap.streams.interface import Pin

MOST_OF_IT = 0.95
"""Part of a capture that is nearly all of it: quiet channels may end before it does."""
SIGNS = {"positive": " +", "negative": " -", None: ""}


def pins_text(analysis: Analysis, width: int = 100) -> str:
    """Give the wiring, the channels with their reasons and margins, and the findings on the taps."""
    taps = [f for f in analysis.findings if f.id.startswith("taps.")]
    lines = [f"rastertap pins  {printable(analysis.capture.label)}", "", "WIRING"]
    lines += _wiring(analysis, width)
    lines += ["", "PINS", *_table(analysis, width)]
    seen = explain(analysis.evidence).looks.seen_s
    if seen < MOST_OF_IT * analysis.capture.span_s:
        text = f"Roles, pulses and margins are those of the first {seen * 1e3:.0f} ms of this long capture."
        lines += ["", wrapped(text, width, "  ")]
    rate = lowest_safe_rate(analysis.evidence)
    if rate is not None:
        text = (
            f"The lowest sample rate that would still be safe is {rate.rate_hz / 1e6:.1f} MS/s: {rate.why}."
        )
        lines += ["", "SAMPLE RATE", wrapped(text, width, "  ")]
    lines += ["", "FINDINGS", *finding_lines(taps, width)]
    return "\n".join(lines) + "\n"


def _wiring(analysis: Analysis, width: int) -> Iterator[str]:
    """Say how the wiring is, the most dangerous first."""
    found, board = explain(analysis.evidence), analysis.request.board
    if board is None or not board.pins:
        yield wrapped(
            "No board file says what should be where; these are the roles by behaviour.", width, "  "
        )
    elif not found.story.faults:
        yield wrapped(f"As the board file says ({board.name}).", width, "  ")
    else:
        for text in dict.fromkeys(
            f.text for f in analysis.findings if f.id.startswith("taps.") and f.result == "fail"
        ):
            yield wrapped(text, width, "  * ", "    ")
    for rival in found.rivals:
        yield wrapped(f"As simple, and not to be ruled out: {story_words(rival)}.", width, "  ? ", "    ")


def _table(analysis: Analysis, width: int) -> Iterator[str]:
    """Give one line a channel, with its reasons below it; idle ones together."""
    board, room = analysis.request.board, margins(analysis.evidence)
    known = board.pins if board is not None else {}
    idle = [p.channel for p in analysis.pins if p.kind.startswith("static") and p.channel not in known]
    rows = [_row(p, known.get(p.channel), room[p.channel]) for p in analysis.pins if p.channel not in idle]
    head = ("channel", "should carry", "carries", "score", "setup", "hold", "narrowest", "short pulses")
    columns = [i for i in range(len(head)) if i != 1 or known]
    sizes = [max(len(head[i]), *(len(r[i]) for r in rows)) if rows else len(head[i]) for i in columns]
    yield "  " + "  ".join(head[i].ljust(s) for i, s in zip(columns, sizes, strict=True)).rstrip()
    pins = [p for p in analysis.pins if p.channel not in idle]
    for pin, row in zip(pins, rows, strict=True):
        yield "  " + "  ".join(row[i].ljust(s) for i, s in zip(columns, sizes, strict=True)).rstrip()
        for reason in pin.why:
            yield wrapped(reason, width, " " * (sizes[0] + 4) + "- ")
    for level in ("low", "high"):
        names = [p.channel for p in analysis.pins if p.channel in idle and p.kind == f"static {level}"]
        if names:
            listed = " ".join(table_name(n) for n in sorted(names, key=natural))
            yield wrapped(f"stays {level}: {listed} (not in use)", width, "  ", "    ")


def _row(pin: Pin, expected: object, room: Margin) -> tuple[str, ...]:
    carries = role_words(pin.role, pin.bit) + SIGNS[pin.polarity]
    should = ""
    if expected is not None:
        should = role_words(expected.role, expected.bit) + SIGNS[expected.polarity]  # type: ignore[attr-defined]
    return (
        table_name(pin.channel),
        should or "-",
        pin.kind or carries,
        f"{pin.score:.2f}",
        _nanoseconds(room.setup_s),
        _nanoseconds(room.hold_s),
        _span(room.narrowest_s),
        str(room.short_pulses) if room.short_pulses else "-",
    )


def _nanoseconds(seconds: float | None) -> str:
    return "-" if seconds is None else f"{seconds * 1e9:.1f} ns"


def _span(seconds: float | None) -> str:
    if seconds is None:
        return "-"
    for unit, scale in (("ns", 1e-9), ("us", 1e-6), ("ms", 1e-3)):
        if seconds < 1000 * scale:
            return f"{seconds / scale:.3g} {unit}"
    return f"{seconds:.3g} s"
