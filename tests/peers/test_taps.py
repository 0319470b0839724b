"""Wiring faults on sources that rastertap had no hand in: HDL makes the signals, this file the faults."""

from __future__ import annotations

import os
import re
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.analyse import Request, analyse
from rastertap.board.load import load_board
from rastertap.capture.read import read_capture
from rastertap.checks.wiring import explain

from .resample import resample
from .wired import Wiring, all_same, both, dense, inverted, pairs, singles, still, with_waves

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rastertap.analyse import Analysis
    from rastertap.board.model import Board
    from rastertap.capture.model import Capture

    from .simulate import Simulated
    from .wired import Name, Waves

SETS = {3: "rgb", 4: "rgbi", 6: "rrggbb"}
SHARE = int(os.environ.get("RASTERTAP_WIRING_SHARE", "2"))
"""Every so many of the single faults are tried; 1 for all."""
PAIRS = 48 // SHARE


@pytest.fixture(scope="module", params=[("sd625-312", 24), ("sd525-262", 50), ("sd625-odd", 100)])
def wired(
    request: pytest.FixtureRequest,
    simulated: Callable[..., Simulated],
    tmp_path_factory: pytest.TempPathFactory,
) -> tuple[Capture, Board]:
    """An analyser's capture of an HDL source, all right, and the board file that says so."""
    name, rate = request.param
    source = simulated(name)
    folder = tmp_path_factory.mktemp("taps")
    made = resample(
        source,
        folder / "good.vcd",
        rate_hz=rate * 10**6,
        seed=rate,
        ppm=9.0,
        start_s=float(source.fields[0].start_s) - 0.5e-3,
        duration_s=1.1 / _field_rate(source),
    )
    np.save(folder / "picture.npy", source.pictures[0])
    lines = [
        'schema = "rastertap.board/1"',
        f'name = "{name}"',
        "[timing]",
        f"field_rate_hz = {_field_rate(source)}",
    ]
    for channel, (role, bit) in made.channels.items():
        if not role.startswith("static"):
            lines += [f"[pins.{channel}]", f'role = "{role}"']
            lines += [f"bit = {bit}"] if role == "colour" else []
            polarity = source.truth["polarity"].get(role)
            lines += [f'polarity = "{polarity}"'] if polarity else []
    lines += ["[colours]", f'set = "{SETS[source.truth["bits"]]}"', "[picture]", 'reference = "picture.npy"']
    (folder / "board.toml").write_text("\n".join(lines) + "\n")
    return read_capture(str(made.path)), load_board(folder / "board.toml")


def _field_rate(source: Simulated) -> float:
    truth = source.truth
    return float(truth["clock_hz"] / truth["pixels_per_line"] / truth["lines_per_field"])


def story_of(capture: Capture, board: Board) -> set[tuple[str, frozenset[str] | int]]:
    analysis: Analysis = analyse(capture, Request(board=board))
    story = explain(analysis.evidence).story
    return {(f.kind, f.amount if f.kind == "shifted" else frozenset(f.channels)) for f in story.faults}


def used(board: Board, *roles: str) -> list[str]:
    return [n for n, p in board.pins.items() if p.role in roles]


def test_clean_wiring_has_no_fault(wired: tuple[Capture, Board]) -> None:
    capture, board = wired
    assert story_of(capture, board) == set()
    analysis = analyse(capture, Request(board=board))
    assert [f for f in analysis.findings if f.id.startswith("taps.") and f.result in {"fail", "warn"}] == []
    assert next(f for f in analysis.findings if f.id == "picture.known_picture").result == "pass"


def test_exchanged_neighbours_are_named(wired: tuple[Capture, Board]) -> None:
    capture, board = wired
    waves = {c.name: c for c in capture.channels}
    names = list(board.pins)
    for one, other in list(pairwise(names))[::2]:
        swapped = waves | {one: waves[other], other: waves[one]}
        assert story_of(with_waves(capture, swapped), board) == {("swapped", frozenset((one, other)))}


def test_inverted_leads_are_named(wired: tuple[Capture, Board]) -> None:
    capture, board = wired
    waves = {c.name: c for c in capture.channels}
    for name in used(board, "hsync", "vsync", "csync", "colour")[::2]:
        turned = waves | {name: inverted(waves[name])}
        assert story_of(with_waves(capture, turned), board) == {("inverted", frozenset((name,)))}


@pytest.mark.parametrize("level", [0, 1])
def test_stuck_leads_are_named(level: int, wired: tuple[Capture, Board]) -> None:
    capture, board = wired
    waves = {c.name: c for c in capture.channels}
    for name in list(board.pins)[level::2]:
        stuck = waves | {name: still(level)}
        wanted = {(f"stuck_{'high' if level else 'low'}", frozenset((name,)))}
        assert story_of(with_waves(capture, stuck), board) == wanted


