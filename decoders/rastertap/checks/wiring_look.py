"""What each channel shows, whatever it should show: the evidence that the wiring stories are held against."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import HIGH
from rastertap.checks.expected_picture import expected_pictures
from rastertap.checks.picture_bits import BitSolution, fullest, solve, solve_unplaced
from rastertap.checks.picture_lines import own_lines
from rastertap.streams.rhythm import concentration, phases
from rastertap.streams.role_clean import RUNT, runts
from rastertap.streams.role_coincidence import MOST_TIMES, Blame, beside, blame
from rastertap.streams.role_moves import kind_of
from rastertap.streams.role_other import COLOUR_LIKE, FAST, FEW, FLOATING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from rastertap.board.model import Board
    from rastertap.capture.model import Channel
    from rastertap.checks.expected_picture import ExpectedPicture
    from rastertap.checks.interface import Evidence
    from rastertap.streams.interface import Pin
    from rastertap.streams.model import PixelClock

FITS_AS_WELL = 0.6
"""A role with this part of the best one's score fits too."""
LEAST_SCORE = 0.35
CLOCK_RUNT = 0.6
"""A clock's pulse shorter than this part of the usual one is none of its own."""
CLOCK_EARLY = 0.65
"""An interval between clock edges of one kind shorter than this many periods holds an extra edge."""
FINE = 3.0
"""How much wider than the shortest pulse the usual one is where the sample rate shows pulses apart."""
FEWEST_WIDTHS = 100
RUN = 4
"""Edges of a run of short pulses that are looked at."""
ADRIFT = 0.3
"""Agreement with the clock, of 1, below which changes are unrelated to it; a colour bit's is over 0.7."""
REPEATS = 0.5
"""Part of the equal lines of a picture in which a bit of it is equal too: chance gives next to none."""
PROBED = 400
"""Places at which two channels are compared before they are compared in full."""


@dataclass(frozen=True, eq=False)
class Look:
    """What one channel shows.

    Parameters
    ----------
    channel : str
        Its name.
    pin : Pin
        Role found.
    roles : frozenset of str
        Kinds of role that its behaviour fits.
    level : int or None
        Where it stays, if it never changes.
    runts : ndarray of int64
        Times of pulses too short to mean anything.
    source : Blame or None
        Whose edges those stand beside; of an echo, whose edges it repeats.
    loose : bool
        Floating, or repeating a neighbour at random.
    echo : bool
        Repeats a neighbour's edges, as a colour bit may too: loose if it is of no use where it is.
    """

    channel: str
    pin: Pin
    roles: frozenset[str]
    level: int | None
    runts: NDArray[np.int64]
    source: Blame | None
    loose: bool
    echo: bool = False


@dataclass(frozen=True)
class Twins:
    """Two channels with the same changes; ``opposite``: at opposite levels."""

    first: str
    second: str
    opposite: bool


@dataclass(frozen=True, eq=False)
class Looks:
    """All channels together.

    Parameters
    ----------
    by_channel : mapping of str to Look
        In the capture's order.
    channels : mapping of str to Channel
        Their changes, two-state.
    twins : tuple of Twins
        Channels with the same signal.
    solution : BitSolution or None
        What the known picture says; None without one, or without frames.
    field_sync_seen : bool
        Whether any channel carries a field sync: a short capture may hold none.
    shortest : float
        Ticks from which a pulse means something; 0 when that is not known or not to be seen.
    seen_s : float
        Length of what was looked at, seconds: of a long capture, its first piece.
    """

    by_channel: Mapping[str, Look]
    channels: Mapping[str, Channel]
    twins: tuple[Twins, ...]
    solution: BitSolution | None
    field_sync_seen: bool
    shortest: float
    seen_s: float

    @property
    def solved(self) -> BitSolution | None:
        """The solution, when the known picture is on the screen."""
        return self.solution if self.solution is not None and self.solution.shown else None


