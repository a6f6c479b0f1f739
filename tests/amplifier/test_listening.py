"""Watts for a listening level, by hand and by the laws of level and distance."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from xover.amplifier.demand import ASSUMPTION, Supply, read_listening, voltage_for_level
from xover.errors import InputError


def need(**changes):
    given_values = {
        "level_db": 86.0,
        "distance_m": 2.5,
        "headroom_db": 12.0,
        "sensitivity_db": 88.0,
        "minimum_ohm": 4.0,
        "rated_power_w": 60.0,
        "rated_load_ohm": 8.0,
    }
    return read_listening(**(given_values | changes))


def test_worked_by_hand():
    """86 + 12 - 88 = 10 dB, and 2.5 m: 2.83 x 3.16228 x 2.5 = 22.373 V; 62.57 W in 8, 125.1 W in 4 ohm."""
    got = need()
    assert got.voltage_rms_v == pytest.approx(22.3731, abs=1e-3)
    assert got.voltage_peak_v == pytest.approx(31.6404, abs=1e-3)
    assert got.power_into_rated_w == pytest.approx(62.569, abs=1e-2)
    assert got.power_into_minimum_w == pytest.approx(125.139, abs=1e-2)
    assert got.average_power_into_rated_w == pytest.approx(62.569 / 10**1.2, abs=1e-3)
    assert got.margin_db == pytest.approx(10 * math.log10(60 / 62.5695), abs=1e-4)
    assert got.highest_level_db == pytest.approx(86 - 0.1821, abs=1e-3)
    assert got.supply is Supply.SHORT
    assert "0.2 dB short and clips on peaks" in got.sentence
    assert "22.4 V" in got.sentence


@pytest.mark.parametrize(
    ("power", "supply", "words"),
    [
        (62.5, Supply.SHORT, "0.0 dB short"),
        (63.0, Supply.ENOUGH, "0.0 dB to spare, enough"),
        (124.0, Supply.ENOUGH, "3.0 dB to spare, enough"),
        (126.0, Supply.AMPLE, "3.0 dB to spare, ample"),
    ],
)
def test_words_change_where_they_say(power, supply, words):
    """62.57 W are needed: enough from there, ample from 3 dB more (124.84 W)."""
    got = need(rated_power_w=power)
    assert got.supply is supply
    assert words in got.sentence


def test_without_rating_it_says_what_to_add():
    got = need(rated_power_w=None)
    assert got.supply is Supply.UNKNOWN
    assert got.margin_db is None
    assert got.highest_level_db is None
    assert got.power_into_rated_w == pytest.approx(62.569, abs=1e-2)
    assert "add rated_power_w and rated_load_ohm under [amplifier]" in got.sentence
    nothing = need(rated_power_w=None, rated_load_ohm=None)
    assert nothing.power_into_rated_w is None
    assert nothing.average_power_into_rated_w is None
    assert nothing.voltage_rms_v == pytest.approx(22.3731, abs=1e-3)


def test_unknown_and_zero_minimum():
    assert math.isnan(need(minimum_ohm=math.nan).power_into_minimum_w)
    assert need(minimum_ohm=0.0).power_into_minimum_w == math.inf


def test_assumption_is_stated():
    assert "free field" in need().assumption
    assert "one loudspeaker" in ASSUMPTION
    assert "common practice" in ASSUMPTION


@given(st.floats(40, 120), st.floats(70, 110), st.floats(0.1, 50))
def test_doubling_the_distance_takes_twice_the_volts(level, sensitivity, distance):
    one = voltage_for_level(level, sensitivity, distance)
    assert one > 0
    assert voltage_for_level(level, sensitivity, 2 * distance) == pytest.approx(2 * one)


@given(st.floats(60, 110), st.floats(0, 30), st.floats(0.1, 30))
def test_level_and_headroom_count_alike(level, headroom, extra):
    moved = need(level_db=level + extra, headroom_db=headroom).voltage_rms_v
    assert moved == pytest.approx(need(level_db=level, headroom_db=headroom + extra).voltage_rms_v)
    assert moved > need(level_db=level, headroom_db=headroom).voltage_rms_v


@given(st.floats(60, 110), st.floats(1, 500))
def test_highest_level_uses_the_rated_power_exactly(level, power):
    """Ask again at the level that it calls the highest: the margin must be gone."""
    top = need(level_db=level, rated_power_w=power).highest_level_db
    again = need(level_db=top, rated_power_w=power)
    assert again.margin_db == pytest.approx(0.0, abs=1e-9)
    assert again.power_into_rated_w == pytest.approx(power)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"distance_m": 0.0}, "distance_m is 0; give metres above 0"),
        ({"distance_m": math.nan}, "distance_m is nan"),
        ({"headroom_db": -1.0}, "headroom_db is -1; give 0 or more"),
        ({"headroom_db": math.inf}, "headroom_db is inf"),
        ({"level_db": math.nan}, "level_db is nan; give a level in dB"),
        ({"sensitivity_db": math.inf}, "sensitivity_db is inf"),
        ({"minimum_ohm": -4.0}, "lowest impedance is -4 ohm; give the modulus"),
        ({"rated_power_w": 0.0}, "rated_power_w is 0"),
    ],
)
def test_impossible_figures_are_refused(changes, words):
    with pytest.raises(InputError, match=words):
        need(**changes)
