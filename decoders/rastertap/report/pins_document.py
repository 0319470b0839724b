"""The pins and the wiring as plain data, for the JSON result."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rastertap.checks.wiring import explain
from rastertap.checks.wiring_margins import lowest_safe_rate, margins
from rastertap.checks.wiring_words import alike_words, story_words

if TYPE_CHECKING:
    from rastertap.analyse import Analysis
    from rastertap.checks.wiring_story import Story


def pins_data(analysis: Analysis) -> list[dict[str, Any]]:
    """Give every channel: role, score, reasons, what was expected, margins and faults."""
    board = analysis.request.board
    room, story = margins(analysis.evidence), explain(analysis.evidence).story
    found = []
    for pin in analysis.pins:
        meant = board.channel_of(pin.role, pin.bit) if board is not None and pin.role != "other" else None
        wanted = board.pins.get(pin.channel) if board is not None else None
        margin = room[pin.channel]
        found.append(
            {
                "channel": pin.channel,
                "role": pin.role,
                "bit": pin.bit,
                "polarity": pin.polarity,
                "expected_channel": meant,
                "score": round(pin.score, 4),
                "why": list(pin.why),
                "kind": pin.kind,
                "scores": {role: round(score, 4) for role, score in pin.scores.items()},
                "expected_role": None if wanted is None else wanted.role,
                "expected_bit": None if wanted is None else wanted.bit,
                "faults": [f.kind for f in story.faults if pin.channel in f.channels],
                "narrowest_s": margin.narrowest_s,
                "short_pulses": margin.short_pulses,
                "setup_s": margin.setup_s,
                "hold_s": margin.hold_s,
            }
        )
    return found


def wiring_data(analysis: Analysis) -> dict[str, Any]:
    """Give the wiring story, those that explain as much, what stays undecided, and the lowest safe rate."""
    found, board = explain(analysis.evidence), analysis.request.board
    rate = lowest_safe_rate(analysis.evidence)
    return {
        "faults": _faults(found.story),
        "text": story_words(found.story),
        "alternatives": [{"faults": _faults(s), "text": story_words(s)} for s in found.rivals],
        "undecided": alike_words(found, board) if board is not None else "",
        "lowest_safe_rate_hz": None if rate is None else rate.rate_hz,
        "lowest_safe_rate_why": None if rate is None else rate.why,
    }


def _faults(story: Story) -> list[dict[str, Any]]:
    return [
        {"kind": f.kind, "channels": list(f.channels), "positions": f.amount or None} for f in story.faults
    ]
