"""`rastertap doctor` on this installation, and on ones that lack something."""

from __future__ import annotations

from importlib import metadata
from typing import TYPE_CHECKING

from click.testing import CliRunner

from rastertap import doctor, plugins
from rastertap.cli.main import main

if TYPE_CHECKING:
    import pytest


def wanted(monkeypatch: pytest.MonkeyPatch, *requirements: str) -> dict[str, doctor.Item]:
    monkeypatch.setattr(metadata, "requires", lambda _: list(requirements))
    return {item.what: item for item in doctor.examine()}


def test_all_that_is_needed_is_here() -> None:
    items = list(doctor.examine())
    assert {"Python", "rastertap", "numpy", "numba", "compiled code", "readers", "checks"} <= {
        i.what for i in items
    }
    assert [i for i in items if i.state == "broken"] == []
    assert next(i.found for i in items if i.what == "numpy").startswith(metadata.version("numpy"))


def test_what_is_missing_or_too_old_comes_with_the_command_that_mends_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    items = wanted(
        monkeypatch,
        "no-such-thing>=3.1",
        "no-such-extra>=1; extra == 'cluster'",
        "no-such-test; extra == 'test'",
        "click>=999",
    )
    assert (items["no-such-thing"].state, items["no-such-thing"].mend) == (
        "broken",
        "pip install 'no-such-thing>=3.1'",
    )
    assert (items["no-such-extra"].state, items["no-such-extra"].mend) == (
        "missing",
        "pip install 'rastertap[cluster]'",
    )
    assert (items["click"].state, items["click"].mend) == ("broken", "pip install -U 'click>=999'")
    assert "no-such-test" not in items
    assert CliRunner().invoke(main, ["doctor"], standalone_mode=False).return_value == 1


def test_a_broken_plug_in_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    broken = plugins.Plugin(
        "rastertap.checks", "humming", "hum", "1", error="it hums; try: pip install -U hum"
    )
    monkeypatch.setattr(plugins, "load_all", lambda group: (broken,) if group == broken.group else ())
    items = {item.what: item for item in doctor.examine()}
    item = items["check humming"]
    assert (item.found, item.state, item.mend) == ("it hums", "broken", "pip install -U hum")


def test_completion_is_written_for_each_shell() -> None:
    for shell in ("bash", "zsh", "fish"):
        text = CliRunner().invoke(main, ["completion", shell]).output
        assert "_RASTERTAP_COMPLETE" in text
