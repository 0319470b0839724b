"""A board as text for people: pin table, timing, colours, and what is not stated."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rastertap.printable import printable
from rastertap.roles import ROLES

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from rastertap.board.model import Board, Colours, Pin, Timing
    from rastertap.board.picture import Picture

LISTED = 16
"""Colours of a list that are shown."""
_HEADINGS = ("channel", "role", "polarity", "chip pin", "connector", "wire")


def board_summary(board: Board) -> str:
    """Describe a board in plain text, some 80 columns wide; safe to print."""
    parts = [
        printable(board.name),
        *([printable(line) for line in board.note.splitlines()] if board.note else []),
        "",
        "pins",
        *(_indent(_columns([_HEADINGS, *_pin_rows(board)])) if board.pins else ["  none stated"]),
        "",
        "timing",
        *_indent(_columns(_timing_rows(board.timing))),
        "",
        "colours",
        *_indent(_colour_lines(board.colours)),
        "",
        "known picture",
        *_indent(_picture_lines(board.picture)),
        *_decoder_lines(board),
        "",
        "not stated",
        *_indent([", ".join(names) for names in _not_stated(board)] or ["nothing"]),
    ]
    return "\n".join(parts)


def _indent(lines: Iterable[str]) -> list[str]:
    return [f"  {line}".rstrip() for line in lines]


def _columns(rows: Iterable[Sequence[str]]) -> list[str]:
    rows = [[printable(cell) for cell in row] for row in rows]
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))] if rows else []
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) for row in rows]


def _pin_rows(board: Board) -> list[tuple[str, ...]]:
    order = sorted(board.pins.items(), key=lambda item: (ROLES.index(item[1].role), item[1].bit or 0))
    return [(name, *_pin_cells(pin)) for name, pin in order]


def _pin_cells(pin: Pin) -> tuple[str, ...]:
    role = pin.role if pin.bit is None else f"{pin.role} bit {pin.bit}"
    others = (pin.polarity, pin.chip_pin, pin.connector, pin.wire)
    return (role, *("-" if cell is None else str(cell) for cell in others))


def _timing_rows(timing: Timing) -> list[tuple[str, str]]:
    rows = [(key, _value(getattr(timing, key))) for key in type(timing).model_fields]
    rows = [(key, value) for key, value in rows if value]
    if timing.mode is not None:
        rows[0] = ("standard", f"{timing.mode.key} ({timing.mode.title})")
    if timing.pixel_clock_hz is None:
        rows = [row for row in rows if row[0] != "pixel_clock_tolerance_ppm"]
    return rows or [("nothing stated", "")]


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return ", ".join(f"{item:g}" for item in value)
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _colour_lines(colours: Colours | None) -> list[str]:
    if colours is None:
        return ["not stated"]
    if colours.colours is not None:
        more = " ..." if len(colours.colours) > LISTED else ""
        return [f"list of {len(colours.colours)}: {' '.join(colours.colours[:LISTED])}{more}"]
    for key, count in colours.stated.items():
        return [f"list of {count}, from {key}"]
    yellow = ", code 6 dark yellow" if colours.dark_yellow else ""
    return [f"{colours.colour_set}{yellow}"]


def _picture_lines(picture: Picture | None) -> list[str]:
    if picture is None:
        return ["not stated"]
    lines = [printable(f"note: {line}") for line in (picture.note or "").splitlines()]
    if picture.reference is not None:
        lines.append(printable(f"reference: {picture.reference}"))
    for region in picture.regions:
        filling = f"code {region.code}" if region.code is not None else ""
        filling = f"bars {', '.join(map(str, region.bars))}" if region.bars is not None else filling
        filling = f"codes {', '.join(map(str, region.either))}" if region.either is not None else filling
        x, y, width, height = region.at
        name = f"{region.name}: " if region.name else ""
        lines.append(printable(f"{name}{width} x {height} at {x}, {y}: {filling}"))
    return lines


def _decoder_lines(board: Board) -> list[str]:
    if not board.decoders:
        return []
    rows = [(name, key, repr(value)) for name, keys in board.decoders.items() for key, value in keys.items()]
    return ["", "decoder options", *_indent(_columns(rows))]


def _not_stated(board: Board) -> list[list[str]]:
    """Roles without a channel, and timing keys without a value, each in one group."""
    used = {pin.role for pin in board.pins.values()}
    roles = [str(role) for role in ROLES if role not in used and role not in ("other", "subcarrier")]
    keys = [key for key in type(board.timing).model_fields if getattr(board.timing, key) is None]
    keys += [key for key in ("colours", "picture") if getattr(board, key) is None]
    return [group for group in (roles, keys) if group]
