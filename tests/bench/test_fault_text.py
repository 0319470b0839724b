"""Faults are written and read as text."""

from __future__ import annotations

from dataclasses import MISSING, fields

import pytest

from rastertap.bench.faults import FAULTS, Fault, parse_fault
from rastertap.bench.faults.clock import MissingCycles
from rastertap.bench.faults.wiring import Swap
from rastertap.errors import UsageError


def test_parameters_go_by_place_or_by_name() -> None:
    assert parse_fault("swap:D3,D4") == parse_fault("swap: second=D4, first=D3") == Swap("D3", "D4")
    assert parse_fault("clock-missing:every=997") == MissingCycles(every=997)


@pytest.mark.parametrize("kind", FAULTS.values(), ids=FAULTS)
def test_every_fault_reads_back_what_it_writes(kind: type[Fault]) -> None:
    values = {"str": "D1", "int": 3, "float": 2.5}
    fault = kind(**{f.name: values[str(f.type)] for f in fields(kind) if f.default is MISSING})
    assert parse_fault(fault.text()) == fault
    assert kind.usage().startswith(kind.name)
    assert kind.__doc__


@pytest.mark.parametrize(
    ("text", "message", "hint"),
    [
        ("swp:D1,D2", "no such fault", "did you mean 'swap'"),
        ("???", "no such fault", "there are: swap"),
        ("swap:D1", "second is not given", "swap:FIRST,SECOND"),
        ("swap:D1,D2,D3", "one parameter too many", "swap:FIRST,SECOND"),
        ("swap:D1,first=D2", "is given twice", "swap:FIRST,SECOND"),
        ("shift:one", "not a whole number", "shift:BY"),
        ("clock-frequency:fast", "not a number", "clock-frequency:PPM"),
        ("clock-missing:seen_by=me", "seen_by is 'me'", "generator, tap"),
        ("shift:sideways=1", "not known", "shift:BY"),
    ],
)
def test_a_fault_written_wrongly_is_explained(text: str, message: str, hint: str) -> None:
    with pytest.raises(UsageError) as error:
        parse_fault(text)
    assert message in error.value.message
    assert hint in error.value.hint
