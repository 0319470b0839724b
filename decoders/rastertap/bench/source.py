"""The simulated video source: what its chip is set up to send, clock by clock.

Positions are counted in pixel clocks from the start of a line and in lines from the start of a field; the
start is wherever the description puts it (the built-in machines put it at the leading edge of hsync and
vsync). In a 2:1 interlaced source a field is an odd number of half lines, and the second field's picture
lines lie half a line lower than the first field's.
"""

from __future__ import annotations

import math
from collections.abc import Mapping  # noqa: TC003 - the dataclass's annotations are part of its description
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from rastertap.errors import UsageError
from rastertap.roles import Polarity  # noqa: TC001 - as above

CompositeStyle = Literal["or", "xor", "equalised"]
MAX_COLOUR_BITS = 32


@dataclass(frozen=True)
class Rectangle:
    """A part of the raster: clocks across, lines down, from the start of the line and of the field."""

    x: int
    y: int
    width: int
    height: int


@dataclass(frozen=True)
class Border:
    """A plain border inside the active area, in clocks and lines, with its colour code."""

    left: int
    right: int
    top: int
    bottom: int
    code: int


@dataclass(frozen=True)
class CompositeSync:
    """The composite sync output.

    Parameters
    ----------
    style : {"or", "xor", "equalised"}
        ``or``: active while hsync or vsync is; ``xor``: while exactly one is, so that line edges go on
        through vsync; ``equalised``: half-line pulses round vsync, as in BT.470 Fig. 2.
    polarity : {"positive", "negative"}
    before, broad, after : int
        Half-line pulses before, in and after the vertical sync (``equalised`` only): 5, 5, 5 for 625 lines,
        6, 6, 6 for 525 (BT.470 Table 1-2).
    equalising_clocks, broad_clocks : int
        Their widths in pixel clocks.
    """

    style: CompositeStyle
    polarity: Polarity = "negative"
    before: int = 5
    broad: int = 5
    after: int = 5
    equalising_clocks: int = 0
    broad_clocks: int = 0


