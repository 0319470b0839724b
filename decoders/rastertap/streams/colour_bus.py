"""The colour bus: which bits, what family, where in the pixel to read it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rastertap.capture.model import LOW, Channel
from rastertap.errors import DecodeError
from rastertap.match import Match
from rastertap.standards.colour_set import named_set
from rastertap.streams.interface import CONTRACT, Context
from rastertap.streams.model import ColourBus, PixelClock
from rastertap.streams.sampling_point import find_sampling_point

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rastertap.standards.colour_set import ColourSet


@dataclass(frozen=True)
class ColourBusOptions:
    """Options of the colour bus decoders.

    Parameters
    ----------
    delay_ns : float or None
        Read the bus this long after the rising clock edge instead of in the middle of the quiet window.
    """

    delay_ns: float | None = None


def _bits(context: Context) -> tuple[Channel, ...]:
    """Give the bus, bit 0 first; a bit that no channel carries reads as low."""
    pins = {p.bit: p.channel for p in context.pins_with("colour")}
    if not pins:
        return ()
    none = Channel("", LOW, np.empty(0, np.int64), np.empty(0, np.uint8))
    width = 1 + max(b for b in pins if b is not None)
    return tuple(context.capture.channel(pins[b]) if b in pins else none for b in range(width))


class _ColourBus:
    """What the families share; a family states how many bits it has and its board-file name."""

    contract: ClassVar[int] = CONTRACT
    needs: ClassVar[frozenset[str]] = frozenset({"pixel_clock"})
    gives: ClassVar[str] = "colour_bus"
    Options: ClassVar[type] = ColourBusOptions
    family: ClassVar[str]
    width: ClassVar[int]

    def match(self, context: Context) -> Match:
        """Fit when the board file names the family, or else by the number of bits."""
        width = len(_bits(context))
        if not width:
            return Match(0.0, ("no channel behaves like a colour bit",))
        if context.board is not None and context.board.colours is not None:
            named = context.board.colours.colour_set
            fits = named == self.family
            return Match(1.0 if fits else 0.0, (f"the board file says {named}",))
        fits = width == self.width
        return Match(0.7 if fits else 0.0, (f"{width} colour bits",))

    def colours(self, context: Context, width: int) -> tuple[ColourSet | None, str]:
        """Give the colours of the codes, and where they come from."""
        if context.board is not None and context.board.colours is not None:
            named = context.board.colours.colour_set
            try:
                return context.board.colours.known(width), f"board file: {named}"
            except ValueError as error:  # greys, of a bus that is wider than any
                return None, f"board file: {named}, but {error}"
        return named_set(self.family, width), f"{self.family}, by the number of bits"

    def decode(self, context: Context, options: ColourBusOptions) -> ColourBus:
        """Find the quiet window and the colours."""
        bits = _bits(context)
        if not bits:
            raise DecodeError("no channel behaves like a colour bit")
        streams: Mapping[str, object] = context.streams
        clock = streams["pixel_clock"]
        if not isinstance(clock, PixelClock):
            raise DecodeError(
                f"the pixel clock is a {type(clock).__name__}, which this decoder does not know"
            )
        fixed: tuple[float, ...] = ()
        if options.delay_ns is not None:
            fixed = (options.delay_ns * 1e-9 / float(context.capture.tick),)
        before = context.before.get("colour_bus")
        if not fixed and isinstance(before, ColourBus):
            # One sampling point for the whole capture: pieces read at different phases would not compare.
            fixed = before.sampling.reads
        sampling = find_sampling_point(bits, clock, context.step, fixed=fixed)
        colours, source = self.colours(context, len(bits))
        return ColourBus("coded" if colours is None else colours.name, bits, colours, source, sampling)

    def join(self, earlier: ColourBus, later: ColourBus, at: int) -> ColourBus:  # noqa: ARG002 - nothing is cut
        """Keep the sampling point, with the changes of both pieces."""
        return replace(earlier, bits=later.bits, sampling=earlier.sampling.joined(later.sampling))


class RgbBus(_ColourBus):
    """Three bits: red, green, blue, each full or off."""

    name: ClassVar[str] = "colour-rgb"
    describes: ClassVar[str] = "3-bit RGB colour bus"
    family: ClassVar[str] = "rgb"
    width: ClassVar[int] = 3


class RgbiBus(_ColourBus):
    """Four bits: red, green, blue, intensity."""

    name: ClassVar[str] = "colour-rgbi"
    describes: ClassVar[str] = "4-bit RGBI colour bus"
    family: ClassVar[str] = "rgbi"
    width: ClassVar[int] = 4


class RrGgBbBus(_ColourBus):
    """Six bits: two a colour."""

    name: ClassVar[str] = "colour-rrggbb"
    describes: ClassVar[str] = "6-bit RrGgBb colour bus"
    family: ClassVar[str] = "rrggbb"
    width: ClassVar[int] = 6


class CodedBus(_ColourBus):
    """Any number of bits; the board file says which colours their codes are."""

    name: ClassVar[str] = "colour-coded"
    describes: ClassVar[str] = "n-bit colour code; the board file names or lists its colours"
    family: ClassVar[str] = "list"
    width: ClassVar[int] = 0

    def match(self, context: Context) -> Match:
        """Fit any number of bits, weakly, and surely when the board file lists the colours."""
        width = len(_bits(context))
        if not width:
            return Match(0.0, ("no channel behaves like a colour bit",))
        if context.board is not None and context.board.colours is not None:
            named = context.board.colours.colour_set
            own = named in {RgbBus.family, RgbiBus.family, RrGgBbBus.family}
            return Match(0.1 if own else 1.0, (f"the board file says {named}",))
        return Match(0.4, (f"{width} bits of no known meaning",))

    def colours(self, context: Context, width: int) -> tuple[ColourSet | None, str]:
        """Give the board file's colours; without it the codes have none."""
        if context.board is not None and context.board.colours is not None:
            return super().colours(context, width)
        return None, "the colours of the codes are not known"
