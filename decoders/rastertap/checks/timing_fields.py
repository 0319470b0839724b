"""Findings on fields: how many lines each has, whether one lacks its sync, or loses a line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.checks.interface import Evidence, Finding
from rastertap.checks.make import PRACTICE, interval, none_allowed, not_measured
from rastertap.checks.repetition import in_fields
from rastertap.checks.timing_rows import far_from_all, lines_per_field_usual
from rastertap.printable import plural
from rastertap.streams.counts import lines_per_field
from rastertap.streams.role_judges import FIELD_BLANKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from rastertap.standards.limit import Limit
    from rastertap.streams.model import Sync

MISSING_FIELD_SYNC = 1.8
"""An interval of this many usual fields or more holds a missing field sync."""
ENDS = 12
"""Lines, besides its width, within which a field sync due near an end of the capture may be cut by it: its
equalising pulses, and a few lines by which to find the line rate."""
FEWEST_ALTERNATIONS = 4
"""Fields long and short in turn from which that is taken for a pattern."""
SEVERAL = 0.05
"""Part of a standard's field by which lines between field syncs may be off a whole number of fields."""
NEARLY = 3
"""Lines that a field may lack, of a standard's, for the text to say so."""


def expected_lines(evidence: Evidence) -> float | None:
    """Lines per field by the board file, else by the nearest standard when it is close."""
    if evidence.board is not None and evidence.board.timing.lines_per_field is not None:
        return float(np.median(evidence.board.timing.lines_per_field))
    if evidence.mode is not None and evidence.mode_close:
        return float(evidence.mode.lines_per_field[0])
    return None


def _one_field(evidence: Evidence, counts: NDArray[np.float64]) -> float:
    """Lines that one field has; where all seem to be two or more, by the standard that is near."""
    expected = expected_lines(evidence)
    least = float(np.min(counts))
    if expected is not None or evidence.mode is None or far_from_all(evidence):
        return expected or least
    nominal = float(evidence.mode.lines_per_field[0])
    fields = round(least / nominal)
    several = fields > 1 and abs(least - fields * nominal) < SEVERAL * nominal
    return least / fields if several else least


def _long(counts: NDArray[np.float64], usual: float) -> NDArray[np.bool_]:
    return np.asarray(counts >= MISSING_FIELD_SYNC * usual, np.bool_)


def usual_lines(evidence: Evidence, sync: Sync) -> float:
    """Usual lines of a field: what is expected, when some field has that many; else the most frequent."""
    counts = lines_per_field(sync)
    expected = expected_lines(evidence)
    if expected is not None and (counts == expected).any():
        return expected
    return lines_per_field_usual(sync) or 0.0


def _due_at_the_ends(evidence: Evidence, sync: Sync, usual: float) -> NDArray[np.int64]:
    """Give the times (ticks) at which field syncs were due before the first one seen and after the last.

    Where blanking stands for sync its place shows only by the picture on both sides.
    """
    starts, capture, width = sync.fields.starts, evidence.capture, sync.field_width
    if sync.kind not in {"separate", "composite"} or width is None:
        return np.empty(0, np.int64)
    field = usual * sync.line_period.value
    spare = (ENDS + width.value) * sync.line_period.value
    before = starts[0] - np.arange(1, int((starts[0] - capture.start - spare) / field) + 1) * field
    after = starts[-1] + np.arange(1, int((capture.end - starts[-1] - spare) / field) + 1) * field
    return np.asarray(np.rint(np.concatenate((before[::-1], after))), np.int64)


def missing_vsync(evidence: Evidence, sync: Sync) -> Finding:
    """Fields without a field sync."""
    counts = lines_per_field(sync)
    expected = expected_lines(evidence)
    if not counts.size and (expected is None or not sync.fields.starts.size):
        return not_measured("sync.missing_vsync", "No whole field in the capture.")
    # Where every second sync is missing, all fields seem twice as long: what is expected decides.
    usual = _one_field(evidence, counts) if counts.size else expected or 0.0
    long = _long(counts, usual)
    ends = _due_at_the_ends(evidence, sync, usual)
    if not counts.size and not ends.size:
        return not_measured("sync.missing_vsync", "No whole field in the capture.")
    lost = int(np.sum(np.round(counts[long] / usual) - 1)) + ends.size
    where = in_fields(np.flatnonzero(long)) if long.sum() > 1 else ""
    text = f"{plural(lost, 'field sync')} missing{', ' + where if where else ''}:"
    text += " the picture rolls once each time."
    times = np.sort(np.concatenate((sync.fields.starts[: counts.size][long], ends)))
    none = "Every field has its sync."
    return none_allowed("sync.missing_vsync", times, lost, evidence, none=none, some=text)


