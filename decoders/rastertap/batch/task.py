"""What a worker does: check one capture and give a small row of plain data."""

from __future__ import annotations

import hashlib
import math
import os
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rastertap.errors import CaptureError, PluginError, RastertapError
from rastertap.printable import printable

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rastertap.analyse import Analysis, Request
    from rastertap.capture.interface import Window
    from rastertap.checks.interface import Finding

SCHEMA = "rastertap.batch/1"
Row = dict[str, Any]
Pages = str
"""``none``, ``fault`` (of what did not pass) or ``all``."""
EXIT_CODES = {"pass": 0, "look": 0, "fail": 1, "unreadable": 3, "error": 70, "crashed": 70}
"""By a row's result: that of ``rastertap check`` on the capture alone."""


@dataclass(frozen=True)
class Settings:
    """The same for every capture of a run; sent to the workers.

    Parameters
    ----------
    request : Request
        What to do with each capture.
    key : str
        Hash of all that decides the result besides the capture (`rastertap.batch.key`).
    versions : mapping of str to str
        Distributions that give plug-ins, which each worker must have; empty: not compared.
    reader, options, window, text_limit
        As for `rastertap.analyse.analyse_path`.
    serial : str
        Regular expression that finds the serial number in a file name; empty for none.
    pages : Pages
        Of which captures to write the page.
    folder : str
        Where pages go.
    """

    request: Request
    key: str
    versions: Mapping[str, str] = field(default_factory=dict)
    reader: str | None = None
    options: Mapping[str, Any] = field(default_factory=dict)
    window: Window | None = None
    text_limit: int | None = None
    serial: str = ""
    pages: Pages = "none"
    folder: str = ""


def serial_of(path: str, pattern: str) -> str:
    """Find the serial number in a file name: group ``serial``, else the first group, else the whole match."""
    found = re.search(pattern, Path(path).name) if pattern else None
    if found is None:
        return ""
    text = found.groupdict().get("serial") or (found.group(1) if found.groups() else found.group())
    return printable(text or "")


def stamp_of(path: str) -> list[int] | None:
    """Size and times by which a file is known not to have changed; None when it cannot be looked at."""
    try:
        found = os.stat(path)  # noqa: PTH116 - a path may hold bytes that are no text
    except (OSError, ValueError):
        return None
    return [found.st_size, found.st_mtime_ns, found.st_ctime_ns]


def hash_of(path: str) -> str:
    """SHA-256 of a file; empty when it cannot be read."""
    try:
        with Path(path).open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except (OSError, ValueError):
        return ""


def check_shard(settings: Settings, paths: Sequence[str]) -> list[Row]:
    """Check some captures, one after the other.

    Raises
    ------
    PluginError
        When this worker has other versions than the host.
    """
    if settings.versions:
        from rastertap.batch.key import differing, versions

        wrong = differing(settings.versions, versions())
        if wrong:
            raise PluginError(f"a worker has other versions: {wrong}", hint="install the same on all workers")
    return [check_one(settings, path) for path in paths]


def check_one(settings: Settings, path: str) -> Row:
    """Check one capture; whatever is wrong with it becomes its row."""
    before = stamp_of(path)
    try:
        row = _measured(settings, path)
    except CaptureError as error:
        row = failed_row(settings, path, "unreadable", str(error))
    except RastertapError:
        raise
    except Exception as error:  # noqa: BLE001 - one capture that meets a bug must not stop the rest
        row = failed_row(settings, path, "error", f"a bug in rastertap: {type(error).__name__}: {error}")
    row["sha256"] = row["sha256"] or hash_of(path)
    row["stamp"] = before if before == stamp_of(path) else None
    return row


def failed_row(settings: Settings, path: str, result: str, text: str) -> Row:
    """Give the row of a capture that has no analysis."""
    return {
        "schema": SCHEMA,
        "path": path,
        "sha256": "",
        "stamp": None,
        "key": settings.key,
        "serial": serial_of(path, settings.serial),
        "result": result,
        "place": "",
        "confidence": None,
        "text": printable(text),
        "next": "",
        "because": [],
        "findings": [],
        "page": "",
    }


def _measured(settings: Settings, path: str) -> Row:
    from rastertap.analyse import analyse_path

    analysis = analyse_path(
        path,
        settings.request,
        reader=settings.reader,
        options=settings.options,
        window=settings.window,
        text_limit=settings.text_limit,
    )
    verdict, result = analysis.verdict, result_of(analysis)
    row = failed_row(settings, path, result, verdict.text)
    row |= {
        "sha256": analysis.capture.sha256,
        "place": verdict.place,
        "confidence": verdict.confidence,
        "next": next(iter(verdict.next), ""),
        "because": list(verdict.because),
        "findings": [_finding(f) for f in analysis.findings],
    }
    if has_page(settings, result):
        row["page"] = _write_page(settings, path, analysis)
    return row


def result_of(analysis: Analysis) -> str:
    """``fail`` when something is out of limits, ``look`` when that cannot be told, else ``pass``."""
    results = {f.result for f in analysis.findings}
    if "fail" in results:
        return "fail"
    return "look" if "warn" in results or analysis.verdict.place == "undecided" else "pass"


def has_page(settings: Settings, result: str) -> bool:
    """Whether a capture with this result gets its page; one that was not analysed cannot have one."""
    wanted = {"none": (), "fault": ("fail", "look"), "all": ("fail", "look", "pass")}
    return result in wanted[settings.pages]


def _number(value: Any) -> float | str | None:
    """Give a text as it is, a number as a float that JSON can hold."""
    if value is None or isinstance(value, str):
        return value
    return float(value) if math.isfinite(value) else None


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "id": finding.id,
        "result": finding.result,
        "measured": _number(finding.measured),
        "uncertainty": _number(finding.uncertainty),
        "limit": finding.limit,
        "unit": finding.unit,
        "text": "" if finding.result == "pass" else printable(finding.text),
    }


def _write_page(settings: Settings, path: str, analysis: Analysis) -> str:
    from rastertap.files import write_whole
    from rastertap.report.page.build import page

    name = page_name(path)
    write_whole(Path(settings.folder) / name, page(analysis).encode())
    return f"{Path(settings.folder).name}/{name}"


def page_name(path: str) -> str:
    """File name of a capture's page: its own, made harmless, and a hash of its path that tells it apart."""
    safe = re.sub(r"[^A-Za-z0-9._-]", "_", Path(path).name)[:80]
    return f"{safe}-{hashlib.sha256(os.fsencode(path)).hexdigest()[:10]}.html"
