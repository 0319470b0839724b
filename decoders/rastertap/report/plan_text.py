"""The plan for a recording as text and as plain data (schema ``rastertap.plan/1``)."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from rastertap import __version__
from rastertap.checks.wiring import role_words
from rastertap.plan.cautions import CAUTIONS, ORDER
from rastertap.plan.recording import GOOD, LEAST, Analyser, abilities, recording
from rastertap.plan.screen import board_entry, codes_to_show, drawing, listing
from rastertap.plan.thresholds import FAMILIES
from rastertap.printable import printable
from rastertap.report.text import wrapped
from rastertap.roles import ROLES

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rastertap.board.model import Board
    from rastertap.board.model import Pin as BoardPin
    from rastertap.plan.recording import Recording

SCHEMA = "rastertap.plan/1"
HEAD = ("channel", "carries", "chip pin", "connector", "wire")


def plan_text(board: Board, analyser: Analyser, fields: int, width: int = 100) -> str:
    """Give cautions, order of connecting, wiring, settings, what will show, and the test screen."""
    wanted = recording(board, analyser, fields)
    lines = [f"rastertap plan  {printable(board.name)}", "", "BEFORE YOU TOUCH ANYTHING"]
    lines += [wrapped(f"{c.text} [{c.source}]", width, "  ! ", "    ") for c in CAUTIONS]
    lines += ["", "ORDER OF CONNECTING"]
    lines += [wrapped(step, width, f"  {n}. ") for n, step in enumerate(ORDER, 1)]
    lines += ["", "WIRING", *_wiring(board)]
    lines += ["", "THRESHOLD", *_thresholds(width)]
    lines += ["", "SETTINGS", *(wrapped(t, width, "  - ", "    ") for t in _settings(wanted))]
    lines += ["", "WHAT IT WILL SHOW"]
    for one in abilities(board, analyser, wanted):
        lines.append(wrapped(f"{one.what}: {one.why}", width, "  yes  " if one.shown else "  NO   "))
    lines += ["", "TEST SCREEN", *_screen(board, width)]
    return "\n".join(lines) + "\n"


def _in_order(board: Board) -> list[tuple[str, BoardPin]]:
    return sorted(board.pins.items(), key=lambda item: (ROLES.index(item[1].role), item[1].bit or 0))


def _wiring(board: Board) -> Iterator[str]:
    if not board.pins:
        yield "  The board file names no pin."
        return
    rows: list[Sequence[str]] = [HEAD]
    for name, pin in _in_order(board):
        sign = {"positive": " +", "negative": " -", None: ""}[pin.polarity]
        rest = ("-" if cell is None else str(cell) for cell in (pin.chip_pin, pin.connector, pin.wire))
        rows.append((printable(name), role_words(pin.role, pin.bit) + sign, *map(printable, rest)))
    rows.append(("ground", "ground, first of all", "-", "-", "-"))
    sizes = [max(len(row[i]) for row in rows) for i in range(len(HEAD))]
    for row in rows:
        yield ("  " + "  ".join(cell.ljust(size) for cell, size in zip(row, sizes, strict=True))).rstrip()


def _thresholds(width: int) -> Iterator[str]:
    for family in FAMILIES:
        text = (
            f"{family.threshold:.2f} V for {family.title}: low up to {family.low_max:g} V, high from "
            f"{family.high_min:g} V, half-way between [{family.source}]"
        )
        yield wrapped(text, width, "  - ", "    ")


def _settings(wanted: Recording) -> Iterator[str]:
    if wanted.clock_hz is None or wanted.least_hz is None or wanted.good_hz is None:
        yield "Sample rate: not known, for the board file states no pixel clock (timing.pixel_clock_hz)."
    else:
        clock = f"of the {wanted.clock_hz / 1e6:g} MHz pixel clock"
        yield f"Sample rate: at least {wanted.least_hz / 1e6:.4g} MS/s ({LEAST:g} samples a cycle {clock})."
        more = "duty, margins and glitches show too"
        yield f"Better {wanted.good_hz / 1e6:.4g} MS/s or more ({GOOD:g} a cycle): {more}."
    if wanted.seconds is None:
        yield "Length: not known, for the board file states neither a standard nor the lines of a field."
        return
    yield (
        f"Length: {wanted.seconds * 1e3:.1f} ms for {wanted.fields} whole field(s), one more for the field "
        "that the recording starts in."
    )
    if wanted.samples is not None and wanted.rate_hz is not None and wanted.bytes is not None:
        yield (
            f"Memory: {wanted.samples} samples a channel at {wanted.rate_hz / 1e6:.4g} MS/s, "
            f"{wanted.bytes / 1e6:.1f} MB without compression."
        )
    yield "Trigger: none, or on any edge of the field sync. Save all channels as VCD."


def _screen(board: Board, width: int) -> Iterator[str]:
    bits = len(board.colour_channels)
    if not bits:
        yield "  The board file names no colour pin: show text on a plain ground."
        return
    yield wrapped(
        f"Show bars in code order, so that each of the {bits} colour bits is told from the others and an "
        "inverted, stuck or bridged one is named:",
        width,
        "  ",
    )
    yield from (f"  {line}" for line in drawing(bits, width - 4))
    yield ""
    yield "  A listing; put its words into those of the machine:"
    yield from (f"    {line}" for line in listing(bits))
    yield ""
    yield "  And in the board file:"
    active = board.picture.active if board.picture is not None else None
    yield from (f"    {line}" for line in board_entry(bits, active))


def plan_data(board: Board, analyser: Analyser, fields: int) -> dict[str, Any]:
    """Give the plan as plain data."""
    wanted = recording(board, analyser, fields)
    bits = len(board.colour_channels)
    return {
        "schema": SCHEMA,
        "tool_version": __version__,
        "board": board.name,
        "wiring": [{"channel": name, **pin.model_dump()} for name, pin in _in_order(board)],
        "recording": asdict(wanted),
        "shows": [asdict(one) for one in abilities(board, analyser, wanted)],
        "thresholds": [{**asdict(family), "threshold_v": family.threshold} for family in FAMILIES],
        "order": list(ORDER),
        "cautions": [asdict(c) for c in CAUTIONS],
        "test_screen": {"codes": list(codes_to_show(bits)), "listing": list(listing(bits))} if bits else None,
    }