def look(evidence: Evidence, pictures: tuple[ExpectedPicture, ...] | None = None) -> Looks:
    """Look at every channel; ``pictures`` instead of the board file's, when given."""
    channels = {c.name: c.binary() for c in evidence.capture.channels}
    step = evidence.capture.step
    span = _seen_span(evidence, list(channels.values()))
    shortest = _shortest(evidence, channels, step)
    solution = _solution(evidence, pictures)
    repeated = _repeats(evidence)
    twins = _twins(channels, max(shortest, 1.01 * step))
    looks: dict[str, Look] = {}
    for pin in evidence.pins:
        channel = channels[pin.channel]
        short = _runts(pin, channel, shortest)
        bridged = {n for t in twins for n in (t.first, t.second) if pin.channel in {t.first, t.second}}
        others = [c for c in channels.values() if c.name not in {channel.name, *bridged}]
        roles = _roles(pin)
        tried = _around(short, channel) if pin.role == "pixel_clock" else _runs(short, channel)
        source = blame(tried, others, step, span)
        loose, echo = pin.kind in {FLOATING, FAST} or _adrift(pin, channel, evidence.pixel_clock), False
        if (
            channel.ticks.size
            and not bridged
            and (roles <= {"colour"} or pin.role == "other")
            and _unlike_any(pin, repeated, solution)
        ):
            source = _echoed(channel, others, step, span)
            echo = source is not None
            loose = loose or (echo and pin.kind != COLOUR_LIKE)
        level = _level(evidence, channel)
        looks[pin.channel] = Look(pin.channel, pin, roles, level, short, source, loose, echo)
    if evidence.pixel_clock is None and _aliased(list(looks.values())):
        shortest = 0.0
        looks = {n: replace(one, runts=np.empty(0, np.int64)) for n, one in looks.items()}
    return Looks(
        looks,
        channels,
        twins,
        solution,
        any(p.role in {"vsync", "csync"} for p in evidence.pins),
        shortest,
        span * float(evidence.capture.tick),
    )


def _seen_span(evidence: Evidence, channels: Sequence[Channel]) -> float:
    """Ticks that the changes kept span: of a long recording only the first piece is."""
    last = max((int(c.ticks[-1]) for c in channels if c.ticks.size), default=evidence.capture.end)
    return float(max(last - evidence.capture.start, 1))


def _shortest(evidence: Evidence, channels: Mapping[str, Channel], step: float) -> float:
    """Ticks from which a pulse means something; 0 when that is not known or not to be seen."""
    clock = evidence.pixel_clock
    period = clock.period.value if clock is not None else 0.0
    tapped = next((p.channel for p in evidence.pins if p.role == "pixel_clock"), None)
    if clock is None and tapped is not None:
        # The clock may have been refused for the very pulses that are looked for.
        period = float(np.median(np.diff(channels[tapped].edges_to(1))))
    return RUNT * period if RUNT * period > step else 0.0


def _aliased(looks: Sequence[Look]) -> bool:
    """Whether so many colour bits have short pulses that it is the clock that is seen too slow."""
    colours = [one for one in looks if one.pin.role == "colour"]
    return 2 * sum(bool(one.runts.size) for one in colours) > len(colours)


def _runts(pin: Pin, channel: Channel, shortest: float) -> NDArray[np.int64]:
    if pin.role == "pixel_clock":
        return _extra_edges(channel)
    return runts(channel, shortest) if pin.role != "other" else np.empty(0, np.int64)


def _extra_edges(channel: Channel) -> NDArray[np.int64]:
    """Where a clock has an extra pulse: by a pulse far shorter than the others, else by an edge too soon."""
    widths = np.diff(channel.ticks)
    if widths.size < FEWEST_WIDTHS:
        return np.empty(0, np.int64)
    usual = min(float(widths[::2].mean()), float(widths[1::2].mean()))
    period = float(widths[::2].mean()) + float(widths[1::2].mean())
    if usual >= FINE * float(widths.min()):
        return _shortest_of_each(channel.ticks, widths, CLOCK_RUNT * usual)
    found = []
    for level in (0, 1):
        edges = channel.edges_to(level)
        found.append(edges[1:][np.diff(edges) < CLOCK_EARLY * period])
    return np.sort(np.concatenate(found))


def _around(extra: NDArray[np.int64], clock: Channel) -> NDArray[np.int64]:
    """Give the edges about each extra one, shape (n, 4): which of them is the disturbance is not known."""
    if not extra.size:
        return extra
    place = np.searchsorted(clock.ticks, extra)[:, np.newaxis] + np.arange(-1, 3)
    return np.asarray(clock.ticks[np.clip(place, 0, clock.ticks.size - 1)], np.int64)


