"""BT.656: the code table, its protection bits, and whole fields of an HDL source."""

from __future__ import annotations

import subprocess
from dataclasses import replace
from typing import TYPE_CHECKING, cast

import numpy as np
import pytest

from rastertap.capture.read import read_capture
from rastertap.errors import DecodeError
from rastertap.streams.colour_bus import CodedBus
from rastertap.streams.embedded import MENDED, VALID, find_codes
from rastertap.streams.interface import Context
from rastertap.streams.pixel_clock import TappedPixelClock
from rastertap.streams.roles import find_pins
from rastertap.streams.sync_embedded import EmbeddedSync, EmbeddedSyncOptions

from ..peers.simulate import HDL, _tool  # noqa: TID252 - tests are no package

if TYPE_CHECKING:
    from pathlib import Path

    from rastertap.streams.model import Sync

# F V H -> XY: references 4.1, the table seen in an SDI sink's source (all eight rows).
TABLE = {
    (0, 0, 0): 0x80,
    (0, 0, 1): 0x9D,
    (0, 1, 0): 0xAB,
    (0, 1, 1): 0xB6,
    (1, 0, 0): 0xC7,
    (1, 0, 1): 0xDA,
    (1, 1, 0): 0xEC,
    (1, 1, 1): 0xF1,
}


def test_the_eight_codes_are_the_published_ones() -> None:
    assert VALID == TABLE


def test_every_single_wrong_bit_is_mended_and_two_are_never_taken_for_another_code() -> None:
    for code in TABLE.values():
        assert MENDED[code] == code
        for bit in range(8):
            assert MENDED[code ^ 1 << bit] == code
        for one in range(8):
            for two in range(one):
                # A Hamming distance of 4 between codes: two wrong bits are seen, never mended wrongly.
                assert MENDED[code ^ 1 << one ^ 1 << two] == -1


def test_codes_are_found_among_other_words() -> None:
    words = np.array(
        [0x10, 0xFF, 0, 0, 0xF1, 0x80, 0xFF, 0, 0x80, 0xFF, 0, 0, 0x81, 0xFF, 0, 0, 0xFF], np.uint32
    )
    codes = find_codes(words)
    assert codes.words.tolist() == [1, 9]
    assert (codes.field.tolist(), codes.blanking.tolist(), codes.end.tolist()) == (
        [True, False],
        [True, False],
        [True, False],
    )
    assert codes.wrong == 2  # 81 is mended to 80; FF is left out


@pytest.mark.parametrize("count", range(5))
def test_a_stream_too_short_for_a_code_has_none(count: int) -> None:
    assert not find_codes(np.full(count, 0xFF, np.uint32)).words.size


def simulate(folder: Path, **given: int) -> tuple[Context, dict[str, int]]:
    program = folder / "bt656.vvp"
    subprocess.run([_tool("iverilog"), "-g2012", "-o", str(program), str(HDL / "bt656.v")], check=True)
    plus = [f"+{name}={value}" for name, value in given.items()]
    subprocess.run([_tool("vvp"), "-n", str(program), *plus], cwd=folder, check=True, capture_output=True)
    lines = (folder / "facts.txt").read_text().splitlines()
    facts = {name: int(value) for name, value in (line.split() for line in lines)}
    capture = read_capture(str(folder / "bt656.vcd"))
    capture = replace(capture, channels=tuple(c.binary() for c in capture.channels))
    context = Context(capture, find_pins(capture))
    for decoder in (TappedPixelClock(), CodedBus()):
        product = decoder.decode(context, decoder.Options())
        context = replace(context, streams={**context.streams, decoder.gives: product})
    return context, facts


def decode(context: Context) -> Sync:
    return EmbeddedSync().decode(context, EmbeddedSyncOptions())


@pytest.mark.parametrize(
    ("l625", "words", "lines", "start"),
    [(1, 1728, 312.5, 290), (0, 1716, 262.5, 240)],  # references 4.2: 2 x 864, 2 x 858
)
def test_fields_of_an_hdl_source_are_found_by_their_codes(
    l625: int, words: int, lines: float, start: int, tmp_path: Path
) -> None:
    context, _ = simulate(tmp_path, L625=l625, FIELDS=1, START_LINE=start)
    assert EmbeddedSync().match(context).score > 0.5
    sync = decode(context)
    assert sync.fields.lines[:-1].tolist() == [lines]
    clock = context.streams["pixel_clock"]
    assert sync.line_period.value / clock.period.value == pytest.approx(words, abs=1e-4)
    assert not sync.events.counts.any()
    assert sync.protection_errors == 0
    assert sync.interlaced
    assert sync.intervals.of("active_words").values.tolist() == [1440]  # references 4.2
    assert sync.intervals.of("line_words").values.tolist() == [words]
    assert sorted(sync.fields.offset.tolist()) == [0.0, 0.5]


def test_wrong_protection_bits_are_counted_and_single_ones_mended(tmp_path: Path) -> None:
    context, facts = simulate(tmp_path, FIELDS=1, START_LINE=290, WRONG_EVERY=23, WRONG_MASK=0b100)
    sync = decode(context)
    assert facts["wrong"] > 10
    assert sync.protection_errors == facts["wrong"]
    assert sync.fields.lines[:-1].tolist() == [312.5]
    assert not sync.events.counts.any()


def test_codes_that_cannot_be_mended_leave_a_line_without_sync(tmp_path: Path) -> None:
    context, facts = simulate(tmp_path, FIELDS=1, START_LINE=290, WRONG_EVERY=101, WRONG_MASK=0b10100)
    sync = decode(context)
    assert sync.protection_errors == facts["wrong"]
    # Every second code begins a line: about half of the lost ones were an EAV.
    assert 0 < sync.events.count("missing") <= facts["wrong"]
    assert sync.fields.lines[:-1].tolist() == [312.5]


def test_bits_in_another_order_are_said_to_be_so(tmp_path: Path) -> None:
    context, _ = simulate(tmp_path, FIELDS=1, START_LINE=311)
    bus = context.streams["colour_bus"]
    turned = replace(bus, bits=(*reversed(bus.bits[:4]), *reversed(bus.bits[4:])))
    broken = replace(context, streams={**context.streams, "colour_bus": turned})
    assert EmbeddedSync().match(replace(context, streams={})).score == 0
    assert EmbeddedSync().match(broken).score == 0
    with pytest.raises(DecodeError, match="in another order"):
        decode(cast("Context", broken))
