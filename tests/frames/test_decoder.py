"""The frame decoder on a hand-made source: 20 clocks a line, 10 lines a field, 100 ticks a clock."""

from __future__ import annotations

from fractions import Fraction
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from rastertap.capture.model import Capture, Channel
from rastertap.errors import DecodeError
from rastertap.frames.decoder import FrameDecoder, FrameOptions
from rastertap.frames.model import Area
from rastertap.streams.interface import Context, Pin
from rastertap.streams.model import Fields, Lines

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from rastertap.frames.model import Frames

CYCLE, PIXELS, ROWS, FIELDS = 100, 20, 10, 3
ACTIVE = Area(6, 2, 12, 7)


def wave(name: str, levels: NDArray[np.bool_]) -> Channel:
    """A channel that takes these levels, one a clock, at the clock edges."""
    change = np.flatnonzero(np.diff(levels)) + 1
    return Channel(name, int(levels[0]), change * CYCLE, levels[change].astype(np.uint8))


def context(codes: NDArray[np.uint32], bits: int, window: NDArray[np.bool_] | None = None) -> Context:
    """A source that sends these codes, shape (rows of all fields, pixels); both syncs come with pixel 0."""
    flat = codes.ravel()
    bus = tuple(wave(f"b{i}", (flat >> np.uint32(i) & 1).astype(np.bool_)) for i in range(bits))
    channels, pins = bus, ()
    if window is not None:
        channels = (*bus, wave("de", window.ravel()))
        pins = (Pin("de", "display_enable", None, "positive", 1.0, ()),)
    starts = CYCLE * PIXELS * np.arange(codes.shape[0] + 1)
    lines = Lines(starts, np.ones(starts.size, np.bool_), np.full(starts.size, 2 * CYCLE))
    first = ROWS * np.arange(FIELDS + 1)
    fields = Fields(starts[first], first, np.zeros(first.size), np.full(first.size, CYCLE), np.full(4, 10.0))
    sync: Any = SimpleNamespace(
        lines=lines,
        fields=fields,
        kind="separate",
        window=None,
        interlaced=False,
        line_width=SimpleNamespace(value=2.0 * CYCLE),
    )
    clock = SimpleNamespace(
        edges=CYCLE * np.arange(flat.size + PIXELS), period=SimpleNamespace(value=float(CYCLE))
    )
    streams = {
        "pixel_clock": clock,
        "sync": sync,
        "colour_bus": SimpleNamespace(
            bits=bus, sampling=SimpleNamespace(delay=CYCLE / 2, reads=(CYCLE / 2,))
        ),
    }
    capture = Capture("made by hand", Fraction(1, 10**9), 0, int(starts[-1]), channels)
    return Context(capture, pins, None, streams)


def decoded(made: Context) -> Frames:
    return FrameDecoder().decode(made, FrameOptions())


@pytest.fixture
def raster() -> Callable[[int], NDArray[np.uint32]]:
    """Random codes of so many bits in the active area of every field, blanking (0) round it."""

    def make(bits: int) -> NDArray[np.uint32]:
        codes = np.zeros((FIELDS, ROWS, PIXELS), np.uint32)
        shape = (FIELDS, ACTIVE.height, ACTIVE.width)
        shown = np.random.default_rng(bits).integers(1, 1 << bits, shape, dtype=np.uint32)
        codes[:, ACTIVE.y : ACTIVE.y + ACTIVE.height, ACTIVE.x : ACTIVE.x + ACTIVE.width] = shown
        return codes.reshape(-1, PIXELS)

    return make


@pytest.mark.parametrize(
    ("bits", "kind"), [(1, np.uint8), (8, np.uint8), (9, np.uint16), (16, np.uint16), (24, np.uint32)]
)
def test_every_code_is_put_in_its_place(
    raster: Callable[[int], NDArray[np.uint32]], bits: int, kind: type
) -> None:
    sent = raster(bits)
    frames = decoded(context(sent, bits))
    assert len(frames.complete) == FIELDS
    for index, frame in enumerate(frames.complete):
        assert frame.codes.dtype == kind
        np.testing.assert_array_equal(frame.codes, sent[ROWS * index : ROWS * (index + 1)])
        assert not frame.unsure.any()
        assert frame.start == CYCLE * PIXELS * ROWS * index
    assert frames.active == ACTIVE
    assert (frames.pixels_per_line, frames.blank_code) == (PIXELS, 0)


@pytest.mark.parametrize("bits", [4, 31, 32])
def test_display_enable_bounds_the_area_and_leaves_the_codes_alone(
    raster: Callable[[int], NDArray[np.uint32]], bits: int
) -> None:
    """Its window is wider than what is shown, and must not become one more bit of a code."""
    sent = raster(bits)
    window = np.zeros((FIELDS, ROWS, PIXELS), np.bool_)
    window[:, 1:, 4:] = True
    frames = decoded(context(sent, bits, window.reshape(-1, PIXELS)))
    assert frames.active == Area(4, 1, 16, 9)
    assert frames.active_from == "from display enable or blanking"
    for index, frame in enumerate(frames.complete):
        np.testing.assert_array_equal(frame.codes, sent[ROWS * index : ROWS * (index + 1)])


def test_every_frame_is_noted_with_its_place(raster: Callable[[int], NDArray[np.uint32]]) -> None:
    frames = decoded(context(raster(4), 4))
    notes = [n for n in frames.notes if n.complete]
    assert [(n.index, n.start, n.area, n.unsure) for n in notes] == [
        (i, CYCLE * PIXELS * ROWS * i, ACTIVE, 0) for i in range(FIELDS)
    ]


def test_without_a_clock_through_the_lines_there_are_no_frames(
    raster: Callable[[int], NDArray[np.uint32]],
) -> None:
    made = context(raster(4), 4)
    clock: Any = made.streams["pixel_clock"]
    clock.period.value = 1e9
    clock.edges = np.array([0, 1_000_000_000])
    with pytest.raises(DecodeError, match="no pixel clock runs through the lines"):
        decoded(made)
