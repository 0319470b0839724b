"""Sync and timing faults over a seeded grid: what is found, what is not, and false alarms on clean sources.

Run ``python tests/benchmarks/sync_grid.py [seeds]``; it prints a table of fault against finding.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np

from rastertap.analyse import Request, analyse
from rastertap.bench.analyser import Analyser, plug
from rastertap.bench.faults import parse_fault
from rastertap.bench.machines import MACHINES
from rastertap.bench.make import make_capture
from rastertap.bench.raster import equalised_sync
from rastertap.bench.source import CompositeSync
from rastertap.capture.model import Capture, Channel, SamplePeriod

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap.bench.source import VideoSource

MINE = ("sync.", "timing.")


@dataclass(frozen=True)
class Case:
    """A fault by its text (empty: none), the findings that must fail, and which timing pins are tapped."""

    fault: str
    wanted: frozenset[str]
    pins: str = "sync"
    """``sync`` (separate or composite), ``display enable`` alone, or ``vertical`` sync alone."""

    @property
    def label(self) -> str:
        """Fault and pins in words."""
        return " ".join(filter(None, (self.fault or "(none)", self.pins if self.pins != "sync" else "")))


CASES = (
    Case("", frozenset()),
    Case("chip-lost-line:every=2", frozenset({"timing.lines_per_field"})),
    Case("chip-lost-line:every=3", frozenset({"timing.lines_per_field"})),
    Case("chip-missing-vsync:every=2", frozenset({"sync.missing_vsync"})),
    Case("chip-missing-vsync:every=3", frozenset({"sync.missing_vsync"})),
    Case("chip-hsync-glitch:every=50", frozenset({"sync.glitch"})),
    Case("chip-hsync-glitch:every=313,clocks=3", frozenset({"sync.glitch"})),
    Case("chip-short-line:every=97,clocks=6", frozenset({"timing.line_length"})),
    Case("chip-short-line:every=400,clocks=1", frozenset({"timing.line_length"})),
    Case("chip-short-line:every=211,clocks=288", frozenset({"timing.line_length"})),
    *(
        Case(fault, frozenset(wanted), pins)
        for pins in ("display enable", "vertical")
        for fault, wanted in (
            ("", ()),
            ("chip-lost-line:every=3", ("timing.lines_per_field",)),
            ("chip-short-line:every=97,clocks=6", ("timing.line_length",)),
        )
    ),
)


def variants(seed: int, pins: str = "sync") -> tuple[VideoSource, Analyser]:
    """Draw a source and an analyser: machine, kind of sync, polarity, rate, start, jitter."""
    random = np.random.default_rng(seed)
    source = MACHINES[str(random.choice(list(MACHINES)))].source
    kind = str(random.choice(["separate", "xor", "or", "equalised"]))
    polarity: Any = str(random.choice(["negative", "positive"]))
    if kind == "separate":
        source = replace(source, composite=None, hsync_polarity=polarity, vsync_polarity=polarity)
    else:
        system: Any = "625" if source.lines_per_field > 300 else "525"
        made = CompositeSync(kind, polarity)  # type: ignore[arg-type]
        if kind == "equalised":
            made = equalised_sync(system, source.pixel_clock_hz, source.pixels_per_line, polarity)
        source = replace(source, composite=made, separate_sync=False)
    if random.integers(2):
        source = replace(source, display_enable_polarity="positive")
    if pins != "sync":
        alone = pins == "vertical"
        shown = None if alone else polarity
        source = replace(source, composite=None, separate_sync=alone, display_enable_polarity=shown)
    rate = Fraction(int(random.choice([50_000_000, 100_000_000, 200_000_000, 48_000_000])))
    analyser = Analyser(
        tuple(wire for wire in plug(source) if pins == "sync" or wire[1] != "hsync"),
        rate_hz=rate,
        timebase_ppm=float(random.uniform(-30, 30)),
        jitter_ns=float(random.choice([0.0, 0.3])),
        start_fields=float(random.uniform(0, 2)),
        fields=6.2,
        stamps="exact",
    )
    return source, analyser


def record(source: VideoSource, analyser: Analyser, fault: str, seed: int) -> Capture:
    """Simulate a recording; samples are its ticks."""
    made = make_capture(source, analyser, [parse_fault(fault)] if fault else [], seed=seed)
    channels = tuple(
        Channel(name, initial, samples, ((np.arange(samples.size) + 1 + initial) % 2).astype(np.uint8))
        for name, initial, samples in made.channels
    )
    period = SamplePeriod(1.0, 0.0, known=True)
    tick = 1 / analyser.rate_hz
    return Capture(f"seed {seed}", tick, 0, made.count, channels, sample_period=period)


def run(case: Case, seed: int) -> dict[str, str]:
    """Give the sync and timing findings that warn or fail."""
    source, analyser = variants(seed, case.pins)
    analysis = analyse(record(source, analyser, case.fault, seed), Request())
    return {
        f.id: f.result for f in analysis.findings if f.id.startswith(MINE) and f.result in {"warn", "fail"}
    }


def grid(seeds: range) -> Iterator[tuple[Case, int, dict[str, str]]]:
    """Run all cases over all seeds."""
    for case in CASES:
        for seed in seeds:
            yield case, seed, run(case, seed)


def main() -> int:
    """Print how often each finding came with each fault; 1 when one was missed or a clean source alarmed."""
    seeds = range(int(sys.argv[1]) if len(sys.argv) > 1 else 12)
    table: dict[str, Counter[str]] = {}
    missed, alarms = [], []
    for case, seed, found in grid(seeds):
        counter = table.setdefault(case.label, Counter())
        counter.update(list(found))
        failed = {key for key, result in found.items() if result == "fail"}
        if not case.wanted <= failed:
            missed.append((case.label, seed, found))
        if not case.fault and found:
            alarms.append((case.label, seed, found))
    for fault, counter in table.items():
        print(
            f"{fault:<50}",
            ", ".join(f"{key} {n}/{len(seeds)}" for key, n in sorted(counter.items())) or "nothing",
        )
    for what in missed:
        print("MISSED", *what)
    for alarm in alarms:
        print("FALSE ALARM", *alarm)
    print(f"{len(missed)} missed, {len(alarms)} false alarms on clean sources")
    return int(bool(missed or alarms))


if __name__ == "__main__":
    sys.exit(main())
