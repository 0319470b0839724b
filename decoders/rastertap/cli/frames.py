"""``rastertap frames``: the pictures."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from rastertap.cli.options import capture_options, say, text_width, write_json
from rastertap.cli.saving import frame_options, save_frames
from rastertap.errors import CaptureError

if TYPE_CHECKING:
    from rastertap.analyse import Analysis


@click.command("frames", epilog="\b\nExample:\n  rastertap frames capture.vcd.gz --out frames --scale 3")
@capture_options
@click.option(
    "--out", "folder", metavar="DIR", default="frames", show_default=True, help="Folder to write to."
)
@frame_options
def command(analysis: Analysis, json_path: str | None, folder: str, scale: int, *, quiet: bool) -> int:
    """Rebuild the frames of CAPTURE: of each a PNG of the picture and an .npy of the whole raster's codes."""
    from rastertap.report.document import document
    from rastertap.report.text import frame_lines

    if analysis.evidence.frames is None:
        reason = analysis.evidence.missing.get("frames", "no frame")
        hint = "run `rastertap pins` on it to see what each channel was taken for"
        raise CaptureError(f"no frame can be rebuilt: {reason}", path=analysis.capture.label, hint=hint)
    files = save_frames(analysis, Path(folder), scale)
    if json_path:
        write_json(json_path, document(analysis, files))
    say("\n".join(frame_lines(analysis, files, text_width())) + "\n", quiet=quiet, json_path=json_path)
    return 0
