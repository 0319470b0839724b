"""What differs between a good capture and another one, whatever their rates, channel orders and starts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from rastertap.board.model import SCHEMA, Board
from rastertap.checks.clock import frequency_hz
from rastertap.checks.expected_picture import rebuilt_pictures
from rastertap.checks.picture_bits import BitSolution, solve
from rastertap.checks.wiring import explain, role_words
from rastertap.checks.wiring_words import story_words
from rastertap.measured import COVERAGE, Measured
from rastertap.printable import table_name
from rastertap.streams.counts import field_periods, lines_per_field

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from rastertap.analyse import Analysis
    from rastertap.checks.expected_picture import ExpectedPicture
    from rastertap.checks.interface import Evidence
    from rastertap.checks.wiring import Explanation

Group = Literal["taps", "clock", "timing", "picture", "findings"]
Value = float | str | None
ANEW = "all signals are there: of no account if the analyser's leads were put on in another order"
SURE = 3.0
"""Standard uncertainties by which captures must differ: of many rows, one in twenty exceeds 2 by chance."""


@dataclass(frozen=True)
class Row:
    """One quantity in both captures.

    Parameters
    ----------
    group : Group
    name : str
        What is compared.
    good, this : float, str or None
        In the good capture and in the other one; None: not measured there.
    unit : str
        Of both.
    uncertainty : float or None
        One standard uncertainty of their difference; None for counts and words, which are exact.
    differs : bool or None
        Whether the difference exceeds `SURE` times its uncertainty; None when one of them was not measured.
    text : str
        More about it, for a person.
    """

    group: Group
    name: str
    good: Value
    this: Value
    unit: str = ""
    uncertainty: float | None = None
    differs: bool | None = None
    text: str = ""


@dataclass(frozen=True, eq=False)
class Comparison:
    """Both analyses and all that was compared."""

    good: Analysis
    this: Analysis
    rows: tuple[Row, ...]

    @property
    def differing(self) -> tuple[Row, ...]:
        """The rows whose difference exceeds its uncertainty."""
        return tuple(r for r in self.rows if r.differs)


def board_of(good: Analysis) -> Board | None:
    """Make the good capture's pins the expected ones; None when it shows none."""
    pins = {}
    for pin in good.pins:
        if pin.role != "other" and (pin.role != "colour" or pin.bit is not None):
            stated = {"role": pin.role, "bit": pin.bit, "polarity": pin.polarity}
            pins[pin.channel] = {key: value for key, value in stated.items() if value is not None}
    if not pins:
        return None
    return Board.model_validate({"schema": SCHEMA, "name": "the good capture", "pins": pins})


def shares_channels(good: Analysis, channels: set[str]) -> bool:
    """Whether the other capture has the channels that the good one uses, so that wires can be compared."""
    return {p.channel for p in good.pins if p.role != "other"} <= channels


def compare(good: Analysis, this: Analysis, *, same_analyser: bool = False) -> Comparison:
    """Compare two analyses.

    Parameters
    ----------
    good : Analysis
        Of the capture that is right.
    this : Analysis
        Of the other; with `board_of` the first for its board where the user gave none.
    same_analyser : bool
        Both were taken with one analyser: the error of its timebase is in both and cancels.
    """
    picture = _Picture(good.evidence, this.evidence)
    there = {p.channel for p in this.pins}
    found = None
    if shares_channels(good, there) and this.evidence.board is not None:
        found = explain(this.evidence, picture.pictures or None)
    rows = [
        *_taps(good, this, picture, found),
        *_clock(good, this, same_analyser=same_analyser),
        *_timing(good, this, same_analyser=same_analyser),
        *_picture(good, this, picture),
        *_findings(good, this, found),
    ]
    return Comparison(good, this, tuple(rows))


class _Picture:
    """The good capture's frames laid on the other's: in the same place, or wherever they fit best."""

    def __init__(self, good: Evidence, this: Evidence) -> None:
        self.pictures: tuple[ExpectedPicture, ...] = ()
        self.solution: BitSolution | None = None
        if good.frames is None or good.colour_bus is None or not good.frames.complete:
            return
        bits = len(good.colour_bus.bits)
        self.pictures = rebuilt_pictures(good.frames, good.colour_bus)
        if this.frames is None or this.colour_bus is None:
            return
        self.solution = solve(this.frames, this.colour_bus, self.pictures, bits)
        if self.solution is None or not self.solution.shown or self.solution.wrong.any():
            loose = rebuilt_pictures(good.frames, good.colour_bus, active_only=True)
            found = solve(this.frames, this.colour_bus, loose, bits) if loose else None
            if found is not None and self._shows_more(found):
                self.solution, self.pictures = found, loose

    def _shows_more(self, found: BitSolution) -> bool:
        """Whether a picture that may lie anywhere explains more than one in its place."""
        if self.solution is None or not self.solution.shown:
            return found.shown
        return found.shown and all(found.fits.values()) and found.wrong.sum() < self.solution.wrong.sum()


