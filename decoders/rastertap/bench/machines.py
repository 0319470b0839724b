"""The demo machine. It is invented: there is no "Marlow 85" home computer and no "MV-2" video chip."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from rastertap.bench.analyser import Wires  # noqa: TC001 - a dataclass's annotation
from rastertap.bench.source import Border, CompositeSync, Rectangle, VideoSource


@dataclass(frozen=True)
class Machine:
    """A machine on the bench.

    Parameters
    ----------
    key, title : str
    source : VideoSource
    wires : tuple of (label, signal)
        How its connector meets the analyser when all is right.
    """

    key: str
    title: str
    source: VideoSource
    wires: Wires


MV2_CLOCK_HZ = Fraction(13_500_000 * 2, 3)
"""9 MHz, so that 50 Hz lines are exactly 64 us and 60 Hz lines exactly 143/2.25 us (BT.470 Table 1)."""

MARLOW_WIRES: Wires = (
    ("D0", "pixel_clock"),
    ("D1", "hsync"),
    ("D2", "vsync"),
    ("D3", "colour0"),  # B
    ("D4", "colour1"),  # G
    ("D5", "colour2"),  # R
    ("D6", "colour3"),  # I
    ("D7", "csync"),
    *((f"D{n}", "low") for n in range(8, 16)),
)
"""Colour bits in the order common for RGBI: blue, green, red, intensity from bit 0 up."""


def _marlow(name: str, pixels_per_line: int, lines: int, active: Rectangle, border: Border) -> VideoSource:
    return VideoSource(
        name=name,
        pixel_clock_hz=MV2_CLOCK_HZ,
        pixels_per_line=pixels_per_line,
        lines_per_field=Fraction(lines),
        active=active,
        border=border,
        colour_bits=4,
        hsync_start=0,
        hsync_width=42,  # 4.667 us; 4.7 +-0.1 in BT.470 Table 1-1
        vsync_width_lines=Fraction(3),
        composite=CompositeSync("xor"),
        delays_ns={"hsync": 15.0, "vsync": 18.0, "csync": 22.0, "cpu_clock": 9.0, "colour3": 14.0},
    )


MARLOW_50 = _marlow("MARLOW 85 MV-2", 576, 312, Rectangle(136, 46, 384, 240), Border(32, 32, 20, 20, code=1))
MARLOW_60 = _marlow("MARLOW 85 MV-2", 572, 263, Rectangle(128, 30, 384, 216), Border(32, 32, 8, 8, code=1))

MACHINES: dict[str, Machine] = {
    machine.key: machine
    for machine in (
        Machine(
            "marlow85-50",
            "Marlow 85 (invented), MV-2 at 50 Hz: 576 x 312, 384 x 240 RGBI",
            MARLOW_50,
            MARLOW_WIRES,
        ),
        Machine(
            "marlow85-60",
            "Marlow 85 (invented), MV-2 at 60 Hz: 572 x 263, 384 x 216 RGBI",
            MARLOW_60,
            MARLOW_WIRES,
        ),
    )
}
"""Machines by key."""
