"""The lines of component video in bytes with embedded timing codes (BT.656), 27 million words a second."""

from __future__ import annotations

from dataclasses import dataclass

ACTIVE_WORDS = 1440
"""Words from SAV to EAV: 720 pixels, each with luma, every second one with the two chroma words."""
WORDS_A_PIXEL = 2
SOURCE = "BT.656: TI SPRU629 p 155, Table 4-2, seen-2nd"


@dataclass(frozen=True)
class EmbeddedLines:
    """One of the two systems.

    Parameters
    ----------
    lines : int
        In a frame.
    words : int
        From one EAV to the next.
    active : tuple of (int, int)
        Lines of the two fields in which V is 0; where sources disagree, each way.
    """

    lines: int
    words: int
    active: tuple[tuple[int, int], ...]


SYSTEMS = (
    EmbeddedLines(625, 1728, ((288, 288),)),
    # V is 1 in lines 1-19 and 264-282, or in 1-9 and 264-272: both are accepted.
    EmbeddedLines(525, 1716, ((244, 243), (254, 253))),
)
