from __future__ import annotations

import pytest
from click.testing import CliRunner

from rastertap.cli.main import main
from rastertap.errors import UsageError
from rastertap.standards.limits import LIMIT_SETS
from rastertap.standards.modes import MODES


def run(*arguments: str) -> str:
    result = CliRunner().invoke(main, ["standards", *arguments], catch_exceptions=False)
    assert result.exit_code == 0
    return result.output


def test_without_options_every_mode_and_limit_set_is_listed() -> None:
    first_words = {line.split()[0] for line in run().splitlines() if line}
    assert first_words >= MODES.keys() | LIMIT_SETS.keys()


@pytest.mark.parametrize("name", LIMIT_SETS)
def test_a_limit_set_is_shown_with_every_source_and_trust_in_80_columns(name: str) -> None:
    text = run("--limits", name)
    assert max(len(line) for line in text.splitlines()) <= 80
    joined = " ".join(text.split())
    for limit in LIMIT_SETS[name].limits():
        assert limit.title in joined
        assert f"{limit.source} [{limit.trust}]" in joined


@pytest.mark.parametrize("key", MODES)
def test_a_mode_is_shown_with_its_source_in_80_columns(key: str) -> None:
    text = run("--mode", key)
    assert max(len(line) for line in text.splitlines()) <= 80
    assert f"{MODES[key].source} [{MODES[key].trust}]" in " ".join(text.split())


def test_the_exact_525_line_rate_is_printed_as_a_fraction() -> None:
    assert "2250000/143 = 15734.2657 Hz" in run("--mode", "525/60")


def test_limits_follow_the_mode() -> None:
    assert "256 .. 272 lines" in run("--limits", "home-computer", "--mode", "262/60")
    assert "304 .. 320 lines" in run("--limits", "home-computer")


def test_a_set_shown_for_a_mode_it_is_not_meant_for_says_so() -> None:
    assert "312/50 cannot meet it" in run("--limits", "625-broadcast", "--mode", "312/50")


@pytest.mark.parametrize(("option", "name"), [("--mode", "313/60"), ("--limits", "home")])
def test_an_unknown_name_is_a_usage_error_that_lists_the_known_ones(option: str, name: str) -> None:
    with pytest.raises(UsageError, match=name) as caught:
        CliRunner().invoke(main, ["standards", option, name], catch_exceptions=False)
    assert "there are: " in caught.value.hint


def test_the_help_shows_an_example() -> None:
    assert "rastertap standards --mode 312/50" in run("--help")
