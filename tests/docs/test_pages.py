"""Every command and option is documented, and what the pages show is what the commands write."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import click
import pytest

from rastertap.cli.main import COMMANDS
from rastertap.docs import make

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
PAGES = make.HERE / "commands"
MEND = "run `python -m rastertap.docs.make` in the checkout, and look at what it changed"


@pytest.fixture
def beside_captures(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stand in an empty folder that has the captures, as the pages do."""
    (tmp_path / "captures").symlink_to(ROOT / "captures")
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_has_a_row_in_the_readme(name: str) -> None:
    assert re.search(rf"^\| `rastertap {name}\b", README, re.MULTILINE), f"no row for {name}"


def test_the_readme_names_no_command_that_is_not_there() -> None:
    assert set(re.findall(r"^\| `rastertap ([a-z]+)", README, re.MULTILINE)) <= COMMANDS.keys()


@pytest.mark.parametrize(("name", "command"), [(name, command) for name, command, _ in make.commands()])
def test_each_command_has_help_and_so_has_each_of_its_options(name: str, command: click.Command) -> None:
    page = (PAGES / f"{name.partition(' ')[0]}.md").read_text(encoding="utf-8")
    assert command.help
    for option in command.params:
        if isinstance(option, click.Option):
            assert option.help, f"rastertap {name} {option.opts}"
            assert all(word in page for word in option.opts), f"{option.opts}: {MEND}"


@pytest.mark.parametrize("name", COMMANDS)
def test_the_help_on_each_page_is_current(name: str) -> None:
    page = (PAGES / f"{name}.md").read_text(encoding="utf-8")
    assert page.startswith(make.command_pages()[f"{name}.md"]), MEND


@pytest.mark.usefixtures("beside_captures")
@pytest.mark.parametrize("name", make.SHOWN)
def test_the_output_on_each_page_is_current(name: str) -> None:
    page = (PAGES / f"{name}.md").read_text(encoding="utf-8")
    assert "$ rastertap" in page
    assert make.with_outputs(page) == page, MEND


@pytest.mark.usefixtures("beside_captures")
def test_the_outputs_in_the_bench_guide_are_current() -> None:
    guide = (make.HERE / make.GUIDE).read_text(encoding="utf-8")
    assert guide.count("$ rastertap") >= 5
    assert make.with_outputs(guide) == guide, MEND


@pytest.mark.usefixtures("beside_captures")
def test_the_verdict_in_the_readme_is_current() -> None:
    found = re.search(r"`rastertap (check [^`]*)` begins:\n\n```\n(.*?)```", README, re.DOTALL)
    assert found is not None
    assert found.group(2) in make.run(found.group(1))


def test_the_man_page_is_current() -> None:
    assert (make.HERE / "rastertap.1").read_text(encoding="utf-8") == make.man_page(), MEND


@pytest.mark.skipif(shutil.which("man") is None, reason="there is no man here to read it with")
def test_man_reads_the_man_page_without_a_warning() -> None:
    command = ["man", "--warnings", "-l", str(make.HERE / "rastertap.1")]
    read = subprocess.run(command, capture_output=True, check=True, text=True, timeout=30)
    assert read.stderr == ""
    assert "COMMANDS" in read.stdout


def test_the_changelog_has_this_version() -> None:
    from rastertap import __version__

    assert f"## {__version__}" in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
