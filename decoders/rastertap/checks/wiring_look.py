"""What each channel shows, whatever it should show: the evidence that the wiring stories are held against."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import HIGH
from rastertap.checks.expected_picture import expected_pictures
from rastertap.checks.picture_bits import BitSolution, fullest, solve, solve_unplaced
from rastertap.checks.picture_lines import own_lines
from rastertap.checks.wiring_runts import (
    FEWEST_WIDTHS,
    against_the_rhythm,
    edges_about,
    pulses_too_short,
)
from rastertap.checks.wiring_twins import find_twins
from rastertap.streams.rhythm import concentration, phases
from rastertap.streams.role_clean import RUNT
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
    from rastertap.checks.wiring_twins import Twins
    from rastertap.streams.interface import Pin
    from rastertap.streams.model import PixelClock

FITS_AS_WELL = 0.6
"""A role with this part of the best one's score fits too."""
LEAST_SCORE = 0.35
ADRIFT = 0.3
"""Agreement with the clock, of 1, below which changes are unrelated to it; a colour bit's is over 0.7."""
REPEATS = 0.5
"""Part of the equal lines of a picture in which a bit of it is equal too: chance gives next to none."""


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
    twins = find_twins(channels, max(shortest, 1.01 * step))
    clock = evidence.pixel_clock
    jitter = clock.period_jitter.value if clock is not None and clock.period_jitter is not None else 0.0
    looks: dict[str, Look] = {}
    for pin in evidence.pins:
        channel = channels[pin.channel]
        short = pulses_too_short(pin, channel, shortest, jitter)
        bridged = {n for t in twins for n in (t.first, t.second) if pin.channel in {t.first, t.second}}
        others = [c for c in channels.values() if c.name not in {channel.name, *bridged}]
        roles = _roles(pin)
        source = _source(short, pin, (channel, others), evidence, span)
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


def _source(
    short: NDArray[np.int64],
    pin: Pin,
    channels: tuple[Channel, Sequence[Channel]],
    evidence: Evidence,
    span: float,
) -> Blame | None:
    """Whose edges the short pulses of the first channel stand beside, of the others."""
    channel, others = channels
    step, clock = evidence.capture.step, evidence.pixel_clock
    source = None
    if pin.role == "pixel_clock" and short.size and clock is not None:
        source = blame(against_the_rhythm(channel, clock.period.value, step), others, step, span)
    source = source or blame(edges_about(short, pin, channel), others, step, span)
    if source is None and pin.role != "pixel_clock":
        # A clock is beside nearly every edge of several by chance: the starts alone may still tell.
        source = blame(short, others, step, span)
    return source


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