def line_counts(evidence: Evidence, sync: Sync, limits: Mapping[str, Limit]) -> Iterator[Finding]:
    """Lines of every field and of a frame."""
    counts = lines_per_field(sync)
    if not counts.size:
        yield not_measured("timing.lines_per_field", "No whole field in the capture.")
        yield not_measured("timing.lines_per_frame", "No whole field in the capture.")
        return
    usual = usual_lines(evidence, sync)
    whole = ~_long(counts, _one_field(evidence, counts))
    if not whole.any():
        reason = "No field ends with a field sync of its own: see sync.missing_vsync."
        yield not_measured("timing.lines_per_field", reason)
        yield not_measured("timing.lines_per_frame", reason)
        return
    starts = sync.fields.starts[: counts.size]
    yield _per_field(evidence, sync, counts[whole], starts[whole], usual, limits.get("lines_per_field"))
    if sync.interlaced and counts.size < 2:  # noqa: PLR2004 - a frame is two fields
        yield not_measured("timing.lines_per_frame", "The capture holds no whole frame of two fields.")
        return
    frame = usual * (2 if sync.interlaced else 1)
    text = f"{frame:g} lines a frame, {'interlaced' if sync.interlaced else 'not interlaced'}."
    if sync.interlaced and by_blanking(sync):
        text += " So says its field blanking, half a line or a line later in every second field."
    yield _counted("timing.lines_per_frame", frame, limits.get("lines_per_frame"), text)


def by_blanking(sync: Sync) -> bool:
    """Whether fields are known by their blanking only, not by where in the line the field sync is."""
    if sync.kind == "blanking" and len(sync.channels) == 1:
        return True
    width = sync.field_width
    return sync.kind != "embedded" and width is not None and width.value > FIELD_BLANKING


def _counted(finding: str, value: float, limit: Limit | None, text: str) -> Finding:
    """Compare a count with its limit; a count has no uncertainty."""
    if limit is None:
        text = f"{text} No limit for it in this set."
        return Finding(finding, "not_measured", text, value, 0.0, unit="lines")
    source = limit.source if limit.trust in limit.source else f"{limit.source} ({limit.trust})"
    result = "pass" if limit.low <= value <= limit.high else "fail"
    allowed = interval(limit.low, limit.high, "lines")
    return Finding(finding, result, text, value, 0.0, allowed, "lines", source)  # type: ignore[arg-type]


def _per_field(  # noqa: PLR0917 - what one finding says
    evidence: Evidence,
    sync: Sync,
    counts: NDArray[np.float64],
    starts: NDArray[np.int64],
    usual: float,
    limit: Limit | None,
) -> Finding:
    values, number = np.unique(counts, return_counts=True)
    listed = ", ".join(f"{v:g} ({plural(int(n), 'field')})" for v, n in zip(values, number, strict=True))
    text = f"Lines a field: {listed}."
    board = evidence.board.timing.lines_per_field if evidence.board is not None else None
    stated = {float(b) for b in board} if board is not None else set()
    if values.size > 1 and not (stated and set(values.tolist()) <= stated):
        odd = counts != usual
        return _uneven(evidence, sync, text, counts, starts[odd], usual, stated)
    return _counted("timing.lines_per_field", usual, limit, text + _remark(evidence, usual))


def _uneven(  # noqa: PLR0917 - what one finding says
    evidence: Evidence,
    sync: Sync,
    text: str,
    counts: NDArray[np.float64],
    times: NDArray[np.int64],
    usual: float,
    stated: set[float],
) -> Finding:
    """Fields of different length: a line lost (or added) in some, or long and short in turn."""
    if by_blanking(sync) and np.ptp(counts) == 1 and (counts[2:] == counts[:-2]).all():
        text += " Long and short in turn, as the blanking of an interlaced source is: record more fields."
        return Finding("timing.lines_per_field", "not_measured", text, usual, 0.0, unit="lines")
    odd = counts != usual
    off = counts[odd] - usual
    lost, added = int(-off[off < 0].sum()), int(off[off > 0].sum())
    parts = [f"{plural(n, 'line')} {what}" for n, what in ((lost, "lost"), (added, "too many")) if n]
    where = in_fields(np.flatnonzero(odd))
    many = f"in {int(odd.sum())} of {counts.size} fields"
    text += f" {' and '.join(parts)} against {usual:g}, {many}{' (' + where + ')' if where else ''}:"
    text += " the picture jumps up or down there, and a set may lose it."
    if alternates(counts):
        text += (
            " Long and short fields in turn can be meant so; then state both counts as lines_per_field in the"
            " board file."
        )
    allowed = " or ".join(f"{b:g}" for b in sorted(stated)) if stated else "the same in every field"
    source = "board file" if stated else PRACTICE
    return Finding(
        "timing.lines_per_field", "fail", text, usual, 0.0, allowed, "lines", source, evidence.at_s(times)
    )


def alternates(counts: NDArray[np.float64]) -> bool:
    """Whether fields are long and short strictly in turn."""
    if counts.size < FEWEST_ALTERNATIONS:
        return False
    return bool((counts[2:] == counts[:-2]).all() and counts[0] != counts[1])


def _remark(evidence: Evidence, usual: float) -> str:
    """Say when a standard is missed by a few lines: a chip can lose one in every field."""
    if evidence.mode is None or evidence.mode_close:
        return ""
    if evidence.board is not None and evidence.board.timing.lines_per_field is not None:
        return ""
    off = usual - float(evidence.mode.lines_per_field[0])
    near = f" Nearest standard: {evidence.mode.title}."
    if 0 < abs(off) <= NEARLY:
        less = "fewer" if off < 0 else "more"
        near += (
            f" That is {plural_half(abs(off))} {less} than it has: right if the board is made so, else a chip"
            " that miscounts in every field. A board file that states lines_per_field decides."
        )
    return near


def plural_half(lines: float) -> str:
    """Write a number of lines, halves included."""
    return "1 line" if lines == 1 else f"{lines:g} lines"
