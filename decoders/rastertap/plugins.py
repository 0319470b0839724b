"""The host's plug-in list: what is installed for each seam, working or broken."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.metadata import EntryPoint, entry_points
from typing import Any, Literal

from rastertap.errors import PluginError

Group = Literal["rastertap.readers", "rastertap.decoders", "rastertap.checks"]
GROUPS: tuple[Group, ...] = ("rastertap.readers", "rastertap.decoders", "rastertap.checks")


@dataclass(frozen=True)
class Plugin:
    """One registered plug-in; ``error`` says why it cannot be used, ``factory`` makes it when it can."""

    group: Group
    name: str
    distribution: str
    version: str
    factory: Any = None
    error: str = ""


def _describe(point: EntryPoint) -> tuple[str, str]:
    return (point.dist.name, point.dist.version) if point.dist else ("unknown", "?")


def _load(group: Group, point: EntryPoint, contract: int) -> Plugin:
    distribution, version = _describe(point)
    try:
        factory = point.load()
    except Exception as error:  # noqa: BLE001 - whatever a third party's import raises must not stop the program
        mend = f"pip install --force-reinstall {distribution}"
        return Plugin(
            group, point.name, distribution, version, error=f"{type(error).__name__}: {error}; try: {mend}"
        )
    stated = getattr(factory, "contract", None)
    if stated != contract:
        mend = f"pip install -U {distribution}"
        reason = f"written for contract {stated}, this rastertap has {contract}; try: {mend}"
        return Plugin(group, point.name, distribution, version, error=reason)
    return Plugin(group, point.name, distribution, version, factory=factory)


@cache
def _points(group: Group) -> dict[str, EntryPoint]:
    found: dict[str, EntryPoint] = {}
    for point in entry_points(group=group):
        other = found.setdefault(point.name, point)
        first, second = _describe(other)[0], _describe(point)[0]
        if other.value != point.value or first != second:
            raise PluginError(
                f"two packages register {group} '{point.name}': {first} and {second}",
                hint="uninstall one of them",
            )
    return found


def names(group: Group) -> tuple[str, ...]:
    """Names registered for a seam, sorted."""
    return tuple(sorted(_points(group)))


@cache
def load(group: Group, name: str) -> Plugin:
    """Import one plug-in by name.

    Raises
    ------
    PluginError
        When no such name is registered, or two packages register it.
    """
    from rastertap.capture.interface import CONTRACT as READERS
    from rastertap.checks.interface import CONTRACT as CHECKS
    from rastertap.streams.interface import CONTRACT as DECODERS

    contracts = {"rastertap.readers": READERS, "rastertap.decoders": DECODERS, "rastertap.checks": CHECKS}
    point = _points(group).get(name)
    if point is None:
        kind = group.rpartition(".")[2]
        raise PluginError(f"no such {kind[:-1]}: '{name}'", hint=f"there are: {', '.join(names(group))}")
    return _load(group, point, contracts[group])


def load_all(group: Group) -> tuple[Plugin, ...]:
    """Import every plug-in of a seam, the broken ones listed with their error."""
    return tuple(load(group, name) for name in names(group))
