"""Sums over many rows, against another library's."""

from __future__ import annotations

import json
import random
import statistics
from typing import Any

import pytest
from scipy.stats import linregress

from rastertap.batch.rollup import document, roll_up
from rastertap.batch.rollup_text import rollup_page, rollup_text


def row(
    number: int, value: float | None, result: str = "pass", *, serial: str | None = None
) -> dict[str, Any]:
    finding = {"id": "clock.frequency", "unit": "Hz", "limit": "1 .. 2 Hz", "uncertainty": 0.1, "text": ""}
    return {
        "path": f"/in/<b>{number}.vcd",
        "serial": f"MV-{number:05d}" if serial is None else serial,
        "result": result,
        "place": "clock" if result == "fail" else "after_the_pins",
        "text": "<script>alert(1)</script>",
        "page": "",
        "findings": [finding | {"measured": value, "result": result if result != "look" else "warn"}],
    }


def test_spread_and_drift_are_those_of_statistics_and_scipy() -> None:
    chance = random.Random(7)  # noqa: S311 - a repeatable sample
    values = [9e6 + 0.5 * n + chance.gauss(0, 20) for n in range(500)]
    spread = roll_up(row(n, v) for n, v in enumerate(values)).values["clock.frequency"]
    assert spread.count == 500
    assert spread.mean == pytest.approx(statistics.mean(values), rel=1e-14)
    assert spread.deviation == pytest.approx(statistics.stdev(values), rel=1e-9)
    line = linregress(range(500), values)
    assert spread.drift == pytest.approx((line.slope, line.stderr), rel=1e-9)
    assert spread.drifts


def test_values_that_do_not_drift_are_not_said_to() -> None:
    chance = random.Random(3)  # noqa: S311 - a repeatable sample
    found = []
    for _ in range(200):
        rows = (row(n, chance.gauss(9e6, 20)) for n in range(50))
        found.append(roll_up(rows).values["clock.frequency"].drifts)
    assert sum(found) < 6  # three standard errors: 0.4 % of the cases by chance


@pytest.mark.parametrize("serials", [["7"] * 9, [""] * 9, ["a", "b"] * 4])
def test_no_drift_is_made_up_where_serial_numbers_do_not_tell(serials: list[str]) -> None:
    rows = [row(n, float(n), serial=s) for n, s in enumerate(serials)]
    assert roll_up(rows).values["clock.frequency"].drift is None


def test_counts_come_by_result_place_and_finding() -> None:
    results = ["pass"] * 5 + ["fail"] * 3 + ["look"]
    said = document(roll_up(row(n, 1.0, r) for n, r in enumerate(results)))
    assert said["captures"] == 9
    assert {k: v for k, v in said["results"].items() if v} == {"pass": 5, "look": 1, "fail": 3}
    assert said["faults"] == {"clock.frequency": 3}
    assert said["looks"] == {"clock.frequency": 1}
    assert said["places"] == {"after_the_pins": 6, "clock": 3}
    assert len(said["not_passed"]) == 4
    json.dumps(said, allow_nan=False)


def test_text_and_page_say_the_same_and_names_cannot_act() -> None:
    rollup = roll_up(row(n, 9e6 + n, "fail" if n % 2 else "pass") for n in range(200))
    text, page = rollup_text(rollup), rollup_page(rollup)
    assert "200 captures" in text
    assert "100 of 200 captures passed" in page
    assert "50 more" in text
    assert "50 more" in page
    assert "<script>alert" not in page
    assert "<b>" not in page
    assert "DRIFT OVER SERIAL NUMBERS" in text
    assert "+1000 " in text
