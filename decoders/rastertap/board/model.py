"""The board file as checked data: pin map, expected timing, colour set, known picture, decoder options.

The keys ``schema``, ``set`` and ``list`` have other names here, because pydantic and Python use those words
themselves. What fits together across fields is checked in `cross_check`.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    Field,
    PlainSerializer,
    PlainValidator,
    WithJsonSchema,
    model_validator,
)

from rastertap.board.exact import NOTATION, parse_exact
from rastertap.board.picture import Picture  # noqa: TC001 - as roles below
from rastertap.board.production import Production  # noqa: TC001 - as roles below
from rastertap.board.strict import ChannelName, Strict, Text
from rastertap.roles import Polarity, Role  # noqa: TC001 - pydantic reads the annotations at run time
from rastertap.standards.modes import MODES, Mode

if TYPE_CHECKING:
    from rastertap.standards.colour_set import ColourSet

SCHEMA = "rastertap.board/1"
ColourSetName = Literal[
    "rgb", "rgbi", "rrggbb", "rgb9", "rgb12", "rgb15", "rgb16", "rgb18", "rgb24", "component", "grey", "list"
]
MAX_COLOUR_BITS = 32
"""Colour codes are kept in at most 32 bits."""
MAX_COLOURS = 65536
"""Colours of a list: those of a bus of 16 bits."""


def _not_empty(values: tuple[float, ...]) -> tuple[float, ...]:
    if not values:
        raise ValueError("must hold at least one number")
    return values


def _known_standard(key: str) -> str:
    if key not in MODES:
        raise ValueError(f"is not a known standard: {key!r}")
    return key


def _as_text(value: Fraction) -> str:
    # pydantic 2.7 asks for a signature, which str has not.
    return str(value)


Exact = Annotated[
    Fraction,
    PlainValidator(parse_exact),
    PlainSerializer(_as_text, return_type=str),
    WithJsonSchema(
        {
            "anyOf": [{"type": "number", "exclusiveMinimum": 0}, {"type": "string"}],
            "description": f"A number, or {NOTATION} as a text.",
        }
    ),
]
StandardKey = Annotated[
    str, AfterValidator(_known_standard), Field(json_schema_extra={"enum": sorted(MODES)})
]
Ppm = Annotated[float, Field(gt=0, le=100_000)]
HalfClocks = Annotated[float, Field(gt=0, le=100_000, multiple_of=0.5)]
HalfLines = Annotated[float, Field(gt=0, le=100_000, multiple_of=0.5)]
Position = Annotated[int, Field(ge=1, le=1000)]
Level = Annotated[tuple[float, float, float], Field(strict=False)]
Levels = Annotated[tuple[Level, ...], Field(strict=False, max_length=MAX_COLOURS)]
HexColour = Annotated[str, Field(pattern=r"^#[0-9A-Fa-f]{6}$")]


class Pin(Strict):
    """What one analyser channel is clipped to."""

    role: Role = Field(description="What the pin carries.")
    bit: int | None = Field(
        default=None,
        ge=0,
        lt=MAX_COLOUR_BITS,
        description="Bit of the colour code; 0 is the lowest. Colour only.",
    )
    polarity: Polarity | None = Field(
        default=None, description="negative: the pulse is the low level. Sync, blank and display enable only."
    )
    chip_pin: Position | None = Field(default=None, description="Pin number on the video chip.")
    connector: Position | None = Field(default=None, description="Position on the analyser's connector.")
    wire: Text | None = Field(default=None, description="Colour or label of the wire.")


class Timing(Strict):
    """What the board is expected to do; everything is optional."""

    standard: StandardKey | None = Field(
        default=None, description="Key of a timing, as `rastertap standards` lists."
    )
    pixel_clock_hz: Exact | None = None
    pixel_clock_tolerance_ppm: Ppm = Field(
        default=100.0, description="Plain crystal oscillator; common practice, no source."
    )
    pixels_per_line: HalfClocks | None = Field(
        default=None,
        description=(
            "Pixel clocks from one line sync to the next, blanking included; 227.5 where a line of 227 and"
            " one of 228 come in turn."
        ),
    )
    lines_per_field: (
        Annotated[tuple[HalfLines, ...], Field(strict=False, max_length=8), AfterValidator(_not_empty)] | None
    ) = Field(
        default=None, description="One entry per kind of field; half-lines when interlaced: [312.5, 312.5]."
    )
    interlaced: bool | None = None
    line_rate_hz: Exact | None = None
    line_rate_tolerance_ppm: Ppm | None = Field(
        default=None, description="When absent, the limit set decides."
    )
    field_rate_hz: Exact | None = None
    hsync_width_us: Annotated[tuple[float, float], Field(strict=False)] | None = Field(
        default=None, description="[low, high] in microseconds."
    )
    vsync_width_lines: Annotated[tuple[float, float], Field(strict=False)] | None = Field(
        default=None, description="[low, high] in lines."
    )

    @property
    def clocked_line_rate_hz(self) -> Fraction | None:
        """Line rate that the pixel clock and the pixels of a line give; None where one is not stated."""
        if self.pixel_clock_hz is None or self.pixels_per_line is None:
            return None
        return self.pixel_clock_hz / Fraction(self.pixels_per_line)

    @property
    def mode(self) -> Mode | None:
        """The named standard's timing, or None."""
        return MODES[self.standard] if self.standard else None


