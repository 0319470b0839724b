"""The ``rastertap`` command: finds the sub-command, imports only that, and turns errors into exit codes."""

from __future__ import annotations

import sys
from importlib import import_module
from typing import TYPE_CHECKING, Any

import click

from rastertap import __version__
from rastertap.errors import RastertapError
from rastertap.printable import printable

if TYPE_CHECKING:
    from typing import NoReturn

EXIT_INTERRUPTED = 130
EXIT_BUG = 70

COMMANDS: dict[str, tuple[str, str]] = {
    "check": (
        "rastertap.cli.check",
        "Check a capture: taps, clock, timing, picture, and where the fault is.",
    ),
    "frames": ("rastertap.cli.frames", "Rebuild the frames of a capture as images and colour codes."),
    "clock": (
        "rastertap.cli.clock",
        "Measure the pixel clock in depth: what it is, if it is good, what to do.",
    ),
    "timing": (
        "rastertap.cli.timing",
        "Measure sync and line timing in depth against PAL and NTSC limits.",
    ),
    "pins": ("rastertap.cli.pins", "Say which channel carries what, and why."),
    "plan": ("rastertap.cli.plan", "Plan a recording: wiring list, settings, cautions, test screen."),
    "compare": (
        "rastertap.cli.compare",
        "Say what differs between a good capture and another one.",
    ),
    "watch": (
        "rastertap.cli.watch",
        "Watch a folder: check each capture that lands, say what changed.",
    ),
    "batch": ("rastertap.cli.batch", "Check thousands of captures in parallel; resume, roll up, JUnit."),
    "board": ("rastertap.cli.board", "Make, show or describe a board file."),
    "handover": ("rastertap.cli.handover", "Give the numbers that the next device must be told."),
    "thresholds": (
        "rastertap.cli.thresholds",
        "Place the thresholds of a device that tells colours apart by their levels.",
    ),
    "standards": ("rastertap.cli.standards", "Show the timing standards and limit sets with their sources."),
    "decoders": ("rastertap.cli.decoders", "List the readers, decoders and checks that are installed."),
    "explain": ("rastertap.cli.explain", "Explain a finding: what it measures, its limit, what to do."),
    "doctor": ("rastertap.cli.doctor", "Say whether the installation is whole, and what mends it."),
    "completion": ("rastertap.cli.completion", "Write the script by which a shell completes commands."),
    "bench": ("rastertap.cli.bench", "Make a simulated capture, with or without a fault, and its truth."),
}
"""Command name to (module, one-line help). The module is imported only when the command runs."""


class LazyGroup(click.Group):
    """A click group that imports a command's module when it is asked for."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; that the reader of its output goes away (``| head``) is no error."""
        try:
            return super().invoke(ctx)
        except BrokenPipeError:
            from rastertap.cli.options import drop_output

            drop_output()
            return 0

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Return the command names in the order a user meets them."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import the module of ``cmd_name`` and return its ``command``."""
        if cmd_name not in COMMANDS:
            return None
        command = import_module(COMMANDS[cmd_name][0]).command
        if not isinstance(command, click.Command):
            raise TypeError(f"{COMMANDS[cmd_name][0]}.command is not a click command")
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the command list without importing the commands."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])


@click.group(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="\b\nExample:\n  rastertap check capture.vcd.gz --board board.toml",
)
@click.version_option(__version__, prog_name="rastertap")
def main() -> None:
    """Read a logic-analyser capture of a video chip's pins: rebuild its picture, say where a fault lies."""


def _report_bug(error: BaseException) -> str:
    """Write a log ready to paste, and return its path, or the log itself when it cannot be written."""
    import platform
    import tempfile
    import traceback

    trace = "".join(traceback.format_exception(error))
    system = f"Python {platform.python_version()}, {platform.platform()}"
    text = f"rastertap {__version__}, {system}\narguments: {sys.argv[1:]!r}\n\n{trace}"
    try:
        with tempfile.NamedTemporaryFile(
            "w", prefix="rastertap-bug-", suffix=".log", delete=False, encoding="utf-8"
        ) as log:
            log.write(text)
    except OSError:
        return f"that follows, for no file can be written:\n{text}"
    return log.name


def _say(text: str) -> None:
    """Write an error to standard error; names in it may come from a file that nobody vouches for."""
    click.echo("\n".join(map(printable, text.split("\n"))), err=True)


def run() -> NoReturn:
    """Entry point of the console command."""
    try:
        code = main.main(standalone_mode=False)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except (click.Abort, KeyboardInterrupt):
        click.echo("interrupted", err=True)
        sys.exit(EXIT_INTERRUPTED)
    except RastertapError as error:
        _say(f"error: {error}")
        if error.hint:
            _say(f"hint: {error.hint}")
        sys.exit(error.exit_code)
    except Exception as error:  # noqa: BLE001 - the last line of defence: no traceback reaches a user
        path = _report_bug(error)
        _say(f"error: this is a bug in rastertap ({type(error).__name__}: {error})")
        _say(f"hint: please report it with the log {path}")
        sys.exit(EXIT_BUG)
    sys.exit(code if isinstance(code, int) else 0)
