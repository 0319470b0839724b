"""Numbers with their uncertainty, as people write them."""

from __future__ import annotations

import pytest

from rastertap.report.page.quantity import quantity


@pytest.mark.parametrize(
    ("value", "uncertainty", "unit", "text"),
    [
        (9_000_000.0, 1.5, "Hz", "9.0000000 ± 0.0000030 MHz"),
        (15625.004, 0.0085, "Hz", "15.625004 ± 0.000017 kHz"),
        (4.66666, 0.00019, "us", "4.66666 ± 0.00038 µs"),
        (0.0, 0.6e-9, "s", "0.0 ± 1.2 ns"),
        (1e-12, 0.6e-9, "s", "0.0 ± 1.2 ns"),
        (-12.5, 0.25, "ppm", "\N{MINUS SIGN}12.50 ± 0.50 ppm"),
        (64e-6, None, "s", "64 µs"),
        (733207, None, "edges", "733207 edges"),
        (312.0, 0.0, "lines", "312 lines"),
        ("D3", None, "", "D3"),
        (None, None, "Hz", ""),
    ],
)
def test_a_value_is_rounded_to_what_is_known(
    value: float | str | None, uncertainty: float | None, unit: str, text: str
) -> None:
    assert quantity(value, uncertainty, unit) == text
