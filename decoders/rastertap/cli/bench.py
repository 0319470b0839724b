"""``rastertap bench``: make a simulated capture with its truth."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from rastertap.errors import UsageError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from rastertap.bench.analyser import Analyser
    from rastertap.bench.machines import Machine
    from rastertap.bench.source import CompositeSync, VideoSource

MULTIPLES = {"k": 10**3, "M": 10**6, "G": 10**9}
COMPOSITES = ("none", "or", "xor", "equalised-625", "equalised-525")
POLARITIES = ("positive", "negative")


class Number(click.ParamType[Fraction]):
    """An exact number: ``9000000``, ``9M``, ``312.5`` or ``2250000/143``."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Fraction:
        """Read the text as a Fraction."""
        if isinstance(value, Fraction):
            return value
        text = str(value).strip()
        scale = MULTIPLES.get(text[-1:], 1)
        try:
            return Fraction(text[:-1] if scale != 1 else text) * scale
        except (ValueError, ZeroDivisionError):
            self.fail(f"{value!r} is not a number such as 9000000, 9M, 312.5 or 2250000/143", param, ctx)


class Numbers(click.ParamType[tuple[Fraction, ...]]):
    """A fixed count of numbers joined by commas, exact; halves where ``step`` is one half."""

    name = "numbers"

    def __init__(self, *parts: str, step: Fraction = Fraction(1)) -> None:
        self.parts = parts
        self.step = step

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[Fraction, ...]:
        """Read the text as that many numbers."""
        try:
            numbers = tuple(Fraction(part) for part in str(value).split(","))
        except (ValueError, ZeroDivisionError):
            numbers = ()
        if len(numbers) != len(self.parts) or any(
            (number / self.step).denominator != 1 for number in numbers
        ):
            kind = "whole numbers" if self.step == 1 else "whole or half numbers"
            self.fail(f"{value!r} is not {len(self.parts)} {kind}: {','.join(self.parts)}", param, ctx)
        return numbers


_EXAMPLES = """\b
Examples:
  rastertap bench make good.vcd.gz
  rastertap bench make swapped.vcd.gz --fault swap:D1,D3
  rastertap bench make slips.vcd.gz --machine marlow85-60 --fault clock-missing:every=997
  rastertap bench make mine.vcd --pixel-clock 8M --pixels-per-line 512 --lines-per-field 311
      --active 120,40,320,200 --scramble 3 --rate 24M
"""


@click.group(name="bench", epilog=_EXAMPLES)
def command() -> None:
    """Make simulated captures of an invented machine, with or without a fault, and their truth."""


@command.command(epilog="\b\nExample:\n  rastertap bench faults")
def faults() -> None:
    """List the faults that can be injected, with their parameters."""
    import inspect

    from rastertap.bench.faults import FAULTS

    for kind in FAULTS.values():
        click.echo(kind.usage())
        text = (inspect.getdoc(kind) or "").replace("``", "")
        click.echo(click.wrap_text(text, 78, "    ", "    ", preserve_paragraphs=True))


def _composite(style: str, source: VideoSource) -> CompositeSync | None:
    from rastertap.bench.raster import equalised_sync
    from rastertap.bench.source import CompositeStyle, CompositeSync

    if style == "none":
        return None
    if style.startswith("equalised-"):
        system: Literal["625", "525"] = "625" if style.endswith("625") else "525"
        return equalised_sync(system, source.pixel_clock_hz, source.pixels_per_line)
    plain: CompositeStyle = "or" if style == "or" else "xor"
    return CompositeSync(plain)


def _altered(machine: Machine, options: dict[str, Any]) -> VideoSource:
    """Give the machine's source with the user's own numbers in place of its."""
    from rastertap.bench.source import Border, Rectangle

    changes = {name: value for name, value in options.items() if value is not None}
    if not changes:
        return machine.source
    for name, kind in (("active", Rectangle), ("border", Border)):
        if name in changes:
            changes[name] = kind(*(int(number) for number in changes[name]))
    if "active" in changes:
        changes.setdefault("border", None)
    if "hsync" in changes:
        changes["hsync_start"], changes["hsync_width"] = (int(number) for number in changes.pop("hsync"))
    if "vsync" in changes:
        start, changes["vsync_width_lines"] = changes.pop("vsync")
        changes["vsync_start_line"] = int(start)
        changes["vsync_start_clock"] = int(
            start % 1 * changes.get("pixels_per_line", machine.source.pixels_per_line)
        )
    style = changes.pop("composite", None)
    source = replace(machine.source, name="INVENTED SOURCE", **changes)
    return source if style is None else replace(source, composite=_composite(style, source))


