"""Whether each tap is on the right pin."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from rastertap.checks.interface import CONTRACT, Evidence, Finding
from rastertap.checks.make import PRACTICE, not_measured, undecidable
from rastertap.checks.taps_loose import NO_BOARD, loose_without_board
from rastertap.checks.wiring import Explanation, explain
from rastertap.checks.wiring_words import (
    alike_words,
    bridge_words,
    crosstalk_words,
    mismatch_words,
    moved_words,
    open_words,
    pin_words,
    rival_words,
    stuck_words,
    swap_words,
)
from rastertap.printable import plural, table_name

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rastertap.board.model import Board
    from rastertap.checks.wiring_story import Fault
    from rastertap.checks.wiring_twins import Twins

SOURCE = "board file"
NEED_BOARD = (
    "taps.shifted",
    "taps.reversed",
    "taps.swapped",
    "taps.role_mismatch",
    "taps.inverted",
    "taps.stuck_low",
    "taps.stuck_high",
)
CERTAIN_RUNTS = 3
"""Short pulses from which it is crosstalk even when no channel is found to blame."""


class TapsCheck:
    """Expected against found signals, and the wiring faults that explain the difference."""

    name: ClassVar[str] = "taps"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = "taps: expected against found signals, and the wiring faults between them"

    def run(self, evidence: Evidence) -> Iterator[Finding]:
        """Give the findings on the taps, the most dangerous first."""
        found = explain(evidence)
        board = evidence.board
        if board is None or not board.pins:
            yield from (not_measured(name, NO_BOARD) for name in NEED_BOARD)
            yield loose_without_board(found)
        else:
            yield from _of_the_connector(found, board)
            yield _mismatch(found, board)
            yield _inverted(found, board, evidence)
            yield _stuck(found, board, evidence, "low")
            yield _stuck(found, board, evidence, "high")
            yield _open(found, board)
        yield _bridged(found, board)
        yield _crosstalk(found, evidence)


def _finding(
    name: str, faults: Sequence[object], text: str, *, unit: str = "", source: str = SOURCE
) -> Finding:
    """Fail when there are faults, else pass."""
    count = len(faults)
    return Finding(name, "fail" if count else "pass", text, count, 0.0, "0", unit, source)


def _of_the_connector(found: Explanation, board: Board) -> Iterator[Finding]:
    story = found.story
    doubt = rival_words(found, board)
    for kind in ("shifted", "reversed"):
        faults = story.of(kind)
        text = f"The signals found do not look {kind}."
        if faults:
            text = f"{moved_words(faults[0], story.move, board)}{doubt}"
        amount = [faults[0]] * max(abs(faults[0].amount), 1) if faults else []
        yield _finding(f"taps.{kind}", amount, text, unit="positions" if kind == "shifted" else "")
    rows, swaps = story.of("rows"), story.of("swapped")
    told = [moved_words(f, story.move, board) for f in rows]
    told += [swap_words(ring, found, board) for ring in story.rings]
    text = " ".join(told) + (doubt if told else "No wires look exchanged.")
    yield _finding("taps.swapped", (*rows, *swaps), text)


def _mismatch(found: Explanation, board: Board) -> Finding:
    story = found.story
    odd = story.of("mismatch")
    absent = [n for n, p in board.pins.items() if n not in found.looks.by_channel and p.role != "other"]
    told = [mismatch_words(f.channels[0], found, board) for f in odd]
    told += [f"{pin_words(n, board)} is not in the capture" for n in absent]
    if told:
        text = f"{plural(len(told), 'channel')} not as the board file says: {'; '.join(told)}."
        return _finding("taps.role_mismatch", told, text, unit="channels")
    moved = story.of("shifted", "reversed", "rows", "swapped", "stuck_low", "stuck_high", "open", "bridged")
    if moved:
        text = "Nothing is left unexplained by the wiring faults named in the other findings."
        return _finding("taps.role_mismatch", (), text, unit="channels")
    text = f"Every channel carries what the board file says. {alike_words(found, board)}".strip()
    return _finding("taps.role_mismatch", (), text, unit="channels")


def _inverted(found: Explanation, board: Board, evidence: Evidence) -> Finding:
    faults = found.story.of("inverted")
    if faults:
        listed = "; ".join(_turned_words(f, found, board) for f in faults)
        text = f"Inverted: {listed}."
        return _finding("taps.inverted", faults, text, unit="channels")
    odd = _high_in_blanking(found, board, evidence)
    if odd:
        reason = (
            f"{odd} high while the screen is blank, the other colour bits low: inverted, or the colour that "
            "the chip blanks with. A known picture in the board file tells."
        )
        return not_measured("taps.inverted", reason)
    stated = [n for n, p in board.pins.items() if p.polarity is not None]
    if not stated and found.looks.solved is None:
        reason = "The board file states no polarity and no known picture."
        return not_measured("taps.inverted", reason)
    text = "No signal is inverted, as far as the board file says how it should be."
    if board.colour_channels and found.looks.solved is None:
        text += " Of the colour bits nothing can be told without a known picture on the screen."
    if board.channel_of("pixel_clock") is not None:
        text += " Of the pixel clock behaviour cannot tell: compare with a capture from a good board."
    return _finding("taps.inverted", (), text, unit="channels")


def _turned_words(fault: Fault, found: Explanation, board: Board) -> str:
    name = fault.channels[0]
    pin = found.looks.by_channel[name].pin
    if pin.polarity is None:
        return f"{pin_words(name, board)} shows the opposite of what it should"
    return f"{pin_words(name, board)} is {pin.polarity}"


def _high_in_blanking(found: Explanation, board: Board, evidence: Evidence) -> str:
    """Name the colour bits that are high in line sync while most are low, when no known picture tells why."""
    frames, bus = evidence.frames, evidence.colour_bus
    if frames is None or bus is None or found.looks.solved is not None:
        return ""
    high = [b.name for n, b in enumerate(bus.bits) if frames.blank_code >> n & 1 and b.ticks.size]
    if not high or 2 * len(high) > len(bus.bits):
        return ""
    return f"{', '.join(pin_words(n, board) for n in high)} {'is' if len(high) == 1 else 'are'}"


def _stuck(found: Explanation, board: Board, evidence: Evidence, word: str) -> Finding:
    finding = f"taps.stuck_{word}"
    faults = found.story.of(f"stuck_{word}")  # type: ignore[arg-type]
    if not faults:
        return _finding(finding, (), f"No channel in use stays {word}.", unit="channels")
    names = [f.channels[0] for f in faults]
    text = stuck_words(names, word, found, board)
    colours = all(board.pins[n].role == "colour" for n in names if n in board.pins)
    sure = _against_blanking(names, word, board) or _all_combinations(evidence, len(names))
    if colours and found.looks.solved is None and not sure:
        text = f"{text} Or the picture does not use it: show one that does, or state a known picture."
        return undecidable(finding, text, len(names), "channels")
    return _finding(finding, faults, text, unit="channels")


def _against_blanking(names: Sequence[str], word: str, board: Board) -> bool:
    """Whether each of some still colour bits has another level than the board file states for blanking."""
    code = board.picture.blanking if board.picture is not None else None
    level = int(word == "high")
    bits = [board.pins[n].bit if n in board.pins else None for n in names]
    return code is not None and all(bit is not None and code >> bit & 1 != level for bit in bits)


def _all_combinations(evidence: Evidence, still: int) -> bool:
    """Whether all combinations of the moving bits are shown: that would have moved the others too."""
    frames = evidence.frames
    if frames is None or frames.active is None:
        return False
    moving = sum(1 for p in evidence.pins if p.role == "colour") - still
    return bool(frames.shown.size >= 1 << max(moving, 1))


def _open(found: Explanation, board: Board) -> Finding:
    faults = found.story.of("open")
    if not faults:
        return _finding("taps.open", (), "No channel in use floats.", unit="channels")
    listed = "; ".join(open_words(f.channels[0], found, board) for f in faults)
    text = f"Loose or broken wire: {listed}."
    return _finding("taps.open", faults, text, unit="channels")


def _bridged(found: Explanation, board: Board | None) -> Finding:
    faults, twins = found.story.of("bridged"), _unsure_twins(found, board)
    unsure = _twin_words(twins)
    if not faults and twins:
        return undecidable("taps.bridged", unsure, len(twins), "pairs")
    if not faults:
        return _finding(
            "taps.bridged", (), "No two channels carry the same signal.", unit="pairs", source=PRACTICE
        )
    told = [bridge_words(f, found, board) for f in faults]
    text = " ".join((*told, unsure)).strip()
    known = board is not None and any(_in_use(f, board) for f in faults)
    result = "fail" if known else "warn"
    return Finding("taps.bridged", result, text, len(faults), 0.0, "0", "pairs", PRACTICE)  # type: ignore[arg-type]


def _unsure_twins(found: Explanation, board: Board | None) -> list[Twins]:
    """Find colour bits that are the same all through, when no known picture tells whether they should be."""
    if found.looks.solved is not None:
        return []
    told = {f.channels for f in found.story.of("bridged")}
    twins = [t for t in found.looks.twins if _both_colour(t.first, t.second, found, board)]
    return [t for t in twins if (t.first, t.second) not in told]


def _twin_words(twins: Sequence[Twins]) -> str:
    if not twins:
        return ""
    listed = "; ".join(f"{table_name(t.first)} and {table_name(t.second)}" for t in twins)
    return f"{listed} carry the same signal: bridged, or a picture that uses them together only."


def _both_colour(first: str, second: str, found: Explanation, board: Board | None) -> bool:
    """Whether both are meant to be colour bits; without a board file, behave so."""
    if board is None:
        return all(found.looks.by_channel[n].pin.role == "colour" for n in (first, second))
    return all(n in board.pins and board.pins[n].role == "colour" for n in (first, second))


def _in_use(fault: Fault, board: Board) -> bool:
    """Whether the board file has both: a spare one may have been clipped beside another on purpose."""
    return all(n in board.pins for n in fault.channels)


def _crosstalk(found: Explanation, evidence: Evidence) -> Finding:
    faults = found.story.of("crosstalk")
    if not faults and evidence.pixel_clock is None:
        return not_measured("taps.crosstalk", "Without a pixel clock no pulse is known to be too short.")
    if not faults and not found.looks.shortest:
        return not_measured(
            "taps.crosstalk", "The sample rate is too low to see pulses shorter than a pixel."
        )
    if not faults:
        text = "No pulse shorter than a pixel on any sync or colour channel."
        return _finding("taps.crosstalk", (), text, unit="pulses", source=PRACTICE)
    looks = [found.looks.by_channel[f.channels[0]] for f in faults]
    times = sorted(t for one in looks for t in one.runts.tolist())
    text = f"Pulses too short for what they are on: {'; '.join(crosstalk_words(one) for one in looks)}."
    blamed = any(one.source is not None for one in looks)
    result = "fail" if blamed or len(times) >= CERTAIN_RUNTS else "warn"
    return Finding(
        "taps.crosstalk",
        result,  # type: ignore[arg-type]
        text,
        len(times),
        0.0,
        "0",
        "pulses",
        PRACTICE,
        evidence.at_s(times),
    )
