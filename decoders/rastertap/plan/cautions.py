"""Cautions and the order of connecting, each with where it comes from."""

from __future__ import annotations

from dataclasses import dataclass

FAQ = "published television repair safety notes"
PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Caution:
    """One thing that can hurt a person or a part, and its source."""

    text: str
    source: str


CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "Count the pins twice before power goes on: a connector one position out can put a supply voltage"
        " on a signal pin and destroy the chip or the analyser.",
        PRACTICE,
    ),
    Caution(
        "Mains: supplies and monitors may have no isolation from the mains. Clip nothing to a live "
        "chassis: the analyser's ground is usually the mains earth, through the computer it hangs on. "
        "Work on such a set only behind an isolation transformer, or leave it to a qualified person.",
        FAQ,
    ),
    Caution(
        "CRT: the anode carries some 15 to 40 kV and may keep it for an hour or more after switching off;"
        " the neck can implode. Keep out of the monitor.",
        FAQ,
    ),
    Caution(
        "Supply capacitors keep their charge after unplugging. Instruments must be safe 5 s after it (IEC"
        " 61010-1, 6.10.3, as quoted); an old supply need not be: measure before you touch.",
        "IEC 61010-1, second hand",
    ),
    Caution(
        "5 V into 3.3 V: an input that is not stated to be 5 V tolerant is destroyed by it. Use a divider"
        " or a level shifter.",
        "data sheets of 3.3 V parts with 5 V tolerant buffers",
    ),
    Caution(
        "ESD: wear a wrist strap, below 35 Mohm to ground (ANSI/ESD S20.20, as quoted), and touch the "
        "ground of the board first.",
        "ANSI/ESD S20.20, second hand",
    ),
    Caution(
        "No bare part above 42 V peak may be within reach of the work.", "published instrument safety notes"
    ),
)
ORDER: tuple[str, ...] = (
    "Machine off and unplugged, analyser unplugged from its computer. Wait; check that the supply is empty.",
    "Wrist strap on.",
    "Ground first: the analyser's ground to the video chip's ground pin, by a short lead; a second helps.",
    "Pixel clock, then sync, then the colour bits, by the list, pin by pin; spare inputs to nothing.",
    "Count again from pin 1: chip pin, wire, analyser channel. No clip may touch its neighbour.",
    "Analyser on, threshold set; all channels must be quiet.",
    "Machine on. If anything smells, gets warm or shows no picture, off at once.",
    "Show the test screen, record, then run `rastertap pins` first: only when it is content, go on.",
    "To disconnect: machine off and unplugged first, ground last.",
)
