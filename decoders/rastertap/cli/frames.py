"""``rastertap frames``: the pictures."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from rastertap.cli.options import capture_options, say, text_width, write_json
from rastertap.cli.saving import STDOUT, frame_options
from rastertap.errors import CaptureError
from rastertap.printable import printable

if TYPE_CHECKING:
    from rastertap.analyse import Analysis
    from rastertap.cli.saving import Saver

_EXAMPLES = """\b
Examples:
  rastertap frames capture.vcd.gz --out frames --scale 3
  rastertap frames capture.vcd.gz --square --apng fields.png --sheet sheet.png --map map.png
  rastertap frames capture.vcd.gz --still - > picture.png
"""


@click.command("frames", epilog=_EXAMPLES)
@frame_options("--out", "frames", "Folder to write to.", all_pictures=True)
@capture_options
def command(analysis: Analysis, saver: Saver, json_path: str | None, *, quiet: bool) -> int:
    """Rebuild the frames of CAPTURE: of each a PNG of the picture and an .npy of the whole raster's codes."""
    from rastertap.report.document import document
    from rastertap.report.text import frame_lines

    if analysis.evidence.frames is None:
        reason = analysis.evidence.missing.get("frames", "no frame")
        hint = "run `rastertap pins` on it to see what each channel was taken for"
        raise CaptureError(f"no frame can be rebuilt: {reason}", path=analysis.capture.label, hint=hint)
    if json_path:
        write_json(json_path, document(analysis, saver.files))
    lines = [*frame_lines(analysis, saver.files, text_width())]
    lines += [f"       {printable(str(path))}" for path in saver.others]
    say(
        "\n".join(lines) + "\n",
        quiet=quiet,
        json_path=STDOUT if saver.wanted.to_stdout else json_path,
    )
    return 0
