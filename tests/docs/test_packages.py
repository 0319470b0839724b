"""Wheel and sdist hold what they need, and no more."""

from __future__ import annotations

import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
NEEDED = (
    "rastertap/docs/findings.toml",
    "rastertap/docs/bench-guide.md",
    "rastertap/docs/rastertap.1",
    "rastertap/docs/commands/check.md",
    "rastertap/batch/rollup.html.j2",
    "rastertap/py.typed",
)


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build both from the checkout."""
    folder = tmp_path_factory.mktemp("built")
    command = [sys.executable, "-m", "hatchling", "build", "-d", str(folder)]
    subprocess.run(command, check=True, timeout=120, cwd=ROOT, capture_output=True)
    return folder


def test_the_wheel_holds_code_pages_and_man_page_only(built: Path) -> None:
    (wheel,) = built.glob("*.whl")
    with zipfile.ZipFile(wheel) as held:
        names = [n for n in held.namelist() if ".dist-info/" not in n]
    assert set(NEEDED) <= set(names)
    manual = [n for n in names if n.endswith(".data/data/share/man/man1/rastertap.1")]
    assert len(manual) == 1
    assert [n for n in names if not n.startswith("rastertap/") and n not in manual] == []
    kinds = {Path(n).suffix for n in names}
    assert kinds <= {".py", ".typed", ".toml", ".md", ".1", ".j2", ".css", ".js", ".json"}
    assert wheel.stat().st_size < 2_000_000


def test_the_sdist_holds_what_the_tests_need_and_no_leftovers(built: Path) -> None:
    (sdist,) = built.glob("*.tar.gz")
    with tarfile.open(sdist) as held:
        names = {n.partition("/")[2] for n in held.getnames()}
    assert {
        "README.md",
        "DEVELOPERS.md",
        "CHANGELOG.md",
        "LICENSE",
        "pyproject.toml",
        "captures/SHA256SUMS",
    } <= names
    assert "tests/docs/test_packages.py" in names
    assert [n for n in names if "__pycache__" in n or n.endswith((".pyc", ".log"))] == []
    tops = {n.partition("/")[0] for n in names}
    kept = {"decoders", "tests", "captures", "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE"}
    assert tops <= kept | {"pyproject.toml", "PKG-INFO", ".gitignore"}
