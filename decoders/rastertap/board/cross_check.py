"""What in a board contradicts itself, although every value alone is right."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rastertap.printable import plural
from rastertap.standards.colour import MAX_GREY_BITS
from rastertap.standards.colour_set import FIXED_BITS
from rastertap.standards.modes import NEAR_LINE_RATE

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from rastertap.board.model import Colours, Pin, Timing
    from rastertap.board.picture import Picture, Region
    from rastertap.standards.modes import Mode

POLAR_ROLES = ("hsync", "vsync", "csync", "blank", "display_enable")
"""Roles whose pulse has a polarity."""
LISTS = ("list", "palette", "component_mv", "luma_chroma")
"""Keys that give the colours of the set 'list'."""


@dataclass(frozen=True)
class Contradiction:
    """Where (key path), what, and what to do."""

    at: tuple[str | int, ...]
    message: str
    hint: str = ""


def contradictions(
    pins: Mapping[str, Pin],
    timing: Timing,
    colours: Colours | None,
    picture: Picture | None = None,
    *,
    pins_complete: bool = True,
) -> list[Contradiction]:
    """List everything that does not fit together.

    Parameters
    ----------
    pins, timing, colours, picture
        The parts that are valid by themselves.
    pins_complete : bool
        False when a pin had to be left out: the colour bits are then not counted.
    """
    found = [
        *_pin_keys(pins),
        *_used_twice(pins),
        *_units(timing),
        *_range_order(timing),
        *_fields(timing),
        *_rates(timing),
    ]
    if timing.mode is not None:
        found += _against_mode(timing, timing.mode)
    bits = sorted({pin.bit for pin in pins.values() if pin.role == "colour" and pin.bit is not None})
    if pins_complete:
        found += _missing_bits(pins, bits)
    if colours is not None:
        found += _colour_keys(colours)
        if pins_complete and bits:
            found += _colour_bits(colours, bits[-1] + 1)
    if picture is not None:
        found += _regions(picture)
        if pins_complete:
            found += _picture_codes(picture, bits[-1] + 1 if bits else 0)
    return found


def _pin_keys(pins: Mapping[str, Pin]) -> Iterator[Contradiction]:
    for channel, pin in pins.items():
        at = ("pins", channel)
        if pin.role == "colour" and pin.bit is None:
            yield Contradiction((*at, "role"), "a colour pin needs its bit", "e.g. bit = 0 for the lowest")
        if pin.role != "colour" and pin.bit is not None:
            yield Contradiction((*at, "bit"), f"bit is for colour only, not for {pin.role}", "delete it")
        if pin.polarity is not None and pin.role not in POLAR_ROLES:
            hint = f"delete it; it is for {', '.join(POLAR_ROLES)}"
            yield Contradiction((*at, "polarity"), f"{pin.role} has no polarity", hint)


def _used_twice(pins: Mapping[str, Pin]) -> Iterator[Contradiction]:
    first: dict[tuple[str, object], str] = {}
    for channel, pin in pins.items():
        uses: list[tuple[str, tuple[str, object], str]] = []
        if pin.role == "colour" and pin.bit is not None:
            uses.append(("bit", ("colour bit", pin.bit), f"colour bit {pin.bit}"))
        elif pin.role not in ("colour", "other"):
            uses.append(("role", ("role", pin.role), pin.role))
        if pin.chip_pin is not None:
            uses.append(("chip_pin", ("chip pin", pin.chip_pin), f"chip pin {pin.chip_pin}"))
        if pin.connector is not None:
            uses.append(("connector", ("connector", pin.connector), f"connector position {pin.connector}"))
        for key, use, text in uses:
            other = first.setdefault(use, channel)
            if other != channel:
                hint = "give each channel its own"
                yield Contradiction(("pins", channel, key), f"{text} is already on channel {other}", hint)


def _missing_bits(pins: Mapping[str, Pin], bits: list[int]) -> Iterator[Contradiction]:
    if not bits or bits == list(range(len(bits))):
        return
    missing = [str(bit) for bit in range(bits[-1]) if bit not in bits]
    channel = next(name for name, pin in pins.items() if pin.bit == bits[-1] and pin.role == "colour")
    message = f"colour bits must run from 0 without a gap; missing below {bits[-1]}: {', '.join(missing)}"
    yield Contradiction(("pins", channel, "bit"), message, "number the bits from 0 = lowest")


def _colour_keys(colours: Colours) -> Iterator[Contradiction]:
    given = [key for key in LISTS if key in colours.stated or (key == "palette" and colours.palette)]
    if colours.colour_set == "list" and not given:
        hint = 'e.g. list = ["#000000", "#FFFFFF"], or palette = "board.pal"'
        yield Contradiction(("colours", "set"), "the set 'list' needs the list of colours", hint)
    if colours.colour_set != "list":
        for key in given:
            hint = 'delete it, or write set = "list"'
            message = f"the set '{colours.colour_set}' has its own colours"
            yield Contradiction(("colours", key), message, hint)
    for key in given[1:]:
        message = f"the colours are already given by '{given[0]}'"
        yield Contradiction(("colours", key), message, "keep one of the two")
    if colours.dark_yellow is not None and colours.colour_set != "rgbi":
        yield Contradiction(("colours", "dark_yellow"), "dark_yellow is for the set 'rgbi' only", "delete it")
    for key, count in colours.stated.items():
        if count < 2:  # noqa: PLR2004 - one bit has 2 codes
            message = f"has {plural(count, 'colour')}; a bus has at least 2 codes"
            yield Contradiction(("colours", key), message, "give every code a colour, code 0 first")


def too_few_or_many(count: int, bits: int) -> str:
    """Say what is wrong with a list of ``count`` colours for a bus of ``bits`` bits; empty when it fits.

    A list may leave out codes that the board never sends, but with half of them or fewer the highest bit
    would be of no use.
    """
    if 2 ** (bits - 1) < count <= 2**bits:
        return ""
    return f"has {count} colours, but {plural(bits, 'colour bit')} have {2**bits} codes"


def _colour_bits(colours: Colours, bits: int) -> Iterator[Contradiction]:
    for key, count in colours.stated.items():
        message = too_few_or_many(count, bits)
        if message:
            yield Contradiction(("colours", key), message, "give every code a colour")
    needed = FIXED_BITS.get(colours.colour_set, bits)
    if bits != needed:
        message = f"the set '{colours.colour_set}' has {needed} bits, but the pins give {bits}"
        yield Contradiction(
            ("colours", "set"), message, 'name the missing pins, or use set = "grey" or "list"'
        )
    if colours.colour_set == "grey" and bits > MAX_GREY_BITS:
        message = f"greys are for at most {MAX_GREY_BITS} bits, but the pins give {bits}"
        yield Contradiction(("colours", "set"), message, "name the set that the bits are, e.g. rgb24")


def _units(timing: Timing) -> Iterator[Contradiction]:
    """Catch megahertz and kilohertz written as hertz; the floors are common practice, no source."""
    for key, floor, example in (("pixel_clock_hz", 100_000, "9000000"), ("line_rate_hz", 1_000, "15625")):
        stated = getattr(timing, key)
        if stated is not None and stated < floor:
            yield Contradiction(
                ("timing", key), f"{float(stated):g} Hz is too low", f"write hertz, e.g. {example}"
            )


def _range_order(timing: Timing) -> Iterator[Contradiction]:
    for key in ("hsync_width_us", "vsync_width_lines"):
        limits = getattr(timing, key)
        if limits is not None and not 0 < limits[0] <= limits[1]:
            message = f"must be [low, high] with 0 < low <= high, not [{limits[0]:g}, {limits[1]:g}]"
            yield Contradiction(("timing", key), message, "put the smaller first")


def _fields(timing: Timing) -> Iterator[Contradiction]:
    lines = timing.lines_per_field
    interlaced = timing.interlaced
    if interlaced is None and timing.mode is not None:
        interlaced = timing.mode.interlaced
    if lines is None or interlaced is None:
        return
    at = ("timing", "lines_per_field")
    shown = ", ".join(f"{count:g}" for count in lines)
    if interlaced and any(count % 1 == 0 for count in lines):
        hint = "e.g. [312.5, 312.5], or interlaced = false"
        yield Contradiction(at, f"interlaced fields end in a half-line, not [{shown}]", hint)
    if not interlaced and any(count % 1 for count in lines):
        hint = "e.g. [312], or interlaced = true"
        yield Contradiction(at, f"without interlace a field has whole lines, not [{shown}]", hint)


def _off(stated: float, expected: float) -> bool:
    return abs(stated / expected - 1.0) > NEAR_LINE_RATE


def _rates(timing: Timing) -> Iterator[Contradiction]:
    """Compare the stated rates with each other; 3 % finds a slip of the pen, not a tolerance."""
    line_rate = timing.line_rate_hz
    if (clocked := timing.clocked_line_rate_hz) is not None:
        line_rate = clocked
        if timing.line_rate_hz and _off(float(timing.line_rate_hz), float(line_rate)):
            message = f"pixel_clock_hz / pixels_per_line is {float(line_rate):g} Hz"
            yield Contradiction(("timing", "line_rate_hz"), message, "correct one of the three")
    if line_rate and timing.lines_per_field and timing.field_rate_hz:
        field_rate = float(line_rate) * len(timing.lines_per_field) / sum(timing.lines_per_field)
        if _off(float(timing.field_rate_hz), field_rate):
            message = f"line rate and lines per field give {field_rate:g} Hz"
            yield Contradiction(("timing", "field_rate_hz"), message, "correct one of them")


def _against_mode(timing: Timing, mode: Mode) -> Iterator[Contradiction]:
    hint = f"correct it, or choose another standard than {mode.key}"
    if timing.interlaced is not None and timing.interlaced != mode.interlaced:
        word = "interlaced" if mode.interlaced else "not interlaced"
        yield Contradiction(("timing", "interlaced"), f"{mode.key} is {word}", hint)
    if timing.lines_per_field and not _lines_of(mode, timing.lines_per_field):
        message = f"{mode.key} has {float(mode.lines_per_field[0]):g} lines per field"
        yield Contradiction(("timing", "lines_per_field"), message, hint)
    for key, expected in (("line_rate_hz", mode.line_rate_hz), ("field_rate_hz", mode.field_rate_hz)):
        stated = getattr(timing, key)
        if stated is not None and _off(float(stated), float(expected)):
            yield Contradiction(("timing", key), f"{mode.key} has {float(expected):.6g} Hz", hint)
    line_rate = timing.clocked_line_rate_hz
    if line_rate is not None and _off(float(line_rate), float(mode.line_rate_hz)):
        has = f"{mode.key} has {float(mode.line_rate_hz):.6g} Hz"
        message = f"gives a line rate of {float(line_rate):.6g} Hz; {has}"
        yield Contradiction(("timing", "pixels_per_line"), message, hint)


def _lines_of(mode: Mode, lines: tuple[float, ...]) -> bool:
    """Whether the fields are the mode's; a line more or less in every second one is no other standard."""
    nominal = float(mode.lines_per_field[0])
    return nominal in lines and all(abs(n - nominal) <= (0 if mode.interlaced else 1) for n in lines)


