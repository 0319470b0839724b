"""``rastertap timing``: sync and line timing in depth."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from rastertap.cli.options import capture_options, say, text_width, write_json, writing

if TYPE_CHECKING:
    from rastertap.analyse import Analysis


@click.command(
    "timing",
    epilog="\b\nExamples:\n  rastertap timing capture.vcd.gz\n"
    "  rastertap timing capture.vcd.gz --limits 625-broadcast --draw drawings",
)
@capture_options
@click.option(
    "--draw", "folder", metavar="DIR", help="Write the line and the field sync there as drawings (SVG)."
)
def command(analysis: Analysis, json_path: str | None, folder: str | None, *, quiet: bool) -> int:
    """Measure sync and line timing of CAPTURE against what PAL and NTSC equipment expects.

    Exit code: 0 all in limits, 1 something out of limits, 2 wrong usage or board file, 3 capture unreadable.
    """
    from rastertap.report.document import document
    from rastertap.report.timing_text import timing_text

    if folder is not None:
        _draw(analysis, Path(folder))
    if json_path:
        write_json(json_path, document(analysis))
    say(timing_text(analysis, text_width()), quiet=quiet, json_path=json_path)
    mine = {"sync", "timing"}
    return int(any(f.id.partition(".")[0] in mine and f.result == "fail" for f in analysis.findings))


def _draw(analysis: Analysis, folder: Path) -> None:
    from rastertap.files import write_whole
    from rastertap.report.drawing.field_sync import field_sync_svg
    from rastertap.report.drawing.line import line_svg

    with writing(folder):
        folder.mkdir(parents=True, exist_ok=True)
        for name, svg in (("line.svg", line_svg(analysis)), ("field-sync.svg", field_sync_svg(analysis))):
            if svg:
                write_whole(folder / name, svg.encode())
