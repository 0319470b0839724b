"""The result as text for a terminal: the verdict first, then what was found, then every finding."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from rastertap.checks.clock import frequency_hz
from rastertap.printable import printable, table_name
from rastertap.streams.counts import field_periods, lines_per_field

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

    from rastertap.analyse import Analysis
    from rastertap.checks.interface import Finding
    from rastertap.checks.verdict import Place, Verdict
    from rastertap.plugins import Plugin

SIGNS = {"pass": "ok", "warn": "look", "fail": "FAULT", "not_measured": "-"}
PLACES: dict[Place, str] = {
    "taps": "the taps",
    "clock": "the clock",
    "video_chip": "the video chip",
    "after_the_pins": "after the pins",
    "capture": "the capture itself",
    "undecided": "undecided",
}
WORST_FIRST = ("fail", "warn", "pass", "not_measured")


def wrapped(text: str, width: int, first: str, rest: str | None = None) -> str:
    """Break text into lines of ``width``, made printable, with its first and later lines led by these."""
    after = " " * len(first) if rest is None else rest
    return textwrap.fill(
        printable(text),
        width,
        initial_indent=first,
        subsequent_indent=after,
        break_long_words=False,
        break_on_hyphens=False,
    )


def sure_words(verdict: Verdict) -> str:
    """Say how much of what the verdict rests on could be measured."""
    if verdict.confidence == 1:
        return "Every check that this rests on could be measured."
    return (
        f"Confidence {100 * verdict.confidence:.0f} %: not every check that this rests on could be measured."
    )


def verdict_lines(verdict: Verdict, width: int) -> Iterator[str]:
    """Give the verdict, how sure it is, and the next steps."""
    yield f"VERDICT: {PLACES[verdict.place]}"
    yield wrapped(verdict.text, width, "  ")
    yield wrapped(sure_words(verdict), width, "  ")
    yield ""
    yield "NEXT"
    for number, step in enumerate(verdict.next, 1):
        yield wrapped(step, width, f"  {number}. ")


def _found(analysis: Analysis) -> Iterator[tuple[str, str]]:
    evidence, capture = analysis.evidence, analysis.capture
    tick = float(capture.tick)
    period = capture.sample_period
    rate = (
        f"{1 / (period.ticks * tick) / 1e6:.6g} MS/s"
        if period is not None and period.known
        else "no sampling step seen"
    )
    yield "capture", f"{capture.span_s * 1e3:.4g} ms, {len(capture.channels)} channels, {rate}"
    clock, sync, bus, frames = evidence.pixel_clock, evidence.sync, evidence.colour_bus, evidence.frames
    if clock is not None:
        measured = frequency_hz(clock, tick)
        doubt = (
            f"+-{2 * measured.uncertainty:.1f} Hz, analyser's timebase +-{evidence.timebase_ppm:g} ppm apart"
        )
        origin = f"on {clock.channel}" if clock.channel else "recovered from the picture"
        yield "pixel clock", f"{measured.value / 1e6:.6f} MHz {origin} ({doubt})"
    if sync is not None:
        rates = f"line rate {1 / (sync.line_period.value * tick):.2f} Hz"
        periods = field_periods(sync)
        if periods.size:
            rates += f", field rate {1 / (float(periods.mean()) * tick):.3f} Hz"
        yield "sync", f"{sync.kind}, on {', '.join(sync.channels)}; {rates}"
        yield "timing", _timing(analysis)
    if bus is not None:
        bits = ", ".join(b.name or "(none)" for b in reversed(bus.bits))
        colours = bus.colours_from if bus.colours is None else bus.family
        yield "colour bus", f"{len(bus.bits)} bits, highest first: {bits} ({colours})"
    if frames is not None:
        text = f"{frames.fields_complete} complete of {sum(n.field != 'woven' for n in frames.notes)} fields"
        area = frames.active
        if area is not None:
            text += f"; active area {area.width} x {area.height}, from pixel {area.x}, line {area.y}"
        yield "frames", text
    for product, stream in evidence.streams.items():
        if callable(getattr(stream, "summary", None)):  # a third party's product says itself what it is
            yield product.replace("_", " "), stream.summary()
    for product, reason in evidence.missing.items():
        yield product.replace("_", " "), f"not measured: {reason}"


def _timing(analysis: Analysis) -> str:
    evidence = analysis.evidence
    sync, frames = evidence.sync, evidence.frames
    parts = []
    if frames is not None:
        parts.append(f"{frames.clocks_per_line} clocks a line")
    counts = sorted(set(lines_per_field(sync).tolist())) if sync is not None else []
    if counts:
        parts.append(f"{' or '.join(f'{c:g}' for c in counts)} lines a field")
    if evidence.mode is not None:
        near = "" if evidence.mode_close else "nearest to "
        parts.append(f"{near}{evidence.mode.title}")
    return ", ".join(parts) or "no whole field in the capture"


def pin_lines(analysis: Analysis, width: int, *, why: bool) -> Iterator[str]:
    """Give one line a channel: role, polarity, score, and the reasons when ``why``."""
    names = [table_name(p.channel) for p in analysis.pins]
    column = max([len("channel"), *map(len, names)])
    yield f"  {'channel'.ljust(column)}  {'carries':<16}  {'score':>5}"
    for pin, name in zip(analysis.pins, names, strict=True):
        role = f"colour bit {pin.bit}" if pin.role == "colour" else pin.role.replace("_", " ")
        sign = {"positive": " +", "negative": " -", None: ""}[pin.polarity]
        yield f"  {name.ljust(column)}  {role + sign:<16}  {pin.score:5.2f}"
        if why:
            for reason in pin.why:
                yield wrapped(reason, width, " " * (column + 6) + "- ")


def finding_lines(findings: Iterable[Finding], width: int) -> Iterator[str]:
    """Give the findings, the worst first."""
    ordered = sorted(findings, key=lambda f: WORST_FIRST.index(f.result))
    column = max(len(f.id) for f in ordered) if ordered else 0
    for finding in ordered:
        head = f"  {SIGNS[finding.result]:<5}  {finding.id.ljust(column)}  "
        yield wrapped(finding.text, width, head)
        if finding.result in {"fail", "warn"} and finding.limit:
            source = f" ({finding.source})" if finding.source else ""
            yield wrapped(f"allowed: {finding.limit}{source}", width, " " * len(head))
        if finding.at_s:
            times = ", ".join(f"{t * 1e3:.4f}" for t in finding.at_s[:5])
            more = " ..." if len(finding.at_s) > 5 else ""  # noqa: PLR2004
            yield wrapped(f"at {times}{more} ms", width, " " * len(head))


def check_text(analysis: Analysis, width: int = 100) -> str:
    """Give the whole result."""
    found = list(_found(analysis))
    column = max(len(name) for name, _ in found)
    unmeasured = sum(f.result == "not_measured" for f in analysis.findings)
    lines = [f"rastertap check  {printable(analysis.capture.label)}", ""]
    lines += verdict_lines(analysis.verdict, width)
    lines += ["", "FOUND", *(wrapped(text, width, f"  {name.ljust(column)}  ") for name, text in found)]
    lines += [wrapped(note, width, f"  {'note'.ljust(column)}  ") for note in analysis.capture.notes]
    lines += ["", "PINS", *pin_lines(analysis, width, why=False)]
    lines += [
        "",
        "FINDINGS",
        *finding_lines((f for f in analysis.findings if f.result != "not_measured"), width),
    ]
    if unmeasured:
        lines += ["", f"NOT MEASURED ({unmeasured})"]
        lines += finding_lines((f for f in analysis.findings if f.result == "not_measured"), width)
    lines += [
        "",
        "BEFORE YOU TOUCH ANYTHING",
        *(wrapped(c, width, "  - ") for c in analysis.verdict.cautions),
    ]
    return "\n".join(lines) + "\n"


def frame_lines(analysis: Analysis, files: Mapping[int, tuple[Path, Path]], width: int) -> Iterator[str]:
    """Give one line a frame: kind, size, place, unsure pixels, and its file."""
    frames = analysis.evidence.frames
    if frames is None:
        return
    for note in frames.notes:
        size = "no picture" if note.area is None else f"{note.area.width} x {note.area.height}"
        whole = "complete" if note.complete else "cut by the capture"
        when = f"{analysis.capture.seconds(note.start) * 1e3:.3f} ms"
        text = f"{note.field}, {whole}, {size} at {when}, {note.unsure} unsure pixels"
        yield wrapped(text, width, f"  {note.index:3d}  ")
        if note.index in files:
            yield f"       {printable(str(files[note.index][0]))}"


def plugin_lines(group: str, plugins: Sequence[Plugin], width: int) -> Iterator[str]:
    """Give one line a plug-in: name, package, what it does or why it cannot."""
    yield group.partition(".")[2].upper()
    column = max((len(p.name) for p in plugins), default=0)
    for plugin in plugins:
        text = f"BROKEN: {plugin.error}" if plugin.error else getattr(plugin.factory, "describes", "")
        yield wrapped(
            f"{text}  [{plugin.distribution} {plugin.version}]",
            width,
            f"  {printable(plugin.name).ljust(column)}  ",
        )
