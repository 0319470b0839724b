"""A session: its captures with their verdicts, what changed from each to the next, and the pages of both."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rastertap.files import write_whole
from rastertap.report.page.build import page, policy_and_assets, templates
from rastertap.report.page.facts import section_facts
from rastertap.report.page.way import place_words, signal_way
from rastertap.watch.changes import changes

if TYPE_CHECKING:
    from rastertap.analyse import Analysis
    from rastertap.report.page.way import State

MOST_SHOWN = 30
"""Captures side by side in the history; older ones keep their own pages."""
HISTORY, VERSION = "index.html", "version.txt"
FACTS = (
    "frequency",
    "period jitter, rms",
    "duty",
    "quiet before",
    "quiet after",
    "line rate",
    "line sync",
    "field rate",
    "lines a field",
    "active area",
)
"""Numbers shown side by side, by their names on the page."""


@dataclass(frozen=True)
class Entry:
    """One capture of the session.

    Parameters
    ----------
    number : int
        From 1.
    name, page : str
        File name of the capture, and of its own page (empty when it could not be read).
    state : State
        ``fault``, ``look`` or ``sound``; ``unknown`` when it could not be read.
    place, text, next : str
        The verdict's place and sentence, or why it could not be read; the first thing to do.
    facts : dict of str to str
        Measured values by name.
    changes : tuple of str or None
        Since the capture before that could be read; None when there is none.
    since : str
        File name of that.
    """

    number: int
    name: str
    page: str
    state: State
    place: str
    text: str
    next: str
    facts: dict[str, str]
    changes: tuple[str, ...] | None = None
    since: str = ""


class Session:
    """Keeps the entries and writes the pages.

    Parameters
    ----------
    folder : Path
        Where the pages go; made when it is not there.
    served : bool
        Whether the history is read through a server, and so can look for news.
    """

    def __init__(self, folder: Path, *, served: bool = False) -> None:
        self.folder, self._served = folder, served
        self.entries: list[Entry] = []
        self._last: Analysis | None = None

    def add(self, analysis: Analysis) -> Entry:
        """Take the next capture: write its page and the history."""
        number = len(self.entries) + 1
        name = Path(analysis.capture.label).name
        file = f"{number:03d}-{re.sub(r'[^A-Za-z0-9._-]', '_', name)[:60]}.html"
        write_whole(self.folder / file, page(analysis).encode())
        stages = signal_way(analysis.findings, analysis.verdict)
        found = {n: value for facts in section_facts(analysis).values() for n, value in facts}
        entry = Entry(
            number,
            name,
            file,
            _state(analysis),
            place_words(stages, analysis.verdict),
            analysis.verdict.text,
            next(iter(analysis.verdict.next), ""),
            {n: found[n] for n in FACTS if n in found},
            None if self._last is None else tuple(changes(self._last, analysis)),
            "" if self._last is None else Path(self._last.capture.label).name,
        )
        self._last = analysis
        return self._kept(entry)

    def add_unreadable(self, path: Path, reason: str) -> Entry:
        """Note a capture that cannot be read; the one before stays that with which the next is compared."""
        place, advice = "unreadable", "Save it again."
        number = len(self.entries) + 1
        return self._kept(Entry(number, path.name, "", "unknown", place, reason, advice, {}))

    def _kept(self, entry: Entry) -> Entry:
        self.entries.append(entry)
        self.write()
        return entry

    def write(self) -> None:
        """Write the history; the version beside it tells a page that is open that there is news."""
        policy, style, script = policy_and_assets("history.js", connect=self._served)
        text = templates().get_template("history.html.j2").render(
            policy=policy,
            style=style,
            script=script if self._served else "",
            served=self._served,
            entries=list(reversed(self.entries))[:MOST_SHOWN],
            left=max(len(self.entries) - MOST_SHOWN, 0),
            facts=[n for n in FACTS if any(n in e.facts for e in self.entries)],
            version=len(self.entries),
        )  # fmt: skip
        write_whole(self.folder / HISTORY, text.encode())
        write_whole(self.folder / VERSION, f"{len(self.entries)}\n".encode())


def _state(analysis: Analysis) -> State:
    results = {f.result for f in analysis.findings}
    return "fault" if "fail" in results else "look" if "warn" in results else "sound"
