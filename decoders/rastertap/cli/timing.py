"""``rastertap timing``: sync and line timing in depth."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from rastertap.cli.options import capture_options, draw_option, say, text_width, write_drawings, write_json

if TYPE_CHECKING:
    from rastertap.analyse import Analysis


@click.command(
    "timing",
    epilog="\b\nExamples:\n  rastertap timing capture.vcd.gz\n"
    "  rastertap timing capture.vcd.gz --limits 625-broadcast --draw drawings",
)
@capture_options
@draw_option("the line and the field sync")
def command(analysis: Analysis, json_path: str | None, folder: str | None, *, quiet: bool) -> int:
    """Measure sync and line timing of CAPTURE against what PAL and NTSC equipment expects.

    Exit code: 0 all in limits, 1 something out of limits, 2 wrong usage or board file, 3 capture unreadable.
    """
    from rastertap.report.document import document
    from rastertap.report.timing_text import timing_text

    if folder is not None:
        from rastertap.report.drawing.field_sync import field_sync_svg
        from rastertap.report.drawing.line import line_svg

        write_drawings(folder, {"line": line_svg(analysis), "field-sync": field_sync_svg(analysis)})
    if json_path:
        write_json(json_path, document(analysis))
    say(timing_text(analysis, text_width()), quiet=quiet, json_path=json_path)
    mine = {"sync", "timing"}
    return int(any(f.id.partition(".")[0] in mine and f.result == "fail" for f in analysis.findings))
