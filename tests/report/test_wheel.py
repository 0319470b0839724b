"""What is installed holds the page's template, style and script, and the schema."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
PARTS = ("page/page.html.j2", "page/page.css", "page/page.js", "page/history.html.j2", "schema/check-1.json")


def test_the_wheel_holds_every_file_that_the_page_is_made_of(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "pip", "wheel", "--no-deps", "--no-build-isolation", "-q"]
    subprocess.run([*command, "--wheel-dir", str(tmp_path), str(ROOT)], check=True, timeout=120)
    (wheel,) = tmp_path.glob("rastertap-*.whl")
    with zipfile.ZipFile(wheel) as held:
        names = set(held.namelist())
    assert {f"rastertap/report/{part}" for part in PARTS} <= names
