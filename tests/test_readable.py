"""Results in few words."""

import ast
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from xml.etree import ElementTree

import numpy as np

import xover
from xover.readable import MOST_LETTERS, MOST_ROWS, Readable

STUDIES = sorted((Path(xover.__file__).parent / "studies").rglob("*.py"))
HOSTILE = "<script>alert('a')</script>\x1b[31m\u202e\r\n\"&amp;" + "x" * 10_000


class Colour(StrEnum):
    RED = "red"


@dataclass(frozen=True, repr=False)
class Inner(Readable):
    name: str
    minimum_ohm: float
    curve: np.ndarray


@dataclass(frozen=True, eq=False, repr=False)
class Result(Readable):
    title: str
    headline: str
    frequency_hz: np.ndarray
    inductance_h: float
    capacitance_f: float
    level_db: float
    delay_s: float
    unknown_w: float
    fits: bool
    colour: Colour
    response: np.ndarray
    inner: Inner
    parts: tuple
    limits_ohm: dict
    note: str = ""
    warnings: tuple = ()
    absent: object = None


def result(**changed):
    curve = np.array([1.0, np.nan, 3.0])
    given = {
        "title": "A speaker",
        "headline": "It fits",
        "frequency_hz": np.geomspace(20.0, 20e3, 240),
        "inductance_h": 1.8e-3,
        "capacitance_f": 4.7e-6,
        "level_db": -3.25,
        "delay_s": 1.5e-4,
        "unknown_w": np.nan,
        "fits": True,
        "colour": Colour.RED,
        "response": np.array([3 + 4j, 1j]),
        "inner": Inner("woofer", 5.6, curve),
        "parts": (Inner("C1", 1.0, curve), Inner("L1", 2.0, curve)),
        "limits_ohm": {"low": 4.0, "high": 8.0},
    }
    return Result(**(given | changed))


def rows(shown):
    return dict(line.split(maxsplit=1) for line in repr(shown).splitlines()[1:])


def test_units_come_from_the_names():
    shown = rows(result())
    assert shown["inductance_h"] == "1.8 mH"
    assert shown["capacitance_f"] == "4.7 uF"
    assert shown["level_db"] == "-3.25 dB"
    assert shown["delay_s"] == "0.00015 s"
    assert shown["unknown_w"] == "not known"
    assert shown["fits"] == "yes"
    assert shown["colour"] == "red"
    assert shown["frequency_hz"] == "240 values from 20 Hz to 20 kHz"


def test_what_has_parts_of_its_own_is_told_in_a_line():
    shown = rows(result(delay_s=None, unknown_w=None, level_db=None))
    assert shown["inner"] == "Inner woofer: minimum_ohm 5.6 ohm"
    assert shown["response"] == "2 complex values from 1 to 5"
    assert shown["parts"] == "2 Inner: C1, L1"
    assert shown["limits_ohm"] == "low 4 ohm, high 8 ohm"
    assert shown["none"] == "level_db, delay_s, unknown_w, note, warnings, absent"
    assert repr(result().inner).splitlines()[0] == "Inner: woofer"
    assert rows(result().inner)["curve"] == "3 values from 1 to 3, 1 not known"


def test_the_answer_comes_first_and_what_has_no_room_is_named():
    lines = repr(result()).splitlines()
    assert lines[0] == "Result: A speaker"
    assert lines[1].split(maxsplit=1) == ["headline", "It fits"]
    assert len(lines) == 1 + MOST_ROWS + 2
    told = {line.split()[0] for line in lines[1:-2]} | {"title"}
    left = {name for line in lines[-2:] for name in line.split(maxsplit=1)[1].split(", ")}
    assert told | left == set(Result.__dataclass_fields__)


def test_hostile_text_is_text():
    bad = result(title=HOSTILE, headline=HOSTILE, inner=Inner(HOSTILE, 1.0, np.ones(2)), limits_ohm={HOSTILE: 1.0})
    text = repr(bad)
    assert "alert" in text
    assert all(c.isprintable() or c == "\n" for c in text)
    assert max(map(len, text.splitlines())) < MOST_LETTERS + 30
    page = bad._repr_html_()
    assert "alert" in page
    assert "<script" not in page
    assert "\x1b" not in page
    assert "\u202e" not in page
    table = ElementTree.fromstring(page)  # each "<" of the text is escaped, so it parses
    assert table.tag == "table"
    assert {e.tag for e in table.iter()} == {"table", "caption", "tr", "th", "td"}


def test_a_notebook_gets_the_same_words():
    table = ElementTree.fromstring(result()._repr_html_())
    cells = {tr.findtext("th"): tr.findtext("td") for tr in table.iter("tr")}
    assert cells == rows(result())
    assert table.findtext("caption") == "Result: A speaker"


def test_fields_and_their_order_are_untouched():
    assert list(Inner.__dataclass_fields__) == ["name", "minimum_ohm", "curve"]
    assert Inner("a", 1.0, np.ones(1)).name == "a"
    assert not vars(Readable).get("__dataclass_fields__")


def test_every_result_with_a_title_is_readable():
    found = 0
    for node in (n for path in STUDIES for n in ast.walk(ast.parse(path.read_text(encoding="utf-8")))):
        if not isinstance(node, ast.ClassDef) or "dataclass" not in "".join(map(ast.unparse, node.decorator_list)):
            continue
        fields = {n.target.id for n in node.body if isinstance(n, ast.AnnAssign)}
        if {"title", "warnings"} <= fields:
            found += 1
            assert [ast.unparse(b) for b in node.bases] in (["Readable"], ["Warned"]), node.name
            assert "repr=False" in ast.unparse(node.decorator_list[0]), node.name
    assert found > 15
