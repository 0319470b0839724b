"""The console command itself: help, what it imports, and how it leaves."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import tempfile
from typing import TYPE_CHECKING, Any

import click
import pytest

from rastertap.cli.main import COMMANDS, main

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

SLOW = ("numpy", "numba", "pandas", "scipy", "pydantic", "PIL", "rich", "vcdvcd", "importlib.metadata")


def commands() -> Iterator[tuple[str, ...]]:
    """Every command, and every command of a command."""
    context = click.Context(main)
    for name in main.list_commands(context):
        yield (name,)
        command = main.get_command(context, name)
        if isinstance(command, click.Group):
            yield from ((name, inner) for inner in command.list_commands(context))


def crash(*_: object, **__: object) -> None:
    raise ZeroDivisionError("a \x1b[31mbug")


def interrupt(*_: object, **__: object) -> None:
    raise KeyboardInterrupt


def test_help_imports_nothing_slow() -> None:
    """Start-up time follows what is imported, and unlike a clock this does not vary with the machine."""
    script = (
        "import sys; from rastertap.cli.main import run\n"
        "sys.argv = ['rastertap', '--help']\n"
        "try: run()\n"
        f"finally: print([m for m in {SLOW!r} if m in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=60
    )
    assert "Commands:" in done.stdout
    assert done.stderr.strip() == "[]"


@pytest.mark.parametrize("words", [(), *commands()], ids=" ".join)
def test_every_help_shows_an_example_that_starts_with_its_command(
    rastertap: Callable[..., Any], words: tuple[str, ...]
) -> None:
    result = rastertap(*words, "--help")
    assert result.code == 0
    examples = re.split(r"^ *Examples?:$", result.out, flags=re.MULTILINE)
    assert len(examples) == 2
    assert examples[1].strip().startswith(" ".join(("rastertap", *words)))


def test_the_command_list_says_of_each_what_it_does(rastertap: Callable[..., Any]) -> None:
    listed = " ".join(rastertap("--help").out.split())
    for name, (_, text) in COMMANDS.items():
        assert f"{name} {text}" in listed


def test_a_bug_leaves_a_log_and_no_traceback(
    rastertap: Callable[..., Any], good: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("rastertap.analyse.analyse_path", crash)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    result = rastertap("check", good, "--limits", "home-computer")
    assert result.code == 70
    assert result.out == ""
    assert "Traceback" not in result.err
    assert "error: this is a bug in rastertap (ZeroDivisionError: a \\x1b[31mbug)" in result.err
    log = next(tmp_path.glob("rastertap-bug-*.log"))
    assert f"hint: please report it with the log {log}" in result.err
    text = log.read_text()
    assert "ZeroDivisionError" in text
    assert "Traceback" in text
    assert repr(["check", good, "--limits", "home-computer"]) in text


def test_a_bug_is_said_even_when_no_log_can_be_written(
    rastertap: Callable[..., Any], good: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("rastertap.analyse.analyse_path", crash)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "not-there"))
    result = rastertap("check", good)
    assert result.code == 70
    assert "ZeroDivisionError" in result.err
    assert "that follows, for no file can be written:\nrastertap" in result.err
    assert "Traceback" in result.err


def test_an_interrupt_leaves_with_130(
    rastertap: Callable[..., Any], good: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rastertap.analyse.analyse_path", interrupt)
    result = rastertap("check", good)
    assert (result.code, result.out, result.err.strip()) == (130, "", "interrupted")


def test_a_real_interrupt_while_reading_leaves_with_130() -> None:
    """The pipe holds less than is written, so when the write is over the command is reading."""
    header = b"$timescale 1 ns $end $var wire 1 ! a $end $enddefinitions $end\n"
    command = [sys.executable, "-m", "rastertap", "check", "-"]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=pipe) as running:
        assert running.stdin is not None
        running.stdin.write(header + b"".join(b"#%d\n%d!\n" % (t, t % 2) for t in range(300_000)))
        running.stdin.flush()
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=60)
    assert running.returncode == 130
    assert out == b""
    assert err.decode().strip() == "interrupted"


def test_a_reader_that_goes_away_is_no_error() -> None:
    """As in `rastertap standards | head`: the reading end is closed before anything is written."""
    command = [sys.executable, "-m", "rastertap", "standards"]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=pipe, stderr=pipe) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.close()
        err = running.stderr.read()
    assert err == b""
    assert running.returncode == 0


@pytest.mark.parametrize("wanted", [(), ("--json", "-")], ids=["text", "json"])
def test_check_tells_by_its_exit_code_even_when_nobody_reads(faulty: str, wanted: tuple[str, ...]) -> None:
    command = [sys.executable, "-m", "rastertap", "check", faulty, *wanted]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=pipe, stderr=pipe) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.close()
        err = running.stderr.read()
    assert (running.returncode, err) == (1, b"")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("check",), "Missing argument 'CAPTURE'"),
        (("chek", "x.vcd"), "No such command 'chek'"),
        (("check", "x.vcd", "--bord", "b.toml"), "No such option '--bord'"),
        (("frames", "x.vcd", "--scale", "0"), "Invalid value for '--scale'"),
    ],
)
def test_a_wrong_command_line_leaves_with_2_and_says_how_to_get_help(
    rastertap: Callable[..., Any], arguments: tuple[str, ...], said: str
) -> None:
    result = rastertap(*arguments)
    assert (result.code, result.out) == (2, "")
    assert said in result.err
    assert "--help' for help" in result.err
