"""Declared figures: in the JSON under their key, in the text with their label and unit, without a further place."""

from dataclasses import dataclass

import pytest

from xover.declare import Ask, declared, figure, merged
from xover.errors import OptionError
from xover.plain import to_plain
from xover.units import DB, HZ, by_name


@dataclass(frozen=True)
class Plain:
    title: str
    worst_db: float = figure("largest change", DB, "worst_change_db")
    at_hz: float = figure("where", HZ)
    inside: float = figure("of no reader's concern", DB, None)


@dataclass(frozen=True)
class Shaped:
    title: str
    worst_db: float = figure("largest change", DB, "worst_change_db")

    def plain(self):
        return {"title": self.title}


def test_json_has_each_figure_under_its_key():
    assert to_plain(Plain("a", 0.5, 2000.0, 1.0)) == {"title": "a", "worst_change_db": 0.5, "at_hz": 2000.0}
    assert to_plain(Shaped("a", 0.5)) == {"title": "a", "worst_change_db": 0.5}


def test_figures_are_known_by_their_fields():
    assert [name for name, _ in declared(Plain("a", 0.5, 2000.0, 1.0))] == ["worst_db", "at_hz", "inside"]


@pytest.mark.parametrize(
    ("bounds", "given", "words"),
    [
        ({"low": 0, "high": 6}, "7", "give 0 to 6 dB"),
        ({"low": 0}, "-1 dB", "give 0 dB or more"),
        ({"high": 6}, "7", "give 6 dB or less"),
        ({"above": 0, "high": 6}, "0", "give a value above 0 dB, up to 6 dB"),
        ({"above": 0}, "0", "give a value above 0 dB$"),
    ],
)
def test_bounds_are_told_in_their_unit(bounds, given, words):
    with pytest.raises(OptionError, match=words):
        Ask("", DB, **bounds).value("limit_db", given)
    with pytest.raises(OptionError, match=words):
        Ask("", DB, **bounds).value("limit_db", float(given.split()[0]))


def test_a_name_given_twice_is_refused():
    ask = Ask("", by_name(DB, "CHANNEL"), many=True)
    assert ask.value("gain_db", ["low=1", "high=-2 dB"]) == {"low": 1.0, "high": -2.0}
    with pytest.raises(OptionError, match="gain_db names low twice"):
        ask.value("gain_db", ["low=1", "low=2"])
    assert merged("gain_db", [1.0, 2.0]) == (1.0, 2.0)
