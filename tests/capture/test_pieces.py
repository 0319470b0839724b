"""Overlapping pieces of a long recording: each change counts once, each piece begins at the right level."""

from __future__ import annotations

import itertools
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rastertap.capture import pieces as module
from rastertap.capture.model import Capture, Channel, join
from rastertap.capture.pieces import Piece, after, pieces

TICK = Fraction(1, 1_000_000)


def block(start: int, end: int, ticks: list[int], initial: int = 0) -> Capture:
    """One channel that toggles at each of ``ticks``."""
    levels = (initial + 1 + np.arange(len(ticks))) % 2
    channel = Channel("D0", initial, np.array(ticks, np.int64), levels.astype(np.uint8))
    return Capture("made.vcd", TICK, start, end, (channel,))


def blocks(toggles: list[int], length: int, count: int) -> list[Capture]:
    bounds = np.linspace(0, length, count + 1).astype(int)
    found = []
    for low, high in itertools.pairwise(bounds):
        inside = [t for t in toggles if low < t <= high]
        found.append(block(int(low), int(high), inside, sum(t <= low for t in toggles) % 2))
    return found


def test_a_short_recording_is_one_piece_without_a_span() -> None:
    found = list(pieces(blocks([10, 20], 1000, 3)))
    assert len(found) == 1
    assert found[0].span is None
    assert found[0].last
    assert found[0].capture.channels[0].ticks.tolist() == [10, 20]


def test_no_block_is_an_error() -> None:
    with pytest.raises(ValueError, match="no block"):
        list(pieces([]))


def test_the_rest_of_a_capture_begins_at_the_level_reached() -> None:
    rest = after(block(0, 100, [10, 20, 30]), 20)
    assert rest.start == 20
    assert rest.channels[0].initial == 0
    assert rest.channels[0].ticks.tolist() == [30]


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(1, 1_000_000), max_size=300, unique=True), st.integers(1, 40))
def test_every_change_counts_once_and_overlaps_agree(toggles: list[int], count: int) -> None:
    made = blocks(sorted(toggles), 1_000_000, count)
    whole = join(made)
    found = list(pieces(made))
    counted: list[int] = []
    at = whole.start
    for piece in found:
        low, high = piece.span or (whole.start, whole.end + 1)
        assert low == at
        at = high
        channel = piece.capture.channels[0]
        counted += [int(t) for t in channel.ticks if low <= t < high]
        before = int((whole.channels[0].ticks <= piece.capture.start).sum())
        assert channel.initial == before % 2
        assert piece.capture.start <= low
        assert piece.last == (piece is found[-1])
    assert at == whole.end + 1
    assert counted == whole.channels[0].ticks.tolist()


def test_a_busy_bus_is_cut_sooner(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_EDGES", 500)
    made = blocks(list(range(1, 300_000, 200)), 300_000, 30)
    spans = [p.capture.span_s for p in pieces(made)]
    assert max(spans) < module.PIECE_S
    assert len(spans) > 2


@pytest.mark.parametrize("count", [7, 40])
def test_a_dense_recording_comes_in_short_pieces_that_still_count_everything_once(
    monkeypatch: pytest.MonkeyPatch, count: int
) -> None:
    monkeypatch.setattr(module, "MOST_HELD", 500)
    rng = np.random.default_rng(85)
    toggles = sorted({int(t) for t in 1 + 49_999 * rng.random(3000) ** 4})
    found = list(pieces(blocks(toggles, 50_000, count)))
    assert len(found) > 3
    counted = [t for p in found for t in inside(p)]
    assert counted == toggles
    assert found[-1].capture.notes == (module.SHORT,)
    for piece in found:
        assert piece.capture.end > piece.capture.start


def inside(piece: Piece) -> list[int]:
    assert piece.span is not None
    ticks = piece.capture.channels[0].ticks
    return [int(t) for t in ticks if piece.span[0] <= t < piece.span[1]]
