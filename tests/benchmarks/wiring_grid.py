"""Name the wiring faults of a seeded grid of simulated boards, and print the confusion table.

    python tests/benchmarks/wiring_grid.py            # all: some 2000 wirings, some minutes
    python tests/benchmarks/wiring_grid.py --share 8  # every eighth

Every single fault on every channel in use, and 100 random pairs, on boards with RGB, RGBI, RrGgBb and 4-bit
coded colour, at four sample rates. The bench makes the captures; it shares no code with the checks. What a
fault should be called follows from the fault's own text. Wirings that leave the very same recording cannot be
told apart: one may be called by the other's name, if that needs no more changes.
"""

from __future__ import annotations

import argparse
import hashlib
import itertools
import sys
import tempfile
import time
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from rastertap.analyse import Request, analyse
from rastertap.bench.analyser import Analyser
from rastertap.bench.faults import parse_fault
from rastertap.bench.make import MadeCapture, make_capture
from rastertap.bench.source import Border, CompositeSync, Rectangle, VideoSource
from rastertap.board.load import load_board
from rastertap.capture.model import Capture, Channel, SamplePeriod
from rastertap.checks.wiring import Story, explain

if TYPE_CHECKING:
    from rastertap.board.model import Board

Name = tuple[str, frozenset[str]]
RATES = (24, 50, 100, 200)
PAIRS = 100
CROSSTALK_TICKS = 15_000
"""Width of the bench's crosstalk pulse, ps."""
CHANNELS = 12
UNDECIDABLE = {("inverted", "pixel_clock")}
"""Nothing in a capture says which edge of the clock is which: the report must say so."""


@dataclass(frozen=True)
class Case:
    """One wiring: its faults, and what they should be called."""

    faults: tuple[str, ...]
    names: frozenset[Name]


