"""Is each tap on the right pin?"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rastertap.capture.model import HIGH
from rastertap.checks.clock import evidence_step
from rastertap.checks.interface import CONTRACT, Evidence, Finding
from rastertap.checks.make import PRACTICE, not_measured, plural
from rastertap.checks.picture import shown_codes
from rastertap.checks.wiring import Story, kind_of, roles_match, stories

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap.board.model import Board
    from rastertap.board.model import Pin as BoardPin
    from rastertap.capture.model import Channel

NO_BOARD = "No board file says which channel should carry what; make one with `rastertap board new`."
SOURCE = "board file"
BY_STORY = {"shifted": "taps.shifted", "reversed": "taps.reversed", "swapped": "taps.swapped"}
RUNT = 0.4
"""A pulse shorter than this many pixel periods is no pixel and no sync."""
BESIDE = 0.9
"""Part of the runts that must stand beside another channel's edges to blame it."""


class TapsCheck:
    """Expected against found roles, and the wiring fault that explains the difference."""

    name: ClassVar[str] = "taps"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = "taps: expected role against found role, wiring faults, stuck and open wires, crosstalk"

    def run(self, evidence: Evidence) -> Iterator[Finding]:
        """Give the findings on the taps, the most dangerous first."""
        yield from _roles(evidence)
        yield _inverted(evidence)
        yield _stuck(evidence, 0)
        yield _stuck(evidence, HIGH)
        yield _bridged(evidence)
        yield _open(evidence)
        yield _crosstalk(evidence)


def _roles(evidence: Evidence) -> Iterator[Finding]:
    board = evidence.board
    if board is None or not board.pins:
        for name in (*BY_STORY.values(), "taps.role_mismatch"):
            yield not_measured(name, NO_BOARD)
        return
    told = stories(board, evidence.pins)
    best = told[0] if told else None
    for kind, finding in BY_STORY.items():
        if best is not None and best.kind == kind:
            yield Finding(finding, "fail", _tell(best, board), best.amount, 0.0, "0", "", SOURCE)
        else:
            yield Finding(finding, "pass", f"The roles found do not look {kind}.", 0, 0.0, "0", "", SOURCE)
    yield _mismatch(evidence, board)


def _role_words(pin: BoardPin) -> str:
    return f"colour bit {pin.bit}" if pin.role == "colour" else pin.role.replace("_", " ")


def _tell(story: Story, board: Board) -> str:
    if story.kind == "shifted":
        way = "higher" if story.amount > 0 else "lower"
        return (
            f"The whole connector sits {plural(abs(story.amount), 'position')} too far, towards {way} channels: every signal "
            f"of the board file is found {abs(story.amount)} further on. A supply pin may be on a signal input: power off now."
        )
    listed = "; ".join(f"{has} carries the {_role_words(board.pins[should])} meant for {should}" for has, should in story.pairs)
    intro = "The connector is the wrong way round" if story.kind == "reversed" else "Wires are swapped"
    return f"{intro}: {listed}."


def _mismatch(evidence: Evidence, board: Board) -> Finding:
    found = {p.channel: kind_of(p.role) for p in evidence.pins}
    roles = {p.channel: p for p in evidence.pins}
    absent = [n for n, pin in board.pins.items() if n not in found and pin.role != "other"]
    expected = {n: kind_of(pin.role) for n, pin in board.pins.items() if n in found}
    wrong = roles_match(expected, found)
    listed = [f"{n} should be {_role_words(board.pins[n])}, behaves like {roles[n].role.replace('_', ' ')}" for n in wrong]
    listed += [f"{n} ({_role_words(board.pins[n])}) is not in the capture" for n in absent]
    count = len(listed)
    if count:
        text = f"{plural(count, 'channel')} not as the board file says: {'; '.join(listed)}."
        return Finding("taps.role_mismatch", "fail", text, count, 0.0, "0", "channels", SOURCE)
    text = f"All {len(expected)} channels carry what the board file says."
    if any(pin.role == "colour" for pin in board.pins.values()):
        text += " Two colour bits that are swapped with each other look alike here: only a known picture shows it."
    return Finding("taps.role_mismatch", "pass", text, 0, 0.0, "0", "channels", SOURCE)


def _inverted(evidence: Evidence) -> Finding:
    board = evidence.board
    if board is None:
        return not_measured("taps.inverted", NO_BOARD)
    stated = {n: pin for n, pin in board.pins.items() if pin.polarity is not None}
    wrong = []
    for pin in evidence.pins:
        expected = stated.get(pin.channel)
        if expected is None or pin.polarity is None or kind_of(pin.role) != kind_of(expected.role):
            continue
        # A display enable that is high and a blank that is low in the picture are one thing.
        same = (pin.polarity == expected.polarity) == (pin.role == expected.role)
        if not same:
            wrong.append(f"{pin.channel} ({_role_words(expected)}) is {pin.polarity}, not {expected.polarity}")
    if not stated:
        return not_measured("taps.inverted", "The board file states no polarity.")
    text = f"Inverted: {'; '.join(wrong)}." if wrong else "Every sync has the polarity the board file states."
    return Finding("taps.inverted", "fail" if wrong else "pass", text, len(wrong), 0.0, "0", "channels", SOURCE)