def _taps(good: Analysis, this: Analysis, picture: _Picture, found: Explanation | None) -> Iterator[Row]:
    if found is not None:
        faults = found.story.faults
        words = story_words(found.story)
        if found.rivals:
            words += "; or as well: " + "; or ".join(story_words(r) for r in found.rivals)
        # Leads that were put on anew carry the same signals on other channels, and nothing else.
        text = ANEW if faults and len(found.story.of("swapped")) == len(faults) else ""
        yield Row(
            "taps", "wiring", "as it is", words if faults else "the same", differs=bool(faults), text=text
        )
        return
    fits = picture.solution.fits if picture.solution is not None and picture.solution.shown else {}
    for pin in good.pins:
        if pin.role == "other":
            continue
        if pin.role == "colour" and fits:
            carriers = [n for n, found_fits in fits.items() if any(f.bit == pin.bit for f in found_fits)]
        else:
            carriers = [p.channel for p in this.pins if p.role == pin.role and pin.role != "colour"]
        if pin.role == "colour" and not fits:
            yield Row("taps", role_words(pin.role, pin.bit), pin.channel, None)
            continue
        where = " or ".join(carriers) or "nowhere"
        yield Row("taps", role_words(pin.role, pin.bit), pin.channel, where, differs=not carriers)


def _row(
    group: Group,
    name: str,
    values: Iterable[Measured | None],
    *,
    scale: float = 1.0,
    unit: str = "",
    sure: float = SURE,
) -> Row:
    """Compare two measured values, the good one first; ``scale`` turns them into ``unit``."""
    good, this = values
    if good is None or this is None:
        known = [None if m is None else m.value * scale for m in (good, this)]
        return Row(group, name, known[0], known[1], unit)
    uncertainty = math.hypot(good.uncertainty, this.uncertainty)
    differs = abs(good.value - this.value) > sure * uncertainty
    return Row(group, name, good.value * scale, this.value * scale, unit, uncertainty * scale, differs)


def _exact(group: Group, name: str, values: Iterable[Value], unit: str = "") -> Row:
    """Compare two counts or words, the good one first."""
    good, this = values
    differs = None if good is None or this is None else good != this
    return Row(group, name, good, this, unit, None, differs)


def _seconds(measured: Measured | None, analysis: Analysis) -> Measured | None:
    if measured is None:
        return None
    tick = float(analysis.capture.tick)
    return Measured(measured.value * tick, measured.uncertainty * tick, "s")


def _with_timebase(measured: Measured | None, analysis: Analysis, *, same: bool) -> Measured | None:
    if measured is None or same:
        return measured
    return measured.with_timebase(analysis.request.timebase_ppm)


def _per_second(count: int, analysis: Analysis) -> Measured:
    """Rate of a count with its Poisson uncertainty; one more is taken, for none seen is not none at all."""
    span = analysis.capture.span_s
    return Measured(count / span, math.sqrt(count + 1) / span, "/s")


def _clock(good: Analysis, this: Analysis, *, same_analyser: bool) -> Iterator[Row]:
    both = (good, this)
    clocks = [a.evidence.pixel_clock for a in both]
    yield _exact("clock", "source", (None if c is None else c.source for c in clocks))
    hertz = [
        None if c is None else frequency_hz(c, float(a.capture.tick))
        for c, a in zip(clocks, both, strict=True)
    ]
    hertz = [_with_timebase(f, a, same=same_analyser) for f, a in zip(hertz, both, strict=True)]
    yield _row("clock", "frequency", hertz, scale=1e-6, unit="MHz")
    for name, key in (("period jitter", "period_jitter"), ("cycle-to-cycle jitter", "cycle_jitter")):
        jitter = [_seconds(getattr(c, key, None), a) for c, a in zip(clocks, both, strict=True)]
        yield _row("clock", name, jitter, scale=1e9, unit="ns rms")
    yield _row("clock", "duty", (None if c is None else c.duty for c in clocks), scale=100, unit="%")
    for name, key in (("missing cycles", "missing"), ("extra edges", "extra")):
        rates = [
            None if c is None else _per_second(getattr(c, key).size, a)
            for c, a in zip(clocks, both, strict=True)
        ]
        yield _row("clock", name, rates, unit="a second", sure=COVERAGE)
    buses = [a.evidence.colour_bus for a in both]
    for name, key in (("margin before", "margin_before"), ("margin after", "margin_after")):
        room = [
            None if b is None else _seconds(getattr(b.sampling, key), a)
            for b, a in zip(buses, both, strict=True)
        ]
        yield _row("clock", f"sampling {name}", room, scale=1e9, unit="ns")


