"""The part with picture on hand-made rasters of 30 pixels by 20 lines; blanking is code 0 unless stated."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.frames.active import blanking_code, find_active, grown
from rastertap.frames.model import Area, Frame

if TYPE_CHECKING:
    from rastertap.frames.model import FieldKind

PICTURE = Area(8, 4, 16, 12)


def frame(
    index: int = 0,
    area: Area | None = PICTURE,
    *,
    kind: FieldKind = "progressive",
    complete: bool = True,
    blank: int = 0,
) -> Frame:
    codes = np.full((20, 30), blank, np.uint8)
    if area is not None:
        area.crop(codes)[:] = 5
    return Frame(index, kind, codes, np.zeros(codes.shape, np.bool_), 1_000 * index, complete)


def test_the_area_bounds_what_differs_from_blanking() -> None:
    areas, how = find_active([frame()], 0, None)
    assert areas == {"progressive": PICTURE}
    assert "by the picture" in how
    assert "(0)" in how


def test_blanking_need_not_be_0() -> None:
    shown = frame(blank=3)
    assert blanking_code([shown], 4) == 3
    assert find_active([shown], 3, None)[0] == {"progressive": PICTURE}


def test_the_blanking_code_is_that_of_most_pixels_in_the_line_sync() -> None:
    shown = frame(blank=3)
    shown.codes[0, :2] = 9
    assert blanking_code([shown], 2) == 3


def test_a_picture_that_is_dark_in_one_field_is_bounded_by_the_others() -> None:
    dark = frame(1, Area(12, 8, 2, 2))
    assert find_active([frame(), dark], 0, None)[0] == {"progressive": PICTURE}


def test_without_a_picture_there_is_no_area() -> None:
    assert find_active([frame(area=None)], 0, None)[0] == {}


def test_an_unsure_pixel_does_not_widen_the_area() -> None:
    shown = frame()
    shown.codes[0, 0] = 9
    shown.unsure[0, 0] = True
    assert find_active([shown], 0, None)[0] == {"progressive": PICTURE}


def test_a_field_that_the_capture_cuts_counts_only_where_there_is_no_whole_one() -> None:
    cut = frame(1, Area(0, 0, 30, 20), complete=False)
    assert find_active([frame(), cut], 0, None)[0] == {"progressive": PICTURE}
    assert find_active([cut], 0, None)[0] == {"progressive": Area(0, 0, 30, 20)}


def test_the_fields_of_an_interlaced_frame_may_begin_a_line_apart_but_not_a_pixel() -> None:
    areas, _ = find_active(
        [frame(0, Area(8, 4, 10, 12), kind="first"), frame(1, Area(10, 5, 14, 12), kind="second")], 0, None
    )
    assert areas == {"first": Area(8, 4, 16, 12), "second": Area(8, 5, 16, 12)}


def test_display_enable_shows_the_area_even_of_a_dark_picture() -> None:
    window = np.zeros((20, 30), np.bool_)
    PICTURE.crop(window)[:] = True
    areas, how = find_active([frame(area=None)], 0, {0: window})
    assert areas == {"progressive": PICTURE}
    assert how == "from display enable or blanking"


def test_a_display_enable_that_never_opens_is_not_believed() -> None:
    areas, how = find_active([frame()], 0, {0: np.zeros((20, 30), np.bool_)})
    assert areas == {"progressive": PICTURE}
    assert "outer lines and columns of the blanking code alone (0) are left out" in how


def test_areas_of_two_pieces_grow_together() -> None:
    both = grown({"first": Area(8, 4, 10, 12)}, {"first": Area(6, 5, 10, 13), "second": Area(8, 4, 12, 12)})
    assert both == {"first": Area(6, 4, 14, 14), "second": Area(6, 4, 14, 12)}
