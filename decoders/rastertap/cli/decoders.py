"""``rastertap decoders``: the plug-ins and their state."""

from __future__ import annotations

import click

from rastertap.plugins import GROUPS, load_all


@click.command("decoders", epilog="\b\nExample:\n  rastertap decoders")
def command() -> int:
    """List the installed readers, decoders and checks, and what is wrong with those that cannot be used."""
    from rastertap.cli.options import text_width
    from rastertap.report.text import plugin_lines

    broken = 0
    for group in GROUPS:
        plugins = load_all(group)
        broken += sum(bool(p.error) for p in plugins)
        click.echo("\n".join(plugin_lines(group, plugins, text_width())) + "\n")
    return int(broken > 0)
