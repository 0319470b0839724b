"""The few SVG elements that the drawings are made of."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

COLOURS = {
    "ink": ("#1f2430", "#e6e8ee"),
    "faint": ("#5f6675", "#a3aabb"),
    "grid": ("#d9dde5", "#353b49"),
    "paper": ("#ffffff", "#14171d"),
    "good": ("#187a4b", "#5fd39a"),
    "bad": ("#b3261e", "#ff8a80"),
    "doubt": ("#8a5a00", "#ffc266"),
    "band": ("#cfe8da", "#1f4a36"),
}
"""Light and dark; a page may set ``--rt-ink`` and the others itself. Texts have 4.5 : 1 or more against the
paper (WCAG 2 contrast), and no result is told by colour alone."""

_RULES = (
    (".rt text", "fill", "ink", "font:12px system-ui,'DejaVu Sans',sans-serif"),
    (".rt .small", "fill", "faint", "font-size:11px"),
    (".rt .head", "fill", "ink", "font-weight:600;font-size:14px"),
    (".rt .paper", "fill", "paper", ""),
    (".rt .band", "fill", "band", ""),
    (".rt .wave", "stroke", "ink", "fill:none;stroke-width:1.5"),
    (".rt .grid", "stroke", "grid", ""),
    (".rt .size", "stroke", "faint", ""),
    *((f".rt line.{kind}", "stroke", kind, "stroke-width:3") for kind in ("good", "bad", "doubt", "faint")),
    *((f".rt text.{kind}", "fill", kind, "") for kind in ("good", "bad", "doubt", "faint")),
)


def style() -> str:
    """Write the rules; a viewer that does not know custom properties keeps the light colour before them."""
    rules = [
        f"{which}{{{more}{';' if more else ''}{what}:{COLOURS[colour][0]};"
        f"{what}:var(--rt-{colour},{COLOURS[colour][0]})}}"
        for which, what, colour, more in _RULES
    ]
    dark = ";".join(f"--rt-{name}:{pair[1]}" for name, pair in COLOURS.items())
    rules.append(f"@media (prefers-color-scheme:dark){{.rt{{{dark}}}}}")
    rules.append(".rt .number{font-variant-numeric:tabular-nums}")
    return "\n".join(rules)


def number(value: float) -> str:
    """Write a coordinate, two decimals at most."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def text(x: float, y: float, words: str, *, kind: str = "", anchor: str = "start") -> str:
    """Write words; they are escaped here."""
    return (
        f'<text x="{number(x)}" y="{number(y)}" class="{kind}" text-anchor="{anchor}">{escape(words)}</text>'
    )


def line(x1: float, y1: float, x2: float, y2: float, kind: str) -> str:
    """Draw a straight line."""
    return f'<line x1="{number(x1)}" y1="{number(y1)}" x2="{number(x2)}" y2="{number(y2)}" class="{kind}"/>'


def box(x: float, y: float, width: float, height: float, kind: str) -> str:
    """Draw a filled rectangle; a negative width is none."""
    return (
        f'<rect x="{number(x)}" y="{number(y)}" width="{number(max(width, 0.0))}" height="{number(height)}"'
        f' class="{kind}"/>'
    )


def path(points: Sequence[tuple[float, float]], kind: str) -> str:
    """Draw an open line through points."""
    corners = " ".join(f"{number(x)},{number(y)}" for x, y in points)
    return f'<polyline points="{corners}" class="{kind}"/>'


def document(width: float, height: float, title: str, description: str, body: Iterable[str]) -> str:
    """Put a drawing together; title and description are read aloud by a screen reader."""
    inside = "\n".join(body)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="rt" role="img" viewBox="0 0 {number(width)}'
        f' {number(height)}" width="{number(width)}" height="{number(height)}">\n'
        f"<title>{escape(title)}</title>\n<desc>{escape(description)}</desc>\n<style>{style()}</style>\n"
        f"{box(0, 0, width, height, 'paper')}\n{inside}\n</svg>\n"
    )
