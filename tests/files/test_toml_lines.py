"""Where the keys of a TOML file stand."""

from __future__ import annotations

import tomllib
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from xover.files.toml_lines import KeyPath, find_key_lines

TEXT = '''# comment [not.a.table]
title = """
[neither.this]
key = 1
"""   # three quotes, then a comment with "

[a]
x = [1, # ] no end
  "]", ']',
  [2]]
y.z = 'it is'

[ b . "c d" . 'e.f' ]  # [note]
"k\\u00e9y" = { inline = "}", two = 2 }

[[rows]]
n = 1
[[rows]]
n = 2
[a.late]
v = """a""""
w = """ """""
last = 1'''


def test_lines() -> None:
    tomllib.loads(TEXT)  # the text is what it claims to be
    lines = find_key_lines(TEXT)
    assert lines[("title",)] == 2
    assert lines[("a",)] == 7
    assert lines[("a", "x")] == 8
    assert lines[("a", "y")] == 11
    assert lines[("a", "y", "z")] == 11
    assert lines[("b", "c d", "e.f")] == 13
    assert lines[("b", "c d", "e.f", "kéy")] == 14
    assert lines[("rows",)] == 16
    assert lines[("rows", "n")] == 17
    assert lines[("a", "late")] == 20
    assert lines[("a", "late", "v")] == 21
    assert lines[("a", "late", "w")] == 22
    assert lines[("a", "late", "last")] == 23


def test_nearest_table_stands_in() -> None:
    lines = find_key_lines(TEXT)
    assert lines[("b", "c d", "e.f", "kéy", "two")] == 14
    assert lines[("a", "unknown", "deeper")] == 7
    assert lines[("b", "unknown")] == 13  # implied by the first header that begins with it
    assert lines[("unknown",)] is None
    assert lines[()] is None


def test_header_of_its_own_wins_over_an_implied_one() -> None:
    lines = find_key_lines("[a.b]\nx = 1\n\n[a]\ny = 2\n")
    assert lines[("a",)] == 4


names = st.sampled_from(["a", "b", "c d", "é", "e.f", 'q"t', "#", "[x]"])
scalars = st.sampled_from(
    ["1", '"# ] }"', "'[ {'", '"""\n[a]\nb = 1\n"""', "'''\n# x\n'''", "[1,\n 2] # [", '{ k = "}" }', "true"]
)


@given(
    st.dictionaries(names, st.dictionaries(names, scalars, min_size=1, max_size=4), min_size=1, max_size=4),
    st.sampled_from(["", "# [comment]\n", "\n\n"]),
)
def test_every_key_is_found_on_the_line_where_it_was_written(tables: dict[str, dict[str, str]], between: str) -> None:
    text, expected = "", dict[KeyPath, int]()

    def quote(name: str) -> str:
        return name if name in "abc" else '"' + name.replace('"', '\\"') + '"'

    for table, entries in tables.items():
        text += between
        expected[(table,)] = text.count("\n") + 1
        text += f"[{quote(table)}]\n"
        for key, value in entries.items():
            text += between
            expected[table, key] = text.count("\n") + 1
            text += f"  {quote(key)} = {value}\n"
    data: dict[str, Any] = tomllib.loads(text)
    assert {table: set(entries) for table, entries in data.items()} == {t: set(e) for t, e in tables.items()}
    assert dict(find_key_lines(text).lines) == expected
