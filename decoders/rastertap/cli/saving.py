"""Writing the frames of an analysis, for the commands that do."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from rastertap.cli.options import writing

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from rastertap.analyse import Analysis


def frame_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options of a picture file."""
    return click.option(
        "--scale",
        type=click.IntRange(1, 16),
        default=2,
        show_default=True,
        help="Draw each pixel this many times as large.",
    )(command)


def save_frames(analysis: Analysis, folder: Path, scale: int) -> dict[int, tuple[Path, Path]]:
    """Write every frame; return the paths by frame index; nothing when there are no frames."""
    from rastertap.frames.images import save_frame

    frames, bus = analysis.evidence.frames, analysis.evidence.colour_bus
    if frames is None or bus is None:
        return {}
    with writing(folder):
        return {
            f.index: save_frame(folder, frames, f, bus.palette, len(bus.bits), scale=scale)
            for f in frames.frames
        }
