"""The verdict's words and its one hard fact: below the limit is a broken limit."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from xover.amplifier.load import LoadLevel, judge_load, load_level, read_load
from xover.curve import log_grid
from xover.errors import InputError

GRID = log_grid(20, 20000, 3)


def resistor(ohm):
    return read_load(GRID, np.full(GRID.shape, complex(ohm)))


@pytest.mark.parametrize(
    ("ohm", "level", "broken", "words"),
    [
        (6.0, LoadLevel.FITS, False, "lowest impedance 6.00 ohm at 20 Hz: fits an amplifier that allows 4 ohm"),
        (4.0, LoadLevel.FITS, False, "fits"),
        (3.9, LoadLevel.EDGE, True, "within the 20 % dip that IEC 60268-5 lets a speaker of that rating have"),
        (3.2, LoadLevel.EDGE, True, "below the 4 ohm that the amplifier allows"),
        (3.1, LoadLevel.TOO_LOW, True, "too low for an amplifier that allows 4 ohm"),
    ],
)
def test_levels(ohm, level, broken, words):
    verdict = judge_load(resistor(ohm), 4.0)
    assert verdict.level is level
    assert verdict.limit_broken is broken
    assert words in verdict.sentence
    assert verdict.minimum_load_ohm == 4.0


@given(st.floats(0.1, 100.0), st.floats(0.5, 16.0))
def test_limit_is_broken_exactly_when_the_load_is_below_it(ohm, limit):
    verdict = judge_load(resistor(ohm), limit)
    if abs(ohm / limit - 1) > 1e-8:
        assert verdict.limit_broken == (ohm < limit)
    assert verdict.limit_broken == (verdict.level in (LoadLevel.EDGE, LoadLevel.TOO_LOW))


def test_a_limit_met_within_rounding_is_met():
    assert load_level(4.0 * (1 - 1e-12), 4.0) is LoadLevel.FITS
    assert load_level(4.0 * (1 - 1e-6), 4.0) is LoadLevel.EDGE
    assert load_level(0.8 * 7.0, 7.0) is LoadLevel.EDGE


def test_without_an_amplifier_it_says_what_to_add():
    verdict = judge_load(resistor(6.0), None)
    assert verdict.level is LoadLevel.UNKNOWN
    assert not verdict.limit_broken
    assert not verdict.epdr_caution
    assert "lowest impedance 6.00 ohm" in verdict.sentence
    assert "add [amplifier] with minimum_load_ohm to speaker.toml" in verdict.sentence


def test_unknown_load_is_no_pass():
    verdict = judge_load(read_load(GRID, np.full(GRID.shape, complex(math.nan, math.nan))), 4.0)
    assert verdict.level is LoadLevel.UNKNOWN
    assert not verdict.limit_broken
    assert "not known: measure the drivers' impedance" in verdict.sentence
    assert "not known" in verdict.epdr_sentence


def test_a_pass_on_half_a_band_says_so():
    z = np.full(GRID.shape, 6 + 0j)
    z[GRID < 200] = np.nan
    verdict = judge_load(read_load(GRID, z), 4.0)
    assert verdict.level is LoadLevel.FITS
    assert "as far as it is known (252 Hz to 20 kHz)" in verdict.sentence
    z[:] = 6
    z[(GRID > 500) & (GRID < 4000)] = np.nan
    holed = judge_load(read_load(GRID, z), 4.0).sentence
    assert "as far as it is known (20 Hz to 20 kHz, blank from 502 Hz to 3.99 kHz)" in holed
    assert "as far" not in judge_load(resistor(6.0), 4.0).sentence


def test_epdr_is_said_with_its_assumption_and_called_out_when_low():
    """6 ohm at -45 degrees: 6/(2 sqrt 2) = 2.12 ohm, above half of 4 ohm, below half of 6 ohm."""
    load = read_load(GRID, np.full(GRID.shape, 6 * np.exp(-0.25j * np.pi)))
    easy = judge_load(load, 4.0)
    assert not easy.epdr_caution
    assert "resistor of 2.12 ohm" in easy.epdr_sentence
    assert "class B" in easy.epdr_sentence
    assert "class D" in easy.epdr_sentence
    assert "run hot" not in easy.epdr_sentence
    hard = judge_load(load, 6.0)
    assert hard.epdr_caution
    assert "under half of the 6 ohm allowed: a linear amplifier will run hot" in hard.epdr_sentence
    assert hard.level is LoadLevel.FITS


@pytest.mark.parametrize("limit", [0.0, -4.0, math.nan, math.inf])
def test_impossible_limit_is_refused(limit):
    with pytest.raises(InputError, match=rf"minimum_load_ohm is {limit:g}; give ohms above 0"):
        judge_load(resistor(6.0), limit)
