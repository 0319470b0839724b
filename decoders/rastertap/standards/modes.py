"""The line and field timings a machine can be near to, exact, each with its source.

"references" below is the project's table of published figures; its source keys (470 = BT.470-6, 170M =
SMPTE 170M-2004, EDID = ``edid-decode``, V4L2 = the kernel's DV timing tables) are kept. The CEA-861 and VESA
originals were not seen: their figures come from those tools and tables.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from statistics import multimode
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Sequence

Trust = Literal["seen", "seen-2nd", "derived", "run", "common practice, no source", "from memory", "stated"]
"""How far a figure can be trusted; "seen": read in the named text, "run": printed by the named program,
"stated": the board file says so."""

LINE_RATE_625 = Fraction(15_625)
"""Hz; BT.470-6 Table 1 (references 1.1, seen)."""
LINE_RATE_525 = Fraction(2_250_000, 143)
"""Hz; 2/455 of 63/88 x 5 MHz, SMPTE 170M 11.1-11.2 (derived)."""
NEAR_LINE_RATE = 0.03
"""How far a line rate may be off to be called a mode's; common practice, no source."""
UNLIKELY = 0.05
"""By how much one field is preferred to two without a sync between them, as a part of its lines."""
SAME_PART = 0.02
"""Part by which a field may differ from two or three others together and still be those."""
FAR_LINE_RATE_PPM = 80_000.0
"""A mode whose line rate is further off than this is near no other way (common practice, no source)."""
SAME_RATE_PPM = 100.0
"""Modes this near to each other cannot be told apart by rate with an ordinary timebase (50 ppm)."""


@dataclass(frozen=True)
class Blanking:
    """Active part, front porch, sync and back porch of a line (pixels) or of a field (lines)."""

    active: int
    front_porch: int
    sync: int
    back_porch: int

    @property
    def total(self) -> int:
        """Pixels in a line, or lines in a field."""
        return self.active + self.front_porch + self.sync + self.back_porch


@dataclass(frozen=True)
class Mode:
    """One line and field timing.

    Parameters
    ----------
    key, title : str
        The name used in board files; the name in words.
    line_rate_hz : Fraction
        Exact.
    lines_per_field : tuple of Fraction
        One entry when progressive, two (half-lines included) when interlaced.
    interlaced : bool
    active_lines : int or None
        Per frame; None where no standard fixes it.
    source : str
    trust : Trust
    pixel_clock_hz : Fraction or None
        Only where the mode fixes it, as are ``horizontal`` (pixels), ``vertical`` (lines) and ``polarity``
        (of hsync and vsync).
    """

    key: str
    title: str
    line_rate_hz: Fraction
    lines_per_field: tuple[Fraction, ...]
    interlaced: bool
    active_lines: int | None
    source: str
    trust: Trust
    pixel_clock_hz: Fraction | None = None
    horizontal: Blanking | None = None
    vertical: Blanking | None = None
    polarity: Literal["positive", "negative"] | None = None

    @property
    def lines_per_frame(self) -> Fraction:
        """Lines in one frame; equal to those of a field when progressive."""
        return sum(self.lines_per_field, Fraction(0))

    @property
    def field_rate_hz(self) -> Fraction:
        """Fields per second, exact."""
        return self.line_rate_hz * len(self.lines_per_field) / self.lines_per_frame

    @property
    def nominal_field_rate(self) -> Literal[50, 60]:
        """The family the mode belongs to: 50 or 60 Hz."""
        return 50 if self.field_rate_hz < Fraction(55) else 60

    @property
    def doubled(self) -> bool:
        """Whether the line rate is that of a computer monitor (about 31 kHz or more), not of a television."""
        return self.line_rate_hz > Fraction(20_000)


@dataclass(frozen=True)
class ModeDistance:
    """How far a measured timing is from a mode.

    Parameters
    ----------
    line_rate_ppm : float
        Measured minus the mode's, parts per million of the mode's.
    lines : float
        Usual measured lines per field minus the mode's.
    interlace_differs : bool
    close : bool
        Near enough to be called that mode: line rate within `NEAR_LINE_RATE`, line count and interlace equal.
    """

    line_rate_ppm: float
    lines: float
    interlace_differs: bool
    close: bool


def _progressive(lines: int) -> tuple[Fraction, ...]:
    return (Fraction(lines),)


def _low_definition(lines: int, line_rate_hz: Fraction, trust: Trust, source: str) -> Mode:
    half = 50 if line_rate_hz == LINE_RATE_625 else 60
    title = f"{lines}-line {half} Hz without interlace"
    return Mode(f"{lines}/{half}", title, line_rate_hz, _progressive(lines), False, None, source, trust)


