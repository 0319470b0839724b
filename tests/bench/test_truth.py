"""The truth beside a recording agrees with the recording."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from rastertap.bench.analyser import Analyser, plug
from rastertap.bench.card import card_for, moving
from rastertap.bench.faults import parse_fault
from rastertap.bench.make import make_capture

if TYPE_CHECKING:
    from pathlib import Path

    from rastertap.bench.source import VideoSource


def test_the_times_of_sync_are_those_in_the_file(record: Any) -> None:
    made = record()
    truth = made.made.truth
    assert truth["first_hsync_s"] * 1e9 == pytest.approx(made.signal("hsync").falling()[0], abs=11)
    told = [f["vsync_s"] * 1e9 for f in truth["fields"] if f["vsync_s"] is not None]
    np.testing.assert_allclose(made.signal("vsync").falling(), told, atol=11)


def test_periods_are_those_in_the_file(record: Any) -> None:
    made = record()
    assert made.made.truth["clock"]["periods"] == pytest.approx(
        made.signal("pixel_clock").rising().size - 1, abs=1
    )


def test_the_channel_map_says_what_was_meant_and_what_is(small: VideoSource) -> None:
    analyser = Analyser(plug(small, extras=("noise",)))
    channels = make_capture(small, analyser, [parse_fault("swap:D1,D3")]).truth["channels"]
    assert channels["D1"]["meant"] == {"signal": "hsync", "role": "hsync", "bit": None}
    assert channels["D1"]["carries"] == {"signal": "colour0", "role": "colour", "bit": 0}
    assert channels["D7"]["carries"] == {"signal": "noise", "role": "other", "bit": None}
    assert channels["D0"]["meant"] == channels["D0"]["carries"]


def test_whole_fields_are_told_from_cut_ones(small: VideoSource) -> None:
    fields = make_capture(small, Analyser(plug(small), start_fields=0.6, fields=1.5)).truth["fields"]
    # The active rows are lines 5 to 16 of 20: field 0 is cut at line 12, field 2 ends at line 2.
    assert [(f["index"], f["active_complete"]) for f in fields] == [(0, False), (1, True), (2, False)]


def test_a_moving_picture_is_kept_field_by_field(small: VideoSource) -> None:
    made = make_capture(small, Analyser(plug(small), fields=5.0), picture=moving(card_for(small), 8))
    assert made.pictures.shape == (8, 12, 40)
    assert [f["picture"] for f in made.truth["fields"]] == [f["index"] % 8 for f in made.truth["fields"]]


def test_a_fault_that_is_always_there_has_no_times(small: VideoSource) -> None:
    faults = [parse_fault("invert:D1"), parse_fault("clock-missing:every=500")]
    always, now_and_then = make_capture(small, Analyser(plug(small)), faults).truth["faults"]
    assert not always["strikes"]
    assert "at_s" not in always
    assert now_and_then["count"] == len(now_and_then["at_s"]) > 0


def test_faults_draw_their_chances_apart_from_each_other(small: VideoSource) -> None:
    analyser = Analyser(plug(small), fields=20.0)
    noisy = parse_fault("chip-noisy-bit:1,one_in=500")
    alone = make_capture(small, analyser, [noisy]).truth["faults"][0]
    joined = make_capture(small, analyser, [noisy, parse_fault("clock-jitter:1")]).truth["faults"][0]
    assert alone["count"] == joined["count"]


def test_truth_and_pictures_are_written_beside_the_capture(small: VideoSource, tmp_path: Path) -> None:
    made = make_capture(small, Analyser(plug(small)))
    capture, truth, pictures = made.write(tmp_path / "new" / "one.vcd.gz")
    assert [p.name for p in (capture, truth, pictures)] == [
        "one.vcd.gz",
        "one.truth.json",
        "one.pictures.npy",
    ]
    told = json.loads(truth.read_text())
    assert told["schema"] == "rastertap.bench/1"
    assert told["capture"] == capture.name
    shown = np.load(truth.parent / told["pictures"])
    assert shown.dtype == np.uint8
    np.testing.assert_array_equal(shown, card_for(small))
