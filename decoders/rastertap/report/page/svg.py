"""A small plot with axes, drawn as SVG text; what it holds is escaped, what colours it has are the page's."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

LEFT, RIGHT, TOP, BOTTOM = 62, 14, 12, 40
LONG_POWER = 5
"""Powers of ten from this one on are written as such."""
RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
NICE = (1, 2, 2.5, 5, 10)
"""Steps between ticks, times a power of ten."""


@dataclass(frozen=True)
class Figure:
    """One drawing: its title, the SVG, what it shows in a sentence, and (words, path) of its marks."""

    title: str
    svg: Markup
    caption: str
    legend: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Axis:
    """What an axis shows: its label with the unit, its two ends; by factors of ten, or in whole numbers."""

    label: str
    low: float
    high: float
    log: bool = False
    whole: bool = False

    def place(self, values: ArrayLike) -> NDArray[np.float64]:
        """Places along the axis, 0..1; values beyond its ends are put at them."""
        shown = np.asarray(values, np.float64)
        low, high = self.low, self.high
        if self.log:
            shown, low, high = np.log10(np.maximum(shown, self.low)), math.log10(low), math.log10(high)
        return np.clip((shown - low) / ((high - low) or 1.0), 0.0, 1.0)

    def ticks(self, about: int = 6) -> list[float]:
        """Round values between the ends."""
        if self.log:
            powers = range(math.ceil(math.log10(self.low)), math.floor(math.log10(self.high)) + 1)
            return [10.0**p for p in powers]
        low, high = sorted((self.low, self.high))
        span = (high - low) or 1.0
        unit = 10 ** math.floor(math.log10(span / about))
        step = next(n * unit for n in NICE if span / (n * unit) <= about)
        step = max(round(step), 1) if self.whole else step
        first = math.ceil(low / step - 1e-9)
        last = math.floor(high / step + 1e-9)
        return [i * step for i in range(first, last + 1)]


def tick_text(value: float, axis: Axis) -> str:
    """Write the value at a tick."""
    if axis.log:
        power = round(math.log10(value))
        return f"{value:g}" if abs(power) < LONG_POWER else f"10{str(power).translate(RAISED)}"
    digits = max(0, 1 - math.floor(math.log10(abs(axis.high - axis.low) or 1.0)))
    text = f"{round(value, digits) + 0.0:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


@dataclass
class Plot:
    """Collects shapes in the order they are drawn.

    Parameters
    ----------
    x, y : Axis
    name : str
        What a screen reader says of it.
    width, height : int
        Of the whole drawing, user units.
    y_ticks : bool
        Whether the vertical axis has numbers.
    """

    x: Axis
    y: Axis
    name: str
    width: int = 640
    height: int = 240
    y_ticks: bool = True
    _shapes: list[Markup] = field(default_factory=list)

    def across(self, values: ArrayLike) -> NDArray[np.float64]:
        """Horizontal positions of values."""
        return LEFT + self.x.place(values) * (self.width - LEFT - RIGHT)

    def down(self, values: ArrayLike) -> NDArray[np.float64]:
        """Vertical positions of values."""
        return self.height - BOTTOM - self.y.place(values) * (self.height - TOP - BOTTOM)

    def add(self, shape: str, **values: object) -> None:
        """Add a shape; values are escaped into it."""
        self._shapes.append(Markup(shape).format(**values))  # noqa: S704 - the pattern is ours, values are escaped

    def line(self, xs: ArrayLike, ys: ArrayLike, kind: str = "trace") -> None:
        """Draw a line through points."""
        points = zip(self.across(xs), self.down(ys), strict=True)
        path = "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in points)
        self.add('<path class="{kind}" d="{path}"/>', kind=kind, path=path)

    def bars(self, left: ArrayLike, right: ArrayLike, heights: ArrayLike) -> None:
        """Draw bars from the bottom; empty ones are left out."""
        base = float(self.down(self.y.low))
        shown = np.asarray(heights, np.float64)
        path = "".join(
            f"M{a:.1f} {base:.1f}V{c:.1f}H{b:.1f}V{base:.1f}Z"
            for a, b, c, h in zip(self.across(left), self.across(right), self.down(shown), shown, strict=True)
            if h > 0
        )
        self.add('<path class="bar" d="{path}"/>', path=path)

    def band(self, low: float, high: float, kind: str = "quiet") -> None:
        """Shade a stretch of the horizontal axis."""
        a, b = (float(v) for v in self.across([low, high]))
        top, bottom = TOP, self.height - BOTTOM
        self.add(
            '<rect class="{kind}" x="{a:.1f}" y="{top}" width="{w:.1f}" height="{h}"/>',
            kind=kind, a=a, w=max(b - a, 1.0), top=top, h=bottom - top,
        )  # fmt: skip

    def frame(self, left: float, right: float, bottom: float, top: float) -> None:
        """Draw the outline of a rectangle."""
        a, b, c, d = (*self.across([left, right]), *self.down([bottom, top]))
        self.add('<path class="frame" d="M{a:.1f} {c:.1f}H{b:.1f}V{d:.1f}H{a:.1f}Z"/>', a=a, b=b, c=c, d=d)

    def upright(self, value: float, label: str, kind: str = "limit") -> None:
        """Draw an upright line with its label."""
        a = float(self.across(value))
        end = a > self.width * 0.7
        self.add(
            '<path class="{kind}" d="M{a:.1f} {top}V{bottom}"/>'
            '<text class="{kind}-text" x="{t:.1f}" y="{y}" text-anchor="{anchor}">{label}</text>',
            kind=kind, a=a, top=TOP, bottom=self.height - BOTTOM, label=label, y=TOP + 11,
            t=a - 4 if end else a + 4, anchor="end" if end else "start",
        )  # fmt: skip

    def _axes(self) -> Markup:
        left, bottom, right = LEFT, self.height - BOTTOM, self.width - RIGHT
        parts = [Markup('<path class="axis" d="M{} {}V{}H{}"/>').format(left, TOP, bottom, right)]
        for value, a in zip(ticks := self.x.ticks(), self.across(ticks), strict=True):
            text = tick_text(value, self.x)
            parts.append(_tick(f"M{a:.1f} {bottom}v4", a, bottom + 16, "middle", text))
        if self.y_ticks:
            for value, b in zip(ticks := self.y.ticks(4), self.down(ticks), strict=True):
                text = tick_text(value, self.y)
                parts.append(_tick(f"M{left} {b:.1f}h-4", left - 7, b + 4, "end", text))
        parts.append(_label((left + right) / 2, self.height - 6, self.x.label, ""))
        middle = (TOP + bottom) / 2
        parts.append(_label(13, middle, self.y.label, f"rotate(-90 13 {middle:.0f})"))
        return Markup("").join(parts)

    def svg(self) -> Markup:
        """Give the whole drawing."""
        shapes = Markup("").join(self._shapes)
        linked = "group" if "<a " in shapes else "img"
        return Markup(
            '<svg class="plot" viewBox="0 0 {w} {h}" role="{role}" aria-label="{name}">{axes}{shapes}</svg>'
        ).format(w=self.width, h=self.height, role=linked, name=self.name, axes=self._axes(), shapes=shapes)


def _tick(path: str, x: float, y: float, anchor: str, text: str) -> Markup:
    return Markup('<path class="axis" d="{}"/><text x="{:.1f}" y="{:.1f}" text-anchor="{}">{}</text>').format(
        path, x, y, anchor, text
    )


def _label(x: float, y: float, text: str, transform: str) -> Markup:
    turned = Markup(' transform="{}"').format(transform) if transform else Markup("")
    return Markup('<text class="label" x="{:.0f}" y="{:.0f}" text-anchor="middle"{}>{}</text>').format(
        x, y, turned, text
    )


def ends(values: Sequence[float] | NDArray[np.float64], *, margin: float = 0.05) -> tuple[float, float]:
    """Lowest and highest value with a margin around them; never the same."""
    low, high = float(np.min(values)), float(np.max(values))
    room = (high - low) * margin or max(abs(high) * 1e-6, 1e-9)
    return low - room, high + room
