"""Whether the capture is long enough, and what is said when that cannot be told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rastertap.analyse import Request, analyse
from rastertap.capture.model import Channel

from ..streams.sync_source import SyncSource  # noqa: TID252 - tests are no package


def still(name: str) -> Channel:
    return Channel(name, 1, np.empty(0, np.int64), np.empty(0, np.uint8))


def test_a_long_capture_without_field_syncs_is_not_called_short() -> None:
    source = SyncSource(fields=4).capture()
    without = replace(source, channels=(source.channels[0], still("v")))
    finding = next(f for f in analyse(without, Request()).findings if f.id == "capture.too_short")
    assert finding.result == "not_measured"
    assert "Without two field syncs" in finding.text
    assert "long enough" in finding.text


def test_a_long_capture_in_which_nothing_moves_is_not_called_short() -> None:
    source = SyncSource(fields=4).capture()
    dead = replace(source, channels=(still("h"), still("v")))
    finding = next(f for f in analyse(dead, Request()).findings if f.id == "capture.too_short")
    assert finding.result == "not_measured"
    assert "Without sync" in finding.text


def test_a_short_capture_is_called_short() -> None:
    source = SyncSource(fields=1).capture()
    begin = int(source.channels[1].ticks[0]) + 100_000
    part = tuple(c.between(begin, begin + 8_000_000) for c in source.channels)
    short = replace(source, channels=part, start=begin, end=begin + 8_000_000)
    finding = next(f for f in analyse(short, Request()).findings if f.id == "capture.too_short")
    assert finding.result == "warn"
    assert finding.text.startswith("0 complete fields in 8 ms.")
    assert "Record at least 50 ms" in finding.text
