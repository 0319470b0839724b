"""``rastertap completion``: the script by which a shell completes commands and options."""

from __future__ import annotations

import click

from rastertap.cli.options import emit

WHERE = {
    "bash": "~/.local/share/bash-completion/completions/rastertap",
    "zsh": "a folder of $fpath, as _rastertap",
    "fish": "~/.config/fish/completions/rastertap.fish",
}


@click.command("completion", epilog="\b\nExample:\n  rastertap completion bash > " + WHERE["bash"])
@click.argument("shell", type=click.Choice(list(WHERE)))
def command(shell: str) -> int:
    """Write the script that lets SHELL complete commands and options."""
    from click.shell_completion import get_completion_class

    from rastertap.cli.main import main

    kind = get_completion_class(shell)
    if kind is None:
        raise click.UsageError(f"click knows no completion for {shell}")
    emit(kind(main, {}, "rastertap", "_RASTERTAP_COMPLETE").source() + "\n")
    return 0
