"""Wiring faults on sources that rastertap had no hand in: HDL makes the signals, this file the faults."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.analyse import Request, analyse
from rastertap.board.load import load_board
from rastertap.capture.model import Capture, Channel
from rastertap.capture.read import read_capture
from rastertap.checks.wiring import explain

from .resample import resample

if TYPE_CHECKING:
    from collections.abc import Callable

    from rastertap.analyse import Analysis
    from rastertap.board.model import Board

    from .simulate import Simulated

Waves = dict[str, Channel]
SETS = {3: "rgb", 4: "rgbi", 6: "rrggbb"}


@pytest.fixture(scope="module", params=[("sd625-312", 24), ("sd525-262", 50)])
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


def with_waves(capture: Capture, waves: Waves) -> Capture:
    channels = tuple(replace(waves[c.name], name=c.name) for c in capture.channels)
    return replace(capture, channels=channels)


def story_of(capture: Capture, board: Board) -> set[tuple[str, frozenset[str] | int]]:
    analysis: Analysis = analyse(capture, Request(board=board))
    story = explain(analysis.evidence).story
    return {(f.kind, f.amount if f.kind == "shifted" else frozenset(f.channels)) for f in story.faults}


def still(level: int) -> Channel:
    return Channel("", level, np.empty(0, np.int64), np.empty(0, np.uint8))


def inverted(channel: Channel) -> Channel:
    return replace(channel, initial=1 - channel.initial, levels=(1 - channel.levels).astype(np.uint8))


def both(one: Channel, other: Channel, rule: np.ufunc) -> Channel:
    """Two leads that touch, level by level."""
    times = np.unique(np.concatenate((one.ticks, other.ticks)))

    def levels(channel: Channel) -> np.ndarray:
        known = np.concatenate(([channel.initial], channel.levels))
        return known[np.searchsorted(channel.ticks, times, side="right")]

    mixed = rule(levels(one), levels(other)).astype(np.uint8)
    first = int(rule(one.initial, other.initial))
    changed = mixed != np.concatenate(([first], mixed[:-1]))
    return Channel("", first, times[changed], mixed[changed])


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


def test_noise_on_a_lead_is_an_open_wire(wired: tuple[Capture, Board]) -> None:
    capture, board = wired
    waves = {c.name: c for c in capture.channels}
    random = np.random.default_rng(11)
    step = int(capture.sample_period.ticks) if capture.sample_period else 1
    at = np.unique(random.integers(1, capture.end // step, 4000)) * step
    noise = Channel("", 0, at, (np.arange(1, at.size + 1) % 2).astype(np.uint8))
    for name in list(board.pins)[::3]:
        assert story_of(with_waves(capture, waves | {name: noise}), board) == {("open", frozenset((name,)))}
