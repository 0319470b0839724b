"""What changed is said when it exceeds its uncertainty, and only then."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from rastertap.compare import Row
from rastertap.watch.changes import changes, told

if TYPE_CHECKING:
    from collections.abc import Callable


ROWS = {
    "period jitter 4.124 → 0.602 ns rms": Row("clock", "period jitter", 4.1237, 0.6021, "ns rms", 0.04, True),
    "lines a field 311 → 312 lines": Row("timing", "lines a field", 311.0, 312.0, "lines", None, True),
    "clock.jitter: fault → in limits": Row("findings", "clock.jitter", "fail", "pass", text="Is told."),
    "wiring: D1 and D2 swapped": Row("taps", "wiring", "as it is", "D1 and D2 swapped"),
    "wrong 0 → 12 pixels (of 92160)": Row("picture", "wrong", 0, 12, "pixels", text="of 92160"),
    "duty not measured → 50 %": Row("clock", "duty", None, 50.0, "%"),
}


@pytest.mark.parametrize(("text", "row"), ROWS.items())
def test_a_change_is_short(text: str, row: Row) -> None:
    assert told(row) == text


def test_the_same_machine_recorded_again_has_not_changed(checked: Callable[..., Any]) -> None:
    one = checked("marlow85-50").analysis
    assert changes(one, one) == []


def test_a_repair_is_told(checked: Callable[..., Any]) -> None:
    found = changes(checked("marlow85-50-clock-drops").analysis, checked("marlow85-50").analysis)
    assert "clock.missing_cycles: fault → in limits" in found
    assert any(c.startswith("missing cycles 2") and c.endswith("→ 0 a second") for c in found)
    assert not [c for c in found if c.startswith(("lines a field", "wiring"))]
