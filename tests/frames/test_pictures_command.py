"""``rastertap frames`` and its pictures, read back with another library and held to the truth."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from PIL import Image

from ..peers.simulate import simulate  # noqa: TID252 - the simulators are shared

if TYPE_CHECKING:
    from typing import Any

    from ..peers.simulate import Simulated  # noqa: TID252 - the simulators are shared

CAPTURES = Path(__file__).parents[2] / "captures"
GOOD = [str(CAPTURES / "marlow85-50.vcd.gz"), "--board", str(CAPTURES / "marlow85-50.toml")]
WIDTH, HEIGHT = 384, 240


def run(*arguments: str, code: int = 0) -> bytes:
    done = subprocess.run(
        [sys.executable, "-m", "rastertap", "frames", *arguments], capture_output=True, check=False
    )
    assert done.returncode == code, done.stderr.decode()
    return done.stdout if code == 0 else done.stderr


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("pictures")
    names = {f"--{n}": str(made / "more" / f"{n}.png") for n in ("apng", "sheet", "still", "map")}
    others = [word for pair in names.items() for word in pair]
    run(*GOOD, "--out", str(made), "--square", "--raster", "--difference", *others, "--quiet")
    return made


@pytest.fixture(scope="module")
def truth() -> np.ndarray[Any, Any]:
    picture: np.ndarray[Any, Any] = np.load(CAPTURES / "marlow85-50.pictures.npy")[0]
    return picture


def opened(path: Path) -> Image.Image:
    with Image.open(path) as image:
        image.load()
        return image.copy()


def test_square_pixels_come_in_their_right_shape(folder: Path) -> None:
    # 0.8205 wide for 1 high (see test_aspect): 4 across for 5 down, 2.5 % off, which the file states.
    image = opened(folder / "frame-001.png")
    assert image.size == (4 * WIDTH, 5 * HEIGHT)
    across, down = image.info["aspect"]
    assert down / across == pytest.approx(0.8205 * 5 / 4, rel=1e-3)


def test_a_picture_says_where_it_comes_from(folder: Path) -> None:
    with Image.open(folder / "frame-001.png") as image:
        image.load()
        info = image.info
    assert info["Software"].startswith("rastertap ")
    assert info["Source"] == "marlow85-50.vcd.gz"
    listed = dict(line.split()[::-1] for line in (CAPTURES / "SHA256SUMS").read_text().splitlines())
    assert info["Source SHA-256"] == listed["marlow85-50.vcd.gz"]
    assert info["Lines per field"] == "312"
    assert info["Title"] == "frame 1, progressive"


def test_the_animation_holds_every_complete_field_for_its_time(
    folder: Path, truth: np.ndarray[Any, Any]
) -> None:
    with Image.open(folder / "more" / "apng.png") as image:
        assert image.n_frames == 2
        for index in range(2):
            image.seek(index)
            # 19.968 ms; the analyser is 8 ppm fast.
            assert image.info["duration"] == pytest.approx(19.968, rel=5e-5)
        palette = np.array(image.getpalette() or [], np.uint8).reshape(-1, 3)
        shown = np.asarray(image.convert("RGB"))[::5, ::4]
    assert (shown == palette[truth]).all()


def test_the_still_is_the_truth(folder: Path, truth: np.ndarray[Any, Any]) -> None:
    assert (np.asarray(opened(folder / "more" / "still.png"))[::5, ::4] == truth).all()


def test_the_raster_tints_sync_and_blanking_and_leaves_the_picture(folder: Path) -> None:
    raster = np.asarray(opened(folder / "raster-001.png"))[::5, ::4]
    assert raster.shape == (312, 576, 3)
    picture = np.asarray(opened(folder / "frame-001.png").convert("RGB"))[::5, ::4]
    assert (raster[46 : 46 + HEIGHT, 136 : 136 + WIDTH] == picture).all()
    sync, blank = raster[100, 10].tolist(), raster[100, 100].tolist()
    assert sync != blank
    # The line sync is 42 clocks wide (captures/README.md).
    assert (raster[60:300, :42] == sync).all()
    assert (raster[60:280, 42:136] == blank).all()


def test_fields_that_are_equal_have_a_grey_difference(folder: Path) -> None:
    difference = np.asarray(opened(folder / "difference-002.png"))
    assert (difference == difference[..., :1]).all()
    assert not (folder / "difference-001.png").exists()


def test_the_contact_sheet_and_the_map_are_pictures(folder: Path) -> None:
    sheet, steady = opened(folder / "more" / "sheet.png"), opened(folder / "more" / "map.png")
    assert sheet.width >= 2 * 256
    assert steady.width >= 576
    assert np.asarray(sheet).std() > 10


def test_a_picture_goes_to_standard_output_alone(truth: np.ndarray[Any, Any], tmp_path: Path) -> None:
    data = run(*GOOD, "--out", str(tmp_path), "--still", "-", "--scale", "1")
    with Image.open(io.BytesIO(data)) as image:
        assert (np.asarray(image) == truth).all()


def test_two_pictures_on_standard_output_are_refused(tmp_path: Path) -> None:
    said = run(*GOOD, "--out", str(tmp_path), "--still", "-", "--apng", "-", code=2).decode()
    assert "only one picture" in said


def test_without_a_complete_field_there_is_no_still_and_it_is_said(tmp_path: Path) -> None:
    said = run(
        *GOOD, "--out", str(tmp_path), "--to", "18ms", "--still", str(tmp_path / "s.png"), code=3
    ).decode()
    assert "no complete field" in said or "no frame" in said
    assert not (tmp_path / "s.png").exists()


@pytest.fixture(scope="module")
def interlaced(tmp_path_factory: pytest.TempPathFactory) -> Simulated:
    return simulate("sd625-interlaced", tmp_path_factory.mktemp("interlaced"))


@pytest.mark.parametrize(("choice", "fields"), [("woven", {"woven"}), ("apart", {"first", "second"})])
def test_interlaced_fields_are_woven_or_kept_apart(
    choice: str, fields: set[str], interlaced: Simulated, tmp_path: Path
) -> None:
    arguments = [str(interlaced.vcd), "--out", str(tmp_path), "--scale", "1", "--interlace", choice]
    run(*arguments, "--json", str(tmp_path / "f.json"))
    told = json.loads((tmp_path / "f.json").read_text())["frames"]
    written = [f for f in told if f["png"]]
    assert {f["field"] for f in written} == fields
    for frame in written:
        image = opened(Path(frame["png"]))
        across, down = image.info["aspect"]
        # 6.75 MHz: 2.19 wide for 1 high on the lines of a frame, half of that on those of a field.
        assert down / across == pytest.approx(2.188 if choice == "woven" else 1.094, rel=1e-3)


def test_the_still_of_an_interlaced_source_is_its_frame(interlaced: Simulated, tmp_path: Path) -> None:
    """The bench's rows are those of the whole frame: even lines in the field of parity 0."""
    data = run(str(interlaced.vcd), "--out", str(tmp_path), "--still", "-", "--scale", "1")
    rows = {t.parity: t.codes for t in interlaced.fields}
    frame = np.stack([rows[0], rows[1]], axis=1).reshape(-1, rows[0].shape[1])
    with Image.open(io.BytesIO(data)) as image:
        shown = np.asarray(image)
    assert shown.shape == frame.shape
    # Without a board file the bits come in no order: compare which pixels are equal to each other.
    pairs = np.unique(np.stack([shown.ravel(), frame.ravel()]), axis=1)
    assert pairs.shape[1] == np.unique(frame).size == np.unique(shown).size
