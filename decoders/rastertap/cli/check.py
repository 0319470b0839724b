"""``rastertap check``: the main job."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from rastertap.cli.options import capture_options, exit_code, say, text_width, write_json
from rastertap.cli.saving import frame_options

if TYPE_CHECKING:
    from rastertap.analyse import Analysis
    from rastertap.cli.saving import Saver


_EXAMPLES = """\b
Examples:
  rastertap check capture.vcd.gz
  rastertap check capture.vcd.gz --board board.toml --frames out --json out/result.json
"""


@click.command("check", epilog=_EXAMPLES)
@frame_options("--frames", None, "Write every frame there: PNG of the picture, .npy of the raster.")
@capture_options
def command(analysis: Analysis, saver: Saver, json_path: str | None, *, quiet: bool) -> int:
    """Check CAPTURE (a VCD file, or - for standard input) and say where the fault is.

    Exit code: 0 all in limits, 1 something out of limits, 2 wrong usage or board file, 3 capture unreadable.
    """
    from rastertap.report.document import document
    from rastertap.report.text import check_text

    if json_path:
        write_json(json_path, document(analysis, saver.files))
    say(check_text(analysis, text_width()), quiet=quiet, json_path=json_path)
    return exit_code(analysis)
