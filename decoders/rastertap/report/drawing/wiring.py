"""The wiring drawn: what each position of the connector is for, and where that signal is found."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rastertap.checks.wiring import explain, role_words
from rastertap.printable import table_name
from rastertap.report.drawing import svg
from rastertap.streams.role_moves import connector_order

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from rastertap.analyse import Analysis
    from rastertap.board.model import Board
    from rastertap.checks.wiring_story import FaultKind, Story

WIDTH, TOP, ROW = 740.0, 84.0, 24.0
MEANT, LEFT, RIGHT, FOUND = 314.0, 324.0, 434.0, 444.0
"""Where the words for what is meant end, the lines begin and end, and the words for what is found begin."""
DEAD: tuple[FaultKind, ...] = ("stuck_low", "stuck_high", "open")
"""Faults of a channel that carries no signal."""
WORDS = {
    "stuck_low": "stays low",
    "stuck_high": "stays high",
    "open": "open, or its wire is loose",
    "inverted": "inverted",
    "mismatch": "carries something else",
    "crosstalk": "disturbed",
}


def wiring_svg(analysis: Analysis) -> str:
    """Draw which signal arrives where; empty without a board file that lists pins."""
    board = analysis.request.board
    if board is None or not board.pins:
        return ""
    kinds = {p.channel: p.kind for p in analysis.pins}
    wiring = _Wiring(board, explain(analysis.evidence).story, kinds)
    shown = wiring.shown()
    body = [
        svg.text(20, 26, "Wiring", kind="head"),
        svg.text(20, 44, "along the connector; a slanted line is a signal in a wrong place", kind="small"),
        svg.text(MEANT, TOP - 18, "meant, by the board file", kind="small", anchor="end"),
        svg.text(FOUND, TOP - 18, "found at", kind="small"),
        *(part for name in shown for part in _row(wiring, name, shown)),
    ]
    wrong = [words for words, right in map(wiring.found_at, shown) if not right]
    described = "; ".join(wrong) or "Every signal is in its place."
    height = TOP + len(shown) * ROW + 4
    return svg.document(WIDTH, height, "Which signal arrives at which channel", described, body)


class _Wiring:
    """What is meant for each channel, and what the story says of it."""

    def __init__(self, board: Board, story: Story, kinds: Mapping[str, str]) -> None:
        self.board, self.carries, self.kinds = board, story.carries, kinds
        self.dead = {fault.channels[0] for fault in story.of(*DEAD)}
        self.faults: dict[str, list[str]] = {}
        for fault in story.faults:
            if fault.kind == "bridged":
                for one, other in (fault.channels, fault.channels[::-1]):
                    self.faults.setdefault(one, []).append(f"bridged to {table_name(other)}")
            elif fault.kind in WORDS:
                self.faults.setdefault(fault.channels[0], []).append(WORDS[fault.kind])

    def meant(self, name: str) -> str:
        """Name the signal meant for a channel; empty when none is."""
        pin = self.board.pins.get(name)
        return role_words(pin.role, pin.bit) if pin is not None and pin.role != "other" else ""

    def shown(self) -> list[str]:
        """Give the channels along the connector, its ends left out where nothing is meant or found."""
        absent = [n for n in self.board.pins if n not in self.kinds]
        order = connector_order(self.board, [*self.kinds, *absent])
        told = [n for n in order if self.meant(n) or self.meant(self.carries.get(n, "")) or n in self.faults]
        return order[order.index(told[0]) : order.index(told[-1]) + 1] if told else []

    def source(self, name: str) -> str:
        """Give the channel that the signal found here is meant for; empty when none is found."""
        carried = self.carries.get(name, "")
        return carried if self.meant(carried) and name not in self.dead else ""

    def found_at(self, name: str) -> tuple[str, bool]:
        """Say what is found at a channel, and whether that is right."""
        source, words = self.source(name), [*self.faults.get(name, ())]
        if name not in self.kinds:
            return f"{table_name(name)} is not in the capture", False
        if source and source != name:
            words.insert(0, f"carries {self.meant(source)}, meant for {table_name(source)}")
        elif not source and not words and self.meant(name):
            kind = f" ({self.kinds[name]})" if self.kinds.get(name) else ""
            words = [f"does not carry {self.meant(name)}{kind}"]
        if words:
            return f"{table_name(name)} {', '.join(words)}", False
        return f"{table_name(name)}{' in place' if source else ''}", True


def _row(wiring: _Wiring, name: str, shown: list[str]) -> Iterator[str]:
    """Write what is meant for a channel, what is found there, and draw where that comes from."""
    y = TOP + shown.index(name) * ROW
    pin, meant, source = wiring.board.pins.get(name), wiring.meant(name), wiring.source(name)
    if meant and pin is not None:
        more = [f"position {pin.connector}"] if pin.connector is not None else []
        more += [f"chip pin {pin.chip_pin}"] if pin.chip_pin is not None else []
        more += [f"{table_name(pin.wire)} wire"] if pin.wire is not None else []
        yield svg.text(MEANT, y + 4, f"{meant} ({', '.join(more)})" if more else meant, anchor="end")
    words, right = wiring.found_at(name)
    kind = "bad" if not right else "good" if meant else "faint"
    yield svg.text(FOUND, y + 4, words, kind=kind)
    if source in shown:
        yield svg.line(LEFT, TOP + shown.index(source) * ROW, RIGHT, y, kind)
    if meant and name not in map(wiring.source, shown):
        # A signal that is found nowhere ends in a cross.
        yield svg.line(LEFT, y, LEFT + 14, y, "bad")
        yield svg.line(LEFT + 9, y - 5, LEFT + 19, y + 5, "bad")
        yield svg.line(LEFT + 9, y + 5, LEFT + 19, y - 5, "bad")
