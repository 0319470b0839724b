"""Writing frames while a capture is analysed, for the commands that do."""

from __future__ import annotations

import functools
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from rastertap.cli.options import writing
from rastertap.errors import CaptureError, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rastertap.analyse import Analysis
    from rastertap.decode import Decoded
    from rastertap.frames.model import Frame
    from rastertap.frames.reel import Reel

Interlace = Literal["both", "woven", "apart"]
STDOUT = "-"


@dataclass(frozen=True)
class Wanted:
    """What to write.

    Parameters
    ----------
    folder : Path or None
        For the frames themselves; None writes none.
    scale : int
        How many times as large each pixel is drawn.
    square : bool
        Draw pixels in their right shape instead, by the nearest whole numbers.
    interlace : Interlace
        Which pictures of an interlaced source: woven frames, fields, or both.
    rasters, differences : bool
        Also write the whole raster, and what differs from the field before, of each field.
    apng, sheet, still, steady : str
        Files for the animation, the contact sheet, the picture that most fields agree on, and the map of
        pixels that differ; ``-`` is standard output, empty for none.
    """

    folder: Path | None = None
    scale: int = 2
    square: bool = False
    interlace: Interlace = "both"
    rasters: bool = False
    differences: bool = False
    apng: str = ""
    sheet: str = ""
    still: str = ""
    steady: str = ""

    def __post_init__(self) -> None:
        """Refuse two pictures on one standard output."""
        if [self.apng, self.sheet, self.still, self.steady].count(STDOUT) > 1:
            raise UsageError("only one picture can go to standard output", hint="name a file for the others")

    @property
    def to_stdout(self) -> bool:
        """Whether a picture goes to standard output, so that no text may."""
        return STDOUT in (self.apng, self.sheet, self.still, self.steady)


class Saver:
    """Writes the frames of each piece of a capture as it passes, for of a long one only few are kept."""

    def __init__(self, wanted: Wanted) -> None:
        self.wanted = wanted
        self.files: dict[int, tuple[Path, Path]] = {}
        """PNG and ``.npy`` of each frame, by its index."""
        self.others: list[Path] = []
        """The other pictures, in the order written."""
        self._reel: Reel | None = None

    def __call__(self, decoded: Decoded) -> None:
        """Write the frames of one piece."""
        from rastertap.frames.images import save_frame
        from rastertap.frames.reel import Reel

        wanted, frames = self.wanted, decoded.streams.get("frames")
        if frames is None or decoded.streams.get("colour_bus") is None:
            return
        if self._reel is None:
            self._reel = Reel(decoded.streams, scale=wanted.scale, square=wanted.square)
        reel = self._reel
        reel.add(decoded.streams, animated=bool(wanted.apng), sheet=bool(wanted.sheet))
        if wanted.folder is None:
            return
        with writing(wanted.folder):
            for frame in self._chosen(frames.frames):
                look, aspect = reel.look(frame), reel.aspect(frame)
                text = {"Title": f"frame {frame.index}, {frame.field}"}
                self.files[frame.index] = save_frame(
                    wanted.folder, frames, frame, look, aspect=aspect, text=text
                )
            for name, picture in reel.extras(
                decoded.streams, rasters=wanted.rasters, differences=wanted.differences
            ):
                self._write(wanted.folder / name, picture)

    def _chosen(self, frames: Sequence[Frame]) -> list[Frame]:
        interlaced = any(f.field in {"first", "second", "woven"} for f in frames)
        if not interlaced or self.wanted.interlace == "both":
            return list(frames)
        return [f for f in frames if (f.field == "woven") == (self.wanted.interlace == "woven")]

    def _write(self, path: Path, data: bytes) -> None:
        from rastertap.files import write_whole

        write_whole(path, data)
        self.others.append(path)

    def finish(self, analysis: Analysis) -> None:
        """Write what needs the whole capture, and in each picture where it comes from."""
        if self._reel is None:
            return
        from rastertap.frames.png import add_text
        from rastertap.report.provenance import provenance

        self._require_fields(analysis)
        text = provenance(analysis)
        for path in [*(png for png, _ in self.files.values()), *self.others]:
            with writing(path):
                add_text(path, text)
        wanted = self.wanted
        reel = self._reel
        pictures: dict[str, Callable[[Analysis, dict[str, str]], bytes]] = {
            wanted.apng: reel.animation,
            wanted.sheet: reel.sheet,
            wanted.still: reel.still,
            wanted.steady: reel.steadiness,
        }
        for place, make in pictures.items():
            if place:
                self._place(place, make(analysis, text))

    def _require_fields(self, analysis: Analysis) -> None:
        frames, wanted = analysis.evidence.frames, self.wanted
        named = wanted.apng or wanted.sheet or wanted.still or wanted.steady
        if named and (frames is None or not frames.steadiness):
            message, hint = "there is no complete field to make that picture of", "record two fields or more"
            raise CaptureError(message, path=analysis.capture.label, hint=hint)

    def _place(self, place: str, data: bytes) -> None:
        if place == STDOUT:
            sys.stdout.buffer.write(data)
            return
        with writing(place):
            self._write(Path(place), data)


def frame_options(
    flag: str, default: str | None, text: str, *, all_pictures: bool = False
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Add the options of frame files, ``flag`` for the folder; goes above `capture_options`.

    The command gets a ``saver``, which has done its work by then. ``all_pictures`` adds those of every other
    kind of picture.
    """
    more = _more_options() if all_pictures else []

    def decorate(command: Callable[..., Any]) -> Callable[..., Any]:
        @functools.wraps(command)
        def with_saver(*, frames_folder: str | None, scale: int, **rest: Any) -> Any:
            names = Wanted.__dataclass_fields__.keys() - {"folder", "scale"}
            own = {name: rest.pop(name) for name in names & rest.keys()}
            wanted = Wanted(Path(frames_folder) if frames_folder else None, scale, **own)
            return command(saver=Saver(wanted), **rest)

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
        for option in reversed([place, size, *more]):
            with_saver = option(with_saver)
        return with_saver

    return decorate


def _more_options() -> list[Callable[..., Any]]:
    def file(name: str, target: str, text: str) -> Callable[..., Any]:
        return click.option(name, target, metavar="FILE", default="", help=f"{text} (- is standard output).")

    return [
        click.option(
            "--square", is_flag=True, help="Draw pixels in their right shape, by the nearest whole numbers."
        ),
        click.option(
            "--interlace",
            type=click.Choice(["both", "woven", "apart"]),
            default="both",
            show_default=True,
            help="Interlaced: frames woven of two fields, fields apart, or both.",
        ),
        click.option(
            "--raster", "rasters", is_flag=True, help="Also the whole raster, sync and blanking tinted."
        ),
        click.option(
            "--difference", "differences", is_flag=True, help="Also what differs from the field before."
        ),
        file("--apng", "apng", "Animation of all complete fields in their true time"),
        file("--sheet", "sheet", "Contact sheet of all complete fields"),
        file("--still", "still", "The picture that most fields agree on"),
        file("--map", "steady", "Map of the pixels that differ between fields: noise, motion"),
    ]