def _regions(picture: Picture) -> Iterator[Contradiction]:
    for number, region in enumerate(picture.regions):
        at = ("picture", "regions", number)
        x, y, width, height = region.at
        if picture.active is not None and (x + width > picture.active[2] or y + height > picture.active[3]):
            message = f"leaves the active area of {picture.active[2]} x {picture.active[3]}"
            yield Contradiction((*at, "at"), message, "count x and y from the active area's top left corner")
        if region.bars is not None and len(region.bars) > width:
            message = f"has {len(region.bars)} bars in {width} pixels"
            yield Contradiction((*at, "bars"), message, "make the region wider")


def _region_codes(region: Region) -> tuple[str, tuple[int, ...]]:
    """Key and codes of a region's filling."""
    if region.code is not None:
        return "code", (region.code,)
    return ("bars", region.bars) if region.bars is not None else ("either", region.either or ())


def _picture_codes(picture: Picture, bits: int) -> Iterator[Contradiction]:
    """Codes that the colour bits cannot make."""
    if not bits:
        yield Contradiction(("picture",), "no pin carries a colour bit", "name the colour pins, or delete it")
        return
    hint = f"the {bits} colour bits make 0 to {2**bits - 1}"
    if picture.blanking is not None and picture.blanking >= 2**bits:
        message = f"code {picture.blanking} needs more colour bits"
        yield Contradiction(("picture", "blanking"), message, hint)
    for number, region in enumerate(picture.regions):
        key, codes = _region_codes(region)
        wrong = [code for code in codes if code >= 2**bits]
        if wrong:
            message = f"code {wrong[0]} needs more colour bits"
            yield Contradiction(("picture", "regions", number, key), message, hint)
