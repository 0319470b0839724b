"""The way of the signal, stage by stage, with what is known of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from rastertap.checks.verdict import MOVED
from rastertap.printable import sentences
from rastertap.report.text import PLACES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rastertap.checks.interface import Finding
    from rastertap.checks.verdict import Place, Verdict

State = Literal["fault", "look", "sound", "later", "unknown"]
StageKey = Literal["clock", "video_chip", "taps", "connector", "after_the_pins"]

NAMES: dict[StageKey, str] = {
    "clock": "Clock source",
    "video_chip": "Video chip",
    "taps": "Taps",
    "connector": "Connector",
    "after_the_pins": "After the pins",
}
PARTS: dict[StageKey, str] = {
    "clock": "crystal, generator",
    "video_chip": "and what feeds it",
    "taps": "each clip and its wire",
    "connector": "its pins as a row",
    "after_the_pins": "cable, screen",
}
WORDS: dict[State, str] = {
    "fault": "fault here",
    "look": "have a look",
    "sound": "in order",
    "later": "judge later",
    "unknown": "not measured",
}
SEATING = MOVED | {"taps.swapped"}
"""Findings on how the row of pins is plugged, rather than on single wires."""
CHIP = frozenset({"sync", "timing", "picture", "sampling"})
JUDGED_FIRST: dict[Place, frozenset[StageKey]] = {
    "capture": frozenset({"clock", "video_chip", "taps", "connector"}),
    "taps": frozenset({"clock", "video_chip"}),
    "clock": frozenset({"video_chip"}),
}
"""Stages that cannot be held responsible while the place of the verdict is not mended."""


@dataclass(frozen=True)
class Stage:
    """One stage: what belongs to it, its state, the state in words, and a sentence on it."""

    key: StageKey
    name: str
    part: str
    state: State
    word: str
    text: str


def stage_of(finding: str) -> StageKey | None:
    """Say which stage a finding is about; None for the recording itself."""
    group = finding.partition(".")[0]
    if finding in SEATING:
        return "connector"
    if group == "taps":
        return "taps"
    if group == "clock" and finding != "clock.undersampled":
        return "clock"
    return "video_chip" if group in CHIP else None


def signal_way(findings: Sequence[Finding], verdict: Verdict) -> list[Stage]:
    """Give the stages in the order in which the signal passes them."""
    return [_stage(key, [f for f in findings if stage_of(f.id) == key], verdict) for key in NAMES]


def place_words(stages: Sequence[Stage], verdict: Verdict) -> str:
    """Name the place of the verdict, and of the wiring the stage that is at fault: "the connector"."""
    if verdict.place != "taps":
        return PLACES[verdict.place]
    faulty = [f"the {s.name.lower()}" for s in stages if s.state == "fault"]
    return " and ".join(faulty) or PLACES[verdict.place]


def picture_note(verdict: Verdict) -> str:
    """Say what the picture beside the verdict shows, and what it does not."""
    text = "As the signals have it, before any encoder, cable or screen."
    if verdict.place == "taps":
        if MOVED & set(verdict.because):
            return f"{text} Wires are taken for what they carry, so that a wrong place does not show in it."
        return (
            f"{text} A colour bit is taken from the channel that the board file gives it: one that is"
            " exchanged, dead or inverted shows as wrong colours."
        )
    if verdict.place in {"clock", "video_chip"}:
        return (
            f"{text} Each line is put where it belongs: what tears or jumps on a screen looks straight here."
        )
    return text


def _stage(key: StageKey, own: list[Finding], verdict: Verdict) -> Stage:
    state, text = _after(verdict) if key == "after_the_pins" else _judged(own)
    if state in {"fault", "look"} and key in JUDGED_FIRST.get(verdict.place, ()):
        state, text = "later", f"Mend {PLACES[verdict.place]} first. Until then: {text}"
    return Stage(key, NAMES[key], PARTS[key], state, WORDS[state], text)


def _after(verdict: Verdict) -> tuple[State, str]:
    if verdict.place == "after_the_pins":
        return (
            "look",
            "If the screen is wrong, the cause is here: all that was measured before it is in order.",
        )
    return "unknown", "A capture of the pins does not reach beyond them."


def _judged(own: list[Finding]) -> tuple[State, str]:
    measured = [f for f in own if f.result != "not_measured"]
    if not measured:
        return "unknown", own[0].text if own else "No check looked at it."
    for result, state in (("fail", "fault"), ("warn", "look")):
        found = [f for f in measured if f.result == result]
        if found:
            more = f" And {len(found) - 1} more, below." if len(found) > 1 else ""
            return ("fault" if state == "fault" else "look"), sentences(found[0].text) + more
    return "sound", f"{len(measured)} of {len(own)} checks could be measured; all of those are in limits."
