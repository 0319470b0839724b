"""What the clock's numbers mean at the bench, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rastertap.checks.make import plural

if TYPE_CHECKING:
    from fractions import Fraction

    from rastertap.standards.clocks import Origin
    from rastertap.streams.clock_events import Events, SeenBy
    from rastertap.streams.clock_places import Placed
    from rastertap.streams.clock_spectrum import SpectralLine

SUBCARRIER_PPM = {
    "PAL": (5 / 4_433_618.75 * 1e6, "BT.470-6 Table 2"),
    "NTSC": (10 / 3_579_545.45 * 1e6, "BT.470-6 Table 2"),
}
"""Tolerance of the subcarrier, ppm: +-5 Hz and +-10 Hz."""
LINE_NAMES = 0.003
"""How near (relative) a spectral line must be to a rate to be called it, at least its own resolution."""
MAINS_HZ = (50.0, 60.0, 100.0, 120.0)


def offset_words(offset_ppm: float, timebase_ppm: float) -> str:
    """Say how far off a clock is: ``412 ppm fast``."""
    if abs(offset_ppm) <= timebase_ppm:
        return f"{offset_ppm:+.1f} ppm, less than the analyser's own tolerance of {timebase_ppm:g} ppm: nothing wrong is seen"
    return f"{abs(offset_ppm):.0f} ppm {'fast' if offset_ppm > 0 else 'slow'}"


def subcarrier_words(origin: Origin, timebase_ppm: float) -> str:
    """What an offset does to a subcarrier made from the same clock; empty when nothing can be said."""
    system = origin.master.subcarrier
    if not system or abs(origin.offset_ppm) <= timebase_ppm:
        return ""
    allowed, source = SUBCARRIER_PPM[system]
    return (
        f"A colour subcarrier divided from it would be as far off: {system} allows {allowed:.1f} ppm ({source}), and a"
        f" set's colour oscillator follows some 100 ppm or less (common practice, no source), so colour may not lock."
    )


def where_words(placed: Placed | None) -> str:
    """Say how events repeat and where: ``in each line at pixel 12``; empty when not known."""
    if placed is None or not placed.at.size:
        return ""
    pixel = placed.usual_pixel
    match placed.repeats:
        case "each line":
            return f"once in each line, at pixel {pixel} after the line sync"
        case "each field":
            return f"at the same place of each field, first at line {placed.line[0]}, pixel {pixel}"
        case "every N cycles":
            return f"every {placed.every} cycles, whatever the line"
        case "bursts":
            return "in bursts"
        case "once":
            return (
                f"at line {placed.line[0]}, pixel {pixel}"
                if placed.line[0] >= 0
                else f"at pixel {pixel} of the line"
            )
        case _:
            return "at no regular distance"


def on_purpose(placed: Placed | None) -> bool:
    """Whether events are so regular, once a line at one place, that a machine must make them on purpose."""
    return placed is not None and placed.repeats == "each line"


def gap_words(gaps: Events, missing: int, seen_by: SeenBy, placed: Placed | None) -> str:
    """Describe missing cycles."""
    longest = int(gaps.size.max()) if gaps.size.size else 0
    text = f"{plural(missing, 'clock cycle')} missing"
    if gaps.count != missing:
        text += f" in {plural(gaps.count, 'gap')}, the longest of {longest}"
    where = where_words(placed)
    return f"{text}{', ' + where if where else ''}. {_seen_words(seen_by, 'lacks them too: its lines get longer', 'does not lack them: its lines keep their length, so only the analyser’s lead does. Reseat that clip first')}"


def _seen_words(seen_by: SeenBy, chip: str, tap: str) -> str:
    return {
        "chip": f"The chip {chip}.",
        "tap": f"The chip {tap}.",
        "unknown": "Whether the chip sees it the same way cannot be told from its line lengths.",
    }[seen_by]


def extra_words(extra: Events, seen_by: SeenBy, placed: Placed | None) -> str:
    """Describe extra edges."""
    where = where_words(placed)
    text = f"{plural(extra.count, 'extra clock edge')}{', ' + where if where else ''}: ringing, noise, or a bad ground."
    return f"{text} {_seen_words(seen_by, 'counts them as pixels: its lines get shorter', 'does not act on them: its lines keep their length. Look at the lead and its ground first')}"


def rate_name(line: SpectralLine, clock_hz: float, rates: dict[str, float]) -> str:
    """Name the rate that a spectral line is at: ``the line rate``, ``3 x the field rate``, or empty."""
    hz = line.frequency * clock_hz
    near = max(line.resolution * clock_hz, LINE_NAMES * hz)
    for name, rate in rates.items():
        for times in (1, 2, 3, 4):
            if abs(hz - times * rate) <= near:
                return name if times == 1 else f"{times} x {name}"
    for mains in MAINS_HZ:
        if abs(hz - mains) <= max(line.resolution * clock_hz, 0.01 * mains):
            return f"{mains:g} Hz, as of the mains"
    return ""


def stripe_words(name: str) -> str:
    """What a modulation at a rate does to the picture."""
    if "line rate" in name:
        return (
            "It goes with the lines: upright edges shift alike in every line, as standing stripes or bends."
        )
    if "field rate" in name or "mains" in name:
        return "It goes with the fields: upright edges lean or wave slowly. Look at the supply's ripple."
    return "It goes with neither lines nor fields: upright edges crawl. Look for a switching supply or another clock near."


def exact_mhz(hz: Fraction) -> str:
    """Write a frequency in MHz, exact where that is short."""
    return f"{float(hz) / 1e6:.6f} MHz"
