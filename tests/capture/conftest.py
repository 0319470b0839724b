"""Reading VCD text in a test: small blocks, so that every test also crosses block edges."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeAlias

import pytest

from rastertap.capture.interface import Window
from rastertap.capture.model import Capture, join
from rastertap.capture.source import Source
from rastertap.capture.vcd import VcdReader
from rastertap.progress import Silent

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

Read: TypeAlias = "Callable[..., Capture]"
"""Writes text to a file and reads it."""

Read: TypeAlias = "Callable[..., Capture]"
"""Writes text to a file and reads it."""

HEADER = b'$timescale 1 ns $end $var wire 1 ! a $end $var wire 1 " b $end $enddefinitions $end\n'


def read_file(path: Path, *, window: Window | None = None, **options: Any) -> Capture:
    with Source(path) as source:
        return join(VcdReader(**options).blocks(source, window=window or Window(), progress=Silent()))


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Write text to a file and read it; ``body=True`` puts two declared wires, a (!) and b ("), before it."""

    def run(text: bytes, *, body: bool = False, window: Window | None = None, **options: Any) -> Capture:
        path = tmp_path / "test.vcd"
        path.write_bytes(HEADER + text if body else text)
        return read_file(path, window=window, **options)

    return run


def changes(capture: Capture, name: str) -> tuple[int, list[tuple[int, int]]]:
    """A channel's initial level and its (time, level) changes."""
    channel = capture.channel(name)
    return channel.initial, list(zip(channel.ticks.tolist(), channel.levels.tolist(), strict=True))