def _stuck(evidence: Evidence, level: int) -> Finding:
    word = "high" if level == HIGH else "low"
    finding = f"taps.stuck_{word}"
    board = evidence.board
    if board is None:
        return not_measured(finding, NO_BOARD)
    still = {c.name for c in evidence.capture.channels if not c.ticks.size and c.initial == level}
    wrong = [n for n, pin in board.pins.items() if n in still and pin.role != "other"]
    if not wrong:
        return Finding(finding, "pass", f"No channel in use stays {word}.", 0, 0.0, "0", "channels", SOURCE)
    listed = ", ".join(f"{n} ({_role_words(board.pins[n])})" for n in wrong)
    text = f"Always {word}: {listed}."
    if all(board.pins[n].role == "colour" for n in wrong) and _monochrome(evidence, wrong):
        text += " The picture may not use that bit: show one that does."
        return Finding(finding, "warn", text, len(wrong), 0.0, "0", "channels", SOURCE)
    return Finding(finding, "fail", text, len(wrong), 0.0, "0", "channels", SOURCE)


def _monochrome(evidence: Evidence, still: list[str]) -> bool:
    """Whether the picture has too few colours to need the bits that stay still."""
    frames = evidence.frames
    if frames is None or frames.active is None:
        return True
    codes = shown_codes(frames)
    moving = sum(1 for p in evidence.pins if p.role == "colour") - len(still)
    # Every combination of the other bits is shown, so a picture of all colours would have moved this one too.
    return codes.size < 1 << max(moving, 0)


def _bridged(evidence: Evidence) -> Finding:
    used = [p for p in evidence.pins if p.role not in {"other"} and evidence.capture.channel(p.channel).ticks.size]
    twins = []
    for i, one in enumerate(used):
        for other in used[i + 1 :]:
            if np.array_equal(evidence.capture.channel(one.channel).ticks, evidence.capture.channel(other.channel).ticks):
                twins.append((one, other))
    if not twins:
        return Finding("taps.bridged", "pass", "No two channels carry the same signal.", 0, 0.0, "0", "pairs", PRACTICE)
    listed = "; ".join(f"{a.channel} and {b.channel}" for a, b in twins)
    if all(a.role == b.role == "colour" for a, b in twins):
        reason = f"{listed} carry the same signal: bridged, or a picture of greys; show colours to tell."
        return not_measured("taps.bridged", reason)
    return Finding("taps.bridged", "fail", f"Bridged: {listed} carry the same signal.", len(twins), 0.0, "0", "pairs", PRACTICE)


def _open(evidence: Evidence) -> Finding:
    board = evidence.board
    if board is None:
        return not_measured("taps.open", NO_BOARD)
    loose = [
        p.channel
        for p in evidence.pins
        if p.role == "other" and p.score < 1 and p.channel in board.pins and board.pins[p.channel].role != "other"
    ]
    loose = [n for n in loose if evidence.capture.channel(n).ticks.size and not _steady(evidence, n)]
    if not loose:
        return Finding("taps.open", "pass", "No channel in use floats.", 0, 0.0, "0", "channels", SOURCE)
    listed = ", ".join(f"{n} ({_role_words(board.pins[n])})" for n in loose)
    text = f"Activity that fits nothing on {listed}: an open input picks up its neighbours or noise."
    return Finding("taps.open", "fail", text, len(loose), 0.0, "0", "channels", SOURCE)


def _steady(evidence: Evidence, name: str) -> bool:
    return any(p.channel == name and any("steady clock" in w for w in p.why) for p in evidence.pins)


def _runts(channel: Channel, longest: float) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Start times of the pulses, of either level, shorter than ``longest`` ticks."""
    return channel.ticks[:-1][np.diff(channel.ticks) < longest]


def _crosstalk(evidence: Evidence) -> Finding:
    clock = evidence.pixel_clock
    if clock is None:
        return not_measured("taps.crosstalk", "Without a pixel clock no pulse is known to be too short.")
    longest = RUNT * clock.period.value
    if longest < evidence_step(evidence):
        return not_measured("taps.crosstalk", "The sample rate is too low to see pulses shorter than a pixel.")
    victims = [p for p in evidence.pins if p.role in {"hsync", "vsync", "csync", "blank", "display_enable", "colour"}]
    told, count, times = [], 0, []
    for victim in victims:
        runts = _runts(evidence.capture.channel(victim.channel), longest)
        if not runts.size:
            continue
        count += runts.size
        times += runts.tolist()
        told.append(f"{victim.channel} ({plural(runts.size, 'pulse')}{_blame(evidence, victim.channel, runts)})")
    if not count:
        text = "No pulse shorter than a pixel on any sync or colour channel."
        return Finding("taps.crosstalk", "pass", text, 0, 0.0, "0", "pulses", PRACTICE)
    text = f"Pulses too short to be pixels: {'; '.join(told)}."
    return Finding("taps.crosstalk", "fail", text, count, 0.0, "0", "pulses", PRACTICE, evidence.at_s(sorted(times)))


def _blame(evidence: Evidence, victim: str, runts: np.ndarray[tuple[int], np.dtype[np.int64]]) -> str:
    """Name the channel whose edges stand beside the runts, when one does so far more than chance."""
    reach = 3 * evidence_step(evidence)
    span = evidence.capture.end - evidence.capture.start
    best, share = "", 0.0
    for channel in evidence.capture.channels:
        edges = channel.ticks
        if channel.name == victim or not edges.size or edges.size * 2 * reach > 0.3 * span:
            continue
        near = np.clip(np.searchsorted(edges, runts), 1, max(edges.size - 1, 1)) if edges.size > 1 else np.zeros(runts.size, int)
        gap = np.minimum(np.abs(edges[near] - runts), np.abs(edges[near - 1] - runts))
        if float((gap <= reach).mean()) > share:
            best, share = channel.name, float((gap <= reach).mean())
    return f", {share:.0%} beside edges of {best}" if share >= BESIDE else ""
