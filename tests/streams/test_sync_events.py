"""What is put wrong in one line is found in that line, and nothing is found where nothing is wrong."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rastertap.streams.counts import lines_per_field
from rastertap.streams.model import EVENT_KINDS, Sync
from rastertap.streams.sync_separate import SeparateSync, SeparateSyncOptions

from .sync_source import SyncSource

LINE = 250
IN_FIELD = LINE - 100
"""The first field begins at line 100."""


def decode(source: SyncSource) -> Sync:
    return SeparateSync().decode(source.context(), SeparateSyncOptions())


def counts(sync: Sync) -> dict[str, int]:
    return {kind: sync.events.count(kind) for kind in EVENT_KINDS if sync.events.count(kind)}


@pytest.mark.parametrize("seed", range(12))
def test_a_clean_source_has_no_event_whatever_its_rate_and_phase(seed: int) -> None:
    random = np.random.default_rng(seed)
    source = SyncSource(
        line_ps=int(random.integers(26_000_000, 66_000_000)),
        width_ps=int(random.integers(2_000_000, 6_000_000)),
        lines=int(random.integers(250, 320)),
        step_ns=int(random.choice([5, 10, 20, 40])),
        phase_ps=int(random.integers(0, 5_000)),
        jitter_ps=float(random.choice([0, 2_000, 15_000])),
        low=bool(random.integers(2)),
        vsync_place=float(random.choice([0.0, 0.25, 0.5, 0.9])),
        seed=seed,
    )
    sync = decode(source)
    assert counts(sync) == {}
    assert set(lines_per_field(sync)) == {source.lines}
    assert sync.line_period.value == pytest.approx(
        source.line_ps / 1000, abs=4 * sync.line_period.uncertainty
    )
    assert sync.line_width.value == pytest.approx(
        source.width_ps / 1000, abs=max(2 * sync.line_width.uncertainty, 0.1)
    )


@pytest.mark.parametrize(
    ("kind", "wrong"),
    [
        ("missing", {"gone": frozenset({LINE})}),
        ("short", {"length_off": {LINE - 1: -150_000}}),
        ("long", {"length_off": {LINE - 1: 111_000}}),
        ("short", {"length_off": {LINE - 1: -30_000_000}}),
        ("long", {"length_off": {LINE - 1: 21_000_000}}),
        ("displaced", {"moved": {LINE: 400_000}}),
        ("displaced", {"moved": {LINE: -120_000}}),
        ("width", {"widths": {LINE: 3_000_000}}),
        ("width", {"widths": {LINE: 7_500_000}}),
        ("glitch", {"stray": ((LINE, 0.31, 90_000),)}),
        ("glitch", {"stray": ((LINE, 0.5, 4_700_000),)}),
    ],
)
def test_one_odd_line_is_found_in_its_place(kind: str, wrong: dict[str, object]) -> None:
    sync = decode(replace(SyncSource(), **wrong))  # type: ignore[arg-type]
    assert counts(sync) == {kind: 1}
    (index,) = sync.events.of(kind)  # type: ignore[arg-type]
    assert sync.events.lines[index] == IN_FIELD
    assert set(lines_per_field(sync)) == {312.0}


def test_how_much_a_line_is_off_is_measured_to_a_step() -> None:
    off = 123_456
    sync = decode(SyncSource(length_off={LINE: off}))
    (index,) = sync.events.of("long")
    assert sync.events.extents[index] == pytest.approx(off / 1000, abs=10)
    assert sync.events.times[index] == pytest.approx(5_000 + (LINE + 1) * 64_000 + off / 1000, abs=10)


def test_a_doubled_line_keeps_the_frame() -> None:
    strays = tuple((line, 0.5, 4_700_000) for line in range(150, 180))
    sync = decode(SyncSource(stray=strays))
    assert counts(sync) == {"glitch": 30}
    assert set(lines_per_field(sync)) == {312.0}


def test_a_missing_field_sync_makes_one_long_field() -> None:
    sync = decode(SyncSource(fields=4, no_vsync=frozenset({2})))
    assert lines_per_field(sync).tolist() == [312, 624, 312]


def test_a_lost_and_an_added_line_show_in_the_fields_lines() -> None:
    sync = decode(SyncSource(fields=4, field_off={1: -1, 2: 2}))
    assert lines_per_field(sync).tolist() == [312, 311, 314, 312]
    assert counts(sync) == {}


@pytest.mark.parametrize("lines", [0.02, 0.3, 1.0, 2.5, 9.0, 41.0])
def test_a_field_sync_under_a_line_or_of_many_lines_is_measured(lines: float) -> None:
    sync = decode(SyncSource(vsync_lines=lines))
    assert sync.field_width is not None
    assert sync.field_width.value == pytest.approx(lines, abs=4e-4)
    assert set(lines_per_field(sync)) == {312.0}


def test_more_events_than_are_kept_are_still_counted() -> None:
    strays = tuple((line, 0.3, 90_000) for line in range(900))
    sync = decode(SyncSource(stray=strays))
    assert sync.events.count("glitch") == 900
    assert sync.events.of("glitch").size == 500