def _fixed(
    key: str,
    title: str,
    clock_hz: int,
    horizontal: tuple[int, int, int, int],
    vertical: tuple[int, int, int, int],
    *,
    source: str,
    trust: Trust = "seen",
    polarity: Literal["positive", "negative"] = "negative",
) -> Mode:
    line, field = Blanking(*horizontal), Blanking(*vertical)
    return Mode(
        key,
        title,
        Fraction(clock_hz, line.total),
        _progressive(field.total),
        False,
        field.active,
        source,
        trust,
        Fraction(clock_hz),
        line,
        field,
        polarity,
    )


_ARITHMETIC = "{lines} whole lines at the broadcast line rate; no broadcast standard exists for it"
_CEA_FORM = "CEA-861 {vic}, as printed by edid-decode"
_LONGER = "CEA-861 {vic} with a longer front porch, stored tables; the standard was not read"
_DV = "V4L2 DV timings and edid-decode"

# Where two modes have one timing (312/50 and 288p), the general one comes first, so it is the one named.
_ALL = (
    Mode(
        "625/50",
        "625-line 50 Hz interlaced (PAL, SECAM)",
        LINE_RATE_625,
        (Fraction(625, 2),) * 2,
        True,
        576,
        "BT.470-6 Table 1; BT.1700 Table 1",
        "seen",
    ),
    Mode(
        "525/60",
        "525-line 59.94 Hz interlaced (NTSC)",
        LINE_RATE_525,
        (Fraction(525, 2),) * 2,
        True,
        483,
        "SMPTE 170M 11; BT.470-6 Table 1; BT.1700 Table 1",
        "seen",
    ),
    *(_low_definition(n, LINE_RATE_625, "derived", _ARITHMETIC.format(lines=n)) for n in (312, 313, 314)),
    *(_low_definition(n, LINE_RATE_525, "derived", _ARITHMETIC.format(lines=n)) for n in (262, 263)),
    _fixed(
        "240p",
        "240p, 720(1440) x 240 in 262 lines",
        27_000_000,
        (1440, 38, 124, 114),
        (240, 4, 3, 15),
        source=_CEA_FORM.format(vic="VIC 8/9"),
        trust="run",
    ),
    _fixed(
        "240p-263",
        "240p in 263 lines",
        27_000_000,
        (1440, 38, 124, 114),
        (240, 5, 3, 15),
        source=_LONGER.format(vic="VIC 8/9"),
        trust="seen-2nd",
    ),
    _fixed(
        "288p",
        "288p, 720(1440) x 288 in 312 lines",
        27_000_000,
        (1440, 24, 126, 138),
        (288, 2, 3, 19),
        source=_CEA_FORM.format(vic="VIC 23/24"),
        trust="run",
    ),
    _fixed(
        "288p-313",
        "288p in 313 lines",
        27_000_000,
        (1440, 24, 126, 138),
        (288, 3, 3, 19),
        source=_LONGER.format(vic="VIC 23/24"),
        trust="seen-2nd",
    ),
    _fixed(
        "288p-314",
        "288p in 314 lines",
        27_000_000,
        (1440, 24, 126, 138),
        (288, 4, 3, 19),
        source=_LONGER.format(vic="VIC 23/24"),
        trust="seen-2nd",
    ),
    Mode(
        "624/50",
        "312 lines shown twice each, 50 Hz, 31.25 kHz",
        2 * LINE_RATE_625,
        _progressive(624),
        False,
        None,
        "312/50 with line rate and lines doubled (arithmetic; no standard exists for it)",
        "derived",
    ),
    Mode(
        "524/60",
        "262 lines shown twice each, 60 Hz, 31.47 kHz",
        2 * LINE_RATE_525,
        _progressive(524),
        False,
        None,
        "262/60 with line rate and lines doubled (arithmetic; no standard exists for it)",
        "derived",
    ),
    _fixed("480p", "720 x 480 progressive", 27_000_000, (720, 16, 62, 60), (480, 9, 6, 30), source=_DV),
    _fixed("576p", "720 x 576 progressive", 27_000_000, (720, 12, 64, 68), (576, 5, 5, 39), source=_DV),
    # Vertical sync on lines 490-492; older kernels have 489 (references 12: use 490-492).
    _fixed("640x480", "640 x 480, 60 Hz", 25_175_000, (640, 16, 96, 48), (480, 10, 2, 33), source=_DV),
    _fixed(
        "800x600",
        "800 x 600, 60 Hz",
        40_000_000,
        (800, 40, 128, 88),
        (600, 1, 4, 23),
        source=_DV,
        polarity="positive",
    ),
    # Front porch 110, as in CEA-861; a library's 220 is the back porch.
    _fixed(
        "1280x720",
        "1280 x 720, 60 Hz",
        74_250_000,
        (1280, 110, 40, 220),
        (720, 5, 5, 20),
        source=_DV,
        polarity="positive",
    ),
)

