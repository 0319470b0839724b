"""Frames of every colour set are rebuilt bit for bit from HDL sources, and drawn in the colours of the set.

The expected colours are worked out here, from the published tables and definitions, not by rastertap.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from PIL import Image

from rastertap.analyse import Request, analyse_path
from rastertap.board.load import parse_board
from rastertap.frames.images import save_frame, shown_codes
from rastertap.frames.look import Look

from ..peers.simulate import simulate  # noqa: TID252 - the simulators are shared

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from rastertap.analyse import Analysis

    from ..peers.simulate import Simulated  # noqa: TID252 - the simulators are shared

SMALL = {"WIDTH": 120, "HEIGHT": 90, "CLOCKS": 288, "LINES": 156, "ACTIVE_X": 60, "ACTIVE_Y": 20}
# references.md 6, the 16 colours with the exception (Linux console table, seen).
RGBI = [
    *["000000", "0000AA", "00AA00", "00AAAA", "AA0000", "AA00AA", "AA5500", "AAAAAA"],
    *["555555", "5555FF", "55FF55", "55FFFF", "FF5555", "FF55FF", "FFFF55", "FFFFFF"],
]
# references.md 3.2: codes of the 100 % bars, and their R G B.
BARS_COMPONENT = {
    (235, 128, 128): (1, 1, 1),
    (210, 16, 146): (1, 1, 0),
    (170, 166, 16): (0, 1, 1),
    (145, 54, 34): (0, 1, 0),
    (106, 202, 222): (1, 0, 1),
    (81, 90, 240): (1, 0, 0),
    (41, 240, 110): (0, 0, 1),
    (16, 128, 128): (0, 0, 0),
}
FOUR = {0: 0x00, 1: 0x55, 2: 0xAA, 3: 0xFF}


def packed(*fields: int) -> Callable[[int], tuple[int, ...]]:
    """Colour of a code whose fields are R, G, B, R the highest: a full field is full drive."""

    def colour(code: int) -> tuple[int, ...]:
        parts = []
        for bits in reversed(fields):
            parts.append(int(Fraction(255 * (code % 2**bits), 2**bits - 1) + Fraction(1, 2)))
            code >>= bits
        return tuple(reversed(parts))

    return colour


EXPECTED: dict[str, tuple[int, Callable[[int], tuple[int, ...]]]] = {
    "grey": (1, lambda code: (255 * code,) * 3),
    "rgb": (3, packed(1, 1, 1)),
    "rgbi": (4, lambda code: tuple(bytes.fromhex(RGBI[code]))),
    "rrggbb": (6, lambda code: (FOUR[code >> 4], FOUR[code >> 2 & 3], FOUR[code & 3])),
    "rgb9": (9, packed(3, 3, 3)),
    "rgb12": (12, packed(4, 4, 4)),
    "rgb15": (15, packed(5, 5, 5)),
    "rgb16": (16, packed(5, 6, 5)),
    "rgb18": (18, packed(6, 6, 6)),
    "rgb24": (24, packed(8, 8, 8)),
}


def board_text(source: Simulated, colours: str) -> str:
    """Every pin as the bench named it."""
    pins = ""
    for name, (role, bit) in source.truth["roles"].items():
        pins += f'[pins."{name.rpartition(".")[2]}"]\nrole = "{role}"\n' + (
            f"bit = {bit}\n" if bit is not None else ""
        )
    return f'schema = "rastertap.board/1"\nname = "simulated"\n{pins}[colours]\n{colours}\n'


def analysed(source: Simulated, colours: str) -> Analysis:
    board = parse_board(board_text(source, colours))
    return analyse_path(str(source.vcd), Request(board=board))


def rebuilt(analysis: Analysis, source: Simulated, folder: Path) -> list[tuple[np.ndarray[Any, Any], Any]]:
    """Codes of each complete field, held to the truth, with the picture read back from its file."""
    frames, bus = analysis.evidence.frames, analysis.evidence.colour_bus
    assert frames is not None, dict(analysis.evidence.missing)
    assert bus is not None
    found = []
    for frame in frames.complete:
        codes = shown_codes(frames, frame)
        start = analysis.capture.seconds(frame.start)
        true = next(t for t in source.fields if abs(float(t.start_s) - start) < 30e-6)
        assert (codes == true.codes).all()
        look = Look(len(bus.bits), bus.colours)
        png, _ = save_frame(folder, frames, frame, look, aspect=None, text={})
        with Image.open(png) as image:
            found.append((codes, image.mode, np.asarray(image.convert("RGB"))))
    assert found
    return found


@pytest.mark.parametrize("name", list(EXPECTED))
def test_every_set_is_rebuilt_bit_for_bit_in_its_colours(name: str, tmp_path: Path) -> None:
    bits, colour = EXPECTED[name]
    source = simulate("sd625-312", tmp_path, fields=2, bits=bits, geometry=SMALL)
    analysis = analysed(source, f'set = "{name}"')
    for codes, mode, shown in rebuilt(analysis, source, tmp_path):
        assert mode == ("P" if bits <= 8 else "RGB")
        wanted = np.array([[colour(int(code)) for code in row] for row in codes])
        assert (shown == wanted).all()
    assert next(f for f in analysis.findings if f.id == "picture.colour_set").result == "pass"


def test_component_bars_from_an_independent_simulator_are_the_published_codes(tmp_path: Path) -> None:
    # The black bar has the code of blanking: only display enable tells where the picture ends.
    options = {"bits": 24, "picture": "bars_component", "enable": "display_enable"}
    source = simulate("sd525-262", tmp_path, fields=2, **options)
    analysis = analysed(source, 'set = "component"')
    for codes, _, shown in rebuilt(analysis, source, tmp_path):
        columns = codes[0]
        assert (codes == columns).all()
        found = {
            (int(c) >> 16, int(c) >> 8 & 255, int(c) & 255): tuple(shown[0, x]) for x, c in enumerate(columns)
        }
        assert found.keys() == BARS_COMPONENT.keys()
        for code, rgb in BARS_COMPONENT.items():
            # The codes are rounded to whole numbers, so full drive comes back to within two steps of 255.
            assert np.abs(np.array(found[code]).astype(int) - 255 * np.array(rgb)).max() <= 2
    assert next(f for f in analysis.findings if f.id == "picture.colour_set").result == "pass"


def test_codes_outside_a_short_list_are_a_finding(tmp_path: Path) -> None:
    source = simulate("sd625-312", tmp_path, fields=2, bits=4, geometry=SMALL)
    listed = ", ".join(f'"#{i:02X}0000"' for i in range(13))
    analysis = analysed(source, f'set = "list"\nlist = [{listed}]')
    found = next(f for f in analysis.findings if f.id == "picture.colour_set")
    assert found.result == "fail"
    assert found.measured == 3
    assert "13, 14, 15" in found.text
    for codes, _, shown in rebuilt(analysis, source, tmp_path):
        assert (shown[codes == 14] == (255, 0, 255)).all()
        assert (shown[codes == 12] == (12, 0, 0)).all()


def test_the_bits_of_a_bus_may_be_in_any_order_on_the_analyser(tmp_path: Path) -> None:
    source = simulate("sd625-312", tmp_path, fields=2, bits=9, geometry=SMALL)
    pins = "".join(f'[pins."colour[{b}]"]\nrole = "colour"\nbit = {8 - b}\n' for b in range(9))
    board = parse_board(f'schema = "rastertap.board/1"\nname = "turned"\n{pins}[colours]\nset = "rgb9"\n')
    frames = analyse_path(str(source.vcd), Request(board=board)).evidence.frames
    assert frames is not None
    turned = np.array([int(f"{code:09b}"[::-1], 2) for code in range(512)])
    assert (shown_codes(frames, frames.complete[0]) == turned[source.fields[0].codes]).all()
