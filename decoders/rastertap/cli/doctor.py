"""``rastertap doctor``: is this installation whole."""

from __future__ import annotations

import click

from rastertap.cli.options import emit, text_width


@click.command("doctor", epilog="\b\nExample:\n  rastertap doctor")
def command() -> int:
    """Look at versions, caches and plug-ins; say what is missing and the command that mends it.

    Exit code: 0 when all that is needed is there, 1 when something is broken.
    """
    from rastertap.doctor import examine
    from rastertap.printable import printable
    from rastertap.report.text import wrapped

    broken = 0
    for item in examine():
        broken += item.state == "broken"
        text = item.found + (f"  ->  {item.mend}" if item.mend else "")
        emit(wrapped(printable(text), text_width(), f"  {item.state:<8} {printable(item.what):<16} ") + "\n")
    emit("\nAll that is needed is there.\n" if not broken else f"\n{broken} to mend, see above.\n")
    return int(broken > 0)