MODES: dict[str, Mode] = {mode.key: mode for mode in _ALL}
"""Every known mode by key."""


def _distance(mode: Mode, line_rate_hz: float, usual_lines: float, *, interlaced: bool) -> ModeDistance:
    offset = line_rate_hz / float(mode.line_rate_hz) - 1.0
    lines = usual_lines - float(mode.lines_per_field[0])
    differs = interlaced != mode.interlaced
    # A counter of whole lines gives 312 and 313 in turn for two fields of 312.5.
    lines_equal = abs(lines) <= 0.5 if mode.interlaced else abs(lines) < 0.25  # noqa: PLR2004 - half-line steps
    close = abs(offset) <= NEAR_LINE_RATE and lines_equal and not differs
    return ModeDistance(offset * 1e6, lines, differs, close)


def _width_off(mode: Mode, hsync_width_s: float) -> float:
    """How far a line sync's width is from the mode's, as a ratio's logarithm; infinite when it fixes none."""
    if mode.horizontal is None or mode.pixel_clock_hz is None or hsync_width_s <= 0:
        return math.inf
    return abs(math.log(hsync_width_s / float(mode.horizontal.sync / mode.pixel_clock_hz)))


def usual_lines(lines_per_field: Sequence[float]) -> float:
    """Give the most frequent number of lines, of several the largest; that of one field where it is two.

    A field as long as two or three others together is several, whose sync is missing.
    """
    frequent = max(multimode(lines_per_field))
    parts = [n for n in lines_per_field for fields in (2, 3) if abs(fields * n / frequent - 1) <= SAME_PART]
    return float(min(parts, default=frequent))


def _lines_off(usual: float, nominal: float) -> float:
    """Part by which the lines are off the nominal ones, or those of two or three fields without sync."""
    return min(abs(usual / (fields * nominal) - 1) + UNLIKELY * (fields - 1) for fields in (1, 2, 3))


def nearest_mode(
    line_rate_hz: float,
    lines_per_field: Sequence[float],
    *,
    interlaced: bool,
    hsync_width_s: float | None = None,
) -> tuple[Mode, ModeDistance]:
    """Find the mode that a measured timing is nearest to.

    Parameters
    ----------
    line_rate_hz : float > 0
    lines_per_field : sequence of float > 0, not empty
        Of each field seen; the most frequent is what is compared, so that a lost line does not change the
        mode; of several the largest that is not two fields without a sync between them.
    interlaced : bool
    hsync_width_s : float, optional
        Tells modes apart whose rates are too near to: 480p and 640x480 are 7 ppm apart, but the line sync of
        one is 2.3 us wide, of the other 3.8 us.

    Returns
    -------
    Mode
        A close one when there is, else the one whose line rate and line count are least off.
    ModeDistance
        How far off; ``close`` says whether the timing may be called that mode.

    Raises
    ------
    ValueError
        When a value is not a positive number, or no field is given.
    """
    values = (line_rate_hz, *lines_per_field)
    if len(values) == 1 or not all(math.isfinite(value) and value > 0 for value in values):
        raise ValueError("a line rate and at least one line count, all positive, are needed")
    usual = usual_lines(lines_per_field)

    def badness(pair: tuple[Mode, ModeDistance]) -> tuple[bool, bool, bool, float]:
        mode, off = pair
        return (
            not off.close,
            # A field without its sync has twice the lines: that makes no mode of twice the line rate of it.
            abs(off.line_rate_ppm) > FAR_LINE_RATE_PPM,
            off.interlace_differs,
            math.hypot(off.line_rate_ppm * 1e-6, _lines_off(usual, float(mode.lines_per_field[0]))),
        )

    pairs = [(mode, _distance(mode, line_rate_hz, usual, interlaced=interlaced)) for mode in _ALL]
    best = min(pairs, key=badness)
    if hsync_width_s is None or not best[1].close or best[0].horizontal is None:
        return best
    rivals = [
        p for p in pairs if p[1].close and abs(p[1].line_rate_ppm - best[1].line_rate_ppm) < SAME_RATE_PPM
    ]
    return min(rivals, key=lambda pair: _width_off(pair[0], hsync_width_s))
