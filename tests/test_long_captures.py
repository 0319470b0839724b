"""A capture decoded in pieces gives what it gives in one: same frames, same counts, same times."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from rastertap.analyse import Request, analyse, analyse_path
from rastertap.bench.analyser import Analyser, plug
from rastertap.bench.card import card_for
from rastertap.bench.faults import parse_fault
from rastertap.bench.machines import MACHINES
from rastertap.bench.make import make_capture
from rastertap.capture.read import read_capture
from rastertap.frames.decoder import KEPT
from rastertap.report.document import document

if TYPE_CHECKING:
    from pathlib import Path

    from rastertap.analyse import Analysis
    from rastertap.decode import Decoded
    from rastertap.frames.model import Frame

FIELDS = 17.3
"""0.35 s at 50 Hz: pieces of 0.2 s overlap twice."""


@pytest.fixture(scope="module", params=[(), ("chip-lost-line:every=5",)], ids=["sound", "lost lines"])
def both(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Analysis, Analysis, list[Frame], list[Frame]]:
    """The capture analysed whole and in pieces, with all frames of each."""
    source = MACHINES["marlow85-50"].source
    analyser = replace(Analyser(plug(source)), fields=FIELDS)
    faults = tuple(parse_fault(f) for f in request.param)
    path: Path = tmp_path_factory.mktemp("long") / "long.vcd"
    make_capture(source, analyser, faults, card_for(source), seed=3).write_vcd(path)
    frames: list[Frame] = []

    def keep(decoded: Decoded) -> None:
        frames.extend(f for f in decoded.streams["frames"].frames)

    whole = analyse(read_capture(path), Request())
    pieced = analyse_path(str(path), sink=keep)
    return whole, pieced, list(whole.evidence.frames.frames if whole.evidence.frames else ()), frames


def test_pieces_give_the_same_frames_in_the_same_order(
    both: tuple[Analysis, Analysis, list[Frame], list[Frame]],
) -> None:
    whole, pieced, all_frames, passed = both
    assert len(all_frames) == len(passed) > KEPT
    for one, other in zip(all_frames, passed, strict=True):
        assert (one.index, one.field, one.start, one.complete) == (
            other.index,
            other.field,
            other.start,
            other.complete,
        )
        if one.complete:
            assert (one.codes == other.codes).all()
    assert whole.evidence.frames is not None
    assert pieced.evidence.frames is not None
    assert pieced.evidence.frames.notes == whole.evidence.frames.notes
    assert len(pieced.evidence.frames.frames) <= KEPT + 3


def test_pieces_give_the_same_timing_and_findings(
    both: tuple[Analysis, Analysis, list[Frame], list[Frame]],
) -> None:
    whole, pieced = document(both[0]), document(both[1])
    assert pieced["timing"]["lines_per_field"] == whole["timing"]["lines_per_field"]
    assert pieced["timing"]["line_rate_hz"] == pytest.approx(whole["timing"]["line_rate_hz"], rel=1e-6)
    assert pieced["timing"]["field_rate_hz"] == pytest.approx(whole["timing"]["field_rate_hz"], rel=1e-9)
    assert pieced["clock"]["frequency_hz"] == pytest.approx(whole["clock"]["frequency_hz"], rel=1e-7)
    assert pieced["clock"]["missing_cycles"] == whole["clock"]["missing_cycles"]
    assert pieced["capture"] == whole["capture"]
    assert [(f["id"], f["result"]) for f in pieced["findings"]] == [
        (f["id"], f["result"]) for f in whole["findings"]
    ]
    assert pieced["verdict"]["place"] == whole["verdict"]["place"]