@pytest.mark.parametrize("rule", [np.minimum, np.maximum])
def test_bridged_colour_leads_are_named(rule: np.ufunc, wired: tuple[Capture, Board]) -> None:
    capture, board = wired
    waves = {c.name: c for c in capture.channels}
    bits = used(board, "colour")
    for one, other in list(pairwise(bits))[::2]:
        mixed = both(waves[one], waves[other], rule)
        touching = waves | {one: mixed, other: mixed}
        assert story_of(with_waves(capture, touching), board) == {("bridged", frozenset((one, other)))}


@pytest.mark.parametrize("by", [1, -2])
def test_a_shifted_connector_is_named(by: int, wired: tuple[Capture, Board]) -> None:
    capture, board = wired
    names = [c.name for c in capture.channels]
    waves = {c.name: c for c in capture.channels}
    moved = {n: waves[names[i - by]] if 0 <= i - by < len(names) else still(0) for i, n in enumerate(names)}
    assert ("shifted", by) in story_of(with_waves(capture, moved), board)


def named(analysis: Analysis, board: Board) -> frozenset[Name]:
    """Faults whose finding fails and names their channels; of a bridge to a spare lead, warns."""
    told = {f.id: f for f in analysis.findings}
    found = set()
    for fault in explain(analysis.evidence).story.faults:
        if fault.kind == "shifted":
            finding, words, name = told["taps.shifted"], ("SWITCH OFF",), (str(fault.amount),)
        else:
            finding = told[f"taps.{fault.kind}".replace("mismatch", "role_mismatch")]
            words = fault.channels
            name = words if fault.kind == "crosstalk" else tuple(sorted(words))
        spare = fault.kind == "bridged" and any(c not in board.pins for c in fault.channels)
        if finding.result in ({"fail", "warn"} if spare else {"fail"}) and all(
            re.search(rf"{word}(?!\d)", finding.text) for word in words
        ):
            found.add((fault.kind, name))
    return frozenset(found)


def agrees(found: frozenset[Name], wanted: frozenset[Name], dense_ones: set[str]) -> bool:
    """Whether all is named and nothing else; of crosstalk, others that switch with the source as well.

    Nothing can say that the clock is to blame when each sample is beside an edge of it.
    """
    left = set(found)
    for kind, channels in wanted:
        match = next((f for f in left if f == (kind, channels) or _is_crosstalk(f, kind, channels)), None)
        if match is None and kind == "crosstalk" and channels[1] in dense_ones:
            match = next((f for f in left if f == (kind, channels[:1])), None)
        if match is None:
            return False
        left.remove(match)
    return not left


def _is_crosstalk(found: Name, kind: str, channels: tuple[str, ...]) -> bool:
    return kind == found[0] == "crosstalk" and found[1][0] == channels[0] and channels[1] in found[1][1:]


def traceless(wiring: Wiring, clean: Waves) -> bool:
    """Whether nothing shows: the same recording, or crosstalk on its victim's own edges only."""
    changes = {n: w.ticks.size for n, w in wiring.waves.items()}
    moved = all(w.ticks.size == changes[n] for n, w in clean.items())
    return all_same(wiring.waves, clean) or (moved and any(k == "crosstalk" for k, _ in wiring.names))


def missed(wirings: Sequence[Wiring], capture: Capture, board: Board) -> list[str]:
    """Wirings that are not called by their names, nor by those of another that leaves the same recording."""
    clean = {c.name: c for c in capture.channels}
    clock = next(n for n, p in board.pins.items() if p.role == "pixel_clock")
    busy = {n for n, w in clean.items() if dense(w, capture)}
    wrong = []
    for wiring in wirings:
        if traceless(wiring, clean):
            continue
        analysis = analyse(with_waves(capture, wiring.waves), Request(board=board))
        found = named(analysis, board)
        wanted = wiring.names - {("inverted", (clock,))}
        if wanted != wiring.names:
            text = next(f.text for f in analysis.findings if f.id == "taps.inverted")
            assert "Of the pixel clock" in text
        alike = [w.names for w in wirings if w is not wiring and all_same(w.waves, wiring.waves)]
        if not any(agrees(found, names, busy) for names in (wanted, *alike)):
            wrong.append(f"{sorted(wiring.names)}: called {sorted(found)}")
    return wrong


def test_single_faults_on_every_lead_are_named_exactly(wired: tuple[Capture, Board]) -> None:
    """As many as on rastertap's own bench: 99 % at least (`tests/benchmarks/wiring_grid.py`)."""
    capture, board = wired
    spare = next(c.name for c in capture.channels if c.name not in board.pins)
    wirings = list(singles(capture, list(board.pins), spare, seed=6))[SHARE // 2 :: SHARE]
    wrong = missed(wirings, capture, board)
    assert len(wrong) <= 0.01 * len(wirings), wrong


def test_pairs_of_faults_are_named_exactly(wired: tuple[Capture, Board]) -> None:
    """As many as on rastertap's own bench: 90 % at least."""
    capture, board = wired
    spare = next(c.name for c in capture.channels if c.name not in board.pins)
    wirings = list(pairs(list(singles(capture, list(board.pins), spare, seed=6)), capture, PAIRS, seed=7))
    wrong = missed(wirings, capture, board)
    assert len(wrong) <= 0.1 * len(wirings), wrong