def _timing(good: Analysis, this: Analysis, *, same_analyser: bool) -> Iterator[Row]:
    both = (good, this)
    syncs = [a.evidence.sync for a in both]
    modes = [a.evidence.mode for a in both]
    yield _exact("timing", "nearest standard", (None if m is None else m.key for m in modes))
    for name, key in (("kind of sync", "kind"), ("line sync polarity", "line_polarity")):
        yield _exact("timing", name, (None if s is None else getattr(s, key) for s in syncs))
    yield _exact("timing", "interlaced", (None if s is None else _yes(s.interlaced) for s in syncs))
    for name, key in (("line period", "line_period"), ("line sync width", "line_width")):
        widths = [
            _with_timebase(_seconds(None if s is None else getattr(s, key), a), a, same=same_analyser)
            for s, a in zip(syncs, both, strict=True)
        ]
        yield _row("timing", name, widths, scale=1e6, unit="us")
    yield _row(
        "timing", "field sync width", (None if s is None else s.field_width for s in syncs), unit="lines"
    )
    counts = [None if s is None else _usual(lines_per_field(s)) for s in syncs]
    yield _exact("timing", "lines a field", counts, unit="lines")
    rates = [
        _with_timebase(_field_rate(a), a, same=same_analyser) if s is not None else None
        for s, a in zip(syncs, both, strict=True)
    ]
    yield _row("timing", "field rate", rates, unit="Hz")
    frames = [a.evidence.frames for a in both]
    yield _exact("timing", "pixel clocks a line", (None if f is None else f.clocks_per_line for f in frames))


def _yes(flag: bool | None) -> str | None:  # noqa: FBT001 - a value, not an option
    return None if flag is None else "yes" if flag else "no"


def _usual(counts: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float | None:
    return float(np.median(counts)) if counts.size else None


def _field_rate(analysis: Analysis) -> Measured | None:
    sync = analysis.evidence.sync
    periods = field_periods(sync) if sync is not None else np.empty(0)
    if not periods.size:
        return None
    tick = float(analysis.capture.tick)
    step = analysis.capture.step
    rate = 1 / (float(periods.mean()) * tick)
    return Measured(rate, rate * step / float(periods.sum()), "Hz")


def _picture(good: Analysis, this: Analysis, picture: _Picture) -> Iterator[Row]:
    sizes = []
    for analysis in (good, this):
        frames = analysis.evidence.frames
        area = frames.active if frames is not None else None
        sizes.append(None if area is None else f"{area.width} x {area.height}")
    yield _exact("picture", "active area", sizes, unit="pixels")
    solution = picture.solution
    if solution is None:
        yield Row(
            "picture", "pixels that differ", None, None, text="one of the captures has no rebuilt picture"
        )
        return
    if not solution.shown:
        text = "another picture, or one that is wrong from end to end"
        yield Row("picture", "picture", "as it is", "another", differs=True, text=text)
        return
    wrong = int(solution.wrong.sum())
    text = f"of {solution.pixels} compared, the bits read as the good capture has them"
    yield Row("picture", "pixels that differ", 0, wrong, "pixels", None, wrong > 0, text)
    lost = [table_name(name) for name, fits in solution.fits.items() if not fits]
    if lost:
        text = "a bit of the picture is wrong or missing there, in part or all of it"
        yield Row("picture", "bits left out", 0, ", ".join(lost), differs=True, text=text)
    x, y = solution.moved
    if (x, y) != (0, 0):
        text = f"{x:+d} pixels across, {y:+d} lines down"
        yield Row("picture", "place on the raster", "as it is", text, differs=True)


def _findings(good: Analysis, this: Analysis, found: Explanation | None) -> Iterator[Row]:
    """List the findings whose result changed to or from a fault.

    Of those on the wiring only what the wiring's own row says too: that one knows the good capture's picture,
    and names the exchanged wires itself.
    """
    before = {f.id: f for f in good.findings}
    known = (
        {f"taps.{f.kind}" for f in found.story.faults if f.kind != "swapped"} if found is not None else set()
    )
    for finding in this.findings:
        if found is not None and finding.id.startswith("taps.") and finding.id not in known:
            continue
        old = before.get(finding.id)
        if old is not None and old.result != finding.result and "fail" in {old.result, finding.result}:
            told = finding.text if finding.result == "fail" else old.text
            yield Row("findings", finding.id, old.result, finding.result, differs=True, text=told)
