"""The trade's master clocks, exact, and which of them a pixel clock can come from by a small ratio.

The subcarriers and the line rates fix most of them. Sources are those of the timing standards ("references"
is the project's table of published figures); a plain round crystal has none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from rastertap.standards.broadcast import SUBCARRIER_NTSC, SUBCARRIER_PAL

if TYPE_CHECKING:
    from rastertap.standards.modes import Trust

NEAR_PPM = 1000.0
"""How far a clock may be from a master clock's ratio to be compared with it; common practice, no source."""
CRYSTAL_PPM = 100.0
"""How far a plain crystal oscillator may be off, all causes together: common practice, no source."""
DIVIDERS = (1, 2, 3, 4, 5, 6, 8, 10, 12, 16)
MULTIPLIERS = (1, 2, 3)
RATIO_COST = 200.0
"""ppm by which a master is put back for each unit of complication of its ratio, to prefer simple ones."""


@dataclass(frozen=True)
class MasterClock:
    """One master clock.

    Parameters
    ----------
    title : str
        What it is in the trade.
    hz : Fraction
        Exact.
    source : str
    trust : Trust
    subcarrier : "PAL", "NTSC" or ""
        The subcarrier that is divided from it.
    """

    title: str
    hz: Fraction
    source: str
    trust: Trust
    subcarrier: str = ""


def _crystal(megahertz: int) -> MasterClock:
    return MasterClock(
        f"{megahertz} MHz crystal",
        Fraction(megahertz * 10**6),
        "a round figure",
        "common practice, no source",
    )


MASTER_CLOCKS: tuple[MasterClock, ...] = (
    MasterClock(
        "4 x PAL subcarrier", 4 * SUBCARRIER_PAL, "4 x 4433618.75 Hz, BT.470-6 Table 2", "derived", "PAL"
    ),
    MasterClock(
        "8 x PAL subcarrier", 8 * SUBCARRIER_PAL, "8 x 4433618.75 Hz, BT.470-6 Table 2", "derived", "PAL"
    ),
    MasterClock(
        "4 x NTSC subcarrier",
        4 * SUBCARRIER_NTSC,
        "315/22 MHz, SMPTE 170M 11.1 and 244M 4.1",
        "derived",
        "NTSC",
    ),
    MasterClock("8 x NTSC subcarrier", 8 * SUBCARRIER_NTSC, "315/11 MHz, SMPTE 170M 11.1", "derived", "NTSC"),
    MasterClock(
        "13.5 MHz of component video", Fraction(13_500_000), "BT.601-5 (27 MHz is its double)", "seen"
    ),
    MasterClock(
        "25.175 MHz of 640x480", Fraction(25_175_000), "VESA DMT, as in the kernel's mode tables", "seen-2nd"
    ),
    *(_crystal(m) for m in (10, 12, 14, 15, 16, 20, 24, 25, 28, 32)),
)
"""Round crystals come last: a figure of the trade that fits as well is preferred."""


@dataclass(frozen=True)
class Origin:
    """A master clock that a measured clock can come from.

    Parameters
    ----------
    master : MasterClock
    ratio : Fraction
        Clock over master.
    offset_ppm : float
        Measured clock against ``ratio x master``.
    """

    master: MasterClock
    ratio: Fraction
    offset_ppm: float

    @property
    def hz(self) -> Fraction:
        """What the clock should be, exact."""
        return self.master.hz * self.ratio

    @property
    def text(self) -> str:
        """E.g. ``4 x PAL subcarrier / 2``."""
        over = f" x {self.ratio.numerator}" if self.ratio.numerator > 1 else ""
        under = f" / {self.ratio.denominator}" if self.ratio.denominator > 1 else ""
        return f"{self.master.title}{over}{under}"


def origins(hz: float) -> list[Origin]:
    """Find the master clocks and ratios within `NEAR_PPM` of a clock, the likeliest first.

    A small ratio and a small offset make one likely; with an analyser's own clock some 50 ppm off, offsets
    below that say nothing.
    """
    ratios = {Fraction(m, d) for m in MULTIPLIERS for d in DIVIDERS}
    near = [
        Origin(master, ratio, offset)
        for master in MASTER_CLOCKS
        for ratio in ratios
        if abs(offset := (hz / float(master.hz * ratio) - 1) * 1e6) <= NEAR_PPM
    ]
    by_hz: dict[Fraction, Origin] = {}
    for origin in sorted(near, key=_cost):
        by_hz.setdefault(origin.hz, origin)
    return list(by_hz.values())


def _cost(origin: Origin) -> float:
    complication = math.log2(origin.ratio.numerator * origin.ratio.denominator)
    return max(abs(origin.offset_ppm), CRYSTAL_PPM) + RATIO_COST * complication
