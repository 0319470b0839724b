"""What the clock's numbers mean at the bench, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rastertap.printable import plural

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
NAMED_WITHIN = 0.003
"""How near (relative) a spectral line must be to a rate to be called it, at least its own resolution."""
LONG_STOP = 64
"""Cycles from which a stop that comes once a field is taken for a wanted one: common practice, no source."""
MAINS_HZ = (50.0, 60.0, 100.0, 120.0)


def offset_words(offset_ppm: float, timebase_ppm: float) -> str:
    """Say how far off a clock is: ``412 ppm fast``."""
    if abs(offset_ppm) <= timebase_ppm:
        own = f"the analyser's own tolerance of {timebase_ppm:g} ppm"
        return f"{offset_ppm:+.1f} ppm, less than {own}: nothing wrong is seen"
    return f"{abs(offset_ppm):.0f} ppm {'fast' if offset_ppm > 0 else 'slow'}"


def subcarrier_words(origin: Origin, timebase_ppm: float) -> str:
    """Say what an offset does to a subcarrier from the same clock; empty when nothing can be said."""
    system = origin.master.subcarrier
    if not system or abs(origin.offset_ppm) <= timebase_ppm:
        return ""
    allowed, source = SUBCARRIER_PPM[system]
    return (
        f"A colour subcarrier divided from it would be as far off: {system} allows {allowed:.1f} ppm"
        f" ({source}), and a set's colour oscillator follows some 100 ppm or less (common practice, no"
        " source), so colour may not lock."
    )


def where_words(placed: Placed | None) -> str:
    """Say how events repeat and where: ``once in each line, at pixel 12``; empty when not known."""
    if placed is None or not placed.at.size:
        return ""
    pixel = f"pixel {placed.usual_pixel}"
    place = f"line {placed.line[0]}, {pixel}" if placed.line[0] >= 0 else pixel
    return {
        "each line": f"once in each line, at {pixel} after the line sync",
        "each field": f"at the same place of each field, first at {place}",
        "every N cycles": f"every {placed.every} cycles, whatever the line",
        "bursts": "in bursts",
        "once": f"at {place}",
    }.get(placed.repeats, "at no regular distance")


def on_purpose(placed: Placed | None, longest: float = 0.0) -> bool:
    """Whether events are so regular that a machine must make them on purpose.

    Once a line at one place; or once a field, if the clock then stops for ``longest`` cycles, as many as no
    lost pulses last.
    """
    if placed is None:
        return False
    return placed.repeats == "each line" or (placed.repeats == "each field" and longest >= LONG_STOP)


def _told(what: str, placed: Placed | None) -> str:
    where = where_words(placed)
    return f"{what}, {where}" if where else what


def _seen_words(seen_by: SeenBy, chip: str, tap: str) -> str:
    return {
        "chip": f"The chip {chip}.",
        "tap": f"The chip {tap}.",
        "unknown": "Whether the chip has it too cannot be told from the length of its lines.",
    }[seen_by]


def gap_words(gaps: Events, missing: int, cycles: int, seen_by: SeenBy, placed: Placed | None) -> str:
    """Describe missing cycles; ``cycles`` are all that were due."""
    longest = int(gaps.size.max()) if gaps.size.size else 0
    text = f"{missing} of {cycles} clock cycles missing"
    if gaps.count != missing:
        text += f" in {plural(gaps.count, 'gap')}, the longest of {longest}"
    chip = "lacks them too, as its lines get longer by them: no clip of yours drops them"
    tap = (
        "does not lack them, as its lines keep their length: only the analyser's lead does. Reseat that clip"
    )
    return f"{_told(text, placed)}. {_seen_words(seen_by, chip, tap)}"


def extra_words(extra: Events, seen_by: SeenBy, placed: Placed | None) -> str:
    """Describe extra edges."""
    text = _told(plural(extra.count, "extra clock edge"), placed)
    chip = "counts them as pixels: its lines get shorter"
    tap = "does not act on them, as its lines keep their length. Look at the lead and its ground first"
    return f"{text}: ringing, noise, or a bad ground. {_seen_words(seen_by, chip, tap)}"


def jump_words(count: int, usual_ns: float, placed: Placed | None) -> str:
    """Describe phase jumps."""
    text = _told(f"The clock's phase jumps {plural(count, 'time')}", placed)
    return f"{text}: usually by {abs(usual_ns):.0f} ns, {'late' if usual_ns > 0 else 'early'}."


def rate_name(line: SpectralLine, clock_hz: float, rates: dict[str, float]) -> str:
    """Name the rate that a spectral line is at: ``the line rate``, ``3 x the field rate``, or empty."""
    hz = line.frequency * clock_hz
    near = max(line.resolution * clock_hz, NAMED_WITHIN * hz)
    found = [
        name if times == 1 else f"{times} x {name}"
        for name, rate in rates.items()
        for times in (1, 2, 3, 4)
        if abs(hz - times * rate) <= near
    ][:1]
    for mains in MAINS_HZ:
        if abs(hz - mains) <= max(line.resolution * clock_hz, 0.01 * mains):
            found.append(f"{mains:g} Hz, as of the mains")
    return " or ".join(found)


def stripe_words(name: str) -> str:
    """Say what a modulation at a rate does to the picture."""
    if "line rate" in name:
        return "It goes with the lines: every line is bent alike, which shows as standing stripes or bends."
    if "field rate" in name or "mains" in name:
        return "It goes with the fields: upright edges lean or wave slowly. Look at the supply's ripple."
    return "It goes with neither lines nor fields: upright edges crawl. Look for a switching supply near it."


def exact_mhz(hz: Fraction) -> str:
    """Write a frequency in MHz."""
    return f"{float(hz) / 1e6:.6f} MHz"
