"""Loose wires where no board file says which channels carry something."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rastertap.checks.interface import Finding
from rastertap.checks.make import PRACTICE, not_measured
from rastertap.printable import table_name
from rastertap.streams.role_other import ECHO, FLOATING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rastertap.checks.wiring import Explanation
    from rastertap.checks.wiring_look import Look

ID = "taps.open"
NO_BOARD = "No board file says which channel should carry what; make one with `rastertap board new`."


def loose_without_board(found: Explanation) -> Finding:
    """Give the finding on loose wires: sure of a bit that is on the colour bus; of others, which float."""
    looks = list(found.looks.by_channel.values())
    bits = [one for one in looks if one.loose and one.pin.role == "colour"]
    if bits:
        text = f"Loose or broken wire: {_listed(bits)}, on the colour bus."
        return Finding(ID, "fail", text, len(bits), 0.0, "0", "channels", PRACTICE)
    idle = [one for one in looks if one.loose and one.pin.kind in {FLOATING, ECHO}]
    used = [place for place, one in enumerate(looks) if one.pin.role != "other"]
    between = [one for one in idle if used and used[0] < looks.index(one) < used[-1]]
    if between:
        text = (
            f"{_listed(between)}, between channels in use: a loose or broken wire, if a colour bit or"
            " a sync should be there. A board file would say."
        )
        return Finding(ID, "warn", text, len(between), 0.0, "0", "channels", PRACTICE)
    told = f" {_listed(idle)}: nothing is connected, or a wire is loose." if idle else ""
    return not_measured(ID, f"{NO_BOARD}{told}")


def _listed(looks: Sequence[Look]) -> str:
    return "; ".join(f"{table_name(one.channel)} {loose_words(one)}" for one in looks)


def loose_words(one: Look) -> str:
    """Say what a loose wire shows."""
    if one.source is not None:
        return f"only repeats edges of {' or '.join(map(table_name, one.source.channels))} now and then"
    return "changes at random"
