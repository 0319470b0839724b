"""A small 312-line source written by pyvcd: a third VCD writer, beside the two simulators."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
from vcd import VCDWriter

from .simulate import COLOUR_BITS, Simulated, TrueField

if TYPE_CHECKING:
    from pathlib import Path

# 2.5 MHz: 160 clocks in the 64 us of BT.470 Table 1-1 (references.md 1.2), so that files stay small.
CLOCK_NS = 400
CLOCKS, LINES = 160, 312
HSYNC_CLOCKS, VSYNC_LINES = 12, 3  # 4.8 us (BT.470: 4.7 +- 0.2); three lines as CEA-861 VIC 23
ACTIVE_X, ACTIVE_Y = 34, 40
BITS = 4


def write_with_pyvcd(
    path: Path, *, fields: int = 2, width: int = 96, height: int = 200, seed: int = 1, start_line: int = 200
) -> Simulated:
    """Write ``fields`` whole fields of a random 16-colour picture, from ``start_line`` of a field on.

    Separate negative syncs; a 4-bit vector for the bus; everything changes on the rising edge.
    """
    codes = np.random.default_rng(seed).integers(0, 2**BITS, (height, width)).astype(np.uint32)
    codes[[0, -1], :] = codes[:, [0, -1]] = 2**BITS - 1
    raster = np.zeros((LINES, CLOCKS), np.uint32)
    raster[ACTIVE_Y : ACTIVE_Y + height, ACTIVE_X : ACTIVE_X + width] = codes
    first, last = start_line * CLOCKS, (fields + 1) * LINES * CLOCKS + 20 * CLOCKS
    bus = raster.ravel().tolist()
    with path.open("w") as file, VCDWriter(file, timescale="1 ns", date="", comment="pyvcd") as writer:
        clock = writer.register_var("bench", "pixel_clock", "wire", size=1, init=0)
        hsync = writer.register_var("bench", "hsync", "wire", size=1, init=1)
        vsync = writer.register_var("bench", "vsync", "wire", size=1, init=1)
        colour = writer.register_var("bench", "colour", "reg", size=BITS, init=0)
        for count in range(first, last):
            now = (count - first) * CLOCK_NS
            line, place = divmod(count % (LINES * CLOCKS), CLOCKS)
            writer.change(clock, now, 1)
            if place in (0, HSYNC_CLOCKS):
                writer.change(hsync, now, int(place > 0))
                writer.change(vsync, now, int(line >= VSYNC_LINES))
            writer.change(colour, now, bus[line * CLOCKS + place])
            writer.change(clock, now + CLOCK_NS // 2, 0)
    starts = [
        Fraction((number * LINES * CLOCKS - first) * CLOCK_NS, 10**9) for number in range(1, fields + 1)
    ]
    shown = tuple(TrueField(number, 0, start, codes) for number, start in enumerate(starts))
    return Simulated("pyvcd", path, shown, _truth(width, height))


def _truth(width: int, height: int) -> dict[str, object]:
    pins = ("pixel_clock", "hsync", "vsync")
    return {
        "clock_hz": Fraction(10**9, CLOCK_NS),
        "pixels_per_line": CLOCKS,
        "lines_per_frame": LINES,
        "lines_per_field": Fraction(LINES),
        "interlaced": False,
        "standard": "625/50",
        "sync": "separate",
        "roles": {f"bench.{pin}": (pin, None) for pin in pins}
        | {f"bench.colour[{bit}]": ("colour", bit) for bit in range(BITS)},
        "polarity": {"hsync": "negative", "vsync": "negative"},
        "launch_edge": "rising",
        "bus_delay_s": Fraction(0),
        "bits": BITS,
        "colour_bits": COLOUR_BITS[BITS],
        "blanking_code": 0,
        "active": {
            "x": ACTIVE_X,
            "y": (Fraction(ACTIVE_Y), Fraction(ACTIVE_Y)),
            "first_frame_row": (0, 1),
            "width": width,
            "height": height,
        },
    }
