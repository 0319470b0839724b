"""Installs the plug-in packages beside this file as a user would, and runs the command with them."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

HERE = Path(__file__).parent


@pytest.fixture(scope="session")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Install one of the packages once, into a folder of its own; give that folder."""
    done: dict[str, Path] = {}

    def install(package: str) -> Path:
        if package not in done:
            work = tmp_path_factory.mktemp(package)
            source = shutil.copytree(HERE / package, work / "source")
            target = work / "site"
            pip = [sys.executable, "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
            alone = ["--no-index", "--no-deps", "--no-build-isolation", "--target", str(target)]
            subprocess.run([*pip, *alone, str(source)], check=True, timeout=120)
            done[package] = target
        return done[package]

    return install


@pytest.fixture
def rastertap(
    installed: Callable[[str], Path], tmp_path: Path
) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Run the command in a process that sees some of the packages."""

    def run(*arguments: str, packages: tuple[str, ...]) -> subprocess.CompletedProcess[str]:
        seen = {**os.environ, "PYTHONPATH": os.pathsep.join(str(installed(p)) for p in packages)}
        command = [sys.executable, "-m", "rastertap", *arguments]
        return subprocess.run(
            command, env=seen, cwd=tmp_path, capture_output=True, text=True, timeout=120, check=False
        )

    return run


@pytest.fixture(scope="session")
def sounding(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A short capture with a 440 Hz square wave on D8 and nothing on D9."""
    path = tmp_path_factory.mktemp("sounding") / "sounding.vcd"
    make = [sys.executable, "-m", "rastertap", "bench", "make", str(path), "--seed", "8"]
    wires = ["--wire", "D8=tone", "--wire", "D9=low"]
    subprocess.run([*make, *wires], check=True, capture_output=True, timeout=120)
    return path
