"""``rastertap standards``: the timing standards and limit sets, each figure with its source."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from rastertap.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Mapping


_EXAMPLES = """\b
Examples:
  rastertap standards --mode 312/50
  rastertap standards --limits home-computer --mode 312/50
"""


@click.command(name="standards", epilog=_EXAMPLES)
@click.option(
    "--limits", "limit_set", metavar="NAME", help="Show this limit set, every figure with its source."
)
@click.option("--mode", "mode_key", metavar="KEY", help="Show this mode; with --limits, the limits for it.")
def command(limit_set: str | None, mode_key: str | None) -> None:
    """Show the timing standards and limit sets with their sources.

    Without an option, list the modes and the limit sets.
    """
    from rastertap.standards.limits import LIMIT_SETS
    from rastertap.standards.modes import MODES
    from rastertap.standards.text import limit_lines, mode_lines, overview

    _known("mode", mode_key, MODES)
    _known("limit set", limit_set, LIMIT_SETS)
    mode = MODES[mode_key] if mode_key else None
    parts = [mode_lines(mode)] if mode else []
    if limit_set:
        parts.append(limit_lines(LIMIT_SETS[limit_set], mode))
    if not parts:
        parts.append(overview(MODES.values(), LIMIT_SETS.values()))
    click.echo("\n\n".join("\n".join(part) for part in parts))


def _known(kind: str, name: str | None, known: Mapping[str, object]) -> None:
    if name is not None and name not in known:
        raise UsageError(f"no such {kind}: {name!r}", hint=f"there are: {', '.join(known)}")
