"""What is true of a simulated recording, as JSON (schema ``rastertap.bench/1``).

Times ending in ``_s`` are seconds from the recording's first sample, by true time (not by the analyser's own
timebase). Fractions are strings such as ``"2250000/143"``. Keys:

``source``
    The source as designed: clock, line, field, sync, colour bus.
``clock``
    ``frequency_hz`` as it really runs (frequency fault included), ``periods`` that the chip saw meanwhile.
``analyser``
    Rate, timebase error, samples, ``start_s`` (true time from the source's first clock to the first sample).
``channels``
    Label to ``meant`` (what the channel should carry) and ``carries`` (what it does): signal, role, bit.
``active``
    ``x_from_hsync``: pixel clocks from hsync's leading edge to the first active pixel; width and height; the
    border is part of it.
``fields``
    Those of which any part lies in the recording: ``index`` from the first field, ``parity`` (1 or 2),
    ``picture`` (index into the ``.npy``), ``vsync_s`` (vsync's leading edge at the pin, null when outside the
    recording), ``lines_from_vsync`` (lines from that edge to hsync's leading edge of the first active row),
    ``active_start_s``, ``active_complete`` (the whole active area lies in the recording).
``first_hsync_s``
    First leading edge of hsync (of the line sync in csync when there is no hsync) in the recording.
``faults``
    Each with its text form, place, and whether it ``strikes`` at moments of its own; then how many there were
    in the recording, and when (the first 1000).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from rastertap.bench.faults.clock import WrongFrequency
from rastertap.bench.raster import active_lines
from rastertap.bench.wave import FS_PER_NS, FS_PER_S
from rastertap.roles import ROLES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rastertap.bench.analyser import Analyser, Sampling
    from rastertap.bench.chip import ChipRun
    from rastertap.bench.faults import Fault
    from rastertap.bench.source import VideoSource

SCHEMA = "rastertap.bench/1"
MOST_TIMES = 1000


def _carried(signal: str) -> dict[str, Any]:
    if signal.startswith("colour"):
        return {"signal": signal, "role": "colour", "bit": int(signal.removeprefix("colour"))}
    return {"signal": signal, "role": signal if signal in ROLES else "other", "bit": None}


def _described(source: VideoSource) -> dict[str, Any]:
    period = float(1 / source.pixel_clock_hz)
    vsync_width = source.vsync_width_lines
    sync = source.composite
    return {
        "name": source.name,
        "pixel_clock_hz": str(source.pixel_clock_hz),
        "clock_duty": source.clock_duty,
        "clock_edge": source.clock_edge,
        "pixels_per_line": source.pixels_per_line,
        "lines_per_field": str(source.lines_per_field),
        "interlaced": source.interlaced,
        "line_rate_hz": str(source.line_rate_hz),
        "field_rate_hz": str(source.field_rate_hz),
        "hsync": {"width_s": source.hsync_width * period, "polarity": source.hsync_polarity},
        "vsync": {"width_lines": str(vsync_width), "polarity": source.vsync_polarity},
        "csync": None if sync is None else {"style": sync.style, "polarity": sync.polarity},
        "blank": source.blank_polarity,
        "display_enable": source.display_enable_polarity,
        "colour_bits": source.colour_bits,
        "blanking_code": source.blanking_code,
        "border_code": None if source.border is None else source.border.code,
        "delays_ns": {signal: source.delay_ns(signal) for signal in source.signals},
    }


class _Clockwork:
    """Turns a place in the raster into time within the recording."""

    def __init__(self, sampling: Sampling, edges: NDArray[np.int64], raster_clock: NDArray[np.int64]) -> None:
        self.first, self.last = int(sampling.instants[0]), int(sampling.instants[-1])
        self.edges, self.raster_clock = edges, raster_clock

    def fs(self, raster_clock: int) -> int | None:
        """Time at which the chip reached a place; None when it did not."""
        index = int(np.searchsorted(self.raster_clock, raster_clock))
        return int(self.edges[index]) if index < self.edges.size else None

    def inside(self, time_fs: int | None) -> bool:
        return time_fs is not None and self.first <= time_fs <= self.last

    def seconds(self, time_fs: int | None) -> float | None:
        """Seconds from the first sample; None when outside the recording."""
        return (time_fs - self.first) / FS_PER_S if time_fs is not None and self.inside(time_fs) else None


def _field(source: VideoSource, index: int, clockwork: _Clockwork, pictures: int) -> dict[str, Any]:
    frame, half = divmod(index, source.fields_per_frame)
    rows = active_lines(source, half) + frame * source.lines_per_frame
    begin = int(rows[0]) * source.pixels_per_line + source.active.x
    end = int(rows[-1]) * source.pixels_per_line + source.active.x + source.active.width
    vsync = index * source.clocks_per_field + source.vsync_start
    after_vsync = int(rows[0]) * source.pixels_per_line + source.hsync_start - vsync
    delay = round(source.delay_ns("vsync" if source.separate_sync else "csync") * FS_PER_NS)
    vsync_fs = clockwork.fs(vsync)
    return {
        "index": index,
        "parity": half + 1,
        "picture": index % pictures,
        "vsync_s": clockwork.seconds(None if vsync_fs is None else vsync_fs + delay),
        "lines_from_vsync": after_vsync / source.pixels_per_line,
        "active_start_s": clockwork.seconds(clockwork.fs(begin)),
        "active_complete": clockwork.inside(clockwork.fs(begin)) and clockwork.inside(clockwork.fs(end)),
    }


def _fields(source: VideoSource, clockwork: _Clockwork, pictures: int) -> list[dict[str, Any]]:
    inside = np.searchsorted(clockwork.edges, (clockwork.first, clockwork.last))
    first, last = (
        int(clockwork.raster_clock[min(int(i), clockwork.raster_clock.size - 1)]) // source.clocks_per_field
        for i in inside
    )
    return [_field(source, index, clockwork, pictures) for index in range(first, last + 1)]


def _fault(fault: Fault, struck: NDArray[np.int64], clockwork: _Clockwork) -> dict[str, Any]:
    inside = struck[(struck >= clockwork.first) & (struck <= clockwork.last)]
    told = {"fault": fault.name, "text": fault.text(), "place": fault.place, "strikes": fault.strikes}
    if not fault.strikes:
        return told
    times = [(int(t) - clockwork.first) / FS_PER_S for t in inside[:MOST_TIMES]]
    return {**told, "count": int(inside.size), "at_s": times}


def tell(
    *,
    source: VideoSource,
    analyser: Analyser,
    sampling: Sampling,
    meant: dict[str, str],
    wires: dict[str, str],
    edges: NDArray[np.int64],
    chip: ChipRun,
    faults: Sequence[Fault],
    struck: dict[int, NDArray[np.int64]],
    seed: int,
) -> dict[str, Any]:
    """Write down what is true of a recording; `rastertap.bench.make.make_capture` calls it."""
    clockwork = _Clockwork(sampling, edges, chip.raster_clock)
    seen = edges[(edges >= clockwork.first) & (edges <= clockwork.last)]
    hsync = "hsync" if source.separate_sync else "csync"
    starts = np.flatnonzero(chip.raster_clock % source.pixels_per_line == source.hsync_start)
    hsync_fs = edges[starts] + round(source.delay_ns(hsync) * FS_PER_NS)
    after = hsync_fs[hsync_fs >= clockwork.first]
    speed = math.prod(1 + fault.ppm * 1e-6 for fault in faults if isinstance(fault, WrongFrequency))
    return {
        "schema": SCHEMA,
        "note": "simulated; the machine, its chip and its picture are invented",
        "source": _described(source),
        "clock": {
            "frequency_hz": float(source.pixel_clock_hz) * speed,
            "periods": max(int(seen.size) - 1, 0),
        },
        "analyser": {
            "rate_hz": str(analyser.rate_hz),
            "timebase_ppm": analyser.timebase_ppm,
            "jitter_ns": analyser.jitter_ns,
            "samples": sampling.count,
            "start_s": clockwork.first / FS_PER_S,
        },
        "channels": {
            label: {"meant": _carried(meant[label]), "carries": _carried(wires[label])} for label in wires
        },
        "active": {
            "x_from_hsync": (source.active.x - source.hsync_start) % source.pixels_per_line,
            "width": source.active.width,
            "height": source.active.height,
        },
        "fields": _fields(source, clockwork, len(chip.areas)),
        "first_hsync_s": clockwork.seconds(int(after[0])) if after.size else None,
        "seed": seed,
        "faults": [_fault(f, struck.get(i, np.empty(0, np.int64)), clockwork) for i, f in enumerate(faults)],
    }
