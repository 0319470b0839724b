"""Clock metrology against simulated clocks whose truth is known: prints the confusion table.

Run: ``python tests/benchmarks/clock_grid.py [CAPTURES [RECOVERED [SEED]]]`` (320, 40 and 85; minutes).

Each capture draws at random, from one seed: the clock (the trade's, or any between 5 and 14.5 MHz), the
sample rate (24 to 500 MS/s, round or not, 3 or more samples a cycle), the analyser's phase and timebase, and
what is wrong with the clock. Clock, faults and sampling are those of `rastertap.bench`, exact to the
femtosecond; the clock decoder sees nothing but the sampled channels.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from rastertap.bench.analyser import Analyser, take_samples
from rastertap.bench.clock import ClockRun, run_clock
from rastertap.bench.faults import parse_fault
from rastertap.bench.machines import MARLOW_50, MARLOW_60
from rastertap.bench.make import MadeCapture, make_capture
from rastertap.bench.wave import FS_PER_S, from_levels
from rastertap.capture.model import Capture, Channel, SamplePeriod
from rastertap.decode import Decoded, decode
from rastertap.streams.interface import Context, Pin
from rastertap.streams.pixel_clock import TappedPixelClock, TappedPixelClockOptions

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap.bench.source import VideoSource
    from rastertap.streams.model import PixelClock

TICK = Fraction(1, 10**12)
TRADE_HZ = (
    Fraction(17_734_475, 2),
    Fraction(315_000_000, 44),
    Fraction(6_750_000),
    Fraction(13_500_000),
    Fraction(9_000_000),
    Fraction(8_000_000),
    Fraction(12_000_000),
    Fraction(17_734_475, 3),
)
RATES_HZ = (24e6, 25e6, 48e6, 50e6, 80e6, 100e6, 100e6, 125e6, 200e6, 250e6, 400e6, 500e6)
KINDS = (
    "clean",
    "frequency",
    "edge jitter",
    "walk jitter",
    "duty",
    "drift",
    "modulation",
    "missing",
    "missing (tap)",
    "extra",
    "extra (chip)",
    "stretched",
)
RMS_NS = (0.0, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)
COVER = 3.0
FEWEST_SAMPLES = 3.0
HALF_LINE_S = 30e-6
EVENT_NEAR, JUMP_NEAR = 0.5, 3.0
"""Periods (and a step) within which an event is the one that struck; a phase step is placed by the means of
16 edges to either side."""


@dataclass
class Case:
    """One drawn capture."""

    kind: str
    source: VideoSource
    analyser: Analyser
    faults: tuple[str, ...]
    seed: int
    rms_ns: float = 0.0
    duty: float = 0.5
    length_s: float = 0.02
    run: ClockRun | None = field(default=None, repr=False)


def draw(rng: np.random.Generator, number: int) -> Case:
    """Draw a capture."""
    kind = KINDS[number % len(KINDS)]
    trade = rng.random() < 0.6
    hz = TRADE_HZ[rng.integers(len(TRADE_HZ))] if trade else Fraction(round(rng.uniform(5e6, 14.5e6)))
    rates = [r for r in RATES_HZ if r / float(hz) >= FEWEST_SAMPLES]
    round_rate = rng.random() < 0.7
    rate = rates[rng.integers(len(rates))] if round_rate else rng.uniform(FEWEST_SAMPLES * float(hz), 300e6)
    length_s = float(rng.choice([0.01, 0.02, 0.04]) if rate < 150e6 else 0.01)
    if kind == "clean" and number % 2 == 0:
        rate, length_s = 100e6, 0.04
    faults, rms, duty = draw_faults(rng, kind, float(hz), float(rate))
    analyser = Analyser(
        (("D0", "pixel_clock"),),
        rate_hz=Fraction(round(rate)),
        timebase_ppm=round(float(rng.uniform(-50, 50)), 3),
        duration_s=length_s,
    )
    return Case(kind, replace(MARLOW_50, pixel_clock_hz=hz), analyser, faults, number, rms, duty, length_s)


def draw_faults(
    rng: np.random.Generator, kind: str, hz: float, rate: float
) -> tuple[tuple[str, ...], float, float]:
    """Draw what is wrong: faults as text, the period's jitter (ns), the duty."""
    every = int(rng.integers(300, 5000))
    strikes = f"every={every}" if rng.random() < 0.5 else f"one_in={every}"
    seen_by = "tap" if kind in {"missing (tap)", "extra"} else "generator"
    rms = float(RMS_NS[rng.integers(len(RMS_NS))] if rng.random() < 0.5 else rng.uniform(0, 10))
    duty = float(rng.uniform(0.35, 0.65))
    # A runt, and the low time to either side of it, shorter than the analyser's step is not recorded; a step
    # of the phase by less than two of the analyser's steps is within the grid's own slips.
    runt_ns, part = 1.1e9 / rate, max(float(rng.choice([0.2, 0.4, 0.5])), 2 * hz / rate)
    text = {
        "frequency": f"clock-frequency:ppm={rng.uniform(-2000, 2000):.1f}",
        "edge jitter": f"clock-jitter:rms_ns={rms},kind=edge",
        "walk jitter": f"clock-jitter:rms_ns={rms},kind=walk",
        "duty": f"clock-duty:duty={duty}",
        "drift": f"clock-drift:ppm_per_s={rng.uniform(-5000, 5000):.1f}",
        "modulation": f"clock-modulation:peak_ns={rng.uniform(1, 10):.2f},hz={rng.uniform(2000, 30000):.1f}",
        "missing": f"clock-missing:{strikes},burst={int(rng.integers(1, 4))},seen_by={seen_by}",
        "extra": f"clock-extra:every={every},width_ns={runt_ns:.3f},seen_by={seen_by}",
        "stretched": f"clock-stretch:every={every},factor={1 + part:.2f}",
    }
    name = kind.removesuffix(" (tap)").removesuffix(" (chip)")
    seen = {"extra": 3 * runt_ns < 0.5e9 / hz, "stretched": part <= 0.5}.get(name, True)
    faults = (text[name],) if name in text and seen else ()
    return faults, rms if name.endswith("jitter") else 0.0, duty if name == "duty" else 0.5


