"""Many rows as one result: counts, faults, spread of measured values, drift over serial numbers.

Everything is summed while the rows pass, so that a million of them need no more memory than one.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rastertap.batch.task import Row

SCHEMA = "rastertap.rollup/1"
RESULTS = ("pass", "look", "fail", "unreadable", "error", "crashed")
MOST_NAMED = 50
"""Captures that did not pass, listed one by one."""
LEAST_FOR_DRIFT = 5
SURE = 3.0
"""Standard errors from none beyond which a drift is called one: common practice, no source."""
_LAST_NUMBER = re.compile(r"(\d{1,15})\D*$")


@dataclass
class Spread:
    """Running statistics of one measured quantity (Welford, Technometrics 4, 1962; from memory)."""

    unit: str = ""
    limits: Counter[str] = field(default_factory=Counter)
    count: int = 0
    mean: float = 0.0
    squares: float = 0.0
    low: float = math.inf
    high: float = -math.inf
    paired: int = 0
    mean_serial: float = 0.0
    mean_paired: float = 0.0
    squares_serial: float = 0.0
    squares_paired: float = 0.0
    products: float = 0.0

    def add(self, value: float, limit: str, serial: int | None) -> None:
        """Take in one capture's value."""
        self.limits[limit] += 1
        self.count += 1
        off = value - self.mean
        self.mean += off / self.count
        self.squares += off * (value - self.mean)
        self.low, self.high = min(self.low, value), max(self.high, value)
        if serial is not None:
            self._pair(float(serial), value)

    def _pair(self, serial: float, value: float) -> None:
        self.paired += 1
        off_serial, off_value = serial - self.mean_serial, value - self.mean_paired
        self.mean_serial += off_serial / self.paired
        self.mean_paired += off_value / self.paired
        self.squares_serial += off_serial * (serial - self.mean_serial)
        self.squares_paired += off_value * (value - self.mean_paired)
        self.products += off_serial * (value - self.mean_paired)

    @property
    def deviation(self) -> float | None:
        """Standard deviation of the sample; None of fewer than two."""
        return math.sqrt(self.squares / (self.count - 1)) if self.count > 1 else None

    @property
    def drift(self) -> tuple[float, float] | None:
        """Slope of least squares over the serial number and its standard error; None when there is none."""
        if self.paired < LEAST_FOR_DRIFT or self.squares_serial <= 0:
            return None
        slope = self.products / self.squares_serial
        rest = max(self.squares_paired - slope * self.products, 0.0)
        return slope, math.sqrt(rest / (self.paired - 2) / self.squares_serial)

    @property
    def drifts(self) -> bool:
        """Whether the slope is surely not zero, and more than rounding."""
        if self.drift is None:
            return False
        slope, error = self.drift
        rounding = 1e-12 * abs(self.mean) / math.sqrt(self.squares_serial)
        return abs(slope) > max(SURE * error, rounding)


@dataclass
class Rollup:
    """All of a batch."""

    results: Counter[str] = field(default_factory=Counter)
    places: Counter[str] = field(default_factory=Counter)
    faults: Counter[str] = field(default_factory=Counter)
    looks: Counter[str] = field(default_factory=Counter)
    unmeasured: Counter[str] = field(default_factory=Counter)
    values: dict[str, Spread] = field(default_factory=dict)
    named: list[Row] = field(default_factory=list)
    without_serial: int = 0

    def add(self, row: Row) -> None:
        """Take in one capture."""
        self.results[row["result"]] += 1
        self.without_serial += not row["serial"]
        if row["place"]:
            self.places[row["place"]] += 1
        if row["result"] != "pass" and len(self.named) < MOST_NAMED:
            self.named.append({k: row[k] for k in ("path", "serial", "result", "place", "text", "page")})
        found = _LAST_NUMBER.search(row["serial"])
        serial = int(found.group(1)) if found else None
        counted = {"fail": self.faults, "warn": self.looks, "not_measured": self.unmeasured}
        for result, counter in counted.items():
            counter.update({f["id"] for f in row["findings"] if f["result"] == result})
        seen = set()
        for finding in row["findings"]:
            if isinstance(finding["measured"], float) and finding["id"] not in seen:
                seen.add(finding["id"])
                spread = self.values.setdefault(finding["id"], Spread(finding["unit"]))
                if spread.unit == finding["unit"]:  # a value in another unit is another quantity
                    spread.add(finding["measured"], finding["limit"], serial)

    @property
    def total(self) -> int:
        """How many captures."""
        return self.results.total()


def roll_up(rows: Iterable[Row]) -> Rollup:
    """Sum rows up."""
    rollup = Rollup()
    for row in rows:
        rollup.add(row)
    return rollup


def document(rollup: Rollup) -> dict[str, Any]:
    """Give the roll-up as plain data."""
    return {
        "schema": SCHEMA,
        "captures": rollup.total,
        "results": {r: rollup.results[r] for r in RESULTS},
        "places": dict(sorted(rollup.places.items())),
        "faults": _by_count(rollup.faults),
        "looks": _by_count(rollup.looks),
        "not_measured": _by_count(rollup.unmeasured),
        "values": {name: _spread(s) for name, s in sorted(rollup.values.items())},
        "without_serial": rollup.without_serial,
        "not_passed": rollup.named,
    }


def _by_count(counter: Counter[str]) -> dict[str, int]:
    return dict(sorted(counter.items(), key=lambda item: (-item[1], item[0])))


def _spread(spread: Spread) -> dict[str, Any]:
    drift = spread.drift
    return {
        "unit": spread.unit,
        "count": spread.count,
        "mean": spread.mean,
        "deviation": spread.deviation,
        "low": spread.low,
        "high": spread.high,
        "limits": sorted(spread.limits),
        "drift_per_serial": drift[0] if drift else None,
        "drift_uncertainty": drift[1] if drift else None,
        "drifts": spread.drifts,
    }
