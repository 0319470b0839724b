"""Writing frames while a capture is analysed, for the commands that do."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rastertap.cli.options import writing

if TYPE_CHECKING:
    from collections.abc import Callable

    from rastertap.decode import Decoded


class Saver:
    """Writes the frames of each piece of a capture as it passes, for of a long one only few are kept.

    Parameters
    ----------
    folder : Path or None
        Where to; None writes nothing.
    scale : int
        How many times as large each pixel is drawn.
    """

    def __init__(self, folder: Path | None, scale: int) -> None:
        self._folder, self._scale = folder, scale
        self.files: dict[int, tuple[Path, Path]] = {}
        """PNG and ``.npy`` of each frame, by its index."""

    def __call__(self, decoded: Decoded) -> None:
        """Write the frames of one piece."""
        frames, bus = decoded.streams.get("frames"), decoded.streams.get("colour_bus")
        if self._folder is None or frames is None or bus is None:
            return
        from rastertap.frames.images import save_frame

        with writing(self._folder):
            for f in frames.frames:
                self.files[f.index] = save_frame(
                    self._folder, frames, f, bus.palette, len(bus.bits), scale=self._scale
                )


def frame_options(
    flag: str, default: str | None, text: str
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Add the options of frame files, ``flag`` for the folder; goes above `capture_options`.

    The command gets a ``saver``, which has done its work by then.
    """

    def decorate(command: Callable[..., Any]) -> Callable[..., Any]:
        @functools.wraps(command)
        def with_saver(*, frames_folder: str | None, scale: int, **rest: Any) -> Any:
            return command(saver=Saver(Path(frames_folder) if frames_folder else None, scale), **rest)

        size = click.option(
            "--scale",
            type=click.IntRange(1, 16),
            default=2,
            show_default=True,
            help="Draw each pixel this many times as large.",
        )
        place = click.option(
            flag, "frames_folder", metavar="DIR", default=default, show_default=default is not None, help=text
        )
        return place(size(with_saver))

    return decorate
