"""The clock in depth, as text: what it is, how it behaves, what it goes with, where to read the bus."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rastertap.checks.clock import frequency_hz, rates_of
from rastertap.checks.clock_words import exact_mhz, offset_words, rate_name, stripe_words, where_words
from rastertap.printable import printable
from rastertap.report.text import finding_lines, verdict_lines, wrapped
from rastertap.standards.clocks import origins

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from rastertap.analyse import Analysis
    from rastertap.streams.clock_events import Events
    from rastertap.streams.clock_places import Placed
    from rastertap.streams.clock_record import ClockRecord
    from rastertap.streams.model import PixelClock

LISTED = 8
"""Events of a kind listed."""
LATE_BIT_NS = 2.0
"""A bit that changes so much later or earlier than the middle of all is named: common practice, no source."""
BAR = 40
LEVELS = " .:-=+*#%@"

Rows = "Iterator[tuple[str, str]]"


def clock_text(analysis: Analysis, width: int = 100) -> str:
    """Give everything that is known of the clock."""
    lines = [f"rastertap clock  {printable(analysis.capture.label)}", ""]
    lines += [*clock_verdict(analysis, width), ""]
    sections = (
        ("WHAT IT IS", _identity(analysis)),
        ("HOW IT BEHAVES", _behaviour(analysis)),
        ("WHAT HAPPENS NOW AND THEN", _happenings(analysis)),
        ("WHAT IT GOES WITH", _relations(analysis)),
        ("WHERE TO READ THE BUS", _sampling(analysis)),
    )
    for title, rows in sections:
        found = list(rows)
        if found:
            lines += [title, *_table(found, width), ""]
    findings = [f for f in analysis.findings if f.id.partition(".")[0] in {"clock", "sampling"}]
    lines += ["FINDINGS", *finding_lines(findings, width)]
    return "\n".join(lines) + "\n"


def _table(rows: Iterable[tuple[str, str]], width: int) -> Iterator[str]:
    for name, text in rows:
        yield wrapped(text, width, f"  {name:<16}")


def clock_verdict(analysis: Analysis, width: int) -> Iterator[str]:
    """Say first whether to touch the clock generator."""
    bad = [f for f in analysis.findings if f.id.startswith("clock.") and f.result in {"fail", "warn"}]
    if analysis.evidence.pixel_clock is None:
        yield wrapped("No pixel clock: see the findings.", width, "")
        return
    failed = [f for f in bad if f.result == "fail"]
    if failed:
        yield (
            "The clock is NOT sound: "
            + ", ".join(f.id.partition(".")[2].replace("_", " ") for f in failed)
            + "."
        )
        yield from verdict_lines(analysis.verdict, width)
    elif bad:
        yield (
            "Nothing is surely wrong with the clock, but look at: "
            + ", ".join(f.id.partition(".")[2].replace("_", " ") for f in bad)
            + "."
        )
    elif analysis.evidence.pixel_clock.source == "recovered":
        yield "A clock was recovered; tap the clock's own pin to judge its generator."
    else:
        yield "The clock is sound: leave the clock generator alone."


def _identity(analysis: Analysis) -> Iterator[tuple[str, str]]:
    evidence, clock = analysis.evidence, analysis.evidence.pixel_clock
    if clock is None:
        yield "pixel clock", f"not measured: {evidence.missing.get('pixel_clock', 'not found')}"
        return
    hz = frequency_hz(clock, float(analysis.capture.tick))
    where = f"on {clock.channel}" if clock.source == "tapped" else "recovered from the colour changes"
    yield "pixel clock", f"{hz.value / 1e6:.6f} MHz {where}; period {1e9 / hz.value:.4f} ns"
    total = hz.with_timebase(evidence.timebase_ppm)
    yield (
        "uncertainty",
        (
            f"+-{2 * hz.uncertainty:.2f} Hz ({2e6 * hz.uncertainty / hz.value:.3f} ppm) from sampling, within"
            f" this capture; +-{2 * total.uncertainty:.0f} Hz with the analyser's timebase"
            f" (+-{evidence.timebase_ppm:g} ppm)"
        ),
    )
    if clock.recovered is not None:
        told = clock.recovered
        yield (
            "recovered",
            f"{told.kind}, from {told.lines} lines; agreement of the changes {told.agreement:.2f} of 1",
        )
        if told.why:
            yield "not tapped", told.why
    yield from _nominal(analysis, hz.value)


def _nominal(analysis: Analysis, hz: float) -> Iterator[tuple[str, str]]:
    board, timebase = analysis.request.board, analysis.evidence.timebase_ppm
    stated = board.timing.pixel_clock_hz if board is not None else None
    if stated is not None:
        offset = (hz / float(stated) - 1) * 1e6
        yield "should be", f"{exact_mhz(stated)} (board file): {offset_words(offset, timebase)}"
    for origin in origins(hz)[:2]:
        words = offset_words(origin.offset_ppm, timebase)
        name = f"{origin.text} = {exact_mhz(origin.hz)}"
        yield "may come from", f"{name} ({origin.master.source}; {origin.master.trust}): {words}"


def _behaviour(analysis: Analysis) -> Iterator[tuple[str, str]]:
    clock = analysis.evidence.pixel_clock
    if clock is None or clock.record is None or clock.period_jitter is None or clock.cycle_jitter is None:
        return
    record = clock.record
    ns = record.tick_s * 1e9
    jitter = record.jitter
    yield (
        "period jitter",
        (
            f"{jitter.period.value * ns:.3f} +-{2 * jitter.period.uncertainty * ns:.3f} ns rms; from one"
            f" period to the next {jitter.cycle.value * ns:.3f} ns rms"
            f" (the analyser's step of {record.step * ns:.4g} ns taken out)"
        ),
    )
    yield "made of", _kinds(record, ns)
    tie = record.tie_rms
    yield (
        "time error",
        f"{tie.value * ns:.2f} ns rms against a steady clock, in means of {record.series.block} cycles",
    )
    if record.duty is not None:
        yield "duty", f"high for {record.duty.value:.2%} +-{2 * record.duty.uncertainty:.2%} of the period"
    if record.drift is not None:
        drift = record.drift
        yield "drift", f"{drift.value:+.3f} +-{2 * drift.uncertainty:.3f} ppm from end to end of the capture"
    yield from _spectrum(analysis, clock, record)
    for time, deviation, floor in record.allan():
        seen = f"{deviation:.2e}" if deviation > floor else f"below {floor:.1e}, the analyser's step"
        yield "Allan deviation", f"{seen} over {time * 1e3:g} ms"


def _kinds(record: ClockRecord, ns: float) -> str:
    jitter = record.jitter
    if jitter.period.value <= 2 * jitter.period.uncertainty:
        return "nothing that stands out: the clock is as even as this capture can show"
    edge, walk = jitter.edge * ns, jitter.walk * ns
    if walk < 0.3 * edge:
        return (
            f"edges that scatter by {edge:.2f} ns round their place: noise on the clock line or its threshold"
        )
    if edge < 0.3 * walk:
        return (
            f"periods that vary by {walk:.2f} ns each and add up: an oscillator that wanders (RC, bad loop)"
        )
    return f"edges that scatter by {edge:.2f} ns, and periods that wander by {walk:.2f} ns each"


def _spectrum(analysis: Analysis, clock: PixelClock, record: ClockRecord) -> Iterator[tuple[str, str]]:
    line, hz = record.line, frequency_hz(clock, record.tick_s).value
    if not record.spectrum.segments:
        return
    if line is None:
        lowest, highest = record.lowest * hz, hz / record.spectrum.block / 2
        yield (
            "modulation",
            f"no line stands out between {lowest:.0f} Hz and {highest / 1e3:.0f} kHz, and no slower sway",
        )
        return
    name = rate_name(line, hz, rates_of(analysis.evidence))
    at = f"{line.frequency * hz:.1f} Hz +-{line.resolution * hz:.1f}" + (f", {name}" if name else "")
    yield (
        "modulation",
        f"{line.amplitude * record.tick_s * 1e9:.3f} ns to either side at {at}. {stripe_words(name)}",
    )


def _happenings(analysis: Analysis) -> Iterator[tuple[str, str]]:
    clock = analysis.evidence.pixel_clock
    if clock is None or clock.record is None:
        return
    events, places = clock.record.events, analysis.evidence.streams.get("clock_places")
    kinds: tuple[tuple[str, Events, Placed | None, str], ...] = (
        ("missing cycles", events.gaps, places.gaps if places else None, events.gaps_seen_by),
        ("extra edges", events.extra, places.extra if places else None, events.extra_seen_by),
        ("phase jumps", events.jumps, places.jumps if places else None, "unknown"),
    )
    for name, found, placed, seen_by in kinds:
        if not found.count:
            yield name, "none"
            continue
        where = where_words(placed)
        who = {"chip": "; the chip has them too", "tap": "; only the analyser's lead has them"}.get(
            seen_by, ""
        )
        total = (
            f", {events.missing} cycles in all"
            if name == "missing cycles" and events.missing != found.count
            else ""
        )
        yield name, f"{found.count}{total}{', ' + where if where else ''}{who}"
        for n in range(min(LISTED, found.at.size)):
            yield "", _one(analysis, name, found, placed, n)
        if found.count > LISTED:
            yield "", f"... and {found.count - LISTED} more (all in --json)"


def _one(analysis: Analysis, name: str, found: Events, placed: Placed | None, n: int) -> str:
    tick_s = float(analysis.capture.tick)
    text = f"at {analysis.capture.seconds(float(found.at[n])) * 1e3:.5f} ms"
    if placed is not None and n < placed.at.size:
        line = f"line {placed.line[n]}, " if placed.line[n] >= 0 else "before the first field, "
        text += f", {line}pixel {placed.pixel[n]:.1f}"
    size = found.size[n]
    if name == "missing cycles":
        return f"{text}: {size:.0f} cycle{'s' if size != 1 else ''}"
    if name == "extra edges":
        return f"{text}: {size * tick_s * 1e9:.1f} ns into the cycle"
    return f"{text}: {abs(size) * tick_s * 1e9:.1f} ns {'late' if size > 0 else 'early'}"


def _relations(analysis: Analysis) -> Iterator[tuple[str, str]]:
    ratios = analysis.evidence.streams.get("clock_ratios")
    for ratio in ratios.ratios if ratios is not None else ():
        text = f"{ratio.ratio.value:.6f} +-{2 * ratio.ratio.uncertainty:.6f}"
        if ratio.name == "line rate":
            text += " pixels a line"
        if ratio.nearest is None:
            text += ": no whole number or small ratio, so the two are not locked"
        elif ratio.locked:
            text += f": {ratio.nearest}, locked"
        else:
            text += f": {abs(ratio.off_ppm):.1f} ppm off {ratio.nearest}, so the two drift against each other"
        yield printable(ratio.name), text


def _sampling(analysis: Analysis) -> Iterator[tuple[str, str]]:
    bus, clock = analysis.evidence.colour_bus, analysis.evidence.pixel_clock
    if bus is None or clock is None:
        yield "colour bus", f"not measured: {analysis.evidence.missing.get('colour_bus', 'not found')}"
        return
    point, ns = bus.sampling, float(analysis.capture.tick) * 1e9
    start = "rising clock edge" if clock.source == "tapped" else "start of the pixel"
    yield "read it", f"{point.delay * ns:.1f} ns after the {start}: phase {point.phase:.3f}"
    doubt = 2 * point.margin_before.uncertainty * ns
    yield (
        "quiet",
        (
            f"{point.margin_before.value * ns:.1f} ns before and"
            f" {point.margin_after.value * ns:.1f} ns after, +-{doubt:.1f} ns"
        ),
    )
    if clock.duty is not None:
        falling = clock.duty.value * clock.period.value
        off = (point.delay - falling) * ns
        where = f"{abs(off):.1f} ns {'before' if off > 0 else 'after'} that"
        yield "falling edge", f"comes {falling * ns:.1f} ns after the rising one, {where}"
    if point.cycles_per_pixel > 1:
        n = point.cycles_per_pixel
        yield (
            "pixel width",
            f"the bus only ever changes {n} clocks apart: pixels of {n} clocks, or a picture of such",
        )
    if point.pixels_per_cycle > 1:
        yield "double rate", "the bus changes on both clock edges: two pixels a clock"
    yield from _bits(analysis)
    yield (
        "all changes",
        f"[{histogram(point.changes.sum(axis=0).tolist())}] one clock cycle from its rising edge",
    )


def _bits(analysis: Analysis) -> Iterator[tuple[str, str]]:
    bus = analysis.evidence.colour_bus
    if bus is None:
        return
    ns = float(analysis.capture.tick) * 1e9
    each = zip(bus.sampling.bits, bus.sampling.off_the_middle(), strict=True)
    for number, (bit, middle) in enumerate(each):
        if middle is None:
            yield (
                f"bit {number}",
                f"{printable(bit.channel) or '(no channel)'}: never changes while the clock runs",
            )
            continue
        off, doubt = middle.value * ns, middle.uncertainty * ns
        late = ""
        if abs(off) > max(LATE_BIT_NS, 3 * doubt):
            late = f"; {abs(off):.1f} ns {'later' if off > 0 else 'earlier'} than the middle of the bits"
        yield (
            f"bit {number}",
            (
                f"{printable(bit.channel)}: changes {bit.mean * ns:.2f} +-{2 * doubt:.2f} ns after the edge,"
                f" spread {bit.spread * ns:.2f} ns rms{late}"
            ),
        )


def histogram(counts: list[int]) -> str:
    """Draw counts as one row of characters, the tallest ``@``, anything at all at least a dot."""
    size = len(counts)
    parts = [sum(counts[size * n // BAR : size * (n + 1) // BAR]) for n in range(BAR)]
    most = max(parts) or 1
    return "".join(LEVELS[-(-p * (len(LEVELS) - 1) // most)] for p in parts)