@dataclass(frozen=True)
class Strikes:
    """When a fault struck, ticks: all times, and those far enough from the capture's ends to be seen."""

    ticks: np.ndarray
    sure: np.ndarray


def record(case: Case) -> tuple[Capture, tuple[Pin, ...], np.ndarray, Strikes]:
    """Run clock and analyser: capture, pins, the tap's true rising edges (fs) and the strikes."""
    sampling = take_samples(case.analyser, case.source, case.seed)
    span = int(sampling.instants[-1]) + 4 * int(FS_PER_S / case.source.line_rate_hz)
    faults = [parse_fault(text) for text in case.faults]
    run = run_clock(case.source, span, faults, [[case.seed, 5, i] for i in range(len(faults))])
    count = np.arange(run.chip_edges.size) % case.source.pixels_per_line
    hsync = from_levels((count >= case.source.hsync_width).astype(np.uint8), run.chip_edges, 1)
    step = 1 / case.analyser.rate_hz / TICK
    waves = (("D0", run.tap), ("D1", hsync))
    channels = [sampled(name, *sampling.record(wave), float(step)) for name, wave in waves]
    period = SamplePeriod(float(step), 0.0, known=True)
    end = round(float((sampling.count - 1) * step))
    capture = Capture("grid", TICK, 0, end, tuple(channels), sample_period=period)
    pins = (Pin("D0", "pixel_clock", None, None, 1.0, ()), Pin("D1", "hsync", None, None, 1.0, ()))
    first, last = int(sampling.instants[0]), int(sampling.instants[-1])
    edges = run.tap.rising()
    inside = edges[(edges > first) & (edges <= last)]
    struck = np.unique(np.concatenate([np.empty(0, np.int64), *run.struck]))
    ticks = np.searchsorted(sampling.instants, struck) * float(step)
    return capture, pins, inside, Strikes(ticks, ticks[(struck > inside[2]) & (struck < inside[-3])])


@dataclass
class Tally:
    """Good and all, by what was asked."""

    rows: dict[str, list[int]] = field(default_factory=dict)
    bad: list[str] = field(default_factory=list)

    def add(self, what: str, told: str, *, good: bool) -> None:
        """Count one answer; a bad one is kept with its case."""
        row = self.rows.setdefault(what, [0, 0])
        row[0] += good
        row[1] += 1
        if not good:
            self.bad.append(f"{what}: {told}")


def judge(case: Case, tally: Tally) -> None:
    """Measure one capture and compare with the truth."""
    capture, pins, edges, struck = record(case)
    clock = TappedPixelClock().decode(Context(capture, pins), TappedPixelClockOptions())
    told = (
        f"{case.kind} {float(case.source.pixel_clock_hz) / 1e6:.4f} MHz at"
        f" {float(case.analyser.rate_hz) / 1e6:.4g} MS/s, seed {case.seed} {case.faults}"
    )
    _judge_frequency(case, clock, edges, tally, told)
    _judge_jitter(case, clock, tally, told)
    _judge_events(case, clock, struck, tally, told)


