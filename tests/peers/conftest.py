"""Sources that rastertap had no hand in, simulated once a run however many tests ask for them."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

import pytest

from .native_vcd import Native, parse_vcd
from .pyvcd_source import write_with_pyvcd
from .simulate import Simulated, simulate

if TYPE_CHECKING:
    from collections.abc import Callable


@pytest.fixture(scope="session")
def simulated(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Simulated]:
    """``simulated(name, fields=.., **options)``: a source of `simulate.SOURCES`, or ``"pyvcd"``.

    A missing simulator is an error that gives the apt-get line, never a skip.
    """
    made: dict[str, Simulated] = {}

    def make(name: str, *, fields: int | None = None, **params: Any) -> Simulated:
        key = repr((name, fields, sorted(params.items())))
        if key not in made:
            folder = tmp_path_factory.mktemp(name)
            if name == "pyvcd":
                made[key] = write_with_pyvcd(folder / "source.vcd", fields=fields or 2, **params)
            else:
                made[key] = simulate(name, folder, fields=fields, **params)
        return made[key]

    return make


@pytest.fixture(scope="session")
def parsed() -> Callable[[Simulated], Native]:
    """``parsed(source)``: its VCD through the helpers' own parser; the latest few are kept in memory."""
    parse = lru_cache(maxsize=8)(parse_vcd)
    return lambda source: parse(source.vcd)
