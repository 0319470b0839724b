"""The place that the evidence points to, and what to do next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from rastertap.checks.wiring import explain
from rastertap.printable import sentences, table_name

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rastertap.checks.interface import Evidence, Finding

Place = Literal["taps", "clock", "video_chip", "after_the_pins", "capture", "undecided"]

CAUTIONS = (
    (
        "Power off, unplug, and let the supply discharge before you move a clip, a chip or a connector; "
        "mains and CRT voltages inside computers and monitors can kill, and a CRT keeps its charge after it "
        "is unplugged. Leave them to qualified people, and follow your local codes."
    ),
    "Ground first: connect the analyser's ground before any signal, and never to a chassis that is live.",
    "A 5 V pin destroys a 3.3 V input that is not marked 5 V tolerant; check before you connect.",
    "Count the pins twice: a connector one position out can put the supply on a signal pin.",
    "Wear a grounded wrist strap: the chip is sensitive to static.",
)
SINGLE_CAUSES: dict[str, str] = {
    "taps.shifted": (
        "Switch the machine off and unplug it now. Then find the end that sits out of place, at the chip or"
        " at the analyser, and seat it on the right pins. Look for damage (hot, browned or cracked parts)"
        " before you power up again."
    ),
    "taps.reversed": (
        "Switch the machine off and unplug it now. Then find the end that sits the wrong way round, at the"
        " chip or at the analyser, and turn it. Look for damage (hot, browned or cracked parts) before you"
        " power up again."
    ),
    "taps.swapped": "Swap those wires back.",
    "taps.inverted": "Check for an inverting buffer on that wire, or correct the polarity in the board file.",
    "taps.stuck_low": (
        "Check that wire for a short to ground, a bad clip or a bad solder joint; then the chip's pin itself."
    ),
    "taps.stuck_high": (
        "Check that wire for a short to the supply, a bad clip or a bad solder joint; then the chip's"
        " pin itself."
    ),
    "taps.bridged": "Look for a solder bridge or touching clips between those two.",
    "taps.open": "That wire is loose or broken: reseat it and record again.",
    "taps.crosstalk": (
        "Give that wire its own ground return, shorten it, and keep it away from its neighbours, the clock's"
        " wire first."
    ),
    "taps.role_mismatch": "Trace each wire named above to its pin; correct the wiring or the board file.",
    "clock.present": (
        "Check the clock generator: its supply, its output, the crystal; then the wire to the video chip."
    ),
    "clock.missing_cycles": (
        "Mend the clock generator before anything else: look at its supply and decoupling, its solder joints"
        " and its crystal, with an oscilloscope at its output; replace it if those are in order."
    ),
    "clock.extra_edges": (
        "Look at the clock with an oscilloscope at the chip's pin: ringing or noise; check its series"
        " resistor and ground."
    ),
    "clock.frequency": "Check the crystal or the programmed frequency of the clock generator.",
    "clock.jitter": "Check the clock generator's supply and ground; replace it if they are clean.",
    "clock.duty": "Check the clock generator's output stage and its load.",
    "clock.phase_jump": (
        "Look at the clock with an oscilloscope at the chip's pin, triggered on a cycle that is too long or"
        " too short: a clock generator that skips, or whatever switches or stops the clock."
    ),
    "clock.modulation": (
        "Look for ripple at that rate on the clock generator's supply and ground, and for the wire that"
        " brings it in; renew its decoupling before you replace the generator."
    ),
    "clock.drift": (
        "Let the machine warm up and record again; if it still drifts, replace the clock generator."
    ),
    "picture.blank": (
        "Check the video memory and the chip's enable and reset; nothing after the pins can show a "
        "picture that is not there."
    ),
    "picture.unstable_pixels": (
        "Check the sampling margin and the tap of the bits that flicker; then the video memory."
    ),
}
CHIP_NEXT = (
    "Reseat the video chip if it sits in a socket; then measure its supply, ground and reset pins.",
    "Then look at what it is fed: data and address lines, memory, mode pins.",
    (
        "If all are in order, try another video chip. The clock generator and what comes after the pins need"
        " no swapping."
    ),
    "Record again and compare the two results.",
)
HIDDEN = frozenset({"taps.stuck_low", "taps.stuck_high", "taps.bridged"})
"""Faults of colour bits that look like a picture which does not use them."""
HIDDEN_NEXT = (
    "Show a picture that uses every colour (`rastertap plan` has a test screen to type in) and record again.",
    (
        "If the screen should have such colours now, probe the chip's pin: if the signal is right there, the"
        " tap is at fault; if not, the chip or what hangs on that line."
    ),
)
OTHER_NEXT = (
    "Bring the known picture of the board file on the screen, and record again.",
    "If it should be there now: look at the video memory and what writes to it, then at the video chip.",
    "If another picture is right: correct or leave out `[picture]` in the board file.",
)
MOVED = frozenset({"taps.shifted", "taps.reversed"})
"""Findings on how the whole connector sits."""
FOLLOWS = {"timing.line_jitter": -1, "picture.unstable_pixels": 1, "picture.known_picture": 2}
"""What may follow from the chip's other faults comes after them: a picture that differs from the known one,
from what is wrong with its lines or bits. A line sync that jitters makes bits seem to flip."""
OF_WIRES = {
    "taps.swapped": "exchanged",
    "taps.inverted": "inverted",
    "taps.stuck_low": "low all the time",
    "taps.stuck_high": "high all the time",
    "taps.bridged": "bridged",
    "taps.open": "loose",
    "taps.crosstalk": "disturbed",
}
"""Findings on single wires, and how such wires are called."""
MOST_WIRES = 4
"""Wires, or pairs of them, that are named before a step."""
MOST_DOUBTS = 3
"""Warnings that are named among the steps when nothing failed."""
AFTER_TEXT = (
    "The picture at the pins is right, and so are its clock and timing: "
    "what is wrong on the screen comes after the pins."
)
UNTAPPED_TEXT = (
    "The picture and the timing at the pins are right, as far as they show without the clock's own pin: "
    "what is wrong on the screen most likely comes after the pins."
)
UNTAPPED_NEXT = (
    "Tap the clock's pin as well and record again: its jitter and lost cycles do not show without it.",
    "If the clock is sound too, look after the pins: encoder, modulator, cable, converter, display.",
)
HEADLINE = 150
"""Letters of the first finding that go into the verdict, to the end of a sentence."""
AFTER_NEXT = (
    "Leave the clock generator and the video chip alone. "
    "Look after the pins: encoder, modulator, cable, converter, display."
)


@dataclass(frozen=True)
class Verdict:
    """Where the fault is.

    Parameters
    ----------
    place : Place
        The side of the pins, or the part.
    confidence : float, 0..1
        Share of the findings needed for this place that could be measured.
    text : str
        One sentence.
    because : tuple of str
        Ids of the findings it rests on.
    next : tuple of str
        What to do, the first thing first.
    cautions : tuple of str
        Before a hand goes near the machine.
    """

    place: Place
    confidence: float
    text: str
    because: tuple[str, ...]
    next: tuple[str, ...]
    cautions: tuple[str, ...] = CAUTIONS


def judge(findings: Sequence[Finding], evidence: Evidence) -> Verdict:
    """Weigh the findings from the probe inwards: capture, taps, clock, chip; the rest lies after the pins."""
    failed = [f for f in findings if f.result == "fail"]
    by_group: dict[str, list[Finding]] = {}
    for finding in failed:
        by_group.setdefault(finding.id.partition(".")[0], []).append(finding)
    if undersampled := [f for f in failed if f.id == "clock.undersampled"]:
        return _because(
            "capture",
            0.9,
            "The capture cannot follow the clock, so nothing after it can be judged.",
            undersampled,
            evidence,
        )
    if taps := by_group.get("taps"):
        # How the connector sits is said by the finding itself, the danger in it first.
        text = taps[0].text if taps[0].id in MOVED else _first(taps, "The taps are wrong")
        also = [f"{OF_WIRES[f.id]}: {w}" for f in taps[1:] if (w := _wires(f, evidence))]
        text += f" Also {'; '.join(also)}." if also else ""
        return _because("taps", _confidence(findings, ("taps",)), text, taps, evidence)
    if clock := by_group.get("clock"):
        text = _first(clock, "The clock that reaches the pins is faulty")
        return _because("clock", _confidence(findings, ("clock",)), text, clock, evidence)
    chip = [f for f in failed if f.id.partition(".")[0] in {"sync", "timing", "picture", "sampling"}]
    if chip:
        chip.sort(key=lambda f: FOLLOWS.get(f.id, 0))
        return _chip(chip, findings, evidence)
    return _nothing_failed(findings, evidence)


def _first(found: Sequence[Finding], intro: str) -> str:
    return f"{intro}: {sentences(found[0].text, HEADLINE)}"


def _because(
    place: Place, confidence: float, text: str, found: Sequence[Finding], evidence: Evidence
) -> Verdict:
    steps = [_step(f, evidence) for f in found if f.id in SINGLE_CAUSES]
    if place == "capture":
        steps = ["Record again at a higher sample rate."]
    steps.append("Record again and compare the two results.")
    return Verdict(place, confidence, text, tuple(f.id for f in found), tuple(dict.fromkeys(steps)))


def _step(finding: Finding, evidence: Evidence) -> str:
    """Give the cause to look for, led by the wires that a finding on single wires is about."""
    step = SINGLE_CAUSES[finding.id]
    wires = _wires(finding, evidence)
    return f"{wires}: {step[0].lower()}{step[1:]}" if wires else step


def _wires(finding: Finding, evidence: Evidence) -> str:
    """Name the wires that a finding is about; empty when it is about all or about too many."""
    if finding.id not in OF_WIRES:
        return ""
    story = explain(evidence).story
    faults = [f for f in story.faults if f"taps.{f.kind}" == finding.id and f.channels]
    # Of crosstalk the first one is disturbed; of those that are exchanged or touch, all are concerned.
    told = [f.channels[:1] if f.kind == "crosstalk" else f.channels for f in faults]
    told = list(story.rings) if finding.id == "taps.swapped" else told
    known = evidence.board.pins if evidence.board is not None else {}

    def wire(name: str) -> str:
        colour = known[name].wire if name in known else None
        return f"{table_name(name)} ({table_name(colour)} wire)" if colour else table_name(name)

    return ", ".join(" and ".join(map(wire, names)) for names in told) if len(told) <= MOST_WIRES else ""


def _chip(chip: list[Finding], findings: Sequence[Finding], evidence: Evidence) -> Verdict:
    because = tuple(f.id for f in chip)
    if evidence.pixel_clock is None:
        text = f"The sync or picture is wrong, but the clock was not measured: {chip[0].text}"
        steps = (
            "Tap the pixel clock and record again: until then clock and video chip cannot be told apart.",
        )
        return Verdict("undecided", 0.3, text, because, steps)
    text = _first(chip, "The clock is sound, but what the video chip makes of it is wrong")
    own = [SINGLE_CAUSES[f.id] for f in chip if f.id in SINGLE_CAUSES]
    return Verdict(
        "video_chip",
        _confidence(findings, ("taps", "clock")),
        text,
        because,
        (*dict.fromkeys(own), *CHIP_NEXT),
    )


def _nothing_failed(findings: Sequence[Finding], evidence: Evidence) -> Verdict:
    needed = ("clock.present", "sync.present", "timing.lines_per_field", "picture.blank")
    lacking = [f for f in findings if f.id in needed and f.result != "pass"]
    if lacking:
        text = f"Nothing is out of limits, but not enough could be measured: {lacking[0].text}"
        step = "Record at least two fields with pixel clock, sync and all colour bits tapped, then check."
        return Verdict("undecided", 0.3, text, tuple(f.id for f in lacking), (step,))
    if loose := [f for f in findings if f.id == "taps.open" and f.result == "warn"]:
        text = f"Nothing is out of limits, but a tap may be loose: {loose[0].text}"
        return _because("taps", 0.5, text, loose, evidence)
    warned = [f for f in findings if f.result == "warn"]
    hidden = [f for f in findings if f.id in HIDDEN and f.result == "not_measured" and f.measured]
    if hidden and evidence.board is not None:
        text = _first(hidden, "Nothing is out of limits, but this picture cannot show all")
        return Verdict("undecided", 0.5, text, tuple(f.id for f in hidden), (*HIDDEN_NEXT, *_looks(warned)))
    if other := [f for f in warned if f.id == "picture.known_picture" and not f.measured]:
        text = f"Nothing is out of limits, but what the screen should show is not there: {other[0].text}"
        return Verdict("undecided", 0.5, text, ("picture.known_picture",), OTHER_NEXT)
    clock = evidence.pixel_clock
    tapped = clock is not None and clock.source == "tapped"
    text = AFTER_TEXT if tapped else UNTAPPED_TEXT
    steps: tuple[str, ...] = (AFTER_NEXT,) if tapped else UNTAPPED_NEXT
    passed = tuple(f.id for f in findings if f.id in needed)
    steps = (*steps, *_looks([*hidden, *warned]))
    return Verdict(
        "after_the_pins",
        _confidence(findings, ("taps", "clock", "sync", "timing", "picture")),
        text,
        passed,
        steps,
    )


def _looks(doubts: Sequence[Finding]) -> tuple[str, ...]:
    return tuple(f"Have a look as well: {sentences(f.text, HEADLINE)}" for f in doubts[:MOST_DOUBTS])


def _confidence(findings: Sequence[Finding], groups: tuple[str, ...]) -> float:
    mine = [f for f in findings if f.id.partition(".")[0] in groups]
    measured = [f for f in mine if f.result != "not_measured"]
    return round(0.5 + 0.5 * len(measured) / len(mine), 2) if mine else 0.5
