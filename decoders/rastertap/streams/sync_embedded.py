"""Sync from timing codes in 8-bit component video (BT.656)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, cast

import numpy as np

from rastertap.capture.model import HIGH, LOW, Channel
from rastertap.errors import DecodeError
from rastertap.match import Match
from rastertap.streams.embedded import CODE_WORDS, TimingCodes, find_codes
from rastertap.streams.interface import CONTRACT, Context
from rastertap.streams.lines import track
from rastertap.streams.model import Fields, Sync
from rastertap.streams.pulses import Pulses
from rastertap.streams.sync_build import Parts, build, join_syncs
from rastertap.streams.tally import Tally, tally

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.streams.model import ColourBus, Lines, PixelClock

BUS_BITS = 8
WORDS_TRIED = 40_000
"""Words looked at to see whether there are codes: 20 lines of 27 MHz."""
FEWEST_CODES = 8
MOST_WRONG = 0.5
"""Part of the codes that may be wrong; in a bus whose bits are in another order nearly all are."""


@dataclass(frozen=True)
class EmbeddedSyncOptions:
    """Options of the embedded sync decoder.

    Parameters
    ----------
    tolerance : float
        How far from due a line may begin, in line periods.
    """

    tolerance: float = 0.03


def _words(context: Context, most: int | None = None) -> tuple[NDArray[np.uint32], NDArray[np.int64]]:
    """Read the bus at every clock; gives words and the clock edges (ticks) they belong to."""
    from rastertap.streams.kernels import read_bit

    clock = cast("PixelClock", context.streams["pixel_clock"])
    bus = cast("ColourBus", context.streams["colour_bus"])
    edges = clock.edges[:most]
    times = np.rint(edges + bus.sampling.delay).astype(np.int64)
    words, unsure = np.zeros(times.size, np.uint32), np.zeros(times.size, np.uint8)
    for bit, channel in enumerate(bus.bits):
        read_bit(times, channel.ticks, channel.initial, bit, 0.0, words, unsure)
    return words, edges


class EmbeddedSync:
    """Lines from EAV to EAV, fields by F (or V where F never changes)."""

    name: ClassVar[str] = "sync-embedded"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = "line and field sync from timing codes in 8-bit component video (BT.656)"
    needs: ClassVar[frozenset[str]] = frozenset({"pixel_clock", "colour_bus"})
    gives: ClassVar[str] = "sync"
    Options: ClassVar[type] = EmbeddedSyncOptions

    def match(self, context: Context) -> Match:
        """Fit when the first words of an 8-bit bus hold valid codes."""
        bus = context.streams.get("colour_bus")
        if bus is None or len(cast("ColourBus", bus).bits) != BUS_BITS:
            return Match(0.0, ("no bus of 8 bits",))
        codes = find_codes(_words(context, WORDS_TRIED)[0])
        if reason := _useless(codes):
            return Match(0.0, (reason,))
        return Match(0.9, (f"{codes.words.size} embedded timing codes in the first {WORDS_TRIED} words",))

    def decode(self, context: Context, options: EmbeddedSyncOptions) -> Sync:
        """Place a line at every EAV, a field where F changes."""
        words, edges = _words(context)
        codes = find_codes(words)
        if reason := _useless(codes):
            raise DecodeError(reason)
        ends = codes.words[codes.end]
        starts = edges[ends]
        widths = np.zeros(starts.size, np.int64)
        found = track(starts, widths, context.capture, context.step, tolerance=options.tolerance)
        fields = _fields(codes, edges, found.lines, found.period)
        bus = cast("ColourBus", context.streams["colour_bus"])
        clock = cast("PixelClock", context.streams["pixel_clock"])
        return build(
            context,
            Parts(
                kind="embedded",
                channels=tuple(bit.name for bit in bus.bits),
                track=found,
                fields_at=Pulses(1, fields[0].starts, fields[0].widths),
                glitches=starts[found.spare],
                glitch_widths=widths[found.spare],
                line_polarity="positive",
                field_polarity=None,
                plain=np.ones(found.lines.starts.size, bool),
                fields=fields,
                tallies=_word_counts(codes, edges, context.counted),
                protection_errors=_counted(codes, words, edges, context.counted),
                window=_window(codes, edges, bus.sampling.delay - clock.period.value / 2),
            ),
        )

    def join(self, earlier: Sync, later: Sync, at: int) -> Sync:
        """Join two pieces."""
        return join_syncs(earlier, later, at)


def _useless(codes: TimingCodes) -> str:
    """Say why no sync can be had from the codes; empty when it can."""
    if codes.seen < FEWEST_CODES:
        return "no embedded timing codes in the bus"
    if codes.wrong > MOST_WRONG * codes.seen:
        return (
            f"timing codes are in the bus, but {codes.wrong} of {codes.seen} have wrong protection bits:"
            " its bits are in another order, stuck or bridged"
        )
    return ""


def _pictures(codes: TimingCodes) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Give the first word of each line's picture, and the EAV that ends it."""
    begins = ~codes.end[:-1] & ~codes.blanking[:-1] & codes.end[1:]
    return codes.words[:-1][begins] + CODE_WORDS, codes.words[1:][begins]


