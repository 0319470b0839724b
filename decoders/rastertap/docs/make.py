"""Makes the pages of the commands and the man page from the help, and runs what the pages show.

``python -m rastertap.docs.make`` in a checkout writes them anew; a test fails when they are not current.
"""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rastertap import __version__
from rastertap.cli.main import COMMANDS, main

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

HERE = Path(__file__).parent
GUIDE = "bench-guide.md"
GOOD = "captures/marlow85-50.vcd.gz --board captures/marlow85-50.toml"
DROPS = "captures/marlow85-50-clock-drops.vcd.gz --board captures/marlow85-50.toml"
SHOWN: dict[str, str] = {
    "check": f"check {DROPS}",
    "frames": f"frames {GOOD} --out frames",
    "clock": f"clock {DROPS}",
    "timing": "timing captures/marlow85-50-lost-lines.vcd.gz --board captures/marlow85-50.toml",
    "pins": "pins captures/marlow85-50-shifted.vcd.gz --board captures/marlow85-50.toml",
    "plan": "plan --board captures/marlow85-50.toml",
    "compare": "compare captures/marlow85-50.vcd.gz captures/marlow85-50-lost-lines.vcd.gz",
    "board": "board show captures/marlow85-50.toml",
    "handover": f"handover {GOOD}",
    "thresholds": "thresholds --colours rgbi --each 2",
    "standards": "standards",
    "explain": "explain clock.missing_cycles",
    "batch": f"batch {GOOD} --out results --jobs 1",
}
"""By command: what its page shows with its output. The others depend on the machine, or write no text."""
BLOCK = re.compile(r"```console\n\$ rastertap ([^\n]*)\n(.*?)```", re.DOTALL)


def run(arguments: str) -> str:
    """Run a command line in this process; give what it writes to standard output."""
    from click.testing import CliRunner

    return str(CliRunner(env={"COLUMNS": "100", "NO_COLOR": "1"}).invoke(main, shlex.split(arguments)).stdout)


def console(arguments: str, output: Callable[[str], str] = run) -> str:
    """Give a command line and its output as a block."""
    return f"```console\n$ rastertap {arguments}\n{output(arguments)}```"


def commands() -> Iterator[tuple[str, click.Command, click.Context]]:
    """Give every command and sub-command with its whole name."""
    wide: dict[str, int] = {"terminal_width": 100, "max_content_width": 100}
    top = click.Context(main, info_name="rastertap", **wide, **main.context_settings)  # type: ignore[arg-type]
    for name in COMMANDS:
        command = main.get_command(top, name)
        if command is None:
            continue
        context = click.Context(
            command, info_name=name, parent=top, terminal_width=100, max_content_width=100
        )
        yield name, command, context
        for part, inner in getattr(command, "commands", {}).items():
            inside = click.Context(
                inner, info_name=part, parent=context, terminal_width=100, max_content_width=100
            )
            yield f"{name} {part}", inner, inside


def command_pages() -> dict[str, str]:
    """Give the page of each command but its output, by file name; a group's parts share its page."""
    found: dict[str, str] = {}
    for name, command, context in commands():
        page = f"{name.partition(' ')[0]}.md"
        title = f"# rastertap {name}\n\n" if page not in found else f"\n## rastertap {name}\n\n"
        found[page] = found.get(page, "") + f"{title}```text\n{command.get_help(context)}\n```\n"
    return found


def page_with_output(name: str, output: Callable[[str], str] = run) -> str:
    """Give a command's whole page."""
    text = command_pages()[f"{name}.md"]
    if name in SHOWN:
        text += f"\nOn a capture that is shipped:\n\n{console(SHOWN[name], output)}\n"
    return text


def with_outputs(text: str, output: Callable[[str], str] = run) -> str:
    """Run each command line that a page shows, and put its output there."""
    return BLOCK.sub(lambda found: console(found.group(1), output), text)


def _roff(text: str) -> str:
    """Escape a line of text for roff."""
    line = text.replace("\\", "\\e").replace("-", "\\-")
    return f"\\&{line}" if line.startswith((".", "'")) else line


def man_page() -> str:
    """Give the man page, of all commands."""
    lines = [f'.TH RASTERTAP 1 "" "rastertap {__version__}" "User Commands"', ".SH NAME"]
    lines += [
        _roff("rastertap - read a logic-analyser capture of a video chip's pins and say where a fault lies")
    ]
    lines += [".SH SYNOPSIS", ".B rastertap", "COMMAND [OPTIONS]", ".SH COMMANDS"]
    for name, command, context in commands():
        lines += [f".SS {_roff(f'rastertap {name}')}", ".nf"]
        lines += [_roff(line) for line in command.get_help(context).splitlines()]
        lines += [".fi"]
    lines += [".SH EXIT STATUS"]
    codes = {
        "0": "all in limits",
        "1": "something out of limits",
        "2": "wrong usage or board file",
        "3": "capture unreadable",
        "70": "a bug in rastertap",
        "130": "interrupted",
    }
    for code, meaning in codes.items():
        lines += [".TP", code, meaning]
    return "\n".join(lines) + "\n"


def write() -> None:
    """Write all pages anew; run where ``captures`` is."""
    (HERE / "commands").mkdir(exist_ok=True)
    (HERE / "rastertap.1").write_text(man_page(), encoding="utf-8")
    for page in command_pages():
        text = page_with_output(page.removesuffix(".md"))
        (HERE / "commands" / page).write_text(text, encoding="utf-8")
    guide = HERE / GUIDE
    guide.write_text(with_outputs(guide.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    import os
    import tempfile

    root = Path.cwd()
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        Path("captures").symlink_to(root / "captures")
        write()