@dataclass(frozen=True)
class VideoSource:
    """One digital video source.

    Parameters
    ----------
    name : str
    pixel_clock_hz : Fraction > 0
    pixels_per_line : int
        Pixel clocks in one line; even where the source is interlaced.
    lines_per_field : Fraction
        A whole number, or whole and a half for 2:1 interlace (``Fraction(625, 2)``).
    active : Rectangle
        All that the chip shows, border included.
    colour_bits : int, 1..32
        Width of the colour bus.
    hsync_start, hsync_width : int
        Pixel clocks.
    vsync_start_line, vsync_start_clock : int
        Where vsync begins in the field.
    vsync_width_lines : Fraction
        A whole number of clocks must come of it.
    hsync_polarity, vsync_polarity : {"positive", "negative"}
    separate_sync : bool
        Whether hsync and vsync are brought out.
    composite : CompositeSync or None
        The ``csync`` output.
    blank_polarity, display_enable_polarity : {"positive", "negative"} or None
        The ``blank`` (active outside the active area) and ``display_enable`` (active inside) outputs; None:
        absent.
    border : Border or None
        The picture then fills what the border leaves of the active area.
    blanking_code : int
        Colour code outside the active area.
    delays_ns : mapping of str to float
        Signal name (``hsync``, ``colour0``, ...) to its delay after the clock edge; `default_delay_ns` for
        the rest. The tapped ``pixel_clock`` has none unless named here.
    clock_duty : float, 0..1
        High part of the pixel clock's period.
    clock_edge : {"rising", "falling"}
        The edge on which the chip moves on.
    cpu_clock_divider : int
        The ``cpu_clock`` signal is the chip's clock divided by this even number.

    Raises
    ------
    UsageError
        When the description contradicts itself; says which part.
    """

    name: str
    pixel_clock_hz: Fraction
    pixels_per_line: int
    lines_per_field: Fraction
    active: Rectangle
    colour_bits: int
    hsync_start: int
    hsync_width: int
    vsync_start_line: int = 0
    vsync_start_clock: int = 0
    vsync_width_lines: Fraction = Fraction(3)
    hsync_polarity: Polarity = "negative"
    vsync_polarity: Polarity = "negative"
    separate_sync: bool = True
    composite: CompositeSync | None = None
    blank_polarity: Polarity | None = None
    display_enable_polarity: Polarity | None = None
    border: Border | None = None
    blanking_code: int = 0
    delays_ns: Mapping[str, float] = field(default_factory=dict)
    default_delay_ns: float = 12.0
    clock_duty: float = 0.5
    clock_edge: Literal["rising", "falling"] = "rising"
    cpu_clock_divider: int = 4

    def __post_init__(self) -> None:
        """Refuse a description that contradicts itself."""
        for wrong, message in self._contradictions():
            if wrong:
                raise UsageError(
                    f"video source '{self.name}': {message}", hint="correct the description of the source"
                )

    def _contradictions(self) -> tuple[tuple[bool, str], ...]:
        area, width, height = self.active, *self.picture_size
        line, lines = self.pixels_per_line, self.lines_per_field
        least_divider, half = 2, 2
        return (
            (self.pixel_clock_hz <= 0, f"the pixel clock is {self.pixel_clock_hz} Hz"),
            (line < 1 or lines <= 0, "a line and a field need at least one clock and one line"),
            (lines.denominator > half, f"{lines} lines in a field: whole lines, or a half for 2:1 interlace"),
            (self.interlaced and line % 2 == 1, f"interlaced, but {line} clocks have no half line"),
            (
                not 1 <= self.colour_bits <= MAX_COLOUR_BITS,
                f"{self.colour_bits} colour bits: 1 to {MAX_COLOUR_BITS}",
            ),
            (area.x < 0 or area.x + area.width > line, f"the active area leaves the line of {line} clocks"),
            (
                area.y < 0 or area.y + area.height > math.floor(lines),
                f"the active area leaves the field of {lines} lines",
            ),
            (width < 1 or height < 1, "the border leaves no picture"),
            (not 0 < self.hsync_width < line, f"hsync is {self.hsync_width} of {line} clocks"),
            (not 0 <= self.hsync_start < line, "hsync starts outside the line"),
            (not 0 < self.vsync_width_lines < lines, f"vsync is {self.vsync_width_lines} of {lines} lines"),
            ((self.vsync_width_lines * line).denominator != 1, "vsync is not a whole number of clocks"),
            (not 0 <= self.vsync_start < lines * line, "vsync starts outside the field"),
            (
                self.blanking_code >> self.colour_bits != 0,
                f"blanking code {self.blanking_code} needs more colour bits",
            ),
            (not 0 < self.clock_duty < 1, f"a clock duty of {self.clock_duty}"),
            (
                self.cpu_clock_divider < least_divider or self.cpu_clock_divider % 2 == 1,
                "the CPU clock divider must be even",
            ),
        )

    @property
    def interlaced(self) -> bool:
        """Whether a field ends half-way through a line."""
        return self.lines_per_field.denominator == 2  # noqa: PLR2004 - a half line

    @property
    def fields_per_frame(self) -> int:
        """2 when interlaced, else 1."""
        return 2 if self.interlaced else 1

    @property
    def lines_per_frame(self) -> int:
        """Lines in a frame."""
        return int(self.lines_per_field * self.fields_per_frame)

    @property
    def clocks_per_field(self) -> int:
        """Pixel clocks in a field."""
        return int(self.lines_per_field * self.pixels_per_line)

    @property
    def clocks_per_frame(self) -> int:
        """Pixel clocks in a frame."""
        return self.clocks_per_field * self.fields_per_frame

    @property
    def line_rate_hz(self) -> Fraction:
        """Lines in a second, exact."""
        return self.pixel_clock_hz / self.pixels_per_line

    @property
    def field_rate_hz(self) -> Fraction:
        """Fields in a second, exact."""
        return self.pixel_clock_hz / self.clocks_per_field

    @property
    def vsync_start(self) -> int:
        """Pixel clocks from the start of the field to vsync's leading edge."""
        return self.vsync_start_line * self.pixels_per_line + self.vsync_start_clock

    @property
    def picture_size(self) -> tuple[int, int]:
        """Width and height of one field's picture, border left out."""
        if self.border is None:
            return self.active.width, self.active.height
        edge = self.border
        return self.active.width - edge.left - edge.right, self.active.height - edge.top - edge.bottom

    @property
    def signals(self) -> tuple[str, ...]:
        """Names of the signals on the chip's pins; the colour bus's bit n is ``colour<n>``."""
        wanted = {
            "pixel_clock": True,
            "hsync": self.separate_sync,
            "vsync": self.separate_sync,
            "csync": self.composite is not None,
            "blank": self.blank_polarity is not None,
            "display_enable": self.display_enable_polarity is not None,
        }
        control = tuple(name for name, there in wanted.items() if there)
        return (*control, *(f"colour{bit}" for bit in range(self.colour_bits)))

    def delay_ns(self, signal: str) -> float:
        """Delay of a signal after its clock edge, nanoseconds."""
        return self.delays_ns.get(signal, 0.0 if signal == "pixel_clock" else self.default_delay_ns)
