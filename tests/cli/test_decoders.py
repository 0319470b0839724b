"""`rastertap decoders`: what is installed (what is broken: see tests/third_party)."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from rastertap.plugins import GROUPS, load_all

if TYPE_CHECKING:
    from collections.abc import Callable

    from rastertap.plugins import Group

PROJECT = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())["project"]


@pytest.mark.parametrize("group", GROUPS)
def test_every_plugin_of_the_project_is_there_and_works(group: Group) -> None:
    found = {p.name: p for p in load_all(group)}
    assert PROJECT["entry-points"][group].keys() <= found.keys()
    assert {name: p.error for name, p in found.items() if p.error} == {}


@pytest.mark.parametrize("group", GROUPS)
def test_a_plugin_is_registered_under_its_own_name(group: Group) -> None:
    for plugin in load_all(group):
        assert plugin.factory.name == plugin.name


def test_each_is_listed_with_what_it_does_and_where_it_comes_from(rastertap: Callable[..., Any]) -> None:
    result = rastertap("decoders")
    assert (result.code, result.err) == (0, "")
    words = " ".join(result.out.split())
    for group in GROUPS:
        assert group.removeprefix("rastertap.").upper() in result.out
        for plugin in load_all(group):
            says = f"{plugin.name} {plugin.factory.describes}"
            assert f"{says} [{plugin.distribution} {plugin.version}]" in words