def _runs(short: NDArray[np.int64], channel: Channel) -> NDArray[np.int64]:
    """Give the edges of each run of short pulses, shape (n, `RUN`): a disturbance beside an edge makes two.

    A run that is longer has its last edge in all places left over, a shorter one too.
    """
    if not short.size:
        return short
    first = np.searchsorted(channel.ticks, short)
    begins = np.insert(np.diff(first) > 1, 0, True)
    ends = first[np.append(np.flatnonzero(begins)[1:], first.size) - 1] + 1
    place = np.minimum(first[begins][:, np.newaxis] + np.arange(RUN), ends[:, np.newaxis])
    return np.asarray(channel.ticks[place], np.int64)


def _shortest_of_each(
    ticks: NDArray[np.int64], widths: NDArray[np.int64], shortest: float
) -> NDArray[np.int64]:
    """Give the shortest pulse of each run of short ones: a glitch also cuts the pulses beside it short."""
    short = np.flatnonzero(widths < shortest)
    if not short.size:
        return np.empty(0, np.int64)
    runs = np.split(short, np.flatnonzero(np.diff(short) > 1) + 1)
    return np.array([ticks[run[np.argmin(widths[run])]] for run in runs], np.int64)


def _roles(pin: Pin) -> frozenset[str]:
    best = max(pin.scores.values(), default=0.0)
    fitting = {kind_of(r) for r, s in pin.scores.items() if s >= max(FITS_AS_WELL * best, LEAST_SCORE)}
    return frozenset(fitting | {kind_of(pin.role)} - {"other"})


def _level(evidence: Evidence, channel: Channel) -> int | None:
    changes = evidence.edges.get(channel.name, channel.ticks.size)
    return None if changes or channel.ticks.size else int(channel.initial == HIGH)


def still(look_at: Look) -> bool:
    """Whether a channel never changes."""
    return look_at.level is not None


def _solution(evidence: Evidence, pictures: tuple[ExpectedPicture, ...] | None) -> BitSolution | None:
    bus, frames, board, clock = evidence.colour_bus, evidence.frames, evidence.board, evidence.pixel_clock
    if bus is None or clock is None or board is None:
        return None
    bits = len(board.colour_channels)
    expected = expected_pictures(board, bits) if pictures is None else pictures
    if not expected:
        return None
    found = solve(frames, bus, expected, bits) if frames is not None else None
    strays = [p.channel for p in evidence.pins if _may_be_a_bit(p, board)]
    if found is not None and found.shown and (not strays or _all_found(found, bits)):
        return found
    lines = [*bus.bits, *map(evidence.capture.channel, strays)]
    second, step = 1 / float(evidence.capture.tick), evidence.capture.step
    rasters = own_lines(lines, clock, bus, step=step, second=second)
    other = solve_unplaced(rasters, [c.name for c in lines], expected, bits)
    return other if other is not None and other.shown else found


def _adrift(pin: Pin, channel: Channel, clock: PixelClock | None) -> bool:
    """Whether what could be a colour bit does not keep to the pixel clock: to one recovered later, say."""
    if clock is None or not (pin.role == "colour" or pin.kind == COLOUR_LIKE):
        return False
    places = phases(channel.ticks[:MOST_TIMES], clock.edges)
    # A double-rate bus changes at two places in the cycle.
    agree = max(concentration(places), concentration(2 * places))
    return bool(places.size >= FEW and agree < ADRIFT)


def _may_be_a_bit(pin: Pin, board: Board) -> bool:
    """Whether a channel that is not on the bus behaves like a colour bit, if of a plain picture."""
    window = kind_of(pin.role) == "window" and pin.channel not in board.pins
    return pin.kind == COLOUR_LIKE or window


def _all_found(solution: BitSolution, bits: int) -> bool:
    """Whether each bit that the picture moves is shown by a channel."""
    shown = {fit.bit for fits in solution.fits.values() for fit in fits}
    return shown | set(solution.still) >= set(range(bits))


