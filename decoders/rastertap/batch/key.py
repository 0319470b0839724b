"""What decides a result besides the capture: one hash of it, by which a row is known to be still good."""

from __future__ import annotations

import hashlib
import json
import platform
from importlib.metadata import entry_points, version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rastertap.plugins import GROUPS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rastertap.analyse import Request
    from rastertap.capture.interface import Window


def versions() -> dict[str, str]:
    """Give the distributions that bring readers, decoders and checks, rastertap itself among them."""
    found = {"rastertap": version("rastertap")}
    for group in GROUPS:
        found |= {p.dist.name: p.dist.version for p in entry_points(group=group) if p.dist}
    return dict(sorted(found.items()))


def differing(here: Mapping[str, str], there: Mapping[str, str]) -> str:
    """Say which distributions differ; empty when none does."""
    names = sorted(n for n in here.keys() | there.keys() if here.get(n) != there.get(n))
    return ", ".join(f"{n} {there.get(n, 'missing')} instead of {here.get(n, 'none')}" for n in names)


def settings_key(
    request: Request,
    *,
    board_path: str | None,
    serial: str,
    reader: str | None,
    options: Mapping[str, Any],
    window: Window | None,
    text_limit: int | None,
) -> str:
    """Hash versions, board file (with what it names) and options."""
    said = {
        "versions": versions(),
        "python": platform.python_version_tuple()[:2],
        "board": board_hash(request, board_path),
        "limits": request.limits,
        "timebase_ppm": request.timebase_ppm,
        "settings": request.settings,
        "serial": serial,
        "reader": reader,
        "options": dict(options),
        "window": None if window is None else [window.start_s, window.end_s],
        "text_limit": text_limit,
    }
    return hashlib.sha256(json.dumps(said, sort_keys=True, default=str).encode()).hexdigest()[:32]


def board_hash(request: Request, board_path: str | None) -> str:
    """Hash the board file, its palette (part of the board by now) and its reference picture."""
    if request.board is None or board_path is None:
        return ""
    digest = hashlib.sha256(Path(board_path).read_bytes())
    # Where the reference lies does not matter: what is in it is hashed below.
    digest.update(request.board.model_dump_json(exclude={"picture": {"reference"}}).encode())
    picture = request.board.picture
    if picture is not None and picture.reference is not None:
        with Path(picture.reference).open("rb") as file:
            digest.update(hashlib.file_digest(file, "sha256").digest())
    return digest.hexdigest()
