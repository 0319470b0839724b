"""Threshold voltage of the analyser's inputs for each logic family."""

from __future__ import annotations

from dataclasses import dataclass

TABLES = "published logic-level tables (the JEDEC texts were not seen)"


@dataclass(frozen=True)
class Family:
    """One logic family.

    Parameters
    ----------
    key, title : str
    low_max, high_min : float
        Highest input voltage that is surely low, lowest that is surely high, V.
    source : str
    """

    key: str
    title: str
    low_max: float
    high_min: float
    source: str

    @property
    def threshold(self) -> float:
        """Half-way between the two, V."""
        return (self.low_max + self.high_min) / 2


FAMILIES: tuple[Family, ...] = (
    Family(
        "nmos5",
        "5 V NMOS (most chips of old home computers)",
        0.8,
        2.0,
        "data sheet of a 5 V NMOS CRT controller",
    ),
    Family("ttl5", "5 V TTL", 0.8, 2.0, TABLES),
    Family("cmos5", "5 V CMOS", 1.35, 3.5, TABLES),
    Family("lv33", "3.3 V LVTTL, LVCMOS", 0.8, 2.0, TABLES),
)
