"""What happens now and then, on the grid of fields and lines; each mark links to its place in the picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rastertap.report.page.svg import Axis, Figure, Plot
from rastertap.streams.model import EVENT_KINDS

if TYPE_CHECKING:
    from rastertap.analyse import Analysis
    from rastertap.report.page.places import Places, Spot

MOST_MARKS = 400
"""Marks drawn of each kind; the caption says how many there were."""
MOST_COLUMNS = 60
"""Fields drawn as columns; of more they would be too narrow to see."""
KINDS: dict[str, tuple[str, str]] = {
    "missing": ("line sync missing", "M-4-4L4 4M-4 4L4-4"),
    "short": ("line too short", "M0-5L5 4H-5Z"),
    "long": ("line too long", "M0 5L5-4H-5Z"),
    "displaced": ("line sync displaced", "M0-5L5 0L0 5L-5 0Z"),
    "width": ("line sync of another width", "M-4-4H4V4H-4Z"),
    "glitch": ("stray sync edge", "M0-5V5M-5 0H5"),
    "gap": ("clock cycle missing", "M-5 0A5 5 0 1 0 5 0A5 5 0 1 0-5 0Z"),
    "extra": ("extra clock edge", "M-3-5V5M3-5V5"),
    "jump": ("clock phase jumps", "M-5 4H0V-4H5"),
}
"""Kind to (words, path of its mark): kinds differ by shape, not by colour."""


@dataclass(frozen=True)
class Mark:
    """One event: its kind, time in seconds, and place."""

    kind: str
    second: float
    spot: Spot


def marks(analysis: Analysis, places: Places) -> tuple[list[Mark], dict[str, int]]:
    """Gather the events that can be placed, and how many of each kind there were."""
    sync, clock, capture = analysis.evidence.sync, analysis.evidence.pixel_clock, analysis.capture
    times: dict[str, list[int]] = {kind: [] for kind in KINDS}
    counts = dict.fromkeys(KINDS, 0)
    if sync is not None:
        for name in EVENT_KINDS:
            times[name] = sync.events.times[sync.events.of(name)].tolist()
            counts[name] = sync.events.count(name)
    if clock is not None:
        for kind, at in (("gap", clock.missing), ("extra", clock.extra)):
            times[kind], counts[kind] = at.tolist(), at.size
        if clock.record is not None:
            jumps = clock.record.events.jumps
            times["jump"], counts["jump"] = jumps.at.tolist(), jumps.count
    found = [
        Mark(kind, capture.seconds(tick), spot)
        for kind, ticks in times.items()
        for tick in ticks[:MOST_MARKS]
        if (spot := places.at(tick)) is not None
    ]
    return found, {kind: n for kind, n in counts.items() if n}


def event_grid(analysis: Analysis, places: Places) -> Figure | str:
    """Draw fields across, lines down."""
    found, counts = marks(analysis, places)
    if not counts:
        return "Nothing happened now and then: no missing, extra or displaced edge of clock or sync."
    frames = analysis.evidence.frames
    notes = [n for n in frames.notes if n.field != "woven"] if frames is not None else []
    tallest = max(n.raster_height for n in notes)
    listed = ", ".join(f"{KINDS[kind][0]}: {n}" for kind, n in counts.items())
    plot = Plot(
        Axis("field", notes[0].index - 0.5, notes[-1].index + 0.5, whole=True),
        Axis("line of the field", float(tallest), 0.0),
        f"Events on fields and lines. {listed}.",
        height=320,
    )
    wide = analysis.evidence.streams["frames"].pixels_per_line
    for note in notes[:MOST_COLUMNS]:
        plot.frame(note.index - 0.4, note.index + 0.4, note.raster_height, 0.0)
    for mark in found:
        across = mark.spot.field - 0.4 + 0.8 * mark.spot.pixel / wide
        x, y = float(plot.across(across)), float(plot.down(mark.spot.line))
        _draw(plot, mark, x, y)
    text = f"{listed}. Within each field a mark lies as far to the right as its pixel in the line."
    if len(found) < sum(counts.values()):
        text += f" {len(found)} of them are drawn: the first of each kind, where a field covers them."
    return Figure("Events by field and line", plot.svg(), text, tuple(KINDS[kind] for kind in counts))


def _draw(plot: Plot, mark: Mark, x: float, y: float) -> None:
    words, path = KINDS[mark.kind]
    spot = mark.spot
    where = f"{words}: field {spot.field}, line {spot.line}, pixel {spot.pixel}, {mark.second * 1e3:.4f} ms"
    shape = (
        '<path class="mark {kind}" transform="translate({x:.1f} {y:.1f})" d="{path}">'
        "<title>{where}</title></path>"
    )
    values = {"kind": mark.kind, "x": x, "y": y, "path": path, "where": where}
    if not spot.kept:
        plot.add(shape, **values)
        return
    plot.add(
        '<a href="#picture" aria-label="{where}" data-field="{f}" data-line="{l}" data-pixel="{p}">'
        + shape
        + "</a>",
        f=spot.field, l=spot.line, p=spot.pixel, **values,
    )  # fmt: skip
