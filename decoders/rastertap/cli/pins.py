"""``rastertap pins``: which channel carries what."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from rastertap.cli.options import capture_options, draw_option, say, text_width, write_drawings, write_json
from rastertap.errors import UsageError

if TYPE_CHECKING:
    from rastertap.analyse import Analysis


@click.command("pins", epilog="\b\nExample:\n  rastertap pins capture.vcd.gz --board board.toml")
@capture_options
@draw_option("which signal arrives where")
def command(analysis: Analysis, json_path: str | None, folder: str | None, *, quiet: bool) -> int:
    r"""Say which channel of CAPTURE carries what, from its behaviour, and why.

    \b
    Example:
      rastertap pins capture.vcd.gz --board board.toml
    """
    from rastertap.report.document import document
    from rastertap.report.pins_text import pins_text

    if folder is not None:
        from rastertap.report.drawing.wiring import wiring_svg

        if not (drawn := wiring_svg(analysis)):
            raise UsageError(
                "--draw needs to know what each channel is meant for",
                hint="give --board FILE with a pin map; `rastertap board new` makes one",
            )
        write_drawings(folder, {"wiring": drawn})
    if json_path:
        write_json(json_path, document(analysis))
    say(pins_text(analysis, text_width()), quiet=quiet, json_path=json_path)
    return int(any(f.id.startswith("taps.") and f.result == "fail" for f in analysis.findings))
