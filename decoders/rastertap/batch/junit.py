"""The rows as JUnit XML, which test stations read: a suite for each capture, a case for each finding."""

from __future__ import annotations

import re
from pathlib import Path
from typing import IO, TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

from rastertap.printable import printable

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from rastertap.batch.task import Row

_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def _clean(text: str) -> str:
    """Leave out what XML 1.0 cannot hold (its production 2, Char)."""
    return _NOT_XML.sub("\N{REPLACEMENT CHARACTER}", printable(text))


def _attributes(**given: object) -> str:
    return "".join(f" {name}={quoteattr(_clean(str(value)))}" for name, value in given.items())


def write_junit(file: IO[str], rows: Iterable[Row]) -> None:
    """Write the rows one by one."""
    file.write('<?xml version="1.0" encoding="UTF-8"?>\n<testsuites name="rastertap">\n')
    for row in rows:
        file.writelines(f"{line}\n" for line in _suite(row))
    file.write("</testsuites>\n")


def _suite(row: Row) -> Iterator[str]:
    name = row["serial"] or Path(row["path"]).name
    found = row["findings"]
    count = {r: sum(f["result"] == r for f in found) for r in ("fail", "not_measured")}
    broken = row["result"] in {"unreadable", "error", "crashed"}
    head = _attributes(
        name=name,
        tests=len(found) + 1,
        failures=count["fail"],
        errors=int(broken),
        skipped=count["not_measured"],
        file=row["path"],
    )
    yield f"<testsuite{head}>"
    case = _attributes(classname=f"{name}.capture", name="readable")
    yield from _case(case, "error" if broken else "", row["result"], row["text"])
    kinds = {"fail": "failure", "not_measured": "skipped"}
    for finding in found:
        group, _, rest = finding["id"].partition(".")
        case = _attributes(classname=f"{name}.{group}", name=rest or group)
        limit = f" [measured {finding['measured']} {finding['unit']}; limit {finding['limit']}]"
        text = finding["text"] + (limit if finding["limit"] and finding["result"] == "fail" else "")
        yield from _case(case, kinds.get(finding["result"], ""), finding["id"], text)
    if not broken:
        yield f"<system-out>{escape(_clean(row['text']))}</system-out>"
    yield "</testsuite>"


def _case(case: str, kind: str, of: str, text: str) -> Iterator[str]:
    if not kind:
        yield f"<testcase{case}/>"
    elif kind == "skipped":
        yield f"<testcase{case}><skipped{_attributes(message=text)}/></testcase>"
    else:
        head = _attributes(type=of, message=text)
        yield f"<testcase{case}><{kind}{head}>{escape(_clean(text))}</{kind}></testcase>"
