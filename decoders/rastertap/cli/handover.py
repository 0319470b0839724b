"""``rastertap handover``: the numbers for the next device."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from rastertap.cli.options import capture_options, say, write_json

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rastertap.analyse import Analysis

_EXAMPLES = """\b
Examples:
  rastertap handover capture.vcd.gz --board board.toml
  rastertap handover capture.vcd.gz --delay 3 --delay 6 --json handover.json
"""


@click.command("handover", epilog=_EXAMPLES)
@click.option(
    "--delay",
    "delays",
    type=click.IntRange(1, 10_000),
    multiple=True,
    help="Lines of delay to express as a part of a field; may be repeated.",
)
@capture_options
def command(analysis: Analysis, delays: Sequence[int], json_path: str | None, *, quiet: bool) -> int:
    """Give the numbers that an upscaler, digitiser, capture card or logic board needs for CAPTURE."""
    from rastertap.handover.sheet import LINE_DELAYS, make_sheet
    from rastertap.report.handover import handover_document, handover_text

    sheet = make_sheet(analysis, delays or LINE_DELAYS)
    if json_path:
        write_json(json_path, handover_document(sheet))
    say(handover_text(sheet), quiet=quiet, json_path=json_path)
    return 0