def _judge_frequency(case: Case, clock: PixelClock, edges: np.ndarray, tally: Tally, told: str) -> None:
    # What scatters edges or counts them otherwise is no matter of frequency; what bends the phase is.
    true_fs = float(FS_PER_S / case.source.pixel_clock_hz)
    if case.kind == "frequency":
        true_fs /= 1 + float(case.faults[0].partition("=")[2]) * 1e-6
    if case.kind in {"walk jitter", "drift", "modulation"}:
        true_fs = float(edges[-1] - edges[0]) / (edges.size - 1)
    seen = true_fs * 1e-3 * (1 + case.analyser.timebase_ppm * 1e-6)
    off = clock.period.value - seen
    good = abs(off) <= COVER * clock.period.uncertainty
    tally.add(
        "frequency within 3 uncertainties", f"{told}: {off / clock.period.uncertainty:.1f} u", good=good
    )
    if case.length_s >= 0.04 and case.analyser.rate_hz == 10**8 and case.kind == "clean":
        ppm = clock.period.uncertainty / clock.period.value * 1e6
        tally.add("uncertainty at 40 ms, 100 MS/s within 1 ppm", f"{told}: {ppm:.2f} ppm", good=ppm <= 1.0)


def _judge_jitter(case: Case, clock: PixelClock, tally: Tally, told: str) -> None:
    if (
        case.kind not in {"clean", "frequency", "edge jitter", "walk jitter", "duty"}
        or clock.period_jitter is None
    ):
        return
    rms = case.rms_ns
    found = clock.period_jitter.value * 1e-3
    good = abs(found - rms) <= max(0.15 * rms, 0.3)
    tally.add("jitter within 15 % or 0.3 ns", f"{told}: {found:.3f} ns, true {rms}", good=good)
    sure = abs(found - rms) <= COVER * clock.period_jitter.uncertainty * 1e-3
    tally.add("jitter within 3 uncertainties", f"{told}: {found:.3f} ns, true {rms}", good=sure)
    if clock.duty is not None:
        good = abs(clock.duty.value - case.duty) <= max(COVER * clock.duty.uncertainty, 0.002)
        duty = f"{told}: {clock.duty.value:.4f}, true {case.duty}"
        tally.add("duty within 3 uncertainties or 0.2 %", duty, good=good)


def _judge_events(case: Case, clock: PixelClock, struck: Strikes, tally: Tally, told: str) -> None:
    if clock.record is None:
        return
    events, period = clock.record.events, clock.period.value
    gaps = zip(events.gaps.at.tolist(), events.gaps.size.tolist(), strict=True)
    found = {
        "missing": np.array([at + k * period for at, size in gaps for k in range(int(size))]),
        "extra": events.extra.at,
        # The cycle that is stretched begins before the edge at which the phase is seen to have stepped.
        "jumps": events.jumps.at - period,
    }
    names = {"missing": "missing", "missing (tap)": "missing", "extra": "extra", "extra (chip)": "extra"}
    kind = "jumps" if case.kind == "stretched" else names.get(case.kind, "")
    none = Strikes(np.empty(0), np.empty(0))
    for name, times in found.items():
        true = struck if name == kind and case.faults else none
        near = (JUMP_NEAR if name == "jumps" else EVENT_NEAR) * period + clock.record.step
        lost = int(np.count_nonzero(far_from(true.sure, times, near)))
        invented = int(np.count_nonzero(far_from(times, true.ticks, near)))
        if true.sure.size:
            tally.add(f"{name}: all found", f"{told}: {lost} of {true.sure.size} not found", good=not lost)
        twice = max(times.size - true.ticks.size, 0)
        where = "in a capture with them" if true.ticks.size else "in one without"
        asked = f"{name}: none invented {where}"
        tally.add(asked, f"{told}: {invented} invented, {twice} too many", good=not invented and not twice)
    who = {"missing": "chip", "missing (tap)": "tap", "extra": "tap", "extra (chip)": "chip"}.get(case.kind)
    if who and struck.sure.size >= 5:
        seen = events.gaps_seen_by if case.kind.startswith("missing") else events.extra_seen_by
        tally.add(f"event seen by the {who}: told", f"{told}: {seen}", good=seen == who)


def far_from(times: np.ndarray, others: np.ndarray, near: float) -> np.ndarray:
    """Say for each time whether no other lies within ``near`` of it; increasing, bool, shape (n,)."""
    if not others.size:
        return np.ones(times.size, np.bool_)
    after = np.searchsorted(others, times).clip(1, max(others.size - 1, 1))
    nearest = np.minimum(
        np.abs(times - others[after - 1]), np.abs(times - others[after.clip(0, others.size - 1)])
    )
    return np.asarray(nearest > near)


