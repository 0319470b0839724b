"""The picture viewer shows what the bench drew, in whole pixels, and obeys pointer, keyboard and links."""

from __future__ import annotations

import base64
import io
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from PIL import Image

if TYPE_CHECKING:
    from collections.abc import Callable

GOOD, DROPS = "marlow85-50", "marlow85-50-clock-drops"
MOVING = ("--picture", "moving", "--fields", "3.3", "--seed", "4")


def canvas_of(sheet: Any) -> tuple[np.ndarray, float]:
    """Pixels of the canvas, shape (height, width, 3), and its width in CSS pixels."""
    url = sheet.page.evaluate("document.getElementById('canvas').toDataURL()")
    with Image.open(io.BytesIO(base64.b64decode(url.partition(",")[2]))) as image:
        pixels = np.asarray(image.convert("RGB"))
    return pixels, sheet.one("#canvas").bounding_box()["width"]


@pytest.mark.parametrize("ratio", [1, 2])
def test_every_pixel_is_a_whole_number_of_device_pixels(
    page_of: Callable[..., Any], opened: Callable[..., Any], checked: Callable[..., Any], ratio: int
) -> None:
    sheet = opened(page_of(GOOD), device_scale_factor=ratio)
    sheet.viewer()
    truth = checked(GOOD).pictures[0]
    pixels, css = canvas_of(sheet)
    across, down = pixels.shape[1] // truth.shape[1], pixels.shape[0] // truth.shape[0]
    assert pixels.shape[:2] == (truth.shape[0] * down, truth.shape[1] * across)
    assert css * ratio == pixels.shape[1]
    assert across >= 2 * ratio - 1


