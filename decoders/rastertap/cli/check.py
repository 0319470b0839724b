"""``rastertap check``: the main job."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from rastertap.cli.folder import brief_text, for_each_capture
from rastertap.cli.options import capture_options, exit_code, say, text_width, write_json
from rastertap.cli.page import write_page
from rastertap.cli.saving import frame_options

if TYPE_CHECKING:
    from rastertap.analyse import Analysis
    from rastertap.cli.saving import Saver


_EXAMPLES = """\b
Examples:
  rastertap check capture.vcd.gz
  rastertap check capture.vcd.gz --board board.toml --frames out --json out/result.json
  rastertap check capture.vcd.gz --board board.toml --report out/page.html
  rastertap check export.csv --reader csv:rate=24M
"""


@click.command("check", epilog=_EXAMPLES)
@frame_options("--frames", None, "Write every frame there: PNG of the picture, .npy of the raster.")
@click.option(
    "--report", "report_path", metavar="FILE", help="Write the result as one HTML page that needs no network."
)
@for_each_capture
@capture_options
def command(
    analysis: Analysis,
    saver: Saver,
    json_path: str | None,
    report_path: str | None,
    *,
    quiet: bool,
    brief: bool,
) -> int:
    """Check CAPTURE (a file, - for standard input, or a folder of captures) and say where the fault is.

    Exit code: 0 all in limits, 1 something out of limits, 2 wrong usage or board file, 3 capture unreadable.
    Of a folder: one line for each capture in it, and the highest code of them.
    """
    from rastertap.report.document import document
    from rastertap.report.text import check_text

    if json_path:
        write_json(json_path, document(analysis, saver.files))
    if report_path:
        write_page(report_path, analysis, saver.files)
    code = exit_code(analysis)
    text = brief_text(analysis, code) if brief else check_text(analysis, text_width())
    say(text, quiet=quiet, json_path=json_path)
    return code
