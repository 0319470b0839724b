"""The known picture of a board file as codes: from its regions, an image, an array or a good capture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

import numpy as np

from rastertap.errors import UsageError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.board.model import Board
    from rastertap.board.picture import Picture, Region
    from rastertap.frames.model import Frames
    from rastertap.streams.model import ColourBus

MARGIN = 6
"""Pixels and lines of blanking compared round the active area where the board file states its code."""


@dataclass(frozen=True, eq=False)
class ExpectedPicture:
    """Colour codes that one field should show.

    Parameters
    ----------
    codes : ndarray of uint32, shape (height, width)
    known : ndarray of uint32, shape (height, width)
        The bits of each code that are known.
    at : (int, int) or None
        Where its top left corner lies on the raster, pixel clocks and lines; None: not stated.
    margin : int
        Pixels and lines of blanking round the active area that it holds.
    """

    codes: NDArray[np.uint32]
    known: NDArray[np.uint32]
    at: tuple[int, int] | None
    margin: int


def expected_pictures(board: Board, bits: int) -> tuple[ExpectedPicture, ...]:
    """Give the known picture of a board, one for each kind of field; empty when it states none.

    Raises
    ------
    UsageError
        When its reference cannot be read as a picture of ``bits`` bits.
    """
    picture = board.picture
    if picture is None:
        return ()
    every = np.uint32((1 << bits) - 1)
    if picture.reference is None:
        return (_with_margin(*_drawn(picture, every), picture, every),)
    if picture.is_capture:
        return _from_capture(picture.reference, board)
    found = _from_file(picture.reference)
    if int(found.max(initial=0)) > int(every):
        reason = f"its codes go up to {int(found.max())}, and {bits} colour bits make 0 to {int(every)}"
        raise UsageError(f"{picture.reference} is no picture of this board: {reason}")
    fields = found if found.ndim == 3 else found[np.newaxis]  # noqa: PLR2004 - fields, lines, pixels
    made = [(codes, np.full(codes.shape, every)) for codes in fields]
    for region in picture.regions:
        for codes, known in made:
            _draw(region, codes, known, every)
    return tuple(_with_margin(codes, known, picture, every) for codes, known in made)


def _drawn(picture: Picture, every: np.uint32) -> tuple[NDArray[np.uint32], NDArray[np.uint32]]:
    """Draw the regions."""
    width = max(r.at[0] + r.at[2] for r in picture.regions)
    height = max(r.at[1] + r.at[3] for r in picture.regions)
    if picture.active is not None:
        width, height = picture.active[2:]
    codes, known = np.zeros((height, width), np.uint32), np.zeros((height, width), np.uint32)
    for region in picture.regions:
        _draw(region, codes, known, every)
    return codes, known


def _draw(region: Region, codes: NDArray[np.uint32], known: NDArray[np.uint32], every: np.uint32) -> None:
    """Fill a region in place; a later one covers an earlier one."""
    x, y, width, height = region.at
    place = (slice(y, y + height), slice(x, x + width))
    if region.either is not None:
        # The bits that all codes of the text share are known, whatever the text says.
        common = np.bitwise_and.reduce(np.array(region.either, np.uint32))
        never = every & ~np.bitwise_or.reduce(np.array(region.either, np.uint32))
        codes[place], known[place] = common, common | never
        return
    bars = region.bars if region.bars is not None else (region.code or 0,)
    codes[place] = np.array(bars, np.uint32)[np.arange(width) * len(bars) // width]
    known[place] = every


def _with_margin(
    codes: NDArray[np.uint32], known: NDArray[np.uint32], picture: Picture, every: np.uint32
) -> ExpectedPicture:
    """Add blanking round the picture where its code is stated."""
    at = picture.active[:2] if picture.active is not None else None
    if picture.blanking is None or picture.active is None:
        return ExpectedPicture(codes, known, at, 0)
    wide = np.pad(codes, MARGIN, constant_values=np.uint32(picture.blanking))
    sure = np.pad(known, MARGIN, constant_values=every)
    return ExpectedPicture(wide, sure, (at[0] - MARGIN, at[1] - MARGIN) if at else None, MARGIN)


def _from_file(path: str) -> NDArray[np.uint32]:
    """Read an array of codes, or an indexed image."""
    try:
        if path.lower().endswith(".npy"):
            array = np.load(path, allow_pickle=False)
        else:
            from PIL import Image

            with Image.open(path) as image:
                if image.mode not in {"P", "L", "1"}:
                    hint = "save it with a palette, code n in place n"
                    raise UsageError(f"{path} is no indexed image: its mode is {image.mode}", hint=hint)
                array = np.asarray(image.convert("L") if image.mode == "1" else image)
    except (OSError, ValueError, EOFError) as error:
        raise UsageError(f"{path} cannot be read as a picture: {error}") from None
    if array.ndim not in {2, 3} or array.dtype.kind not in "ui" or not array.size:
        raise UsageError(f"{path} holds no codes of (fields,) lines and pixels: {array.dtype} {array.shape}")
    return cast("NDArray[np.uint32]", array.astype(np.uint32))


def _from_capture(path: str, board: Board) -> tuple[ExpectedPicture, ...]:
    """Rebuild the frames of a good capture."""
    from rastertap.analyse import Request, analyse_path

    analysis = analyse_path(path, Request(board=board.model_copy(update={"picture": None})))
    frames, bus = analysis.evidence.frames, analysis.evidence.colour_bus
    if frames is None or bus is None or not frames.complete:
        reason = analysis.evidence.missing.get("frames", "it holds no complete field")
        raise UsageError(f"{path} cannot serve as the known picture: {reason}")
    return rebuilt_pictures(frames, bus)


def rebuilt_pictures(
    frames: Frames, bus: ColourBus, *, active_only: bool = False
) -> tuple[ExpectedPicture, ...]:
    """Take the rebuilt frames of a capture, one of each kind, for what another should show.

    Parameters
    ----------
    frames, bus
        Of the good capture.
    active_only : bool
        Leave out the blanking round the active area, so that it may have moved in any direction.
    """
    every = np.uint32((1 << len(bus.bits)) - 1)
    made = []
    for _, frame in sorted({f.field: f for f in reversed(frames.complete)}.items()):
        known = np.where(frame.unsure, np.uint32(0), every)
        area = frames.active_of(frame)
        if not active_only:
            made.append(ExpectedPicture(frame.codes.astype(np.uint32), known, (0, 0), 0))
        elif area is not None:
            codes = cast("NDArray[np.uint32]", area.crop(frame.codes.astype(np.uint32)))
            sure = cast("NDArray[np.uint32]", area.crop(known))
            made.append(ExpectedPicture(codes, sure, (area.x, area.y), 0))
    return tuple(made)
