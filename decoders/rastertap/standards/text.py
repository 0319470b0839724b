"""The modes and limit sets as plain text, 80 columns wide: value, interval, unit, source, trust."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable
    from fractions import Fraction

    from rastertap.standards.limits import Limit, LimitSet
    from rastertap.standards.modes import Blanking, Mode

WIDTH = 80
_LONG_S = 10e-3
"""Durations above this are shown in milliseconds."""
_TRUST_NOTE = (
    "In brackets, how far the figure can be trusted. seen: read in the named text; seen-2nd: in a text that "
    "quotes it; run: printed by the named program; derived: computed from seen figures."
)


def overview(modes: Iterable[Mode], limit_sets: Iterable[LimitSet]) -> list[str]:
    """List every mode and limit set, one a line."""
    heading = f"{'mode':<10} {'line rate Hz':>13} {'lines/field':>11} {'field Hz':>10}  what"
    rows = [
        f"{mode.key:<10} {float(mode.line_rate_hz):>13.3f} {float(mode.lines_per_field[0]):>11g} "
        f"{float(mode.field_rate_hz):>10.6f}  {mode.title}"
        for mode in modes
    ]
    sets = [f"{entry.name:<14} {entry.title}" for entry in limit_sets]
    more = "Figures and sources: rastertap standards --mode KEY, or --limits NAME"
    return [heading, *rows, "", "limit sets", *sets, "", more]


def mode_lines(mode: Mode) -> list[str]:
    """Describe one mode with its exact figures."""
    rows = [
        ("line rate", _exact(mode.line_rate_hz, "Hz")),
        ("line period", _exact(1_000_000 / mode.line_rate_hz, "us")),
        ("lines per field", ", ".join(f"{float(count):g}" for count in mode.lines_per_field)),
        ("field rate", _exact(mode.field_rate_hz, "Hz")),
        ("interlaced", "yes" if mode.interlaced else "no"),
        ("active lines", "not fixed" if mode.active_lines is None else str(mode.active_lines)),
    ]
    if mode.pixel_clock_hz is not None:
        rows.append(("pixel clock", _exact(mode.pixel_clock_hz, "Hz")))
    for name, blanking, unit in (("line", mode.horizontal, "pixels"), ("field", mode.vertical, "lines")):
        if blanking is not None:
            rows.append((name, _blanking(blanking, unit)))
    if mode.polarity is not None:
        rows.append(("sync polarity", mode.polarity))
    body = [line for name, value in rows for line in _wrap(value, f"  {name:<16} ")]
    return [f"{mode.key}: {mode.title}", *body, *_wrap(f"{mode.source} [{mode.trust}]", f"  {'source':<16} ")]


def limit_lines(entry: LimitSet, mode: Mode | None) -> list[str]:
    """Describe one limit set; for ``mode``, or for the first mode that it is meant for."""
    from rastertap.standards.modes import MODES

    shown = mode or MODES[entry.modes[0]]
    lines = [f"{entry.name}: {entry.title}", *_wrap(entry.note, "  "), *_wrap(_TRUST_NOTE, "  ")]
    if mode is None and len(entry.modes) > 1:
        lines.append(f"  Shown for {shown.key}; choose another with --mode.")
    if mode is not None and mode.key not in entry.modes:
        lines.append(f"  Meant for {', '.join(entry.modes)}: {mode.key} cannot meet it.")
    heading = f"{'quantity':<35} {'nominal':>12}  {'low .. high'}"
    return [*lines, "", heading, *(line for limit in entry.limits(shown) for line in _limit(limit))]


def _limit(limit: Limit) -> list[str]:
    scale, unit = _readable(limit)
    nominal = "-" if limit.value is None else _number(limit.value * scale)
    interval = f"{_number(limit.low * scale)} .. {_number(limit.high * scale)} {unit}"
    if limit.low == limit.high:
        interval = f"exactly this, {unit}"
    first = f"{limit.title:<35} {nominal:>12}  {interval}"
    return [first, *_wrap(f"{limit.source} [{limit.trust}]", "    ")]


def _readable(limit: Limit) -> tuple[float, str]:
    """Scale and unit in which a duration has a number people can compare."""
    if limit.unit != "s":
        return 1.0, limit.unit
    return (1e3, "ms") if limit.high > _LONG_S else (1e6, "us")


def _number(value: float) -> str:
    return f"{value:.10g}"


def _exact(value: Fraction, unit: str) -> str:
    if value.denominator == 1:
        return f"{value.numerator} {unit}"
    return f"{value.numerator}/{value.denominator} = {float(value):.9g} {unit}"


def _blanking(part: Blanking, unit: str) -> str:
    return (
        f"{part.active} active, {part.front_porch} front porch, {part.sync} sync, "
        f"{part.back_porch} back porch = {part.total} {unit}"
    )


def _wrap(text: str, lead: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead))
