"""``rastertap frames``: the pictures."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from rastertap.cli.options import capture_options, say, text_width, write_json
from rastertap.cli.saving import frame_options
from rastertap.errors import CaptureError

if TYPE_CHECKING:
    from rastertap.analyse import Analysis
    from rastertap.cli.saving import Saver


@click.command("frames", epilog="\b\nExample:\n  rastertap frames capture.vcd.gz --out frames --scale 3")
@frame_options("--out", "frames", "Folder to write to.")
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
    say("\n".join(frame_lines(analysis, saver.files, text_width())) + "\n", quiet=quiet, json_path=json_path)
    return 0
