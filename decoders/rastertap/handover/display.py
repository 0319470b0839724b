"""What a display of a fixed rate does with a source of another."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

NEAR = 0.005
"""Rates this near (as a part) look alike but for a field repeated or dropped now and then."""
RATES = {"50 Hz": Fraction(50), "59.94 Hz": Fraction(60_000, 1001), "60 Hz": Fraction(60)}
"""Displays; 60 000/1001 is SMPTE 170M's field rate."""


@dataclass(frozen=True)
class Shown:
    """A source on a display.

    Parameters
    ----------
    display : str
    display_hz, source_hz : float
    what : "repeats", "drops" or "equal"
        What the display does to make up for the difference.
    a_second : float
        Fields repeated or dropped in a second.
    """

    display: str
    display_hz: float
    source_hz: float
    what: Literal["repeats", "drops", "equal"]
    a_second: float

    @property
    def every_s(self) -> float | None:
        """Seconds from one repeated or dropped field to the next; None when the rates are equal."""
        return 1 / self.a_second if self.a_second else None

    @property
    def smooth(self) -> bool:
        """Whether motion looks smooth but for a hitch now and then."""
        return self.a_second < NEAR * self.display_hz

    def text(self) -> str:
        """Say it in one sentence."""
        if self.every_s is None:
            return "shows every field once"
        word = "repeated" if self.what == "repeats" else "dropped"
        if self.smooth:
            return f"shows every field once; one is {word} every {self.every_s:.3g} s unless it locks"
        return f"{self.a_second:.3g} fields a second are {word}: motion jerks"


def on_display(source_hz: float, name: str) -> Shown:
    """Work out what the display ``name`` (a key of `RATES`) does with a field rate."""
    rate = float(RATES[name])
    off = rate - source_hz
    what: Literal["repeats", "drops", "equal"] = "repeats" if off > 0 else "drops" if off < 0 else "equal"
    return Shown(name, rate, source_hz, what, abs(off))
