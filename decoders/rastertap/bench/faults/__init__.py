"""Faults that the bench can inject, and their text form.

``parse_fault("swap:D3,D4")`` gives ``Swap("D3", "D4")``: after the colon come the parameters, in order or as
``name=value``. None of this shares code with the checks that are to find the faults.
"""

from __future__ import annotations

import difflib
from dataclasses import MISSING, fields
from typing import Any, get_args, get_type_hints

from rastertap.bench.faults import chip, clock, wiring
from rastertap.bench.faults.base import ChipFault, ClockFault, Fault, WiringFault
from rastertap.errors import UsageError

__all__ = ["FAULTS", "ChipFault", "ClockFault", "Fault", "WiringFault", "parse_fault"]

FAULTS: dict[str, type[Fault]] = {
    kind.name: kind
    for kind in (
        wiring.Swap,
        wiring.Shift,
        wiring.Reverse,
        wiring.WrongPin,
        wiring.Invert,
        wiring.StuckLow,
        wiring.StuckHigh,
        wiring.Bridge,
        wiring.Open,
        wiring.Crosstalk,
        clock.WrongFrequency,
        clock.Jitter,
        clock.Modulation,
        clock.Drift,
        clock.WrongDuty,
        clock.MissingCycles,
        clock.ExtraEdges,
        clock.StretchedCycles,
        clock.Stopped,
        chip.MissingVsync,
        chip.LostLine,
        chip.ShortLine,
        chip.HsyncGlitch,
        chip.StuckBit,
        chip.NoisyBit,
    )
}
"""Every fault by its name, in the order of the help."""


def _value(kind: type[Fault], parameter: str, text: str) -> Any:
    hint = get_type_hints(kind)[parameter]
    choices = get_args(hint)
    if choices and text not in choices:
        raise UsageError(
            f"fault '{kind.name}': {parameter} is {text!r}", hint=f"choose one of {', '.join(choices)}"
        )
    try:
        return text if choices else hint(text)
    except ValueError as error:
        wanted = "a whole number" if hint is int else "a number"
        raise UsageError(
            f"fault '{kind.name}': {parameter} is {text!r}, not {wanted}", hint=f"write it as {kind.usage()}"
        ) from error


def parse_fault(text: str) -> Fault:
    """Read a fault from its text form, e.g. ``clock-missing:every=997``.

    Raises
    ------
    UsageError
        For an unknown name (with the nearest one), too many or unknown parameters, or a wrong value.
    """
    name, _, rest = text.strip().partition(":")
    kind = FAULTS.get(name)
    if kind is None:
        near = difflib.get_close_matches(name, FAULTS, 1)
        hint = f"did you mean '{near[0]}'?" if near else f"there are: {', '.join(FAULTS)}"
        raise UsageError(f"no such fault: {name!r}", hint=hint)
    names = [f.name for f in fields(kind)]
    given: dict[str, Any] = {}
    for position, item in enumerate(part.strip() for part in rest.split(",") if part.strip()):
        key, equals, value = item.partition("=")
        if not equals:
            key, value = (names[position] if position < len(names) else item), item
        if key not in names or key in given:
            why = "is given twice" if key in given else "is one parameter too many or not known"
            raise UsageError(f"fault '{name}': {item!r} {why}", hint=f"write it as {kind.usage()}")
        given[key] = _value(kind, key, value)
    missing = [f.name for f in fields(kind) if f.default is MISSING and f.name not in given]
    if missing:
        raise UsageError(f"fault '{name}': {missing[0]} is not given", hint=f"write it as {kind.usage()}")
    return kind(**given)
