"""``rastertap compare``: what differs between a good capture and another one."""

from __future__ import annotations

from dataclasses import replace

import click

from rastertap.cli.options import load_board_option, say, text_width, write_json
from rastertap.errors import UsageError


@click.command(
    "compare",
    epilog="\b\nExamples:\n  rastertap compare good.vcd.gz this.vcd.gz\n"
    "  rastertap compare before.vcd.gz after.vcd.gz --board board.toml --same-analyser",
)
@click.argument("good")
@click.argument("this")
@click.option(
    "--board", "board_path", metavar="FILE", help="Board file; else the good capture is the standard."
)
@click.option("--reader", metavar="NAME", help="Reader to use for both (`rastertap decoders` lists them).")
@click.option("--same-analyser", is_flag=True, help="One analyser took both: its timebase error cancels.")
@click.option(
    "--timebase-ppm",
    type=click.FloatRange(0, 10_000),
    default=50.0,
    show_default=True,
    help="Tolerance of the analyser's own clock.",
)
@click.option("--json", "json_path", metavar="FILE", help="Write the result as JSON; - is standard output.")
@click.option("--quiet", "-q", is_flag=True, help="Write no text; the exit code tells.")
def command(
    good: str,
    this: str,
    board_path: str | None,
    reader: str | None,
    json_path: str | None,
    *,
    same_analyser: bool,
    timebase_ppm: float,
    quiet: bool,
) -> int:
    """Compare capture THIS with the capture GOOD of a sound board: taps, clock, timing, picture.

    For before and after a part is swapped. Rates, channel orders and starts may differ. A difference counts
    when it exceeds three times its uncertainty (of counts, twice).

    Exit code: 0 nothing differs, 1 something does, 2 wrong usage or board file, 3 a capture unreadable.
    """
    from rastertap.analyse import Request, analyse_path
    from rastertap.compare import board_of, compare, shares_channels
    from rastertap.report.compare_text import compare_data, compare_text

    if good == this == "-":
        raise UsageError("standard input can be one capture only", hint="give the other as a file")
    request = Request(board=load_board_option(board_path), timebase_ppm=timebase_ppm)
    standard = analyse_path(good, request, reader=reader)
    if request.board is None:
        request = replace(request, board=board_of(standard))
    other = analyse_path(this, request, reader=reader)
    if board_path is None and not shares_channels(standard, {c.name for c in other.capture.channels}):
        # The channels have other names: nothing is known of where each should be.
        other = analyse_path(this, replace(request, board=None), reader=reader)
    comparison = compare(standard, other, same_analyser=same_analyser)
    if json_path:
        write_json(json_path, compare_data(comparison))
    say(compare_text(comparison, text_width()), quiet=quiet, json_path=json_path)
    return int(bool(comparison.differing))
