"""Ctrl-C while results are written: exit code 130, and every file is whole or not there."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from typing import TYPE_CHECKING

import numpy as np
import pytest
from PIL import Image

if TYPE_CHECKING:
    from pathlib import Path

HALFWAY = """
import sys, time
from pathlib import Path

ending = sys.argv.pop(1)
whole = Path.write_bytes

def in_two_steps(path, data):
    if ending in path.name:
        whole(path, data[: len(data) // 2])
        print("halfway", flush=True)
        time.sleep(60)
    return whole(path, data)

Path.write_bytes = in_two_steps
from rastertap.cli.main import run
run()
"""


@pytest.mark.parametrize("ending", ["000.png", "001.npy", "result.json"])
def test_an_interrupt_leaves_no_half_written_file(good: str, tmp_path: Path, ending: str) -> None:
    """The interrupt comes when half of one file is on the disk."""
    out = tmp_path / "out"
    arguments = ["check", good, "--frames", str(out), "--json", str(out / "result.json")]
    command = [sys.executable, "-c", HALFWAY, ending, *arguments]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdout=pipe, stderr=pipe, text=True) as running:
        assert running.stdout is not None
        assert running.stdout.readline() == "halfway\n"
        running.send_signal(signal.SIGINT)
        rest, err = running.communicate(timeout=60)
    assert (running.returncode, rest, err.strip()) == (130, "", "interrupted")
    left = sorted(out.iterdir())
    assert not any(ending in path.name for path in left)
    for path in left:
        if path.suffix == ".png":
            with Image.open(path) as picture:
                picture.load()
        elif path.suffix == ".npy":
            assert np.load(path).size > 0
        else:
            json.loads(path.read_text())
