"""Make a capture: run clock, chip, wiring and analyser in turn, and keep the truth."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np

from rastertap.bench.analyser import Analyser, check_signal, take_samples
from rastertap.bench.card import card_for
from rastertap.bench.chip import run_chip
from rastertap.bench.clock import run_clock
from rastertap.bench.extras import EXTRAS, extra
from rastertap.bench.faults.base import ChipFault, ClockFault, Fault, Leads, WiringFault
from rastertap.bench.truth import tell
from rastertap.bench.vcd import write_vcd

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from rastertap.bench.source import VideoSource
    from rastertap.bench.wave import Wave

MARGIN_LINES = 4


@dataclass(frozen=True, eq=False)
class MadeCapture:
    """A simulated recording and what is true of it.

    Parameters
    ----------
    source : VideoSource
    analyser : Analyser
    channels : tuple of (label, initial level, samples)
        ``samples`` is int64: the samples at which the level differs from the one before.
    count : int
        Samples taken.
    pictures : ndarray, shape (n, active height, active width)
        The different active areas (border included) as the chip was told to show them; the smallest unsigned
        dtype that holds a code.
    truth : dict
        Ready for JSON; see `rastertap.bench.truth`.
    """

    source: VideoSource
    analyser: Analyser
    channels: tuple[tuple[str, int, NDArray[np.int64]], ...]
    count: int
    pictures: NDArray[np.unsignedinteger[Any]]
    truth: dict[str, Any]

    def write_vcd(self, path: Path) -> None:
        """Write the recording (gzipped when the name ends in ``.gz``); the same bytes each time."""
        write_vcd(
            path,
            self.channels,
            count=self.count,
            sample_period=Fraction(1) / self.analyser.rate_hz,
            exact=self.analyser.stamps == "exact",
            comment="simulated by rastertap bench; machine, chip and picture are invented",
        )

    def write(self, path: Path) -> tuple[Path, Path, Path]:
        """Write recording, truth and pictures beside each other; gives the three paths.

        For ``a.vcd.gz`` they are ``a.vcd.gz``, ``a.truth.json`` and ``a.pictures.npy``.
        """
        import json

        stem = path.name.removesuffix(".gz").removesuffix(".vcd")
        truth, pictures = path.with_name(f"{stem}.truth.json"), path.with_name(f"{stem}.pictures.npy")
        self.write_vcd(path)
        np.save(pictures, self.pictures)
        told = {**self.truth, "capture": path.name, "pictures": pictures.name}
        truth.write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")
        return path, truth, pictures


def _connect(
    analyser: Analyser, faults: Sequence[Fault], source: VideoSource
) -> tuple[dict[str, str], dict[str, str]]:
    """Give the channel -> signal map as meant and as it is."""
    meant = dict(analyser.wires)
    wires = dict(meant)
    for fault in faults:
        if isinstance(fault, WiringFault):
            wires = fault.reconnect(wires)
    for signal in (*meant.values(), *wires.values()):
        check_signal(source, signal)
    return meant, wires


def _leads(
    wires: dict[str, str], signals: dict[str, Wave], faults: Sequence[Fault], span_fs: int, seed: int
) -> tuple[dict[str, Wave], dict[int, NDArray[np.int64]]]:
    """Give each channel its wave, faults of the leads included, and when those struck."""
    waves = {
        label: extra(signal, np.random.default_rng([seed, 3, number]), span_fs)
        if signal in EXTRAS
        else signals[signal]
        for number, (label, signal) in enumerate(wires.items())
    }
    struck: dict[int, NDArray[np.int64]] = {}
    for index, fault in enumerate(faults):
        if isinstance(fault, WiringFault):
            struck[index] = fault.distort(Leads(waves, span_fs, np.random.default_rng([seed, 4, index])))
    return waves, struck


def make_capture(
    source: VideoSource,
    analyser: Analyser,
    faults: Sequence[Fault] = (),
    picture: NDArray[np.uint32] | None = None,
    *,
    seed: int = 0,
) -> MadeCapture:
    """Simulate a recording.

    Parameters
    ----------
    source : VideoSource
    analyser : Analyser
    faults : sequence of Fault
        Injected together; each draws its chances apart from the others.
    picture : ndarray of uint32, shape (n, picture height, picture width), or None
        Field k shows ``picture[k % n]``; an interlaced frame has two fields. None: the test card.
    seed : int
        Of everything that is left to chance; the same seed gives the same recording.

    Raises
    ------
    UsageError
        When picture, wiring or a fault does not fit the source or the analyser.
    """
    meant, wires = _connect(analyser, faults, source)
    sampling = take_samples(analyser, source, seed)
    line_fs = int(10**15 / source.line_rate_hz)
    span_fs = int(sampling.instants[-1]) + MARGIN_LINES * line_fs

    clock_faults = {i: f for i, f in enumerate(faults) if isinstance(f, ClockFault)}
    chip_faults = {i: f for i, f in enumerate(faults) if isinstance(f, ChipFault)}
    clock = run_clock(source, span_fs, tuple(clock_faults.values()), [[seed, 5, i] for i in clock_faults])
    # A chip that was never clocked shows what it woke up with.
    edges = clock.chip_edges if clock.chip_edges.size else np.zeros(1, np.int64)
    shown = card_for(source) if picture is None else picture
    chip = run_chip(source, edges, shown, tuple(chip_faults.values()), [[seed, 6, i] for i in chip_faults])
    waves, struck = _leads(wires, {**chip.waves, "pixel_clock": clock.tap}, faults, span_fs, seed)

    struck.update(zip(clock_faults, clock.struck, strict=True))
    for index, places in zip(chip_faults, chip.struck, strict=True):
        reached = places[places <= chip.raster_clock[-1]]
        struck[index] = edges[np.searchsorted(chip.raster_clock, reached)]
    channels = tuple((label, *sampling.record(wave)) for label, wave in waves.items())
    pictures = chip.areas.astype(np.min_scalar_type(2**source.colour_bits - 1))
    truth = tell(
        source=source,
        analyser=analyser,
        sampling=sampling,
        meant=meant,
        wires=wires,
        edges=edges,
        chip=chip,
        faults=faults,
        struck=struck,
        seed=seed,
    )
    return MadeCapture(source, analyser, channels, sampling.count, pictures, truth)
