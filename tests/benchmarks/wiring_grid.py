"""Name the wiring faults of a seeded grid of simulated boards, and print the confusion table.

    python tests/benchmarks/wiring_grid.py                      # all: some 2000 wirings, a quarter of an hour
    python tests/benchmarks/wiring_grid.py --share 8            # every eighth
    python tests/benchmarks/wiring_grid.py --seed 7 --only pair # other pairs, other noise

Every single fault on every channel in use, 100 random pairs (a few more, to have as many of each board at
each rate), and clean wirings, on boards with RGB, RGBI, RrGgBb and 4-bit coded colour, at four sample rates.
What counts as named is said in wiring_score.py.
"""

from __future__ import annotations

import argparse
import itertools
import sys
import tempfile
import time
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from wiring_cases import SOURCES, Case, Names, board_of, pairs, record, singles
from wiring_score import score, see
from wiring_seen import Bench, Seen

from rastertap.analyse import Request, analyse
from rastertap.checks.wiring import explain

if TYPE_CHECKING:
    from rastertap.board.model import Board

RATES = (24, 50, 100, 200)
PAIRS = 100
CLEAN = 3
"""Clean recordings of each board at each rate, with and without a known picture."""
GROUPS = (("single", 0.99), ("pair", 0.90), ("clean", 1.0))


@dataclass
class Tally:
    """What the cases were called."""

    table: dict[str, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    outcomes: dict[str, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    missed: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def share(self, group: str) -> tuple[int, int]:
        """Give how many were named exactly, of how many that can be told."""
        counts = self.outcomes[group]
        return counts["exact"], counts["exact"] + counts["missed"]


def word(names: Names) -> str:
    return " + ".join(sorted(k for k, _ in names)) or "nothing"


def show(names: Names) -> str:
    return ", ".join(sorted(f"{k}({' '.join(c)})" for k, c in names)) or "nothing"


def run(bench: Bench, cases: list[Case], tally: Tally, group: str) -> None:
    for case in cases:
        seen = see(bench, case)
        outcome = score(seen)
        tally.outcomes[group][outcome] += 1
        if group == "single" and outcome != "no trace":
            called = "undecidable, said" if outcome == "undecidable" else word(seen.found)
            if outcome == "missed" and called == word(case.names):
                called = "wrong channel"
            tally.table[word(case.names)][called] += 1
        if outcome == "exact" and seen.place != "taps" and not bridges_a_spare(seen, bench):
            tally.outcomes[group]["exact, but the verdict is elsewhere"] += 1
            tally.told.append(f"{line(seen, bench, group)}: verdict {seen.place}")
        if outcome == "missed":
            tally.missed.append(line(seen, bench, group))
        elif outcome == "undecidable":
            tally.told.append(line(seen, bench, group))
    exact, of = tally.share(group)
    print(f"{bench.key} @{bench.rate} {group}: {exact} of {of}", file=sys.stderr, flush=True)


def bridges_a_spare(seen: Seen, bench: Bench) -> bool:
    return all(k == "bridged" and any(c not in bench.board.pins for c in cs) for k, cs in seen.found)


def line(seen: Seen, bench: Bench, group: str) -> str:
    text = f"{group} {bench.key} @{bench.rate}: {' '.join(seen.case.faults)}: called {show(seen.found)}"
    return text + "".join(f" or {show(r)}" for r in seen.rivals)


def run_clean(key: str, rate: int, seed: int, boards: tuple[Board, ...], tally: Tally) -> None:
    """Take recordings of a board without a fault, from anywhere in a field on."""
    starts = [0.95, *np.random.default_rng([seed, rate, len(key)]).uniform(0, 1, CLEAN - 1)]
    for (number, start), board in itertools.product(enumerate(starts), boards):
        recording = record(key, rate, (), seed=seed * 1000 + number, start=float(start))
        analysis = analyse(recording.capture, Request(board=board))
        odd = {f.id for f in analysis.findings if f.id.startswith("taps.") and f.result in {"fail", "warn"}}
        odd |= {f.kind for f in explain(analysis.evidence).story.faults}
        tally.outcomes["clean"]["missed" if odd else "exact"] += 1
        if odd:
            tally.missed.append(f"clean {key} @{rate} from {start:.3f}: {', '.join(sorted(odd))}")


def report(tally: Tally) -> bool:
    columns = sorted({c for row in tally.table.values() for c in row})
    print("\nSingle faults: what is so (rows), what it was called (columns)\n")
    print("| | " + " | ".join(columns) + " |")
    print("|---" * (len(columns) + 1) + "|")
    for kind, row in sorted(tally.table.items()):
        print(f"| {kind} | " + " | ".join(str(row[c] or "") for c in columns) + " |")
    for title, lines in (
        ("Missed", tally.missed),
        ("Undecidable and said so, or exact elsewhere", tally.told),
    ):
        print(f"\n{title}:", *lines, sep="\n  ")
    print()
    good = True
    for group, least in GROUPS:
        exact, of = tally.share(group)
        if of:
            good &= exact / of >= least
            rest = {k: n for k, n in tally.outcomes[group].items() if k not in {"exact", "missed"}}
            words = "".join(f"; {n} {k}" for k, n in sorted(rest.items()))
            print(f"{group:<7} {exact} of {of} exact: {exact / of:.2%} (wanted {least:.0%}){words}")
    return good


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--share", type=int, default=1, help="run every n-th case only")
    parser.add_argument("--seed", type=int, default=0, help="of pairs, noise and starts")
    parser.add_argument("--only", choices=[group for group, _ in GROUPS], action="append")
    parser.add_argument("--board", choices=SOURCES, action="append")
    parser.add_argument("--rate", type=int, choices=RATES, action="append")
    options = parser.parse_args()
    begun, tally, groups = time.monotonic(), Tally(), options.only or [group for group, _ in GROUPS]
    with tempfile.TemporaryDirectory() as folder:
        for key, rate in itertools.product(options.board or SOURCES, options.rate or RATES):
            known = board_of(key, Path(folder), picture=True)
            unknown = board_of(key, Path(folder), picture=False)
            seed = rate + 1000 * options.seed
            bench = Bench(key, rate, seed, known, record(key, rate, (), seed=seed))
            if "single" in groups:
                run(bench, singles(key)[:: options.share], tally, "single")
            if "pair" in groups:
                count = PAIRS // (len(SOURCES) * len(RATES)) + 1
                run(bench, pairs(key, count, seed)[:: options.share], tally, "pair")
            if "clean" in groups:
                run_clean(key, rate, seed, (known, unknown), tally)
    good = report(tally)
    count = sum(counts[k] for counts in tally.outcomes.values() for k in ("exact", "missed", "undecidable"))
    print(f"{count} wirings in {time.monotonic() - begun:.0f} s, seed {options.seed}")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
