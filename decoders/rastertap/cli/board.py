"""``rastertap board``: make, show or describe a board file."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import click

from rastertap.errors import BoardError, UsageError
from rastertap.measured import COVERAGE, Measured

if TYPE_CHECKING:
    from rastertap.analyse import Analysis
    from rastertap.board.model import ColourSetName
    from rastertap.board.template import FoundBoard, FoundPin
    from rastertap.streams.model import ColourBus, PixelClock, Sync

CRYSTAL_PART = 1e-4
"""Tolerance of the pixel clock that the template states: a plain crystal oscillator."""
WIDTH_PART = 0.1
"""How far a sync width may be off the one found; common practice, no source."""


_EXAMPLES = """\b
Examples:
  rastertap board new good.vcd.gz --out marlow85.toml
  rastertap board show marlow85.toml
"""


@click.group(name="board", epilog=_EXAMPLES)
def command() -> None:
    """Make, show or describe a board file: the pin map and timing expected of one kind of board."""


@command.command(epilog="\b\nExample:\n  rastertap board show marlow85.toml")
@click.argument("file", type=click.Path(path_type=Path))
def show(file: Path) -> None:
    """Check a board file and show it as a table, with what it does not state."""
    from rastertap.board.load import load_board
    from rastertap.board.text import board_summary

    click.echo(board_summary(load_board(file)))


@command.command(epilog="\b\nExample:\n  rastertap board schema > board.schema.json")
def schema() -> None:
    """Write the board file's JSON Schema, for editors that check and complete."""
    import json

    from rastertap.board.model import json_schema

    click.echo(json.dumps(json_schema(), indent=2))


@command.command(epilog="\b\nExample:\n  rastertap board new good.vcd.gz --out marlow85.toml")
@click.argument("capture")
@click.option("--out", type=click.Path(path_type=Path), help="File to write; without it, standard output.")
@click.option("--force", is_flag=True, help="Overwrite the file when it exists.")
def new(capture: str, out: Path | None, *, force: bool) -> None:
    """Write a board file from what a capture shows, for you to complete.

    Take the capture from a board known to be good: what is found becomes what is expected.
    """
    from rastertap.printable import printable

    if out is not None and out.exists() and not force:
        raise UsageError(
            f"{printable(str(out))} exists", hint="choose another --out, or overwrite it with --force"
        )
    from rastertap.analyse import analyse_path
    from rastertap.board.load import parse_board
    from rastertap.board.template import board_text

    text = board_text(found_board(analyse_path(capture)))
    if out is None:
        click.echo(text, nl=False)
    else:
        out.parent.mkdir(parents=True, exist_ok=True)
        out.write_text(text, encoding="utf-8")
        click.echo(f"wrote {out}", err=True)
    try:
        parse_board(text, str(out or "board"))
    except BoardError as error:
        click.echo(f"what was found does not fit together; mend these lines before use:\n{error}", err=True)


def found_board(analysis: Analysis) -> FoundBoard:
    """Turn an analysis into the facts of a board file."""
    from rastertap.board.template import FoundBoard

    mode, streams = analysis.evidence.mode, analysis.decoded.streams
    sync, clock, bus = streams.get("sync"), streams.get("pixel_clock"), streams.get("colour_bus")
    found = FoundBoard(
        name=f"from {Path(analysis.capture.label).name}",
        pins=_found_pins(analysis),
        note="Made from a capture: what was found is stated as what is expected.",
        standard=mode.key if mode is not None and analysis.evidence.mode_close else None,
        colour_set=_colour_set(bus),
        unrecognised=tuple(pin.channel for pin in analysis.pins if pin.role == "other"),
    )
    if sync is not None:
        found = replace(found, **_sync_facts(sync, float(analysis.capture.tick)))
    if clock is not None:
        line_rate = mode.line_rate_hz if mode else None
        found = replace(found, **_clock_facts(analysis, clock, sync, line_rate))
    return found


def _found_pins(analysis: Analysis) -> tuple[FoundPin, ...]:
    from rastertap.board.template import FoundPin

    return tuple(
        FoundPin(pin.channel, pin.role, pin.bit, pin.polarity, "; ".join(pin.why))
        for pin in analysis.pins
        if pin.role != "other"
    )


def _colour_set(bus: ColourBus | None) -> ColourSetName | None:
    if bus is None or bus.colours is None or bus.family == "list":
        return None
    return cast("ColourSetName", bus.family)


def _sync_facts(sync: Sync, tick_s: float) -> dict[str, Any]:
    from rastertap.streams.counts import lines_per_field
    from rastertap.streams.role_judges import LONGEST_FIELD_SYNC

    line_rate = Fraction(round(1000 / (sync.line_period.value * tick_s)), 1000)
    facts: dict[str, Any] = {"interlaced": sync.interlaced, "line_rate_hz": line_rate}
    width_us = sync.line_width.value * tick_s * 1e6
    doubt_us = sync.line_width.uncertainty * tick_s * 1e6
    if width_us:  # blanking and codes in the bus give lines, but no line sync
        reach = max(width_us * WIDTH_PART, 2 * COVERAGE * doubt_us)
        facts["hsync_width_us"] = (round(max(width_us - reach, 0.001), 3), round(width_us + reach, 3))
    facts["lines_per_field"] = _lines(lines_per_field(sync).tolist(), interlaced=bool(sync.interlaced))
    if sync.field_width is not None and sync.field_width.value <= LONGEST_FIELD_SYNC:
        lines = sync.field_width.value
        facts["vsync_width_lines"] = (round(max(lines - 0.5, 0.1), 2), round(lines + 0.5, 2))
    return facts


def _lines(counts: list[float], *, interlaced: bool) -> tuple[float, ...]:
    """Lines of each kind of field: of both where long and short ones come in turn."""
    if not counts:
        return ()
    usual = sorted(counts)[len(counts) // 2]
    in_turn = sorted(set(counts)) if counts[2:] == counts[:-2] else [usual]
    if not interlaced:
        return tuple(in_turn) if in_turn[-1] - in_turn[0] == 1 else (usual,)
    # Counted in whole lines, as where blanking stands for sync, the two fields make up for each other.
    field = usual if usual % 1 else sum(in_turn) / len(in_turn)
    return (field, field) if field % 1 else ()


def _clock_facts(
    analysis: Analysis, clock: PixelClock, sync: Sync | None, line_rate_hz: Fraction | None
) -> dict[str, Any]:
    """State the nominal clock where pixels that fill a standard line give it, else the measured one."""
    tick, period = float(analysis.capture.tick), clock.period
    measured_hz = 1 / (period.value * tick)
    facts: dict[str, Any] = {"pixel_clock_hz": Fraction(round(measured_hz))}
    if sync is None:
        return facts
    facts["line_rate_hz"] = None  # clock and pixels give it
    frames = analysis.evidence.frames
    pixels = Fraction(frames.clocks_per_line if frames else round(sync.line_period.value / period.value))
    facts["pixels_per_line"] = float(pixels)
    if line_rate_hz is None:
        return facts
    nominal = pixels * line_rate_hz
    own = Measured(measured_hz, measured_hz * period.uncertainty / period.value, "Hz")
    doubt = COVERAGE * own.with_timebase(analysis.request.timebase_ppm).uncertainty
    off = abs(measured_hz - float(nominal))
    # The capture itself must then lie within the tolerance that the file states.
    if off <= min(doubt, CRYSTAL_PART * float(nominal) - doubt):
        facts["pixel_clock_hz"] = nominal
    return facts
