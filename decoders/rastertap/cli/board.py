"""``rastertap board``: make, show or describe a board file."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import click

from rastertap.errors import BoardError, UsageError

if TYPE_CHECKING:
    from rastertap.analyse import Analysis
    from rastertap.board.model import ColourSetName
    from rastertap.board.template import FoundBoard, FoundPin
    from rastertap.streams.model import ColourBus, PixelClock, Sync

WIDTH_PART = 0.1
"""How far a sync width may be off the one found; common practice, no source."""
CLOCK_PART = 1.5e-4
"""Crystal (100 ppm) and analyser (50 ppm) together: as near as this, a clock is taken to be nominal."""


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
        standard=mode.key if mode else None,
        colour_set=_colour_set(bus),
        unrecognised=tuple(pin.channel for pin in analysis.pins if pin.role == "other"),
    )
    if sync is not None:
        found = replace(found, **_sync_facts(sync, float(analysis.capture.tick)))
    if clock is not None:
        line_rate = mode.line_rate_hz if mode else None
        found = replace(found, **_clock_facts(clock, sync, analysis.capture.tick, line_rate))
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

    facts: dict[str, Any] = {"interlaced": sync.interlaced}
    width_us = sync.line_width.value * tick_s * 1e6
    if width_us:  # blanking and codes in the bus give lines, but no line sync
        facts["hsync_width_us"] = (
            round(width_us * (1 - WIDTH_PART), 3),
            round(width_us * (1 + WIDTH_PART), 3),
        )
    counts = sorted(float(count) for count in lines_per_field(sync))
    if counts:
        usual = counts[len(counts) // 2]
        facts["lines_per_field"] = (usual, usual) if sync.interlaced else (usual,)
    if sync.field_width is not None and sync.field_width.value <= LONGEST_FIELD_SYNC:
        lines = sync.field_width.value
        facts["vsync_width_lines"] = (round(max(lines - 0.5, 0.1), 2), round(lines + 0.5, 2))
    return facts


def _clock_facts(
    clock: PixelClock, sync: Sync | None, tick: Fraction, line_rate_hz: Fraction | None
) -> dict[str, Any]:
    """State the nominal clock where whole pixels fill a standard line, else the measured one."""
    measured_hz = 1 / (clock.period.value * float(tick))
    if sync is None:
        return {"pixel_clock_hz": Fraction(round(measured_hz))}
    pixels = round(sync.line_period.value / clock.period.value)
    facts: dict[str, Any] = {"pixel_clock_hz": Fraction(round(measured_hz)), "pixels_per_line": pixels}
    if line_rate_hz is not None and abs(measured_hz / float(pixels * line_rate_hz) - 1) <= CLOCK_PART:
        facts["pixel_clock_hz"] = pixels * line_rate_hz
    return facts