def _picture(kind: str, source: VideoSource, seed: int) -> NDArray[np.uint32]:
    from rastertap.bench.card import card_for, moving, noise_for

    if kind == "noise":
        return noise_for(source, seed)
    card = card_for(source)
    return moving(card, 8) if kind == "moving" else card


def _summary(truth: dict[str, Any], analyser: Analyser, paths: tuple[Path, ...]) -> str:
    source = truth["source"]
    whole = sum(field["active_complete"] for field in truth["fields"])
    lines = [
        f"{source['name']} (simulated): {source['pixel_clock_hz']} Hz pixel clock, "  # noqa: ISC004 - one line of text
        f"{source['pixels_per_line']} clocks a line, {source['lines_per_field']} lines a field",
        f"{truth['analyser']['samples']} samples at {analyser.rate_hz} a second, {whole} whole pictures",
        *(
            f"fault: {fault['text']}" + (f", struck {fault['count']} times" if fault["strikes"] else "")
            for fault in truth["faults"]
        ),
        *(str(path) for path in paths),
    ]
    return "\n".join(lines)


@command.command(epilog=_EXAMPLES)
@click.argument("out", type=click.Path(dir_okay=False, path_type=Path))
@click.option(
    "--machine",
    default="marlow85-50",
    show_default=True,
    help="marlow85-50 or marlow85-60; the options of the source alter it.",
)
@click.option(
    "--fault",
    "fault_texts",
    multiple=True,
    metavar="FAULT",
    help="Inject a fault; again for more. See 'rastertap bench faults'.",
)
@click.option(
    "--picture",
    type=click.Choice(["card", "noise", "moving"]),
    default="card",
    show_default=True,
    help="What the source shows.",
)
@click.option(
    "--seed", type=click.IntRange(min=0), default=0, show_default=True, help="Of all that is left to chance."
)
@click.option(
    "--rate", type=Number(), default="100M", show_default=True, help="Analyser: samples in a second."
)
@click.option(
    "--fields",
    type=click.FloatRange(min=0, min_open=True),
    default=2.6,
    show_default=True,
    help="Analyser: length in fields.",
)
@click.option(
    "--start",
    type=click.FloatRange(min=0),
    default=0.37,
    show_default=True,
    help="Analyser: start, in fields.",
)
@click.option(
    "--phase",
    type=click.FloatRange(0, 1),
    help="Analyser: place of the first sample in a sample period (default: by the seed).",
)
@click.option(
    "--timebase-ppm", type=float, default=0.0, show_default=True, help="Analyser: its clock's error."
)
@click.option(
    "--sample-jitter",
    type=click.FloatRange(min=0),
    default=0.0,
    show_default=True,
    help="Analyser: jitter of the samples, ns rms.",
)
@click.option(
    "--stamps",
    type=click.Choice(["ns", "exact"]),
    default="ns",
    show_default=True,
    help="Times in whole ns, or in an exact tick.",
)
@click.option(
    "--wire",
    multiple=True,
    metavar="CHANNEL=SIGNAL",
    help="Connect a channel to hsync, colour0, cpu_clock, noise, high, ...",
)
@click.option(
    "--scramble",
    type=click.IntRange(min=0),
    metavar="SEED",
    help="Deal the signals to the channels at random.",
)
@click.option("--pixel-clock", "pixel_clock_hz", type=Number(), help="Source: Hz.")
@click.option("--pixels-per-line", type=int, help="Source: pixel clocks in a line.")
@click.option("--lines-per-field", type=Number(), help="Source: 312, or 312.5 for 2:1 interlace.")
@click.option("--hsync", type=Numbers("START", "WIDTH"), metavar="START,WIDTH", help="Source: pixel clocks.")
@click.option(
    "--vsync",
    type=Numbers("LINE", "LINES", step=Fraction(1, 2)),
    metavar="LINE,LINES",
    help="Source: first line, width in lines.",
)
@click.option("--hsync-polarity", type=click.Choice(POLARITIES), help="Source.")
@click.option("--vsync-polarity", type=click.Choice(POLARITIES), help="Source.")
@click.option("--composite", type=click.Choice(COMPOSITES), help="Source: composite sync output.")
@click.option(
    "--separate/--no-separate",
    "separate_sync",
    default=None,
    help="Source: hsync and vsync brought out or not.",
)
@click.option("--blank", "blank_polarity", type=click.Choice(POLARITIES), help="Source: blanking output.")
@click.option(
    "--display-enable",
    "display_enable_polarity",
    type=click.Choice(POLARITIES),
    help="Source: display enable output.",
)
@click.option(
    "--active",
    type=Numbers("X", "Y", "WIDTH", "HEIGHT"),
    metavar="X,Y,WIDTH,HEIGHT",
    help="Source: active area.",
)
@click.option(
    "--border",
    type=Numbers("LEFT", "RIGHT", "TOP", "BOTTOM", "CODE"),
    metavar="L,R,T,B,CODE",
    help="Source: border in it.",
)
@click.option("--colour-bits", type=int, help="Source: width of the colour bus.")
@click.option("--blanking-code", type=int, help="Source: colour code outside the active area.")
@click.option(
    "--clock-edge", type=click.Choice(["rising", "falling"]), help="Source: edge on which the chip moves on."
)
@click.option("--duty", "clock_duty", type=float, help="Source: high part of the clock, 0..1.")
@click.option("--delay", "default_delay_ns", type=float, help="Source: outputs after the clock edge, ns.")
def make(  # noqa: PLR0917 - click passes one argument for each option
    out: Path,
    machine: str,
    fault_texts: tuple[str, ...],
    picture: str,
    seed: int,
    rate: Fraction,
    fields: float,
    start: float,
    phase: float | None,
    timebase_ppm: float,
    sample_jitter: float,
    stamps: Any,
    wire: tuple[str, ...],
    scramble: int | None,
    **alterations: Any,
) -> None:
    """Write a simulated capture to OUT (VCD; gzipped when it ends in .gz), with its truth and pictures.

    The machine is invented. The files are OUT and, beside it, the truth (.truth.json) and the active pictures
    as the chip was told to show them (.pictures.npy).
    """
    from rastertap.bench.analyser import Analyser
    from rastertap.bench.faults import parse_fault
    from rastertap.bench.machines import MACHINES
    from rastertap.bench.make import make_capture

    if machine not in MACHINES:
        raise UsageError(f"no such machine: {machine!r}", hint=f"there are: {', '.join(MACHINES)}")
    source = _altered(MACHINES[machine], alterations)
    analyser = Analyser(
        _wires(MACHINES[machine], source, wire, scramble),
        rate_hz=rate,
        timebase_ppm=timebase_ppm,
        jitter_ns=sample_jitter,
        phase=phase,
        start_fields=start,
        fields=fields,
        stamps=stamps,
    )
    chosen = [parse_fault(text) for text in fault_texts]
    made = make_capture(source, analyser, chosen, _picture(picture, source, seed), seed=seed)
    try:
        paths = made.write(out)
    except OSError as error:
        raise UsageError(
            f"cannot write {out}: {error.strerror}", hint="choose another place for OUT"
        ) from error
    click.echo(_summary(made.truth, analyser, paths))


def _wires(
    machine: Machine, source: VideoSource, changes: tuple[str, ...], scramble: int | None
) -> tuple[tuple[str, str], ...]:
    """Give the machine's own wiring, or one for the altered source, with the user's changes."""
    from rastertap.bench.analyser import plug

    usual = source.signals == machine.source.signals and scramble is None
    wires = dict(machine.wires if usual else plug(source, scramble=scramble))
    for change in changes:
        channel, equals, signal = change.partition("=")
        if not equals or channel not in wires:
            raise UsageError(
                f"--wire {change!r}: not CHANNEL=SIGNAL with one of the channels {', '.join(wires)}",
                hint="for example --wire D8=cpu_clock",
            )
        wires[channel] = signal
    return tuple(wires.items())
