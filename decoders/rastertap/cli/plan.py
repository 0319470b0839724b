"""``rastertap plan``: wiring list, settings, cautions and test screen before a recording."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import click

from rastertap.cli.bench import Number
from rastertap.cli.options import load_board_option, say, text_width, write_json
from rastertap.errors import UsageError

if TYPE_CHECKING:
    from fractions import Fraction


@click.command(
    "plan",
    epilog="\b\nExamples:\n  rastertap plan --board board.toml\n"
    "  rastertap plan --board board.toml --rate 24M --channels 8 --depth 10M --fields 2",
)
@click.option(
    "--board", "board_path", metavar="FILE", required=True, help="Board file: pins, timing, colours."
)
@click.option(
    "--fields", type=click.IntRange(1, 10_000), default=3, show_default=True, help="Whole fields wanted."
)
@click.option("--rate", type=Number(), help="Samples in a second that the analyser takes, e.g. 24M.")
@click.option("--channels", type=click.IntRange(1, 1024), help="Channels that it has.")
@click.option("--depth", type=Number(), help="Samples a channel that it can keep, e.g. 10M.")
@click.option("--json", "json_path", metavar="FILE", help="Write the plan as JSON; - is standard output.")
@click.option("--quiet", "-q", is_flag=True, help="Write no text.")
def command(
    *,
    board_path: str,
    fields: int,
    rate: Fraction | None,
    channels: int | None,
    depth: Fraction | None,
    json_path: str | None,
    quiet: bool,
) -> int:
    """Plan a recording: cautions, order of connecting, wiring list, settings, test screen."""
    from rastertap.plan.recording import Analyser
    from rastertap.report.plan_text import plan_data, plan_text

    for option, value in (("--rate", rate), ("--depth", depth)):
        if value is not None and value < 1:
            raise UsageError(f"{option} must be 1 or more", hint=f"e.g. {option} 24M")
    board = load_board_option(board_path)
    analyser = Analyser(
        None if rate is None else float(rate), channels, None if depth is None else math.floor(depth)
    )
    if json_path:
        write_json(json_path, plan_data(board, analyser, fields))
    say(plan_text(board, analyser, fields, text_width()), quiet=quiet, json_path=json_path)
    return 0
