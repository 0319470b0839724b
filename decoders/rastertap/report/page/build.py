"""The page, put together."""

from __future__ import annotations

import base64
import functools
import hashlib
import json
from importlib import resources
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from rastertap import __version__
from rastertap.plugins import load_all
from rastertap.printable import printable
from rastertap.report.document import document, dumps
from rastertap.report.drawing.svg import style as drawing_rules
from rastertap.report.page import findings, plots, taps, way
from rastertap.report.page.drawn import timing_figures, wiring_figure
from rastertap.report.page.events import event_grid
from rastertap.report.page.facts import capture_facts, field_rows, section_facts
from rastertap.report.page.places import Places
from rastertap.report.page.svg import Figure
from rastertap.report.page.viewer import still, viewer_data
from rastertap.report.text import sure_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from jinja2 import Environment

    from rastertap.analyse import Analysis
    from rastertap.plugins import Group

MOST_FIELD_ROWS = 200
MOST_RESULT = 2_000_000
"""Longest result, as JSON, that the page holds; minutes of capture make a longer one."""


def asset(name: str) -> str:
    """Read a file that lies beside this module."""
    return resources.files(__package__).joinpath(name).read_text(encoding="utf-8")


@functools.cache
def templates() -> Environment:
    """Make the template engine: everything is escaped, and a name that is not there is an error."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(
        loader=PackageLoader("rastertap.report", "page"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["json"] = script_json
    made.filters["printable"] = printable
    return made


def script_json(value: Mapping[str, Any]) -> Markup:
    """Write plain data as JSON that cannot end the script element it stands in."""
    text = json.dumps(json.loads(dumps(value)), separators=(",", ":"), ensure_ascii=False)
    for letter in "<>&\u2028\u2029":
        text = text.replace(letter, f"\\u{ord(letter):04x}")
    return Markup(text)  # noqa: S704 - no letter is left that could end the element


def policy(*, style: str, script: str, connect: bool = False) -> str:
    """Allow this style and this script only, pictures from within, and nothing from a network.

    Parameters
    ----------
    style, script : str
        As they stand in the page.
    connect : bool
        Whether the script may ask the server that the page came from.
    """
    style_hash, script_hash = (
        base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in (style, script)
    )
    return (
        f"default-src 'none'; img-src data:; style-src 'sha256-{style_hash}';"
        f" script-src 'sha256-{script_hash}'; base-uri 'none'; form-action 'none'"
        + ("; connect-src 'self'" if connect else "")
    )


def policy_and_assets(
    script_name: str, *, more_style: str = "", connect: bool = False
) -> tuple[str, Markup, Markup]:
    """Give the policy of a page, its style and its script, ready for a template."""
    style, script = asset("page.css") + more_style, asset(script_name)
    made = policy(style=style, script=script, connect=connect)
    return made, Markup(style), Markup(script)  # noqa: S704 - our own files


def _part(found: Figure | str) -> dict[str, Any]:
    """Tell a drawing from the reason why there is none."""
    return {"figure": found, "reason": ""} if isinstance(found, Figure) else {"figure": None, "reason": found}


def _parts(found: Iterable[Figure | str]) -> list[dict[str, Any]]:
    return [_part(part) for part in found]


def _picture(analysis: Analysis) -> dict[str, Any]:
    frames = analysis.evidence.frames
    if frames is None:
        reason = analysis.evidence.missing.get("frames", "no frame could be rebuilt")
        return {"still": None, "viewer": None, "places": None, "reason": f"No picture: {reason}."}
    data = viewer_data(analysis, frames)
    places = Places(analysis, [f["index"] for f in data["fields"]])
    whole = sum(n.field != "woven" for n in frames.notes)
    kept = sum(f["kind"] != "woven" for f in data["fields"])
    word = (
        ""
        if kept == whole
        else f"{kept} of {whole} fields are in this page, the first and the worst among them."
    )
    if not kept:
        word = "The fields are too large for this page; `rastertap frames` writes them as files."
    return {
        "still": still(analysis, frames),
        "viewer": data if kept else None,
        "places": places,
        "reason": "",
        "kept": word,
    }


def _sections(analysis: Analysis, places: Places | None) -> list[dict[str, Any]]:
    """Give the parts of the page below the findings that hold numbers and plots."""
    grid = (
        event_grid(analysis, places)
        if places is not None
        else "Without frames events have no place on a grid."
    )
    clock = (plots.period_histogram, plots.time_interval_error, plots.error_spectrum)
    numbers = section_facts(analysis)
    return [
        {"id": "events", "title": "Events", "facts": [], "parts": _parts([grid])},
        {
            "id": "clock",
            "title": "Clock",
            "facts": numbers["clock"],
            "parts": _parts(plot(analysis) for plot in clock),
        },
        {
            "id": "sampling",
            "title": "Reading the colour bus",
            "facts": numbers["sampling"],
            "parts": _parts([plots.sampling_point(analysis)]),
        },
        {
            "id": "timing",
            "title": "Lines and fields",
            "facts": numbers["timing"],
            "parts": _parts(timing_figures(analysis)),
        },
    ]


def _not_run() -> list[str]:
    """Say which decoders and checks could not be used: what did not run finds nothing."""
    groups: tuple[Group, ...] = ("rastertap.decoders", "rastertap.checks")
    broken = [p for group in groups for p in load_all(group) if p.error]
    return [f"{p.group.rpartition('.')[2].removesuffix('s')} {p.name}: {p.error}" for p in broken]


def page(analysis: Analysis, files: Mapping[int, tuple[Path, Path]] | None = None) -> str:
    """Write the whole page; the same analysis gives the same text.

    Parameters
    ----------
    analysis : Analysis
        The result.
    files : mapping of int to (Path, Path), optional
        Files written for each frame, as in `rastertap.report.document.document`.
    """
    rules, style, script = policy_and_assets("page.js", more_style=drawing_rules())
    picture = _picture(analysis)
    places = picture["places"]
    rows, shown = taps.tap_rows(analysis)
    result = script_json(document(analysis, files))
    wiring = _part(wiring_figure(analysis))
    stages = way.signal_way(analysis.findings, analysis.verdict)
    fields = field_rows(analysis)
    return templates().get_template("page.html.j2").render(
        version=__version__,
        policy=rules,
        style=style,
        script=script,
        name=PurePath(analysis.capture.label).name or analysis.capture.label,
        verdict=analysis.verdict,
        not_run=_not_run(),
        place=way.place_words(stages, analysis.verdict),
        sure=sure_words(analysis.verdict),
        stages=stages,
        picture_note=way.picture_note(analysis.verdict),
        picture=picture,
        findings=findings.rows(analysis.findings, analysis.verdict.because, places),
        taps=rows,
        taps_show=shown,
        has_board=analysis.request.board is not None,
        wiring=wiring,
        wiring_first=analysis.verdict.place == "taps" and wiring["figure"] is not None,
        sections=_sections(analysis, places),
        fields=fields[:MOST_FIELD_ROWS],
        fields_left=max(len(fields) - MOST_FIELD_ROWS, 0),
        capture=capture_facts(analysis),
        decoders=analysis.decoded.tried,
        result=result if len(result) <= MOST_RESULT else "",
    )  # fmt: skip
