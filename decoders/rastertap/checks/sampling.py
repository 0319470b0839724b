"""Whether the bus can be read surely: how long each pixel is quiet, and whether its bits change together."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rastertap.checks.interface import Evidence, Finding
from rastertap.checks.make import PRACTICE, against, interval, not_measured
from rastertap.measured import COVERAGE, Measured, against_limits

if TYPE_CHECKING:
    from rastertap.checks.interface import Result

LATE_PART = 0.25
"""Part of a pixel by which a bit may change before or after the others: common practice, no source."""
FEWEST_BITS = 2


def margin(evidence: Evidence) -> Finding:
    """Judge whether the bus is quiet about where it is read."""
    bus = evidence.colour_bus
    if bus is None:
        return not_measured(
            "sampling.margin", f"No colour bus: {evidence.missing.get('colour_bus', 'not found')}."
        )
    scale = float(evidence.capture.tick) * 1e9
    point = bus.sampling
    tight = min(point.margin_before, point.margin_after, key=lambda m: m.value)
    measured = Measured(tight.value * scale, tight.uncertainty * scale, "ns")
    after = (
        "rising clock edge"
        if evidence.pixel_clock is None or evidence.pixel_clock.source == "tapped"
        else "pixel's start"
    )
    text = (
        f"Read the bus {point.delay * scale:.1f} ns after the {after} (phase {point.phase:.2f}): it is quiet"
        f" for {point.margin_before.value * scale:.1f} ns before"
        f" and {point.margin_after.value * scale:.1f} ns after."
    )
    source = "the bus must not change where it is read"
    settle = "a higher sample rate would"
    return against("sampling.margin", measured, 0.0, float("inf"), text=text, source=source, settle=settle)


def skew(evidence: Evidence) -> Finding:
    """Judge whether all bits of the bus change together; by common practice only, so none fails."""
    bus, clock = evidence.colour_bus, evidence.pixel_clock
    if bus is None or clock is None:
        reason = evidence.missing.get("colour_bus", "not found")
        return not_measured("sampling.skew", f"No colour bus: {reason}.")
    point, scale = bus.sampling, float(evidence.capture.tick) * 1e9
    pixel = clock.period.value / point.pixels_per_cycle
    each = zip(point.bits, point.off_the_middle(), strict=True)
    found = [(bit.channel, off) for bit, off in each if off is not None]
    if len(found) < FEWEST_BITS:
        return not_measured("sampling.skew", "Fewer than two bits of the bus change.")
    limit = LATE_PART * pixel
    name, most = max(found, key=lambda f: abs(f[1].value))
    size = Measured(abs(most.value), most.uncertainty, "ticks")
    compared = against_limits(size, 0.0, limit)
    ns = f"{size.value * scale:.1f} ns"
    if compared == "warn":
        doubt = f"+-{COVERAGE * size.uncertainty * scale:.1f} ns"
        text = f"{name} changes {ns} {doubt} off the middle of the bits: a higher sample rate would tell."
        return not_measured("sampling.skew", text)
    result: Result = "pass" if compared == "pass" else "warn"
    if result == "pass":
        text = f"The bits change together: {name}, the furthest off, is {ns} from the middle of them."
    elif len(found) == FEWEST_BITS:
        text = f"{found[0][0]} and {found[1][0]} change {ns} apart, {size.value / pixel:.2f} of a pixel."
    else:
        way, other = ("later", "earlier") if most.value > 0 else ("earlier", "later")
        text = (
            f"{name} changes {ns} {way} than the middle of the bits, {size.value / pixel:.2f} of a pixel, or"
            f" {(pixel - size.value) * scale:.1f} ns {other}: which, edges alone do not tell. Its colour"
            " fringes every upright edge, and what reads all bits at once may take it from the pixel beside."
        )
    return Finding(
        "sampling.skew",
        result,
        text,
        size.value * scale,
        size.uncertainty * scale,
        interval(-float("inf"), limit * scale, "ns"),
        "ns",
        f"{LATE_PART:g} of a pixel: {PRACTICE}",
    )
