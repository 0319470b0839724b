"""The wiring faults in a repairer's words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rastertap.checks.taps_loose import loose_words
from rastertap.checks.wiring import role_words
from rastertap.checks.wiring_look import still
from rastertap.printable import and_list, plural, table_name
from rastertap.streams.role_moves import kind_of
from rastertap.streams.role_other import FEW

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rastertap.board.model import Board
    from rastertap.checks.wiring import Explanation
    from rastertap.checks.wiring_look import Look
    from rastertap.checks.wiring_story import Fault, Story
    from rastertap.streams.role_moves import Move

OFF_NOW = (
    "SWITCH OFF AND UNPLUG IT NOW: a connector out of place can put a supply voltage on a signal pin and "
    "destroy the chip or the analyser."
)
PROBE = (
    "Probe the chip's pin itself: if the signal is right there, the tap is at fault, and if not, the chip or "
    "what hangs on that line."
)
MANY = 3
"""Still channels from which it is rather the machine or the connector than single wires."""


def _any_of(channels: Sequence[str]) -> str:
    return " or ".join(map(table_name, channels))


def pin_words(name: str, board: Board) -> str:
    """Name a channel with what is meant for it: ``D3 (colour bit 0, chip pin 30)``."""
    pin = board.pins.get(name)
    if pin is None:
        return f"{table_name(name)} (not used by the board file)"
    chip = f", chip pin {pin.chip_pin}" if pin.chip_pin is not None else ""
    wire = f", {pin.wire} wire" if pin.wire is not None else ""
    return f"{table_name(name)} ({role_words(pin.role, pin.bit)}{chip}{wire})"


def _signal(name: str, board: Board) -> str:
    pin = board.pins.get(name)
    return role_words(pin.role, pin.bit) if pin is not None else "nothing"


def moved_words(fault: Fault, move: Move, board: Board) -> str:
    """Say how the whole connector sits."""
    used = [n for n, p in board.pins.items() if p.role != "other"]
    arrived = [
        f"{_signal(n, board)} is on {table_name(move.target[n])} instead of {table_name(n)}"
        for n in used
        if n in move.target
    ]
    shown = "; ".join(arrived[:3]) + ("; and so on" if len(arrived) > MANY else "")
    if fault.kind == "shifted":
        way = "higher" if fault.amount > 0 else "lower"
        lost = [_signal(n, board) for n in used if n not in move.target]
        gone = f" {', '.join(lost)} no longer reach the analyser." if lost else ""
        places = plural(abs(fault.amount), "position")
        return f"CONNECTOR {places.upper()} OUT, towards {way} channels. {OFF_NOW} {_capital(shown)}.{gone}"
    if fault.kind == "reversed":
        return f"The ribbon or connector is the wrong way round. {OFF_NOW} {_capital(shown)}."
    return f"The two rows of the connector are exchanged. {OFF_NOW} {_capital(shown)}."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def swap_words(ring: Sequence[str], found: Explanation, board: Board) -> str:
    """Say which wires are exchanged, and what each channel carries."""
    parts = []
    for has in ring:
        meant = found.story.carries.get(has)
        if meant in board.pins and meant != has and not still(found.looks.by_channel[has]):
            parts.append(
                f"{table_name(has)} carries the {_signal(meant, board)} meant for {table_name(meant)}"
            )
    names = and_list([table_name(name) for name in ring])
    in_a_ring = " in a ring" if len(ring) > 2 else ""  # noqa: PLR2004 - more than a pair
    return f"{names} are exchanged{in_a_ring}: {and_list(parts) or 'by what the others carry'}."


def mismatch_words(name: str, found: Explanation, board: Board) -> str:
    """Say what a channel carries instead of what it should."""
    pin = found.looks.by_channel[name].pin
    looks_like = pin.kind or role_words(pin.role, None)
    if pin.role == "colour":
        looks_like = "no bit of the known picture"
        if found.looks.solved is None:
            looks_like = "a colour bit"
    why = f" ({pin.why[0]})" if pin.role == "other" and pin.why else ""
    return f"{pin_words(name, board)} looks like {looks_like}{why}"


def stuck_words(names: Sequence[str], word: str, found: Explanation, board: Board) -> str:
    """Say which channels never move, what else it can be, and how to tell."""
    listed = ", ".join(pin_words(n, board) for n in names)
    if len(names) >= MANY:
        return (
            f"{len(names)} channels stay {word}: {listed}. So many at once is rather the connector that is "
            f"off, or a chip without clock, supply or reset, than single wires. {PROBE}"
        )
    text = f"Stays {word}: {listed}. The wire, its clip or a short; or the chip's own output."
    spare = [n for n, one in found.looks.by_channel.items() if still(one) and n not in board.pins]
    if len(names) == 2:  # noqa: PLR2004 - a pair
        text += (
            f" Or {' and '.join(map(table_name, names))} touch each other, and each holds the other {word}."
        )
    elif spare:
        text += f" A bridge to a neighbour that stays {word} looks the same."
    return f"{text} {PROBE}"


def bridge_words(fault: Fault, found: Explanation, board: Board | None) -> str:
    """Say which two channels touch, and by which rule they pull each other."""
    first, second = fault.channels
    solution = found.looks.solved
    mixes = solution.mixes.get(first, ()) if solution is not None else ()
    names = f"{table_name(first)} and {table_name(second)}"
    if board is not None:
        names = f"{pin_words(first, board)} and {pin_words(second, board)}"
    if mixes:
        rules = " or the ".join(dict.fromkeys(m.rule for m in mixes))
        return f"{names} touch: both show the {rules} of the two (wired-{rules.upper()})."
    text = f"{names} carry one and the same signal: they touch, or both are clipped to one pin."
    return f"{text}{_may_be_loose(fault, found, board)}" if board is not None else text


def _may_be_loose(fault: Fault, found: Explanation, board: Board) -> str:
    """Say of two equal channels with few changes that one may only pick up the other."""
    first, second = fault.channels
    count = found.looks.channels[first].ticks.size
    meant = {n: kind_of(board.pins[n].role) for n in fault.channels if n in board.pins}
    odd = [n for n, kind in meant.items() if kind not in found.looks.by_channel[n].roles]
    if count >= FEW or len(odd) != 1:
        return ""
    other = second if odd[0] == first else first
    return (
        f" With {plural(count, 'change')} to go by, it may as well be that {table_name(odd[0])} is loose and"
        f" picks up {table_name(other)}."
    )


def open_words(name: str, found: Explanation, board: Board) -> str:
    """Say what a loose wire shows."""
    return f"{pin_words(name, board)} {loose_words(found.looks.by_channel[name])}"


def crosstalk_words(one: Look) -> str:
    """Say how many pulses, and beside whose edges."""
    what = ", the pixel clock" if one.pin.role == "pixel_clock" else ""
    text = f"{plural(one.runts.size, 'pulse')} on {table_name(one.channel)}{what}"
    if one.source is None:
        return f"{text}, beside no channel's edges in particular"
    return f"{text}, {one.source.share:.0%} of them beside edges of {_any_of(one.source.channels)}"


def fault_words(fault: Fault) -> str:
    """Name a fault shortly."""
    if fault.kind == "shifted":
        return f"connector shifted by {fault.amount:+d}"
    if fault.kind in {"reversed", "rows"}:
        return {"reversed": "connector the wrong way round", "rows": "rows exchanged"}[fault.kind]
    return f"{fault.kind.replace('_', ' ')}: {' and '.join(map(table_name, fault.channels))}"


def story_words(story: Story) -> str:
    """Name all faults of a story shortly."""
    return ", ".join(fault_words(f) for f in story.faults) or "no fault"


def rival_words(found: Explanation, board: Board) -> str:
    """Say which other stories explain as much with as few changes."""
    if not found.rivals or not board.pins:
        return ""
    others = "; or ".join(story_words(s) for s in found.rivals)
    return f" The capture allows this as well: {others}."


def alike_words(found: Explanation, board: Board) -> str:
    """Say which colour bits cannot be told apart, and what to show to tell."""
    bits = board.colour_channels
    if len(bits) < 2:  # noqa: PLR2004 - two bits to be mistaken for each other
        return ""
    solution = found.looks.solved
    if solution is None:
        shown = " The known picture is not on the screen." if found.looks.solution is not None else ""
        return (
            f"{and_list(bits)} are colour bits, but which is which cannot be told without a known picture"
            f" (`rastertap plan` draws one).{shown}"
        )
    still_ones = list(solution.still)
    told = []
    for a, b in solution.alike:
        if a in still_ones and b in still_ones:
            continue
        told.append(f"{bits[a]} and {bits[b]} (show colours {1 << a} and {1 << b})")
    if still_ones:
        listed = ", ".join(f"{bits[k]} (show colour {1 << k})" for k in still_ones)
        told.append(f"what never moves in it: {listed}")
    if not told:
        return "The known picture shows each colour bit on its own channel."
    return f"The known picture does not tell apart {'; '.join(told)}."
