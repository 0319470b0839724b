"""Other readers' views of a VCD file, as plain dicts: name to (initial level, [(time, level), ...])."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pywellen
from vcd.reader import TokenKind, tokenize

if TYPE_CHECKING:
    from pathlib import Path

    from rastertap.capture.model import Capture

    View = dict[str, tuple[int, list[tuple[int, int]]]]

LEVELS = {"0": 0, "1": 1, "x": 2, "z": 3, "u": 2, "w": 2, "-": 2, "l": 0, "h": 1}
"""Those of VCD, and those of std_logic that GHDL writes."""


def of_capture(capture: Capture) -> View:
    return {
        c.name: (c.initial, list(zip(c.ticks.tolist(), c.levels.tolist(), strict=True)))
        for c in capture.channels
    }


def _settle(start: int, pairs: list[tuple[int, int]]) -> tuple[int, list[tuple[int, int]]]:
    """Keep the last level at each time, what is set up to the start as initial, and only real changes."""
    last = dict(pairs)
    level = 2
    for time, value in last.items():
        if time <= start:
            level = value
    initial, out = level, []
    for time, value in last.items():
        if time > start and value != level:
            out.append((time, value))
            level = value
    return initial, out


def _levels(value: int | str, width: int) -> list[int]:
    """Levels of each bit, the most significant first, left-extended by IEEE 1800-2023 Table 21-8."""
    text = format(value, "b") if isinstance(value, int) else value.lower()
    fill = "0" if text[0] in "01" else text[0]
    return [LEVELS[c] for c in text.rjust(width, fill)[-width:]]


def of_pyvcd(path: Path) -> View:
    """Read with pyvcd's tokenizer; bits are named ``name[i]`` counted down to 0."""
    names: list[tuple[str, str, int]] = []
    events: dict[str, list[tuple[int, list[int]]]] = {}
    widths: dict[str, int] = {}
    scopes: list[str] = []
    now, start = -1, None
    with path.open("rb") as file:
        for token in tokenize(file):
            data = token.data
            if token.kind is TokenKind.SCOPE:
                scopes.append(data.ident)
            elif token.kind is TokenKind.UPSCOPE:
                scopes.pop()
            elif token.kind is TokenKind.VAR:
                names.append((".".join([*scopes, data.reference]), data.id_code, data.size))
                widths[data.id_code] = data.size
                events.setdefault(data.id_code, [])
            elif token.kind is TokenKind.CHANGE_TIME:
                now = int(data)
                start = now if start is None else start
            elif token.kind in (TokenKind.CHANGE_SCALAR, TokenKind.CHANGE_VECTOR):
                events[data.id_code].append((now, _levels(data.value, widths[data.id_code])))
    view: View = {}
    for name, code, width in names:
        for bit in range(width):
            pairs = [(time, levels[bit]) for time, levels in events[code]]
            label = name if width == 1 else f"{name}[{width - 1 - bit}]"
            view[label] = _settle(start or 0, pairs)
    return view


def of_pywellen(path: Path, start: int) -> View:
    """Read with pywellen."""
    view: View = {}
    for variable in pywellen.Waveform(str(path)).all_vars():
        width = variable.bitwidth
        events = [(time, _levels(value, width)) for time, value in variable.signal]
        for bit in range(width):
            label = variable.full_name if width == 1 else f"{variable.full_name}[{width - 1 - bit}]"
            view[label] = _settle(start, [(time, levels[bit]) for time, levels in events])
    return view
