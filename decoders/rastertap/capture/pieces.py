"""A long recording in overlapping pieces, each small enough to hold in memory and long enough to decode."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from rastertap.capture.model import Capture, Channel, Gathered

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

PIECE_S = 0.2
"""Length of a piece: ten fields at 50 Hz, so that the overlap costs little."""
LEAD_S = 2e-3
"""Time before what counts in a piece: some 30 lines, for the line rate to be found."""
TAIL_S = 0.05
"""Time after it: the frame of two fields that begins last must end in the piece (40 ms at 25 Hz)."""
MOST_EDGES = 5_000_000
"""Changes in a piece (9 bytes each), which a wide and busy bus reaches before `PIECE_S`."""
LEAST_S = 0.12
"""A piece is not shorter than this for the sake of `MOST_EDGES`: it must hold `TAIL_S` and more."""
MOST_HELD = 10_000_000
"""Changes that a piece exceeds by a block at most, however short it gets: all that is done with so many stays
under 650 MB. 24 bits of noise at 13.5 MHz come to it in 0.09 s."""
KEPT = 2
"""A beginning of more than so many times `MOST_EDGES` is not kept whole."""
SHORT = (
    f"over {MOST_HELD // 10**6} million changes come in less than {2 * TAIL_S:g} s: it was analysed in short "
    "parts, and a field that does not fit in one is left out"
)


@dataclass(frozen=True, eq=False)
class Piece:
    """Part of a recording.

    Parameters
    ----------
    capture : Capture
        What is in it; ``start`` and ``end`` are the piece's own.
    span : (int, int) or None
        Ticks that count in this piece, from the first up to, not including, the second; None: all of it.
    last : bool
        Whether the recording ends with it.
    """

    capture: Capture
    span: tuple[int, int] | None
    last: bool


def pieces(blocks: Iterable[Capture]) -> Iterator[Piece]:
    """Gather consecutive blocks into overlapping pieces.

    Parameters
    ----------
    blocks : iterable of Capture
        From a reader; their arrays are copied, so they may be reused.

    Yields
    ------
    Piece
        Their ``span`` together cover the recording once. One only, without a span, for a short recording.

    Raises
    ------
    ValueError
        When there is no block.
    """
    held = Gathered()
    counted: int | None = None
    notes: tuple[str, ...] = ()
    for block in blocks:
        if held.last is not None and _full(held):
            if held.span_s < 2 * TAIL_S:
                notes = (SHORT,)
            capture = held.capture()
            lead, tail = _overlap(capture)
            upto = capture.end - tail
            first = capture.start if counted is None else counted
            yield Piece(capture, (first, upto), last=False)
            counted = upto
            held = Gathered()
            held.add(after(capture, upto - lead))
            del capture
        held.add(block)
    if held.last is None:
        raise ValueError("no block to gather")
    capture = held.capture()
    capture = replace(capture, notes=(*capture.notes, *notes))
    yield Piece(capture, None if counted is None else (counted, capture.end + 1), last=True)


def _ticks(capture: Capture, seconds: float) -> int:
    return round(seconds / float(capture.tick))


def _overlap(capture: Capture) -> tuple[int, int]:
    """Ticks held before what counts in the next piece, and after what counts in this: less if it is short."""
    span = capture.end - capture.start
    return min(_ticks(capture, LEAD_S), span // 8), min(_ticks(capture, TAIL_S), span // 2)


def _full(held: Gathered) -> bool:
    span, edges = held.span_s, held.edges
    return span >= PIECE_S or (span >= LEAST_S and edges >= MOST_EDGES) or (span > 0 and edges >= MOST_HELD)


def beginning(capture: Capture) -> Capture:
    """Give as much of a piece as may be kept: all of it, unless it exceeds `MOST_EDGES` by far."""
    edges = sum(c.ticks.size for c in capture.channels)
    if edges <= KEPT * MOST_EDGES:
        return capture
    until = capture.start + (capture.end - capture.start) * MOST_EDGES // edges
    cut = (c.between(None, until) for c in capture.channels)
    kept = tuple(replace(c, ticks=c.ticks.copy(), levels=c.levels.copy()) for c in cut)
    return replace(capture, channels=kept)


def after(capture: Capture, tick: int) -> Capture:
    """Give the part of a capture from ``tick`` on, the levels at that time as the initial ones."""
    return replace(capture, start=tick, channels=tuple(_after(c, tick) for c in capture.channels))


def _after(channel: Channel, tick: int) -> Channel:
    first = int(np.searchsorted(channel.ticks, tick, side="right"))
    initial = int(channel.levels[first - 1]) if first else channel.initial
    rest: Any = channel.ticks[first:].copy()
    return Channel(channel.name, initial, rest, channel.levels[first:].copy())
