"""Write a board file from what was found in a capture, with what is not known left as commented lines."""

from __future__ import annotations

import json
import re
import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rastertap.board.model import SCHEMA

if TYPE_CHECKING:
    from fractions import Fraction

    from rastertap.board.model import ColourSetName
    from rastertap.roles import Polarity, Role

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+", re.ASCII)


@dataclass(frozen=True)
class FoundPin:
    """One channel as it was found; ``why`` becomes the comment above it."""

    channel: str
    role: Role
    bit: int | None = None
    polarity: Polarity | None = None
    why: str = ""


@dataclass(frozen=True)
class FoundBoard:
    """What an analysis found out about a board; None is "not measured" and becomes a commented line.

    Parameters
    ----------
    name : str
        What to call the board.
    pins : tuple of FoundPin
    note : str
        Goes into the file as its note when not empty.
    standard : str or None
        Key of the mode the timing is near to.
    pixel_clock_hz : Fraction or None
        Nominal or measured, exact.
    pixels_per_line : float or None
        With a half where a line and one a clock longer come in turn.
    line_rate_hz : Fraction or None
        Measured; only where no pixel clock gives it.
    lines_per_field : tuple of float
        Empty when not measured.
    interlaced : bool or None
    hsync_width_us, vsync_width_lines : (low, high) or None
    colour_set : str or None
        A named one, not ``list``.
    unrecognised : tuple of str
        Channels that carry nothing known; listed in a comment.
    """

    name: str
    pins: tuple[FoundPin, ...] = ()
    note: str = ""
    standard: str | None = None
    pixel_clock_hz: Fraction | None = None
    pixels_per_line: float | None = None
    line_rate_hz: Fraction | None = None
    lines_per_field: tuple[float, ...] = ()
    interlaced: bool | None = None
    hsync_width_us: tuple[float, float] | None = None
    vsync_width_lines: tuple[float, float] | None = None
    colour_set: ColourSetName | None = None
    unrecognised: tuple[str, ...] = ()


def board_text(found: FoundBoard) -> str:
    """Render a commented board file (TOML) that `load_board` accepts.

    Parameters
    ----------
    found : FoundBoard
        Its facts must not contradict each other: the text states them as they are.
    """
    head = [
        "# What is expected of this kind of board: which channel is clipped to which pin, and the timing.",
        "# Lines that begin with # are not in force: complete them and take the # away.",
        f"schema = {_quoted(SCHEMA)}",
        f"name = {_quoted(found.name)}",
        _line("note", _quoted(found.note) if found.note else None, '"..."', "anything worth knowing"),
    ]
    pins = [line for pin in found.pins for line in _pin_lines(pin)]
    if found.unrecognised:
        pins += ["", *_comment(f"Carries nothing recognised: {', '.join(found.unrecognised)}")]
    return "\n".join([*head, *pins, *_timing_lines(found), *_colour_lines(found)]) + "\n"


def _pin_lines(pin: FoundPin) -> list[str]:
    comment = _comment(f"found: {pin.why}") if pin.why else []
    state = [f"role = {_quoted(pin.role)}"]
    if pin.role == "colour":
        state.append(_line("bit", None if pin.bit is None else str(pin.bit), "0", "0 is the lowest"))
    if pin.polarity is not None:
        state.append(f"polarity = {_quoted(pin.polarity)}")
    return [
        "",
        *comment,
        f"[pins.{_key(pin.channel)}]",
        *state,
        "# chip_pin = 1      # pin number on the video chip",
        "# connector = 1     # position on the analyser's connector",
        '# wire = "brown"    # colour of the wire',
    ]


def _timing_lines(found: FoundBoard) -> list[str]:
    clock = found.pixel_clock_hz
    exact = None if clock is None else _quoted(f"{clock.numerator}/{clock.denominator}")
    if clock is not None and clock.denominator == 1:
        exact = str(clock.numerator)
    lines = _list(found.lines_per_field) if found.lines_per_field else None
    interlaced = None if found.interlaced is None else str(found.interlaced).lower()
    return [
        "",
        "[timing]",
        _line("standard", _quoted_or_none(found.standard), '"312/50"', "see: rastertap standards"),
        _line("pixel_clock_hz", exact, '"13500000*2/3"', "a number, or exact: numbers joined by * and /"),
        "pixel_clock_tolerance_ppm = 100   # a plain crystal oscillator",
        _line("pixels_per_line", _text(found.pixels_per_line), "576", "pixel clocks, blanking included"),
        *_line_rate(found.line_rate_hz),
        _line("lines_per_field", lines, "[312]", "[312.5, 312.5] when interlaced"),
        _line("interlaced", interlaced, "false", "true or false"),
        _line("hsync_width_us", _range(found.hsync_width_us), "[4.5, 4.9]", "line sync, [low, high], us"),
        _line("vsync_width_lines", _range(found.vsync_width_lines), "[2.5, 3.5]", "field sync, [low, high]"),
    ]


def _line_rate(measured: Fraction | None) -> list[str]:
    """Give the line rate where no pixel clock gives it."""
    return [] if measured is None else [f"line_rate_hz = {float(measured):.10g}   # as measured"]


def _colour_lines(found: FoundBoard) -> list[str]:
    choices = (
        "rgb, rgbi, rrggbb, rgb9/12/15/16/18/24, component, grey, or list with list = [...] or palette = FILE"
    )
    if found.colour_set is None:
        return ["", "# [colours]       # how a colour code is shown", f'# set = "rgbi"     # {choices}']
    yellow = "# dark_yellow = true   # code 6 is AAAA00, not brown AA5500"
    more = [yellow] if found.colour_set == "rgbi" else []
    return ["", "[colours]", f"set = {_quoted(found.colour_set)}   # {choices}", *more]


def _line(key: str, value: str | None, example: str, meaning: str) -> str:
    """One key: in force when known, else commented out with an example."""
    if value is None:
        return f"# {key} = {example}   # not known: {meaning}"
    return f"{key} = {value}   # {meaning}"


def _quoted(text: str) -> str:
    # A JSON text is a TOML text once the control characters, which a board may not hold anyway, are out.
    safe = "".join(c if c.isprintable() or c == "\n" else "?" for c in text)
    return json.dumps(safe, ensure_ascii=False)


def _quoted_or_none(text: str | None) -> str | None:
    return None if text is None else _quoted(text)


def _key(channel: str) -> str:
    return channel if _BARE_KEY.fullmatch(channel) else _quoted(channel)


def _comment(text: str) -> list[str]:
    printable = "".join(c if c.isprintable() else " " for c in text)
    return textwrap.wrap(printable, 100, initial_indent="# ", subsequent_indent="#   ")


def _text(value: float | None) -> str | None:
    return None if value is None else f"{value:.10g}"


def _list(values: tuple[float, ...]) -> str:
    return "[" + ", ".join(f"{value:.10g}" for value in values) + "]"


def _range(limits: tuple[float, float] | None) -> str | None:
    return None if limits is None else _list(limits)
