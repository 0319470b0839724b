"""How the wiring grid scores: what a repairer would call named exactly, undecidable and said so, or missed.

- A fault counts as named only if its finding *fails* (a warning will do for a bridge to a spare lead) and its
  text holds the fault's channels; a fault too many makes the whole wiring a miss.
- Of crosstalk the disturbed channel must be right and the disturbing one among those named; another one may
  be named beside it only if it has an edge wherever the crosstalk left a pulse.
- Undecidable is what can be shown to be so without the checks: another wiring, of no more changes, leaves
  the same recording sample by sample; which edge of the pixel clock is which; a clock to blame when each
  sample is beside an edge of it; a colour bit's bridge or inversion when another fault takes the clock or
  the line sync away. Each must be said in the report, in words that name the channel; if it is not, it is a
  miss. Undecidable wirings count neither as exact nor as missed.
- A fault that changes no sample, beside the other one of a pair, leaves no trace and need not be named;
  nor need crosstalk that falls on its victim's own edges only, and adds no change to it.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Literal

import numpy as np
from wiring_cases import Case, Name, Names, named
from wiring_seen import CROSSTALK_TICKS, TOLD, Bench, Seen, chance_in, holds, parts_of, says, undecidable

from rastertap.analyse import Request, analyse
from rastertap.checks.wiring import explain

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from rastertap.analyse import Analysis
    from rastertap.board.model import Board
    from rastertap.checks.wiring_story import Fault, Story

Outcome = Literal["exact", "undecidable", "missed", "no trace"]
BESIDE = 0.98
MOVED = {
    "shifted": "OUT, towards",
    "reversed": "the wrong way round",
    "rows": "rows of the connector are exchanged",
}
STEPS = ("shifted", "reversed", "rows", "swapped")


def see(bench: Bench, case: Case) -> Seen:
    """Record a wiring and have it judged."""
    recording = bench.record(case.faults)
    analysis = analyse(recording.capture, Request(board=bench.board))
    explanation = explain(analysis.evidence)
    found = reported(analysis, explanation.story, bench.board)
    told = {f.id: (f.result, f.text) for f in analysis.findings}
    rivals = tuple(frozenset(map(name_of, r.faults)) for r in explanation.rivals)
    return Seen(bench, case, recording, found, rivals, told, analysis.verdict.place)


def name_of(fault: Fault) -> Name:
    """Name a fault of a story."""
    if fault.kind == "shifted":
        return named("shifted", str(fault.amount))
    return named(fault.kind, *fault.channels)


def reported(analysis: Analysis, story: Story, board: Board) -> Names:
    """Give the faults of which the report says that they are so."""
    told = {f.id: f for f in analysis.findings}
    found = set()
    for fault in story.faults:
        finding = told[f"taps.{TOLD.get(fault.kind, fault.kind)}"]
        spare = fault.kind == "bridged" and any(c not in board.pins for c in fault.channels)
        words = [MOVED[fault.kind]] if fault.kind in MOVED else fault.channels
        said = all(holds(finding.text, word) for word in words)
        if finding.result in ({"fail", "warn"} if spare else {"fail"}) and said:
            found.add(name_of(fault))
    return frozenset(found)


def score(seen: Seen) -> Outcome:
    """Say how well a wiring was named."""
    wanted = seen.case.names - seen.traceless
    if not wanted:
        wrong = seen.found and _unmatched(seen, seen.case.names)[0]
        return "missed" if wrong else "no trace"
    left, unnamed = _unmatched(seen, seen.case.names)
    if not left and not unnamed - seen.traceless:
        return _exact(seen)
    if left and not (_leaves_the_same(seen, left, unnamed) or _is_a_copy(seen, left, unnamed)):
        return "missed"
    said = all((left or undecidable(n, seen)) and says(n, seen, left) for n in unnamed - seen.traceless)
    return "undecidable" if said else "missed"


def _exact(seen: Seen) -> Outcome:
    """Whether of crosstalk the source was named as well; if nothing can tell it, that must be said."""
    if all(len(channels) > 1 for kind, channels in seen.found if kind == "crosstalk"):
        return "exact"
    return "undecidable" if "beside no channel's edges in particular" in seen.text("crosstalk") else "missed"


def _unmatched(seen: Seen, wanted: Names) -> tuple[Names, Names]:
    """Give what was called but is not so, and what is so but was not called."""
    left, unnamed = set(seen.found), set()
    for name in wanted:
        match = next((f for f in left if _same(f, name, seen)), None)
        if match is None:
            unnamed.add(name)
        else:
            left.remove(match)
    return frozenset(left), frozenset(unnamed)


def _same(found: Name, wanted: Name, seen: Seen) -> bool:
    if wanted[0] != "crosstalk" or found[0] != "crosstalk":
        return found == wanted
    (victim, source), (disturbed, *blamed) = wanted[1], found[1]
    if disturbed != victim:
        return False
    if not blamed:
        # Nothing can say that the clock is to blame when each sample is beside an edge of it.
        return seen.bench.dense(source)
    others = [c for c in blamed if c != source]
    return source in blamed and all(_switches_along(c, victim, source, seen) for c in others)


def _switches_along(channel: str, victim: str, source: str, seen: Seen) -> bool:
    """Whether a channel has an edge, to two samples, wherever the crosstalk alone leaves a pulse."""
    bench = seen.bench
    ticks = bench.record((f"crosstalk:{victim},{source}",)).capture.channel(victim).ticks
    # No pixel of the grid is this short: each such pulse is the crosstalk's.
    marks = ticks[:-1][np.diff(ticks) <= CROSSTALK_TICKS + 2 * bench.step]
    edges = bench.unharmed.capture.channel(channel).ticks
    if not edges.size or not marks.size:
        return False
    near = _distance(marks, edges) <= CROSSTALK_TICKS + 2 * bench.step
    return bool(near.mean() >= BESIDE)


def _distance(times: NDArray[np.int64], edges: NDArray[np.int64]) -> NDArray[np.int64]:
    """From each time to the nearest edge."""
    after = np.clip(np.searchsorted(edges, times), 1, max(edges.size - 1, 1))
    last = edges[np.minimum(after, edges.size - 1)]
    return np.minimum(np.abs(last - times), np.abs(edges[after - 1] - times))


def _leaves_the_same(seen: Seen, left: Names, unnamed: Names) -> bool:
    """Whether what was called instead leaves the very same recording, with no more changes.

    Two leads that are never high (or low) together hold each other still: one bridge, or two stuck wires.
    """
    bridges = sum(kind == "bridged" for kind, _ in unnamed)
    if len(left) > len(unnamed) + bridges:
        return False
    kept = tuple(f for name, fault in parts_of(seen.case) if name not in unnamed for f in fault)
    steps, rest = (
        tuple(f for f in kept if f.startswith(("shift", "reverse")) is one) for one in (True, False)
    )
    chance = chance_in(seen.case.faults)
    return any(
        seen.bench.record((*steps, *way, *rest)).same_as(seen.recording, but_for=chance)
        for way in _wirings_called(left)
    )


def _is_a_copy(seen: Seen, left: Names, unnamed: Names) -> bool:
    """Whether an open lead shows just what another is meant to: called a bridge, of which it is a copy."""
    if [k for k, _ in left] != ["bridged"] or [k for k, _ in unnamed] != ["open"]:
        return False
    ((_, pair),), ((_, (loose,)),) = left, unnamed
    one, other = (seen.recording.capture.channel(c).ticks for c in pair)
    return loose in pair and np.array_equal(one, other)


def _wirings_called(found: Names) -> list[tuple[str, ...]]:
    """Faults of the bench that would be called this; none where chance is in it."""
    makers: dict[str, Callable[..., list[str]]] = {
        "swapped": lambda a, b: [f"swap:{a},{b}"],
        "inverted": lambda a: [f"invert:{a}"],
        "stuck_low": lambda a: [f"stuck-low:{a}"],
        "stuck_high": lambda a: [f"stuck-high:{a}"],
        "bridged": lambda a, b: [f"bridge:{a},{b},and", f"bridge:{a},{b},or"],
        "shifted": lambda by: [f"shift:{by}"],
        "reversed": lambda: ["reverse"],
    }
    ordered = sorted(found, key=lambda f: f[0] not in STEPS)
    return list(itertools.product(*(makers[k](*names) if k in makers else [] for k, names in ordered)))