def recovered(rng: np.random.Generator, number: int) -> tuple[MadeCapture, Decoded]:
    """Make a capture without the clock's channel, steady, jittering or stretched once a line; decode it."""
    base = (MARLOW_50, MARLOW_60)[number % 2]
    off = rng.uniform(0.985, 1.015) if number % 4 >= 2 else 1.0
    hz = Fraction(round(float(base.pixel_clock_hz) * off))
    source = replace(base, pixel_clock_hz=hz)
    rate = Fraction(round(float(hz) * float(rng.uniform(4.0, 12.0))))
    wires = tuple((f"D{n}", s) for n, s in enumerate(s for s in source.signals if s != "pixel_clock"))
    stretched = f"clock-stretch:every={source.pixels_per_line},factor=1.31"
    texts = {3: [stretched], 4: ["clock-jitter:rms_ns=3"]}.get(number % 5, [])
    analyser = Analyser(wires, rate_hz=rate, timebase_ppm=round(float(rng.uniform(-50, 50)), 2), fields=2.3)
    made = make_capture(source, analyser, [parse_fault(text) for text in texts], seed=number)
    step = float(1 / rate / TICK)
    channels = tuple(sampled(label, initial, samples, step) for label, initial, samples in made.channels)
    capture = Capture(
        "grid",
        TICK,
        0,
        round((made.count - 1) * step),
        channels,
        sample_period=SamplePeriod(step, 0.0, known=True),
    )
    return made, decode(Context(capture, tuple(pin_of(label, name) for label, name in wires)))


def pin_of(label: str, name: str) -> Pin:
    """Give a pin its role by the signal that it carries."""
    if name.startswith("colour"):
        return Pin(label, "colour", int(name[6:]), None, 1.0, ())
    return Pin(
        label,
        "hsync" if name == "hsync" else "vsync" if name == "vsync" else "other",
        None,
        "negative",
        1.0,
        (),
    )


def sampled(label: str, initial: int, samples: np.ndarray, step: float) -> Channel:
    """Give the samples at which a channel changes as a channel."""
    levels = ((np.arange(samples.size) + 1 + initial) & 1).astype(np.uint8)
    return Channel(label, initial, np.rint(samples * step).astype(np.int64), levels)


def judge_recovered(rng: np.random.Generator, number: int, tally: Tally) -> None:
    """Compare frames from a recovered clock with the pictures that were sent."""
    made, decoded = recovered(rng, number)
    frames = decoded.streams.get("frames")
    told = f"seed {number}, {float(made.analyser.rate_hz / made.source.pixel_clock_hz):.2f} samples a pixel"
    matched, equal = 0, 0
    for true in made.truth["fields"]:
        for frame in frames.complete if frames is not None else ():
            began = (
                true["vsync_s"] is not None and abs(frame.start * float(TICK) - true["vsync_s"]) < HALF_LINE_S
            )
            if began and true["active_complete"]:
                area = frames.active_of(frame)
                shown = area.crop(frame.codes) if area is not None else np.empty((0, 0))
                picture = made.pictures[true["picture"]]
                matched += 1
                equal += shown.shape == picture.shape and bool((shown == picture).all())
    why = dict(decoded.missing) if frames is None else f"{equal} of {matched} fields"
    tally.add("recovered clock: every active pixel", f"{told}: {why}", good=0 < matched == equal)


def table(tally: Tally) -> Iterator[str]:
    """Give the table's lines."""
    yield f"| {'asked':<46} | good | of   | share   |"
    yield f"|{'-' * 48}|------|------|---------|"
    for what, (good, count) in sorted(tally.rows.items()):
        yield f"| {what:<46} | {good:>4} | {count:>4} | {good / count:7.2%} |"


def run_grid(captures: int, recoveries: int, seed: int) -> Tally:
    """Run the grid."""
    tally = Tally()
    rng = np.random.default_rng(seed)
    for number in range(captures):
        judge(draw(rng, number), tally)
    for number in range(recoveries):
        judge_recovered(rng, number, tally)
    return tally


def main() -> None:
    """Print the table, and every case that was not good."""
    given = [int(a) for a in sys.argv[1:]]
    captures, recoveries, seed = (*given, *(320, 40, 85)[len(given) :])
    tally = run_grid(captures, recoveries, seed)
    print("\n".join(table(tally)))
    for line in tally.bad:
        print("not good:", line)


if __name__ == "__main__":
    main()
