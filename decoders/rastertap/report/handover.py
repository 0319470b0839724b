"""The handover sheet as text and as plain data (schema ``rastertap.handover/1``)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rastertap.printable import printable

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from rastertap.handover.screens import Fit
    from rastertap.handover.sheet import Direction, Sheet

SCHEMA = "rastertap.handover/1"


def _rows(title: str, rows: Iterable[tuple[str, str]]) -> Iterator[str]:
    yield ""
    yield title
    for name, value in rows:
        yield f"  {name:<27}  {value}"


def _direction(part: Direction, unit: str, seconds: float) -> list[tuple[str, str]]:
    """Rows of one direction; ``seconds`` is what one unit lasts."""
    scale, time = (1e6, "us") if seconds < 1e-5 else (1e3, "ms")  # noqa: PLR2004 - a pixel, not a line

    def value(count: float) -> str:
        return f"{count:g} {unit}  ({count * seconds * scale:.3f} {time})"

    polarity = f", {part.polarity}" if part.polarity else ""
    return [
        ("total", value(round(part.total, 2))),
        ("active", value(part.active)),
        ("first active, from sync", value(round(part.offset, 2))),
        ("sync width", f"{value(round(part.sync, 2))}{polarity}"),
        ("back porch", value(round(part.back_porch, 2))),
        ("front porch", value(round(part.front_porch, 2))),
    ]


def _sampling(sheet: Sheet) -> list[tuple[str, str]]:
    point = sheet.sampling
    period = 1 / sheet.pixel_clock.value
    phases = _both(point.delays_s, 1 / period, ".2f")
    rows = [
        ("read the bus", f"{_both(point.delays_s, 1e9, '.1f')} ns after the clock rises (phase {phases})"),
        ("margin earlier", f"{point.margin_before_s.value * 1e9:.1f} ns"),
        ("margin later", f"{point.margin_after_s.value * 1e9:.1f} ns"),
        ("nearest clock edge", " and ".join(point.edges)),
    ]
    if point.after_sync_s is not None and point.phase_after_sync is not None:
        rows.append(("first pixel, after sync", f"{point.after_sync_s * 1e6:.4f} us"))
        rows.append(
            (
                "phase, clock from line sync",
                f"{point.phase_after_sync:.2f} pixel ({360 * point.phase_after_sync:.0f} degrees)",
            )
        )
    return rows


def _both(values: Sequence[float], scale: float, spec: str) -> str:
    return " and ".join(f"{v * scale:{spec}}" for v in values)


def _fit(fit: Fit) -> str:
    if not fit.scale[0]:
        return "does not fit"
    x, y = fit.border
    off = (
        ""
        if fit.shape_error is None
        else f"; {abs(fit.shape_error):.1%} too {'wide' if fit.shape_error > 0 else 'narrow'}"
    )
    borders = f"border {x // 2}+{x - x // 2} across, {y // 2}+{y - y // 2} down"
    return f"{fit.scale[0]} x {fit.scale[1]} -> {fit.size[0]} x {fit.size[1]}, {borders}{off}"


def handover_text(sheet: Sheet) -> str:
    """Give the sheet for a terminal or for printing."""
    clock, line_s = sheet.pixel_clock, 1 / sheet.line_rate_hz
    fields = (
        "two fields to a frame, interlaced" if sheet.interlaced else "one field to a frame, not interlaced"
    )
    lines = [f"rastertap handover  {printable(sheet.source)}"]
    lines += _rows(
        "RATES",
        [
            (
                "pixel clock",
                f"{clock.value / 1e6:.6f} MHz +-{2 * clock.uncertainty:.0f} Hz, analyser's timebase included",
            ),
            ("line rate", f"{sheet.line_rate_hz:.2f} Hz"),
            ("field rate", f"{sheet.field_rate_hz:.4f} Hz, {fields}"),
            ("clock from line sync", _multiple(sheet)),
            ("colour bus", f"{sheet.bits} bits ({printable(sheet.colours_from)})"),
        ],
    )
    lines += _rows("ACROSS", _direction(sheet.across, "pixels", sheet.pixel_s))
    down = _direction(sheet.down, "lines", line_s)
    if sheet.interlaced:
        down += [(f"first active, {kind} field", f"{at:g} lines") for kind, at in sheet.offsets.items()]
    lines += _rows("DOWN", [*down, ("active area found", sheet.active_from)])
    lines += _rows("SAMPLING", _sampling(sheet))
    lines += _rows("ON A DISPLAY OF FIXED RATE", [(s.display, s.text()) for s in sheet.displays])
    shape = [("shape of a pixel", f"{sheet.shape.aspect:.4f} wide for 1 high"), ("from", sheet.shape.source)]
    even = [(f"{f.screen[0]} x {f.screen[1]}, same scale", _fit(f)) for f in sheet.even]
    right = [(f"{f.screen[0]} x {f.screen[1]}, in shape", _fit(f)) for f in sheet.in_shape]
    lines += _rows(
        "WHOLE-NUMBER SCALE", [*shape, *(row for pair in zip(even, right, strict=True) for row in pair)]
    )
    lines += _rows(
        "DELAY OF LINES",
        [
            (f"{n} line{'s' * (n != 1)}", f"{part:.3%} of a field, {s * 1e6:.1f} us")
            for n, part, s in sheet.delays
        ],
    )
    lines += ["", *_colour_lines(sheet)]
    return "\n".join(lines) + "\n"


def _multiple(sheet: Sheet) -> str:
    """By how much a digitiser multiplies the line rate for one sample a pixel."""
    text = f"x {sheet.across.total:g}"
    if sheet.pixels_per_clock == 1:
        return text
    chip = sheet.across.total / sheet.pixels_per_clock
    return f"{text} for a clock that rises with every pixel; the chip's own, x {chip:g}, has one on each edge"


def _colour_lines(sheet: Sheet) -> Iterator[str]:
    yield "COMPONENT LEVELS, mV (BT.601; Y' 0 to 700, Pb and Pr -350 to 350)"
    if not sheet.colours:
        yield "  not known: no board file states the colours of the codes"
        return
    width = max(len(c.name) for c in sheet.colours)
    yield f"  {'code':>6}  {'colour':<{width}}  {'R G B':>11}  {'Y':>7}  {'Pb':>7}  {'Pr':>7}"
    for c in sheet.colours:
        rgb = " ".join(f"{v:3d}" for v in c.rgb)
        levels = "  ".join(f"{v + 0.0:7.1f}" for v in c.component_mv)
        yield f"  {c.code:6d}  {c.name:<{width}}  {rgb}  {levels}"
    if sheet.colours_left_out:
        yield f"  the other {sheet.colours_left_out} codes of the set are left out: not seen in this capture"


def _fit_data(fit: Fit) -> dict[str, Any]:
    keys = ("screen", "scale", "size", "border")
    return {**{k: list(getattr(fit, k)) for k in keys}, "shape_error": fit.shape_error}


def _direction_data(part: Direction) -> dict[str, Any]:
    keys = ("total", "active", "offset", "sync", "back_porch", "front_porch")
    return {**{k: getattr(part, k) for k in keys}, "polarity": part.polarity or None}


def handover_document(sheet: Sheet) -> dict[str, Any]:
    """Give the sheet as plain data; times in seconds, rates in hertz, levels in millivolts."""
    from rastertap import __version__

    point = sheet.sampling
    return {
        "schema": SCHEMA,
        "tool_version": __version__,
        "source": sheet.source,
        "pixel_clock_hz": sheet.pixel_clock.value,
        "pixel_clock_uncertainty_hz": sheet.pixel_clock.uncertainty,
        "pixels_per_clock": sheet.pixels_per_clock,
        "pixel_s": sheet.pixel_s,
        "line_rate_hz": sheet.line_rate_hz,
        "field_rate_hz": sheet.field_rate_hz,
        "interlaced": sheet.interlaced,
        "pixels": _direction_data(sheet.across),
        "lines": _direction_data(sheet.down),
        "first_active_line": dict(sheet.offsets),
        "active_from": sheet.active_from,
        "sampling": {
            "delay_s": point.delays_s[0],
            "delays_s": list(point.delays_s),
            "margin_before_s": point.margin_before_s.value,
            "margin_after_s": point.margin_after_s.value,
            "nearest_edge": point.edges[0],
            "nearest_edges": list(point.edges),
            "first_pixel_after_sync_s": point.after_sync_s,
            "phase_after_sync_pixels": point.phase_after_sync,
        },
        "colour_bits": sheet.bits,
        "pixel_aspect": sheet.shape.aspect,
        "displays": [
            {"display": s.display, "what": s.what, "a_second": s.a_second, "every_s": s.every_s}
            for s in sheet.displays
        ],
        "scale_same": [_fit_data(f) for f in sheet.even],
        "scale_in_shape": [_fit_data(f) for f in sheet.in_shape],
        "delays": [{"lines": n, "part_of_field": part, "s": s} for n, part, s in sheet.delays],
        "colours": [
            {"code": c.code, "name": c.name, "rgb": list(c.rgb), "component_mv": list(c.component_mv)}
            for c in sheet.colours
        ],
        "colours_from": sheet.colours_from,
        "colours_left_out": sheet.colours_left_out,
    }
