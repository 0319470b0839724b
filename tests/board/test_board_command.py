from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner, Result

from rastertap.board.load import parse_board
from rastertap.board.text import board_summary
from rastertap.cli.main import main
from rastertap.errors import BoardError, UsageError

if TYPE_CHECKING:
    from pathlib import Path


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["board", *arguments], catch_exceptions=False)


def test_a_board_is_shown_with_its_pins_timing_and_gaps(tmp_path: Path, good_text: str) -> None:
    path = tmp_path / "board.toml"
    path.write_text(good_text, encoding="utf-8")
    result = run("show", str(path))
    rows = [line.split() for line in result.output.splitlines()]
    assert result.exit_code == 0
    assert ["D0", "pixel_clock", "-", "12", "3", "brown"] in rows
    assert ["D5", "colour", "bit", "3", "-", "-", "-", "-"] in rows
    assert ["pixel_clock_hz", "9000000"] in rows
    assert ["interlaced", "no"] in rows
    assert ["sync-separate", "tolerance", "0.05"] in rows
    unstated = result.output.partition("not stated\n")[2]
    assert "vsync, csync, blank, display_enable" in unstated
    assert "field_rate_hz" in unstated
    assert "pixels_per_line" not in unstated


def test_an_empty_board_is_shown_as_such() -> None:
    text = board_summary(parse_board('schema = "rastertap.board/1"\nname = "x"\n'))
    assert "none stated" in text
    assert "nothing stated" in text
    assert "colours" in text.partition("not stated\n")[2]


def test_decoder_options_cannot_act_on_the_terminal() -> None:
    text = 'schema = "rastertap.board/1"\nname = "x"\n[decoders.frames]\n"k\\u001b" = "\\u001b[2J"\n'
    assert board_summary(parse_board(text)).replace("\n", "").isprintable()


def test_a_wrong_board_is_not_shown(tmp_path: Path) -> None:
    path = tmp_path / "board.toml"
    path.write_text("name = 3\n", encoding="utf-8")
    with pytest.raises(BoardError):
        run("show", str(path))


def test_the_schema_knows_every_key_and_accepts_no_other() -> None:
    schema = json.loads(run("schema").output)
    assert set(schema["properties"]) == {
        "schema",
        "name",
        "note",
        "pins",
        "timing",
        "colours",
        "picture",
        "production",
        "decoders",
    }
    assert schema["additionalProperties"] is False
    pin = schema["$defs"]["Pin"]
    assert set(pin["properties"]) == {"role", "bit", "polarity", "chip_pin", "connector", "wire"}
    assert "312/50" in json.dumps(schema["$defs"]["Timing"]["properties"]["standard"])


def test_an_existing_file_is_not_overwritten_without_force(tmp_path: Path) -> None:
    path = tmp_path / "board.toml"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(UsageError, match="exists") as caught:
        run("new", "capture.vcd", "--out", str(path))
    assert "--force" in caught.value.hint
    assert path.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("arguments", [(), ("show",), ("schema",), ("new",)])
def test_every_help_shows_an_example(arguments: tuple[str, ...]) -> None:
    assert "rastertap board" in run(*arguments, "--help").output.partition("Example")[2]