def _unlike_any(pin: Pin, repeated: Mapping[str, float], solution: BitSolution | None) -> bool:
    """Whether a moving channel fits no role, or is a colour bit that fits no picture."""
    if solution is not None and solution.shown and pin.channel in solution.fits:
        return not (solution.fits[pin.channel] or solution.mixes.get(pin.channel))
    if pin.role == "other":
        return True
    if pin.role != "colour":
        return False
    return repeated.get(pin.channel, 1.0) < REPEATS


def _echoed(channel: Channel, others: Sequence[Channel], step: float, span: float) -> Blame | None:
    """Whose edges a channel repeats now and then; a clock's only when it repeats both kinds of its edges."""
    found = blame(channel.ticks, others, step, span)
    if found is None:
        return None
    source = next(c for c in others if c.name == found.channels[0])
    if channel.ticks.size < FEWEST_WIDTHS:
        return found
    if source.ticks.size <= channel.ticks.size:
        return None
    both = [float(beside(channel.ticks, source.edges_to(level), 0.51 * step).mean()) for level in (0, 1)]
    return found if min(both) > 0.2 else None  # noqa: PLR2004 - chance takes both alike; a chip takes one edge


def _repeats(evidence: Evidence) -> dict[str, float]:
    """Part of the lines that repeat the one above, by the other bits, in which a channel does too."""
    bus, frames = evidence.colour_bus, evidence.frames
    field = fullest(frames) if frames is not None else None
    if bus is None or field is None:
        return {}
    codes, sure = field.codes.astype(np.uint32), ~field.unsure
    changed = (codes[1:] ^ codes[:-1]) * (sure[1:] & sure[:-1])
    found = {}
    for bit, channel in enumerate(bus.bits):
        mine = ((changed >> np.uint32(bit)) & 1).any(axis=1)
        rest = changed & ~np.uint32(1 << bit)
        busy = (codes[1:] & ~np.uint32(1 << bit)).astype(bool).any(axis=1)
        alike = ~rest.any(axis=1) & busy
        if channel.name and int(alike.sum()) >= 10:  # noqa: PLR2004 - enough lines to judge by
            found[channel.name] = 1 - float(np.count_nonzero(mine & alike) / np.count_nonzero(alike))
    return found


def _twins(channels: Mapping[str, Channel], longest: float) -> tuple[Twins, ...]:
    """Find channels whose levels never differ (or never agree) for longer than ``longest`` ticks."""
    moving = [c for c in channels.values() if c.ticks.size > 1]
    found = []
    for i, one in enumerate(moving):
        for other in moving[i + 1 :]:
            opposite = _together(one, other, longest)
            if opposite is not None:
                found.append(Twins(one.name, other.name, opposite))
    return tuple(found)


def _together(one: Channel, other: Channel, longest: float) -> bool | None:
    """Give False when two channels are always equal, True when always opposite, None when neither."""
    low, high = sorted((one.ticks.size, other.ticks.size))
    if 2 * low < high:
        return None
    span = max(one.ticks[-1], other.ticks[-1]) - min(one.ticks[0], other.ticks[0])
    places = one.ticks[0] + (np.arange(PROBED) * 0.618034 % 1 * span).astype(np.int64)
    differ = float((_at(one, places) != _at(other, places)).mean())
    if 0.2 < differ < 0.8:  # noqa: PLR2004 - skew and crosstalk are a fraction of a pixel
        return None
    ticks = np.concatenate((one.ticks, other.ticks))
    ticks.sort(kind="stable")
    ends = np.append(ticks[1:], ticks[-1])
    # Every change of either flips whether the two are equal.
    unequal: NDArray[np.bool_] = (np.arange(1, ticks.size + 1) + (one.initial != other.initial)) % 2 == 1
    opposite = differ > 0.5  # noqa: PLR2004 - most of the time
    apart = (ends - ticks)[unequal != opposite]
    return opposite if not apart.size or float(apart.max()) <= longest else None


def _at(channel: Channel, places: NDArray[np.int64]) -> NDArray[np.uint8]:
    levels = np.concatenate((np.array([channel.initial], np.uint8), channel.levels))
    return levels[np.searchsorted(channel.ticks, places, side="right")]
