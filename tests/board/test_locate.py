from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any

from hypothesis import given, settings
from hypothesis import strategies as st

from rastertap.board.locate import key_lines, line_of

if TYPE_CHECKING:
    from collections.abc import Iterator


def paths(value: Any, base: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Every key path of parsed TOML: what the locator must have found, by tomllib's word."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield (*base, key)
        yield from paths(inner, (*base, key))


AWKWARD = '''\
# a comment with [brackets] and = signs
"quoted.key" = 'a # b'   # comment
a.b . "c" = 1
text = """
[not.a.table]
key = "value" \\"""
""""
raw = \'\'\'
[nor.this]
\'\'\'
list = [
  1, # one, ]
  [2, "]"],
  { x = "}", y.z = 3 },
]
date = 1979-05-27 07:32:00
last_of_top = true

[ table . 'with space' ]
x = 1.5
[[many]]
n = 1
[many.sub]
m = [ ]
[[many]]
n = 2
'''


def test_every_key_of_an_awkward_file_is_found_on_its_line() -> None:
    lines = key_lines(AWKWARD)
    assert set(lines) == set(paths(tomllib.loads(AWKWARD)))
    expected = {
        ("quoted.key",): "\"quoted.key\" = 'a # b'   # comment",
        ("a", "b", "c"): 'a.b . "c" = 1',
        ("raw",): "raw = '''",
        ("list", 1, 1): '  [2, "]"],',
        ("list", 2, "y", "z"): '  { x = "}", y.z = 3 },',
        ("date",): "date = 1979-05-27 07:32:00",
        ("table", "with space", "x"): "x = 1.5",
        ("many", 0, "sub", "m"): "m = [ ]",
        ("many", 1, "n"): "n = 2",
    }
    source = AWKWARD.splitlines()
    assert {path: source[lines[path] - 1] for path in expected} == expected


def test_windows_line_ends_do_not_move_the_lines(good_text: str) -> None:
    assert key_lines(good_text.replace("\n", "\r\n")) == key_lines(good_text)


def test_a_missing_key_is_placed_at_its_table() -> None:
    lines = key_lines("a = 1\n[b.c]\nd = 2\n")
    assert line_of(lines, ("b", "c", "missing")) == 2
    assert line_of(lines, ("nowhere", "at all")) == 0


KEYS = st.text("ab -.\"'#=[]é", min_size=1, max_size=4)
SCALARS = st.one_of(
    st.integers(-9, 9).map(str),
    st.sampled_from(
        ['"a # ] } \\" ="', "'#]}'", "true", "1.5", '"""x\ny\\""""', "'''p\nq'''", "[ 1,\n 2 ]", "{ k = 1 }"]
    ),
)


def quote(key: str) -> str:
    return '"' + key.replace("\\", "\\\\").replace('"', '\\"') + '"'


@settings(deadline=None)  # the cores may be shared
@given(st.dictionaries(KEYS, st.dictionaries(KEYS, SCALARS, max_size=4), max_size=4))
def test_every_key_of_any_tables_is_found_where_it_was_written(tables: dict[str, dict[str, str]]) -> None:
    text, expected = "# head\n", {}
    for table, keys in tables.items():
        expected[table,] = text.count("\n") + 1
        text += f"[{quote(table)}] # table\n"
        for key, value in keys.items():
            expected[table, key] = text.count("\n") + 1
            text += f"{quote(key)} = {value} # [x]\n"
    found = key_lines(text)
    assert set(found) == set(paths(tomllib.loads(text)))
    assert {path: found[path] for path in expected} == expected
