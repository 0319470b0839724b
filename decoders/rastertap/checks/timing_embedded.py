"""Codes embedded in the bus: their protection bits, and the words and lines of the picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rastertap.checks.interface import Evidence, Finding
from rastertap.checks.make import none_allowed, not_measured
from rastertap.standards.component import ACTIVE_WORDS, SOURCE, SYSTEMS, WORDS_A_PIXEL, EmbeddedLines

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap.streams.model import Sync
    from rastertap.streams.tally import Tally


def embedded(evidence: Evidence, sync: Sync) -> Iterator[Finding]:
    """Give the findings on embedded codes."""
    yield _protection(evidence, sync)
    yield _picture(sync)


def _protection(evidence: Evidence, sync: Sync) -> Finding:
    count = sync.protection_errors
    some = f"{count} embedded timing codes with wrong protection bits: bus bits misread, stuck or swapped."
    return none_allowed(
        "sync.protection",
        (),
        count,
        evidence,
        none="All embedded timing codes have their protection bits right.",
        some=some,
        source="BT.656 protection bits (references 4.1)",
    )


def _listed(found: Tally) -> str:
    return " or ".join(f"{value:g}" for value in found.values)


def _picture(sync: Sync) -> Finding:
    """Compare words of picture and line, and lines with picture, with the system that has as many words."""
    finding = "timing.embedded_picture"
    words, active = sync.intervals.of("line_words"), sync.intervals.of("active_words")
    lines = sync.intervals.of("active_lines")
    if not words.count or not active.count:
        return not_measured(finding, "No whole line with picture in the capture.")
    system = min(SYSTEMS, key=lambda s: abs(s.words - words.usual))
    pixels = active.usual / WORDS_A_PIXEL
    text = f"{_listed(active)} words, {pixels:g} pixels of luma, from SAV to EAV"
    text += f" in lines of {_listed(words)} words"
    text += (
        f"; {_listed(lines)} lines with picture in a field." if lines.count else "; no whole field to count."
    )
    right = active.values.tolist() == [ACTIVE_WORDS] and words.values.tolist() == [system.words]
    right &= any(set(lines.values.tolist()) <= set(pair) for pair in system.active)
    return Finding(
        finding, "pass" if right else "fail", text, pixels, 0.0, _allowed(system), "pixels", SOURCE
    )


def _allowed(system: EmbeddedLines) -> str:
    """Write what the system has."""
    fields = " or ".join(" and ".join(str(n) for n in dict.fromkeys(pair)) for pair in system.active)
    width = ACTIVE_WORDS // WORDS_A_PIXEL
    return f"{width} pixels of {ACTIVE_WORDS} words, lines of {system.words}; {fields} lines a field"
