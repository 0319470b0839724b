"""Whether this installation is whole: versions, caches, plug-ins, and the command that mends what is not."""

from __future__ import annotations

import platform
import re
import sys
from dataclasses import dataclass
from importlib import metadata
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterator

State = Literal["ok", "missing", "broken"]
NAME = "rastertap"
_REQUIREMENT = re.compile(
    r"([A-Za-z0-9._-]+)\s*(?:>=\s*([0-9.]+))?[^;]*(?:;.*extra\s*==\s*['\"]([\w-]+)['\"])?"
)
OPTIONAL = {
    "zstd": "captures compressed with zstd",
    "parquet": "tables as Parquet",
    "cluster": "batches on a cluster",
}
"""Extras for users, and what they are for; the others are for developers."""


@dataclass(frozen=True)
class Item:
    """One thing looked at.

    Parameters
    ----------
    what, found : str
        Its name; version, place or reason.
    state : State
        ``missing`` is something that is not needed by all.
    mend : str
        Command that mends it; empty when nothing is to mend.
    """

    what: str
    found: str
    state: State = "ok"
    mend: str = ""


def examine() -> Iterator[Item]:
    """Look at everything."""
    yield Item("Python", f"{platform.python_version()} at {sys.executable}")
    yield Item(NAME, metadata.version(NAME))
    yield from _libraries()
    yield from _cache()
    yield from _plugins()


def _libraries() -> Iterator[Item]:
    for requirement in metadata.requires(NAME) or ():
        found = _REQUIREMENT.match(requirement)
        if found is None:
            continue
        name, least, extra = found.groups()
        if extra is None or extra in OPTIONAL:
            yield _library(name, least or "", extra)


def _library(name: str, least: str, extra: str | None) -> Item:
    purpose = f" ({OPTIONAL[extra]})" if extra else ""
    try:
        version = metadata.version(name)
    except metadata.PackageNotFoundError:
        mend = f"pip install '{NAME}[{extra}]'" if extra else f"pip install '{name}>={least}'"
        return Item(name, f"not installed{purpose}", "missing" if extra else "broken", mend)
    if least and _numbers(version) < _numbers(least):
        return Item(name, f"{version}, needs {least}{purpose}", "broken", f"pip install -U '{name}>={least}'")
    return Item(name, f"{version}{purpose}")


def _numbers(version: str) -> tuple[int, ...]:
    """Turn ``1.26.4rc1`` into numbers to compare; what follows the numbers does not count."""
    found = re.match(r"\d+(\.\d+)*", version)
    return tuple(map(int, found.group().split("."))) if found else ()


def _cache() -> Iterator[Item]:
    """Find where compiled kernels are kept."""
    from rastertap.capture import kernels
    from rastertap.jit import kernel, private_folder

    made = next((k for k in vars(kernels).values() if hasattr(k, "_cache")), kernel)
    place = getattr(getattr(made, "_cache", None), "cache_path", None)
    if place:
        yield Item("compiled code", f"kept in {place}")
    else:
        where = private_folder() or "a temporary folder"
        mend = f"make {where} writable, or set NUMBA_CACHE_DIR to a folder that is"
        yield Item("compiled code", "cannot be kept: each run compiles for some seconds", "broken", mend)


def _plugins() -> Iterator[Item]:
    from rastertap.errors import PluginError
    from rastertap.plugins import GROUPS, load_all

    for group in GROUPS:
        kind = group.partition(".")[2]
        try:
            found = load_all(group)
        except PluginError as error:
            yield Item(kind, error.message, "broken", error.hint)
            continue
        yield Item(kind, f"{sum(not p.error for p in found)} usable")
        for plugin in found:
            if plugin.error:
                reason, _, mend = plugin.error.partition("; try: ")
                yield Item(f"{kind[:-1]} {plugin.name}", reason, "broken", mend)
