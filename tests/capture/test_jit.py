"""Compiled kernels must work wherever the package is installed and whoever runs it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import rastertap

SCRIPT = """
import sys
from rastertap.jit import kernel
from rastertap.capture import kernels
import numpy as np
slots = np.full(4, -1, np.int32)
kernels.fill_slots(np.array([0, 3], np.int64), np.frombuffer(bytearray(b"abc"), np.uint8), slots)
print(slots.max(), getattr(kernels.fill_slots._cache, "cache_path", "none"))
"""


def run(package: Path, **environment: str) -> tuple[str, str]:
    """Run the script with a copy of the package; the result and where the code was kept."""
    variables = {
        "PATH": os.environ["PATH"],
        "PYTHONPATH": str(package),
        "PYTHONDONTWRITEBYTECODE": "1",
        **environment,
    }
    drop = [sys.executable, "-W", "error", "-c", SCRIPT]
    done = subprocess.run(drop, env=variables, capture_output=True, text=True, check=False, cwd=package)
    assert done.returncode == 0, done.stderr
    result, place = done.stdout.split()
    return result, place


@pytest.fixture
def package(tmp_path: Path) -> Path:
    """A copy of the package in which ``__pycache__`` cannot be made, even by root: a file is in its place."""
    copy = tmp_path / "installed"
    shutil.copytree(
        Path(rastertap.__file__).parent, copy / "rastertap", ignore=shutil.ignore_patterns("__pycache__")
    )
    for folder in (copy / "rastertap", copy / "rastertap" / "capture"):
        (folder / "__pycache__").write_text("in the way")
    return copy


def test_a_writable_cache_folder_is_used(package: Path, tmp_path: Path) -> None:
    result, place = run(package, NUMBA_CACHE_DIR=str(tmp_path / "cache"))
    assert result == "0"
    assert place.startswith(str(tmp_path / "cache"))


def test_without_any_usual_place_the_code_goes_to_a_private_temporary_folder(
    package: Path, tmp_path: Path
) -> None:
    blocked = tmp_path / "blocked"
    blocked.write_text("a file, so no folder can be made in it")
    (tmp_path / "tmp").mkdir()
    usual = {"HOME": str(blocked), "XDG_CACHE_HOME": str(blocked), "NUMBA_CACHE_DIR": str(blocked)}
    result, place = run(package, TMPDIR=str(tmp_path / "tmp"), **usual)
    assert result == "0"
    folder = Path(place).parent
    assert folder.parent == tmp_path / "tmp"
    assert folder.stat().st_mode & 0o077 == 0
    assert list(folder.rglob("*.nbi"))


def test_a_temporary_folder_of_someone_else_is_not_trusted(package: Path, tmp_path: Path) -> None:
    """Cache files are pickles: a folder that others can write must not be read."""
    blocked = tmp_path / "blocked"
    blocked.write_text("")
    open_to_all = tmp_path / "tmp" / f"rastertap-kernels-{os.getuid()}"
    open_to_all.mkdir(parents=True)
    open_to_all.chmod(0o777)
    usual = {"HOME": str(blocked), "XDG_CACHE_HOME": str(blocked), "TMPDIR": str(tmp_path / "tmp")}
    result, place = run(package, **usual)
    assert (result, place) == ("0", "None")
    assert not list(open_to_all.iterdir())


def test_a_damaged_cache_file_is_compiled_anew(package: Path, tmp_path: Path) -> None:
    cache = {"NUMBA_CACHE_DIR": str(tmp_path / "cache")}
    run(package, **cache)
    files = [*(tmp_path / "cache").rglob("*.nbc"), *(tmp_path / "cache").rglob("*.nbi")]
    assert len(files) >= 2
    for file in files:
        file.write_bytes(file.read_bytes()[: file.stat().st_size // 2])
    assert run(package, **cache)[0] == "0"


def test_a_cache_that_cannot_be_written_any_more_is_no_error(package: Path, tmp_path: Path) -> None:
    cache = tmp_path / "cache"
    script_place = run(package, NUMBA_CACHE_DIR=str(cache))[1]
    shutil.rmtree(script_place)
    Path(script_place).write_text("in the way")
    blocked = {"HOME": str(cache / "no"), "XDG_CACHE_HOME": str(Path(script_place) / "no")}
    assert run(package, NUMBA_CACHE_DIR=str(cache), TMPDIR=str(tmp_path), **blocked)[0] == "0"