def test_the_canvas_shows_the_picture_that_the_chip_was_told_to_show(
    page_of: Callable[..., Any], opened: Callable[..., Any], checked: Callable[..., Any]
) -> None:
    sheet = opened(page_of(GOOD))
    sheet.viewer()
    truth = checked(GOOD).pictures[0]
    pixels, _ = canvas_of(sheet)
    small = pixels[:: pixels.shape[0] // truth.shape[0], :: pixels.shape[1] // truth.shape[1]].astype(int)
    seen = small @ [65536, 256, 1]
    # One colour a code, another for each other code; the cursor covers a few pixels in the middle.
    colours = [np.unique(seen[truth == code], return_counts=True) for code in np.unique(truth)]
    common = [values[np.argmax(counts)] for values, counts in colours]
    assert len(set(common)) == len(common) == 16
    wrong = sum(int((seen[truth == code] != common[i]).sum()) for i, code in enumerate(np.unique(truth)))
    assert wrong < 60


def test_the_keyboard_reads_the_codes_of_the_truth(
    page_of: Callable[..., Any], opened: Callable[..., Any], checked: Callable[..., Any]
) -> None:
    sheet = opened(page_of(GOOD))
    canvas, truth = sheet.viewer(), checked(GOOD).pictures[0]
    canvas.focus()
    canvas.press("Home")
    for _ in range(20):
        canvas.press("Shift+ArrowUp")
    corner = sheet.pixel()
    seen = [corner["code"]]
    for _ in range(60):
        canvas.press("ArrowDown")
        canvas.press("Shift+ArrowRight" if len(seen) % 2 else "ArrowRight")
        place = sheet.pixel()
        row, column = place["line"] - corner["line"], place["pixel"] - corner["pixel"]
        assert place["code"] == truth[row, column], (row, column)
        seen.append(place["code"])
    assert len(set(seen)) > 3


def test_arrows_home_end_and_the_edges_keep_the_cursor_in_the_picture(
    page_of: Callable[..., Any], opened: Callable[..., Any]
) -> None:
    sheet = opened(page_of(GOOD))
    canvas = sheet.viewer()
    start = sheet.pixel()
    canvas.press("ArrowRight")
    canvas.press("ArrowDown")
    assert (sheet.pixel()["line"], sheet.pixel()["pixel"]) == (start["line"] + 1, start["pixel"] + 1)
    canvas.press("Shift+ArrowLeft")
    assert sheet.pixel()["pixel"] == start["pixel"] - 7
    canvas.press("End")
    right = sheet.pixel()["pixel"]
    canvas.press("ArrowRight")
    assert sheet.pixel()["pixel"] == right
    canvas.press("Home")
    assert right - sheet.pixel()["pixel"] == 383


def test_the_pointer_names_the_pixel_under_it_and_a_click_keeps_it(
    page_of: Callable[..., Any], opened: Callable[..., Any], checked: Callable[..., Any]
) -> None:
    sheet = opened(page_of(GOOD))
    canvas, truth = sheet.viewer(), checked(GOOD).pictures[0]
    box = canvas.bounding_box()
    size = box["width"] / truth.shape[1]
    for row, column in ((0, 0), (50, 60), (100, 200), (239, 383)):
        sheet.page.mouse.move(box["x"] + (column + 0.5) * size, box["y"] + (row + 0.5) * size)
        assert sheet.pixel()["code"] == truth[row, column]
        assert f"(active {column})" in sheet.text("#at-pixel")
        assert f"(active {row})" in sheet.text("#at-line")
    sheet.page.mouse.click(box["x"] + 60.5 * size, box["y"] + 50.5 * size)
    sheet.page.mouse.move(5, 5)
    assert "(active 60)" in sheet.text("#at-pixel")


def test_a_pixels_time_is_that_of_the_capture(
    page_of: Callable[..., Any], opened: Callable[..., Any], checked: Callable[..., Any]
) -> None:
    sheet = opened(page_of(GOOD))
    canvas = sheet.viewer()
    canvas.press("Home")
    for _ in range(20):
        canvas.press("Shift+ArrowUp")
    began = next(f["active_start_s"] for f in checked(GOOD).truth["fields"] if f["active_complete"])
    shown = float(sheet.text("#at-time").split()[0]) * 1e-3
    # The pixel is read within its own period, seen up to a sample late.
    assert began <= shown <= began + 1 / 9e6 + 20e-9


def test_a_screen_reader_is_told_where_the_cursor_is(
    page_of: Callable[..., Any], opened: Callable[..., Any]
) -> None:
    sheet = opened(page_of(GOOD))
    canvas = sheet.viewer()
    canvas.press("ArrowRight")
    place = sheet.pixel()
    sheet.page.wait_for_function(
        "line => document.getElementById('spoken').textContent.includes(line)",
        arg=f"line {place['line']} (active",
    )
    assert f"code {place['code']}" in sheet.one("#spoken").text_content()
    assert sheet.one("#spoken").get_attribute("aria-live") == "polite"


def test_fields_parts_and_sizes_change_by_key_and_by_control(
    page_of: Callable[..., Any], opened: Callable[..., Any]
) -> None:
    sheet = opened(page_of(GOOD))
    canvas = sheet.viewer()
    assert sheet.text("#field-name").startswith("1, progressive, complete")
    canvas.press("PageDown")
    assert sheet.text("#field-name").startswith("2,")
    canvas.press("PageUp")
    canvas.press("PageUp")
    assert sheet.text("#field-name") == "0, progressive, cut by the capture"
    sheet.one("#field").fill("2")
    assert sheet.text("#field-name").startswith("2,")
    small = canvas.bounding_box()["width"]
    canvas.press("+")
    assert sheet.text("#zoom").startswith("3 x")
    assert canvas.bounding_box()["width"] == 1.5 * small
    sheet.one("#smaller").click()
    assert canvas.bounding_box()["width"] == small
    canvas.press("r")
    assert sheet.one("#part").input_value() == "raster"
    assert canvas.evaluate("c => c.width % 576") == 0
    sheet.one("#part").select_option("active")
    assert canvas.evaluate("c => c.width % 384") == 0


def test_the_differences_are_those_of_the_truth(
    made: Callable[..., Any], page_of: Callable[..., Any], opened: Callable[..., Any]
) -> None:
    capture = made(*MOVING)
    sheet = opened(page_of(capture.capture))
    canvas = sheet.viewer()
    whole = [f for f in capture.truth["fields"] if f["active_complete"]]
    one, other = (capture.pictures[f["picture"]] for f in whole[:2])
    canvas.press("PageDown")
    sheet.one("#overlay").select_option("difference")
    assert int(sheet.text("#marked").split()[0]) == int((one != other).sum()) > 0
    canvas.press("PageUp")
    assert sheet.text("#marked") == "There is no complete field of this kind before it here."
    sheet.one("#overlay").select_option("noise")
    assert int(sheet.text("#marked").split()[0]) >= int((one != other).sum())


def test_what_was_not_in_the_capture_is_marked_unsure(
    page_of: Callable[..., Any], opened: Callable[..., Any], checked: Callable[..., Any]
) -> None:
    sheet = opened(page_of(GOOD))
    canvas = sheet.viewer()
    sheet.one("#overlay").select_option("unsure")
    assert sheet.text("#marked").startswith("0 pixels are unsure")
    sheet.one("#field").fill("0")
    note = checked(GOOD).document["frames"][0]
    assert int(sheet.text("#marked").split()[0]) == note["uncertain_pixels"] > 10_000
    assert sheet.text("#at-sure").startswith("unsure")
    for _ in range(2):
        canvas.press("m")
    assert sheet.one("#overlay").input_value() == "noise"


def test_a_findings_time_leads_to_its_place_in_the_picture(
    page_of: Callable[..., Any], opened: Callable[..., Any], checked: Callable[..., Any]
) -> None:
    sheet = opened(page_of(DROPS))
    sheet.viewer()
    times = checked(DROPS).finding("clock.missing_cycles")["at_s"]
    links = sheet.one("article[id='clock.missing_cycles'] a[data-field]")
    assert links.count() == len(times) > 3
    for i in (0, len(times) - 1):
        links.nth(i).click()
        shown = float(sheet.text("#at-time").split()[0]) * 1e-3
        # Within two pixels: the pixel's own place and the moment it is read at.
        assert abs(shown - times[i]) < 2 / 9e6
        assert sheet.page.evaluate("document.activeElement.id") == "canvas"
        assert 0 <= sheet.one("#canvas").bounding_box()["y"] + 400 < 900


def test_a_mark_on_the_grid_of_events_leads_there_too(
    page_of: Callable[..., Any], opened: Callable[..., Any]
) -> None:
    sheet = opened(page_of(DROPS))
    sheet.viewer()
    mark = sheet.one("#events a[data-field='2']").first
    where = mark.get_attribute("aria-label")
    mark.click()
    place = sheet.pixel()
    assert f"field 2, line {place['line']}, pixel {place['pixel']}," in where
    assert sheet.text("#field-name").startswith("2,")


def test_the_two_fields_of_an_interlaced_picture_are_seen_woven(
    made: Callable[..., Any], page_of: Callable[..., Any], opened: Callable[..., Any]
) -> None:
    capture = made("--lines-per-field", "312.5", "--composite", "equalised-625", "--fields", "4.3")
    sheet = opened(page_of(capture.capture))
    canvas, (first, second) = sheet.viewer(), capture.pictures
    truth = np.stack((first, second), axis=1).reshape(-1, first.shape[1])
    assert "two fields woven" in sheet.text("#field-name")
    canvas.press("Home")
    for _ in range(60):
        canvas.press("Shift+ArrowUp")
    corner = sheet.pixel()
    for step in range(24):
        place = sheet.pixel()
        row, column = place["line"] - corner["line"], place["pixel"] - corner["pixel"]
        assert place["code"] == truth[row, column], (row, column)
        canvas.press("ArrowDown")
        canvas.press("Shift+ArrowRight" if step % 2 else "Shift+ArrowDown")
    # Lines next to each other are of different fields, 20 ms apart (BT.470: 50 fields a second).
    canvas.press("ArrowUp")
    one = float(sheet.text("#at-time").split()[0])
    canvas.press("ArrowUp")
    assert abs(abs(float(sheet.text("#at-time").split()[0]) - one) - 20) < 0.1


def test_wedges_point_at_the_lines_in_which_a_fault_struck(
    page_of: Callable[..., Any], opened: Callable[..., Any], checked: Callable[..., Any]
) -> None:
    sheet = opened(page_of(DROPS))
    sheet.viewer()
    assert sheet.page.input_value("#overlay") == "faults"
    links = sheet.page.query_selector_all(".finding.fail a[data-field]")
    index = int(sheet.text("#field-name").partition(",")[0])
    lines = sorted(
        {int(a.get_attribute("data-line")) for a in links if int(a.get_attribute("data-field")) == index}
    )
    assert 0 < len(lines) <= 8
    listed = ", ".join(map(str, lines))
    assert sheet.text("#marked") == f"Faults in this field: line {listed}. Wedges point at those in sight."
    pixels, _ = canvas_of(sheet)
    truth = checked(DROPS).pictures[0]
    down = pixels.shape[0] // truth.shape[0]
    top = int(sheet.text("#at-line").partition(" ")[0]) - int(
        sheet.text("#at-line").split("active ")[1].rstrip(")")
    )
    marked = np.flatnonzero((pixels[:, 2] == (110, 0, 90)).all(axis=1))
    for line in lines:
        assert ((line - top) * down in marked) == (0 <= line - top < truth.shape[0])


def test_a_sound_picture_has_no_wedges(page_of: Callable[..., Any], opened: Callable[..., Any]) -> None:
    sheet = opened(page_of(GOOD))
    sheet.viewer()
    assert sheet.page.input_value("#overlay") == "none"
    sheet.page.select_option("#overlay", "faults")
    assert sheet.text("#marked") == "No fault has its place in this field."
