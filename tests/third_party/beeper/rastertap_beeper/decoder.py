"""The decoder: finds a one-bit sound output among the channels that are not video, and counts its cycles."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rastertap.capture.model import HIGH
from rastertap.errors import DecodeError, UsageError
from rastertap.match import Match
from rastertap.streams.interface import CONTRACT, Context

if TYPE_CHECKING:
    from rastertap.capture.model import Channel

STEADY = 0.1
"""Most that the cycles of a tone differ from their median, in cycles."""
FEWEST_CYCLES = 4
"""Fewer cycles than this are not called a tone unless the user names the channel."""


# The product: any class. Frozen, and made of what can be joined exactly, because a long capture is decoded in
# pieces. A method `summary` of no arguments gives the line that `rastertap check` shows for it.
@dataclass(frozen=True)
class Beeper:
    """What a one-bit sound output does.

    Parameters
    ----------
    channel : str
        Its name.
    rises : int
        Rising edges.
    first, last : int
        The first and the last of them, ticks; 0 when there are none.
    tick_s : float
        Length of a tick, seconds.
    """

    channel: str
    rises: int
    first: int
    last: int
    tick_s: float

    @property
    def rate(self) -> float:
        """Mean rate of its cycles in Hz; 0 when it is silent."""
        return (self.rises - 1) / ((self.last - self.first) * self.tick_s) if self.rises > 1 else 0.0

    def summary(self) -> str:
        """Say it in one line."""
        return f"{self.rate:.1f} Hz on {self.channel}" if self.rate else f"silent, on {self.channel}"


# The options: a frozen dataclass, every field with a default. rastertap checks the types; what types cannot
# say is checked here, with a ValueError, and reaches the user as a wrong option (exit code 2).
@dataclass(frozen=True)
class BeeperOptions:
    """Options of the beeper decoder.

    Parameters
    ----------
    channel : str
        The channel to look at; empty to find it.
    lowest_hz, highest_hz : float
        Tones looked for.
    """

    channel: str = ""
    lowest_hz: float = 50.0
    highest_hz: float = 10_000.0

    def __post_init__(self) -> None:
        if not 0 < self.lowest_hz < self.highest_hz:
            raise ValueError("lowest_hz must be above 0 and below highest_hz")


class BeeperDecoder:
    """Finds the channel and counts."""

    name: ClassVar[str] = "beeper"
    contract: ClassVar[int] = (
        CONTRACT  # a plug-in for another contract is listed, with what to do, but not run
    )
    describes: ClassVar[str] = "one-bit sound output: the rate of its tone"
    needs: ClassVar[frozenset[str]] = frozenset()  # products of other decoders, e.g. {"sync"}
    gives: ClassVar[str] = "beeper"
    Options: ClassVar[type] = BeeperOptions

    def match(self, context: Context) -> Match:
        """Fit any capture with a channel that is not video; the score says how sure, the text why."""
        spare = context.pins_with("other")
        if not spare:
            return Match(0.0, ("every channel carries video",))
        return Match(0.5, (f"{len(spare)} channels carry no video",))

    def decode(self, context: Context, options: BeeperOptions) -> Beeper:
        """Count the cycles of the channel that is named, or else of one with a tone."""
        channel = _channel(context, options)
        begin, end = (
            context.counted
        )  # in a piece of a long capture the rest is the neighbouring pieces' to count
        rises = channel.edges_to(HIGH)
        rises = rises[(rises >= begin) & (rises < end)]
        first, last = (int(rises[0]), int(rises[-1])) if rises.size else (0, 0)
        return Beeper(channel.name, rises.size, first, last, float(context.capture.tick))

    def join(self, earlier: Beeper, later: Beeper, at: int) -> Beeper:  # noqa: ARG002 - each counted its own side
        """Join what two pieces of a long capture gave."""
        if not earlier.rises or not later.rises:
            return earlier if earlier.rises else later
        rises = earlier.rises + later.rises
        return Beeper(earlier.channel, rises, earlier.first, later.last, earlier.tick_s)


def _channel(context: Context, options: BeeperOptions) -> Channel:
    there = [c.name for c in context.capture.channels]
    if options.channel and options.channel not in there:
        # What the user got wrong is a UsageError and ends the run ...
        raise UsageError(
            f"the capture has no channel '{options.channel}'", hint=f"it has: {', '.join(there)}"
        )
    # The pieces before this one have settled which channel it is, even where it falls silent.
    settled = context.before["beeper"].channel if "beeper" in context.before else ""
    if settled or options.channel:
        return context.capture.channel(settled or options.channel)
    spare = [context.capture.channel(p.channel) for p in context.pins_with("other")]
    tones = [c for c in spare if _is_tone(context, c, options)]
    if not tones:
        # ... what the capture does not show is a DecodeError: its text is the reason for "not measured".
        raise DecodeError("no spare channel carries a tone; name the sound output: --set beeper.channel=")
    return tones[0]


def _is_tone(context: Context, channel: Channel, options: BeeperOptions) -> bool:
    cycles = np.diff(channel.edges_to(HIGH)) * float(context.capture.tick)
    if cycles.size < FEWEST_CYCLES:
        return False
    middle = float(np.median(cycles))
    steady = float(np.abs(cycles - middle).max()) < STEADY * middle
    return steady and options.lowest_hz <= 1 / middle <= options.highest_hz