class Colours(Strict):
    """How a colour code becomes a colour."""

    colour_set: ColourSetName = Field(alias="set")
    dark_yellow: bool | None = Field(
        default=None,
        description="rgbi only: code 6 (red and green, no intensity) is shown as AAAA00, not brown AA5500.",
    )
    colours: Annotated[tuple[HexColour, ...], Field(strict=False, max_length=MAX_COLOURS)] | None = Field(
        default=None, alias="list", description="list only: the colour of each code, code 0 first."
    )
    palette: Text | None = Field(
        default=None,
        description="list only: a text file beside this one, a line `R G B` (0 to 255) for each code.",
    )
    component_mv: Levels | None = Field(
        default=None, description="list only: [Y, Pb, Pr] in mV of each code; white is [700, 0, 0]."
    )
    luma_chroma: Levels | None = Field(
        default=None,
        description=(
            "list only: [luma, chroma, phase] of each code: luma in mV over black (white is 700), chroma in "
            "mV (half of peak to peak), phase in degrees from B - Y towards R - Y."
        ),
    )

    @property
    def stated(self) -> dict[str, int]:
        """How the colours of a list are given, by key, and how many of them."""
        lists = {
            "list": self.colours,
            "component_mv": self.component_mv,
            "luma_chroma": self.luma_chroma,
        }
        return {key: len(value) for key, value in lists.items() if value is not None}

    def known(self, bits: int) -> ColourSet:
        """Colours of a bus of ``bits`` bits."""
        from rastertap.standards import colour, colour_set

        if self.component_mv is not None:
            return colour_set.from_millivolts(bits, self.component_mv)
        if self.luma_chroma is not None:
            return colour_set.from_luma_chroma(bits, self.luma_chroma)
        if self.colours is not None:
            return colour_set.from_table("list", bits, colour.from_hex(self.colours))
        return colour_set.named_set(self.colour_set, bits, dark_yellow=bool(self.dark_yellow))


class Board(Strict):
    """One kind of board."""

    schema_version: Literal["rastertap.board/1"] = Field(alias="schema")
    name: Text = Field(description="What the board is called.")
    note: Text | None = None
    pins: dict[ChannelName, Pin] = Field(default_factory=dict, description="Analyser channel to pin.")
    timing: Timing = Field(default_factory=Timing)
    colours: Colours | None = None
    picture: Picture | None = Field(
        default=None,
        description="What the screen shows when a capture is taken: tells the colour bits apart.",
    )
    production: Production | None = Field(
        default=None, description="Testing boards that are made: serial numbers, limits of its own."
    )
    decoders: dict[ChannelName, dict[str, Any]] = Field(
        default_factory=dict,
        description="Options of a decoder plug-in, by its name; the plug-in checks them.",
    )

    @model_validator(mode="after")
    def _fits_together(self) -> Board:
        from rastertap.board.cross_check import contradictions

        found = contradictions(self.pins, self.timing, self.colours, self.picture)
        if found:
            raise ValueError("; ".join(f"{'.'.join(map(str, c.at))}: {c.message}" for c in found))
        return self

    def channel_of(self, role: Role, bit: int | None = None) -> str | None:
        """Name of the channel that carries ``role`` (and colour ``bit``); None when the board names none."""
        return next((name for name, pin in self.pins.items() if (pin.role, pin.bit) == (role, bit)), None)

    @property
    def colour_channels(self) -> tuple[str, ...]:
        """The channels of the colour bus, bit 0 first."""
        colour = [(pin.bit or 0, name) for name, pin in self.pins.items() if pin.role == "colour"]
        return tuple(name for _, name in sorted(colour))


def json_schema() -> dict[str, Any]:
    """JSON Schema of the board file."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **Board.model_json_schema()}