@dataclass
class Tally:
    """What the cases were called."""

    table: dict[str, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    right: Counter[str] = field(default_factory=Counter)
    count: Counter[str] = field(default_factory=Counter)
    missed: list[str] = field(default_factory=list)


def source(name: str, clock: int, line: int, bits: int, **more: object) -> VideoSource:
    active = Rectangle(line // 5, 40, line * 2 // 3, 240)
    return VideoSource(
        name=name,
        pixel_clock_hz=Fraction(clock),
        pixels_per_line=line,
        lines_per_field=Fraction(312),
        active=active,
        border=Border(16, 16, 12, 12, code=1),
        colour_bits=bits,
        hsync_start=0,
        hsync_width=round(clock * 4.7e-6),
        **more,  # type: ignore[arg-type]
    )


SOURCES = {
    "rgb": source("RGB", 6_000_000, 384, 3),
    "rgbi": source("RGBI", 7_500_000, 480, 4, composite=CompositeSync("xor")),
    "rrggbb": source(
        "RRGGBB",
        6_750_000,
        432,
        6,
        separate_sync=False,
        composite=CompositeSync("or"),
        blank_polarity="positive",
    ),
    "coded": source(
        "CODED",
        8_000_000,
        512,
        4,
        display_enable_polarity="positive",
        hsync_polarity="positive",
        vsync_polarity="positive",
        delays_ns={"colour1": 20.0, "hsync": 5.0, "vsync": 7.0},
    ),
}
SETS = {"rgb": "rgb", "rgbi": "rgbi", "rrggbb": "rrggbb", "coded": "grey"}


def wires_of(one: VideoSource) -> tuple[tuple[str, str], ...]:
    signals = [*one.signals, *["low"] * (CHANNELS - len(one.signals))]
    return tuple((f"D{n}", signal) for n, signal in enumerate(signals))


def board_of(key: str, folder: Path, *, picture: bool) -> Board:
    """Write the board file a user would write, and read it."""
    one = SOURCES[key]
    polarity = {
        "hsync": one.hsync_polarity,
        "vsync": one.vsync_polarity,
        "csync": one.composite.polarity if one.composite else None,
        "blank": one.blank_polarity,
        "display_enable": one.display_enable_polarity,
    }
    text = ['schema = "rastertap.board/1"', f'name = "{key} (invented)"']
    for channel, signal in wires_of(one):
        if signal == "low":
            continue
        text.append(f"[pins.{channel}]")
        if signal.startswith("colour"):
            text += ['role = "colour"', f"bit = {signal.removeprefix('colour')}"]
        else:
            text.append(f'role = "{signal}"')
            text += [f'polarity = "{polarity[signal]}"'] if polarity.get(signal) else []
    text.append('[timing]\nstandard = "312/50"')
    text.append(f'[colours]\nset = "{SETS[key]}"')
    if picture:
        shown = make_capture(one, Analyser(wires_of(one), fields=0.01)).pictures
        np.save(folder / f"{key}.npy", shown)
        a = one.active
        text.append(f"[picture]\nactive = [{a.x}, {a.y}, {a.width}, {a.height}]\nblanking = 0")
        text.append(f'reference = "{key}.npy"')
    path = folder / f"{key}-{picture}.toml"
    path.write_text("\n".join(text) + "\n")
    return load_board(path)


def named(kind: str, *channels: str) -> Name:
    return kind, frozenset(channels)


def singles(key: str) -> list[Case]:
    """Every single fault on every channel in use."""
    wires = wires_of(SOURCES[key])
    used = [n for n, s in wires if s != "low"]
    free = [n for n, s in wires if s == "low"]
    cases = []
    for i, name in enumerate(used):
        nearest = used[i + 1] if i + 1 < len(used) else used[i - 1]
        far = used[(i + 3) % len(used)]
        for other in dict.fromkeys((nearest, far, free[0])):
            cases += [((f"swap:{name},{other}",), {named("swapped", name, other)})]
        for rule, other in itertools.product(("and", "or"), dict.fromkeys((nearest, far))):
            cases += [((f"bridge:{name},{other},{rule}",), {named("bridged", name, other)})]
        for other in dict.fromkeys((nearest, far)):
            cases += [((f"crosstalk:{name},{other}",), {named("crosstalk", name, other)})]
        cases += [
            ((f"bridge:{name},{free[0]},or",), {named("bridged", name, free[0])}),
            ((f"invert:{name}",), {named("inverted", name)}),
            ((f"stuck-low:{name}",), {named("stuck_low", name)}),
            ((f"stuck-high:{name}",), {named("stuck_high", name)}),
            ((f"open:{name}",), {named("open", name)}),
            ((f"open:{name},{nearest}",), {named("open", name)}),
        ]
    cases += [((f"shift:{by}",), {named("shifted", str(by))}) for by in (-2, -1, 1, 2)]
    cases.append((("reverse",), {named("reversed")}))
    cases.append(((f"reverse:{used[0]},{used[-1]}",), {named("reversed")}))
    rows = tuple(f"swap:D{n},D{n + 1}" for n in range(0, CHANNELS, 2))
    cases.append((rows, {named("rows")}))
    return [Case(faults, frozenset(names)) for faults, names in cases]


def pairs(key: str, count: int, seed: int) -> list[Case]:
    """Random pairs of single faults that have no channel in common."""
    pool = [c for c in singles(key) if not any(k == "rows" for k, _ in c.names)]
    rng = np.random.default_rng([seed, len(key), CHANNELS])
    found: list[Case] = []
    while len(found) < count:
        first, second = (pool[int(i)] for i in rng.choice(len(pool), 2, replace=False))
        global_ones = [c for c in (first, second) if not channels_of(c)]
        if len(global_ones) == 2 or channels_of(first) & channels_of(second):
            continue
        # A moved connector comes first: a fault of a lead is on the lead that it names.
        ordered = sorted((first, second), key=lambda c: not channels_of(c), reverse=True)
        found.append(Case(tuple(f for c in ordered for f in c.faults), first.names | second.names))
    return found


def used_by(case: Case) -> frozenset[str]:
    return frozenset(c for _, channels in case.names for c in channels if c.startswith("D"))


def channels_of(case: Case) -> frozenset[str]:
    return frozenset(c for kind, names in case.names if kind != "shifted" for c in names)


def capture_of(made: MadeCapture) -> Capture:
    """Hand the samples over as the reader would."""
    step = round(10**12 / made.analyser.rate_hz)
    channels = tuple(
        Channel(
            name, initial, samples * step, ((np.arange(1, samples.size + 1) + initial) % 2).astype(np.uint8)
        )
        for name, initial, samples in made.channels
    )
    end = (made.count - 1) * step
    return Capture(
        "grid", Fraction(1, 10**12), 0, end, channels, sample_period=SamplePeriod(step, 0.0, known=True)
    )


def record(key: str, rate: int, faults: tuple[str, ...]) -> Capture:
    one = SOURCES[key]
    analyser = Analyser(wires_of(one), rate_hz=Fraction(rate * 10**6), start_fields=0.95, fields=1.2)
    return capture_of(make_capture(one, analyser, [parse_fault(f) for f in faults], seed=rate))


def print_of(capture: Capture) -> str:
    digest = hashlib.sha256()
    for channel in capture.channels:
        digest.update(bytes([channel.initial]) + channel.ticks.tobytes())
    return digest.hexdigest()


def only_moves_edges(capture: Capture, clean: Capture) -> bool:
    """Whether no channel has a change too many or too few: crosstalk fell on the victim's own changes."""
    step = round(capture.sample_period.ticks) if capture.sample_period else 1
    reach = CROSSTALK_TICKS + step
    return all(
        a.ticks.size == b.ticks.size and (not a.ticks.size or int(np.abs(a.ticks - b.ticks).max()) <= reach)
        for a, b in zip(capture.channels, clean.channels, strict=True)
    )


def names_of(story: Story) -> frozenset[Name]:
    found: set[Name] = set()
    for fault in story.faults:
        if fault.kind == "shifted":
            found.add(named("shifted", str(fault.amount)))
        elif fault.kind == "crosstalk":
            found.add(("crosstalk", frozenset(fault.channels)))
        else:
            found.add(named(fault.kind, *fault.channels))
    return frozenset(found)


def too_dense(capture: Capture, channel: str) -> bool:
    """Whether a channel changes at nearly every sample, so that everything happens beside its edges."""
    step = capture.sample_period.ticks if capture.sample_period else 1.0
    return capture.channel(channel).ticks.size * 3 * step > 0.6 * capture.end


def agrees(found: frozenset[Name], wanted: frozenset[Name]) -> bool:
    """Whether all is named and nothing else; crosstalk may also name what switches with the true source."""
    left = set(found)
    for kind, channels in wanted:
        match = next(
            (
                f
                for f in left
                if f[0] == kind and (f[1] >= channels if kind == "crosstalk" else f[1] == channels)
            ),
            None,
        )
        if match is None:
            return False
        left.remove(match)
    return not left


def word(names: frozenset[Name]) -> str:
    return " + ".join(sorted(k for k, _ in names)) or "clean"


def show(names: frozenset[Name]) -> str:
    return ", ".join(sorted(f"{k}({' '.join(sorted(c))})" for k, c in names)) or "nothing"


@dataclass(frozen=True)
class Seen:
    """One case: what its recording is, and what it was called."""

    case: Case
    digest: str
    found: frozenset[Name]
    rivals: str
    only_moves_edges: bool
    told: dict[str, tuple[str, str]]


def see(key: str, rate: int, case: Case, board: Board, unharmed: Capture) -> Seen:
    capture = record(key, rate, case.faults)
    analysis = analyse(capture, Request(board=board))
    explanation = explain(analysis.evidence)
    told = {f.id: (f.result, f.text) for f in analysis.findings}
    rivals = "; ".join(show(names_of(r)) for r in explanation.rivals)
    moves_edges = word(case.names) == "crosstalk" and only_moves_edges(capture, unharmed)
    return Seen(case, print_of(capture), names_of(explanation.story), rivals, moves_edges, told)


def wirings_called(found: frozenset[Name]) -> list[tuple[str, ...]]:
    """Faults of the bench that would be called this; none where chance is in it."""
    ways: list[list[str]] = []
    for kind, channels in sorted(found, key=lambda f: f[0] not in {"shifted", "reversed", "rows", "swapped"}):
        names = sorted(channels)
        ways.append(
            {
                "swapped": [f"swap:{','.join(names)}"],
                "inverted": [f"invert:{names[0]}" if names else ""],
                "stuck_low": [f"stuck-low:{names[0]}" if names else ""],
                "stuck_high": [f"stuck-high:{names[0]}" if names else ""],
                "bridged": [f"bridge:{','.join(names)},{rule}" for rule in ("and", "or")],
                "shifted": [f"shift:{names[0]}" if names else ""],
                "reversed": ["reverse"],
            }.get(kind, [])
        )
    return list(itertools.product(*ways))


def traceless(key: str, rate: int, case: Case, unharmed: Capture) -> frozenset[Name]:
    """Crosstalk of a pair that by itself adds no pulse, but only moves edges."""
    found = set()
    for fault in case.faults:
        kind, _, channels = fault.partition(":")
        if kind == "crosstalk" and only_moves_edges(record(key, rate, (fault,)), unharmed):
            found.add(named("crosstalk", *channels.split(",")))
    return frozenset(found)


def said_to_be_open(seen: Seen) -> frozenset[Name]:
    """Faults of which the report says that they cannot be told here: no picture was rebuilt to compare."""
    found = set()
    for kind, channels in seen.case.names:
        result, text = seen.told.get(f"taps.{kind}", ("", ""))
        if kind == "bridged" and result == "not_measured" and all(n in text for n in channels):
            found.add((kind, channels))
        if kind == "inverted" and "Of the colour bits nothing can be told" in text:
            found.add((kind, channels))
    return frozenset(found)


def leaves_the_same(key: str, rate: int, seen: Seen) -> bool:
    """Whether the wiring as it was called leaves the very same recording, with no more changes."""
    bridges = sum(kind == "bridged" for kind, _ in seen.case.names)
    # Two that are never high (or low) together hold each other still: one bridge, or two stuck wires.
    if len(seen.found) > len(seen.case.names) + bridges:
        return False
    return any(print_of(record(key, rate, faults)) == seen.digest for faults in wirings_called(seen.found))


def run(key: str, rate: int, cases: list[Case], board: Board, *, tally: Tally, group: str) -> None:
    unharmed = record(key, rate, ())
    clean = print_of(unharmed)
    signal = dict(wires_of(SOURCES[key]))
    seen = [see(key, rate, case, board, unharmed) for case in cases]
    alike: dict[str, list[frozenset[Name]]] = defaultdict(list)
    for one in seen:
        alike[one.digest].append(one.case.names)
    for one in seen:
        case = one.case
        if one.digest == clean or one.only_moves_edges:
            tally.count["leaves no trace" if one.digest == clean else "only moves edges"] += 1
            tally.right["clean"] += not one.found or agrees(one.found, case.names)
            tally.count["clean"] += 1
            continue
        accepted = list(alike[one.digest])
        blind = {n for n in case.names if (n[0], signal.get(next(iter(n[1]), ""), "")) in UNDECIDABLE}
        if blind:
            tally.count["undecidable"] += 1
            accepted = [case.names - blind]
        dense = {n for n in used_by(case) if too_dense(unharmed, n)}
        if any(kind == "crosstalk" and channels & dense for kind, channels in case.names):
            # Nothing can say that the clock is to blame when each sample is beside an edge of it.
            accepted.append(frozenset((k, c - dense) if k == "crosstalk" else (k, c) for k, c in case.names))
        if group == "pair":
            accepted.append(case.names - traceless(key, rate, case, unharmed))
        right = any(agrees(one.found, wanted) for wanted in accepted)
        right = right or leaves_the_same(key, rate, one)
        if not right and agrees(one.found, case.names - said_to_be_open(one)):
            tally.count["undecidable, and said so"] += 1
            continue
        tally.count[group] += 1
        tally.right[group] += right
        if group == "single":
            tally.table[word(case.names)][word(one.found)] += 1
        if not right:
            text = f"{group} {key} @{rate}: {' '.join(case.faults)}: called {show(one.found)}"
            tally.missed.append(text + (f" or {one.rivals}" if one.rivals else ""))
    done = f"{key} @{rate} {group}: {tally.right[group]} of {tally.count[group]}"
    print(done, *tally.missed[-3:], sep="\n  ", file=sys.stderr, flush=True)


def report(tally: Tally) -> bool:
    columns = sorted({c for row in tally.table.values() for c in row})
    print("\nSingle faults: what is so (rows), what it was called (columns)\n")
    print(f"{'':<12}" + "".join(f"{c[:14]:>16}" for c in columns))
    for kind, row in sorted(tally.table.items()):
        print(f"{kind:<12}" + "".join(f"{row[c] or '.':>16}" for c in columns))
    print()
    for line in tally.missed:
        print(f"  {line}")
    print()
    good = True
    for group, least in (("single", 0.99), ("pair", 0.90), ("clean", 1.0)):
        if tally.count[group]:
            share = tally.right[group] / tally.count[group]
            good &= share >= least
            of = f"{tally.right[group]} of {tally.count[group]}"
            print(f"{group:<7} {of} right: {share:.2%} (wanted {least:.0%})")
    for group in ("undecidable", "undecidable, and said so", "leaves no trace", "only moves edges"):
        print(f"{group}: {tally.count[group]}")
    return good


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--share", type=int, default=1, help="run every n-th case only")
    parser.add_argument("--board", choices=list(SOURCES), action="append")
    parser.add_argument("--rate", type=int, choices=RATES, action="append")
    options = parser.parse_args()
    begun, tally = time.monotonic(), Tally()
    with tempfile.TemporaryDirectory() as folder:
        for key, rate in itertools.product(options.board or SOURCES, options.rate or RATES):
            known = board_of(key, Path(folder), picture=True)
            unknown = board_of(key, Path(folder), picture=False)
            run(key, rate, singles(key)[:: options.share], known, tally=tally, group="single")
            share = PAIRS // (len(SOURCES) * len(RATES)) + 1
            run(key, rate, pairs(key, share, rate)[:: options.share], known, tally=tally, group="pair")
            for board in (known, unknown):
                found = names_of(explain(analyse(record(key, rate, ()), Request(board=board)).evidence).story)
                tally.count["clean"] += 1
                tally.right["clean"] += not found
                if found:
                    tally.missed.append(f"clean {key} @{rate}: called {show(found)}")
    good = report(tally)
    count = sum(tally.count[group] for group in ("single", "pair", "clean"))
    print(f"{count} wirings in {time.monotonic() - begun:.0f} s")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