def _window(codes: TimingCodes, edges: NDArray[np.int64], early: float) -> Channel:
    """Display enable of the codes: high from SAV to EAV, ``early`` ticks after those words' clock edges."""
    begin, end = _pictures(codes)
    at = np.stack((edges[begin], edges[end]), axis=1).ravel() + round(early)
    return Channel("", LOW, at, np.tile(np.array([HIGH, LOW], np.uint8), begin.size))


def _word_counts(codes: TimingCodes, edges: NDArray[np.int64], span: tuple[int, int]) -> dict[str, Tally]:
    """Count the words of the picture of each line, and of the whole line."""
    begin, end = _pictures(codes)
    lines = codes.words[codes.end]
    inside = [(edges[w] >= span[0]) & (edges[w] < span[1]) for w in (begin, lines[:-1])]
    return {
        "active_words": tally((end - begin)[inside[0]]),
        "line_words": tally(np.diff(lines)[inside[1]]),
    }


def _counted(
    codes: TimingCodes, words: NDArray[np.uint32], edges: NDArray[np.int64], span: tuple[int, int]
) -> int:
    """Wrong codes within the span."""
    if not codes.wrong:
        return 0
    first, last = np.searchsorted(edges, span)
    return find_codes(words[first : last + 3]).wrong


def _fields(
    codes: TimingCodes, edges: NDArray[np.int64], lines: Lines, period: float
) -> tuple[Fields, bool | None]:
    """Fields by F: O_V comes with the line where F turns 0, half a line into that where it turns 1.

    So the lines of the second field lie half a line lower, as their time since O_V says (BT.470 Fig. 2-1).
    With F constant (no interlace) fields begin with the field blanking.
    """
    at, field, blanking = edges[codes.words[codes.end]], codes.field[codes.end], codes.blanking[codes.end]
    turns = np.flatnonzero(field[1:] != field[:-1]) + 1
    interlaced = turns.size > 0
    if not interlaced:
        turns = np.flatnonzero(blanking[1:] & ~blanking[:-1]) + 1
    late = field[turns] if interlaced else np.zeros(turns.size, bool)
    starts = at[turns] + np.rint(late * period / 2).astype(np.int64)
    first = np.clip(np.searchsorted(lines.starts, at[turns] - 0.25 * period), 0, lines.starts.size - 1)
    first = np.clip(first + late, 0, lines.starts.size - 1)
    half = late / 2
    between = np.diff(first - half)
    counts = np.append(between, np.nan) if turns.size else np.empty(0)
    state = interlaced if turns.size > 1 else None
    return Fields(starts, first, half, np.zeros(turns.size, np.int64), counts.astype(np.float64)), state
