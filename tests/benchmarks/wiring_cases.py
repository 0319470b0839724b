"""Boards, wirings and recordings of the wiring grid: the bench makes them, apart from the checks."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np

from rastertap.bench.analyser import Analyser
from rastertap.bench.faults import parse_fault
from rastertap.bench.make import MadeCapture, make_capture
from rastertap.bench.source import Border, CompositeSync, Rectangle, VideoSource
from rastertap.board.load import load_board
from rastertap.capture.model import Capture, Channel, SamplePeriod

if TYPE_CHECKING:
    from pathlib import Path

    from rastertap.board.model import Board

Name = tuple[str, tuple[str, ...]]
"""What a fault is called: its kind and its channels; of crosstalk the disturbed one first, else sorted."""
Names = frozenset[Name]
CHANNELS = 12


@dataclass(frozen=True)
class Case:
    """One wiring: its faults, and what they should be called."""

    faults: tuple[str, ...]
    names: Names

    @property
    def channels(self) -> frozenset[str]:
        """Channels that its names hold; none for a connector that has moved as a whole."""
        return frozenset(c for kind, names in self.names if kind != "shifted" for c in names)


@dataclass(frozen=True, eq=False)
class Recording:
    """A capture that can be compared with another."""

    capture: Capture

    def same_as(self, other: Recording, *, but_for: frozenset[str] = frozenset()) -> bool:
        """Whether not a single sample differs, some channels left out."""
        pairs = zip(self.capture.channels, other.capture.channels, strict=True)
        return all(
            a.name in but_for or (a.initial == b.initial and np.array_equal(a.ticks, b.ticks))
            for a, b in pairs
        )


def source(name: str, clock: int, line: int, bits: int, **more: Any) -> VideoSource:
    """Describe a machine of some 312 lines at 50 Hz."""
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
        **more,
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


def wires_of(key: str) -> tuple[tuple[str, str], ...]:
    """Channel and signal, the spare ones low."""
    signals = SOURCES[key].signals
    signals = (*signals, *["low"] * (CHANNELS - len(signals)))
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
    for channel, signal in wires_of(key):
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
        shown = make_capture(one, Analyser(wires_of(key), fields=0.01)).pictures
        np.save(folder / f"{key}.npy", shown)
        a = one.active
        text.append(f"[picture]\nactive = [{a.x}, {a.y}, {a.width}, {a.height}]\nblanking = 0")
        text.append(f'reference = "{key}.npy"')
    path = folder / f"{key}-{picture}.toml"
    path.write_text("\n".join(text) + "\n")
    return load_board(path)


def named(kind: str, *channels: str) -> Name:
    """Name a fault, in one order for one thing."""
    return kind, channels if kind == "crosstalk" else tuple(sorted(channels))


def singles(key: str) -> list[Case]:
    """Every single fault on every channel in use."""
    wires = wires_of(key)
    used = [n for n, s in wires if s != "low"]
    free = [n for n, s in wires if s == "low"]
    cases: list[tuple[tuple[str, ...], Name]] = []
    for i, name in enumerate(used):
        nearest = used[i + 1] if i + 1 < len(used) else used[i - 1]
        far = used[(i + 3) % len(used)]
        two = tuple(dict.fromkeys((nearest, far)))
        both = itertools.product(("and", "or"), two)
        cases += [
            *(((f"swap:{name},{o}",), named("swapped", name, o)) for o in dict.fromkeys((*two, free[0]))),
            *(((f"bridge:{name},{o},{rule}",), named("bridged", name, o)) for rule, o in both),
            *(((f"crosstalk:{name},{o}",), named("crosstalk", name, o)) for o in two),
            ((f"bridge:{name},{free[0]},or",), named("bridged", name, free[0])),
            ((f"invert:{name}",), named("inverted", name)),
            ((f"stuck-low:{name}",), named("stuck_low", name)),
            ((f"stuck-high:{name}",), named("stuck_high", name)),
            ((f"open:{name}",), named("open", name)),
            ((f"open:{name},{nearest}",), named("open", name)),
        ]
    cases += [((f"shift:{by}",), named("shifted", str(by))) for by in (-2, -1, 1, 2)]
    cases.append((("reverse",), named("reversed")))
    cases.append(((f"reverse:{used[0]},{used[-1]}",), named("reversed")))
    rows = tuple(f"swap:D{n},D{n + 1}" for n in range(0, CHANNELS, 2))
    cases.append((rows, named("rows")))
    return [Case(faults, frozenset({name})) for faults, name in cases]


def pairs(key: str, count: int, seed: int) -> list[Case]:
    """Random pairs of single faults that have no channel in common."""
    pool = [c for c in singles(key) if not any(k == "rows" for k, _ in c.names)]
    rng = np.random.default_rng([seed, len(key), CHANNELS])
    found: list[Case] = []
    while len(found) < count:
        first, second = (pool[int(i)] for i in rng.choice(len(pool), 2, replace=False))
        if (not first.channels and not second.channels) or first.channels & second.channels:
            continue
        # A moved connector comes first: a fault of a lead is on the lead that it names.
        ordered = sorted((first, second), key=lambda c: bool(c.channels))
        found.append(Case(tuple(f for c in ordered for f in c.faults), first.names | second.names))
    return found


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


def record(key: str, rate: int, faults: tuple[str, ...], *, seed: int, start: float = 0.95) -> Recording:
    """Record 1.2 fields, from just before a field sync on unless told otherwise."""
    analyser = Analyser(wires_of(key), rate_hz=Fraction(rate * 10**6), start_fields=start, fields=1.2)
    made = make_capture(SOURCES[key], analyser, [parse_fault(f) for f in faults], seed=seed)
    return Recording(capture_of(made))
