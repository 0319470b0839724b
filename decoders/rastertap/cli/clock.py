"""``rastertap clock``: the pixel clock in depth."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from rastertap.cli.options import capture_options, say, text_width, write_json

if TYPE_CHECKING:
    from rastertap.analyse import Analysis


@click.command("clock", epilog="\b\nExample:\n  rastertap clock capture.vcd.gz --board board.toml")
@capture_options
def command(analysis: Analysis, json_path: str | None, *, quiet: bool) -> int:
    """Measure the pixel clock of CAPTURE: what it is, whether it is sound, and where to read the bus.

    Exit code: 0 the clock is in limits, 1 it is not.
    """
    from rastertap.report.clock_text import clock_text
    from rastertap.report.document import document

    if json_path:
        write_json(json_path, document(analysis))
    say(clock_text(analysis, text_width()), quiet=quiet, json_path=json_path)
    parts = {"clock", "sampling"}
    return int(any(f.id.partition(".")[0] in parts and f.result == "fail" for f in analysis.findings))
