"""Level controls as fixed resistors, and where a control stands from two readings."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.errors import InputError
from xover.parts.pad import WORDS, ControlKind, PadResistors, fixed_equivalent, measured_setting, textbook_pad

RHEOSTAT, POT, L_PAD = ControlKind.RHEOSTAT, ControlKind.POTENTIOMETER, ControlKind.L_PAD


def test_by_hand():
    assert fixed_equivalent(RHEOSTAT, 16.0, 0.4) == PadResistors(6.4, math.inf)
    assert fixed_equivalent(POT, 16.0, 0.25) == PadResistors(12.0, 4.0)
    half = fixed_equivalent(L_PAD, 8.0, 0.5)  # K = 2: Rs = 4, Rp = 8
    assert (half.series_ohm, half.parallel_ohm) == pytest.approx((4.0, 8.0))
    assert set(WORDS) == set(ControlKind)


def test_an_l_pad_is_the_textbook_pad_at_every_setting():
    for db in (1.0, 6.0, 20.0):
        book, pad = textbook_pad(8.0, db), fixed_equivalent(L_PAD, 8.0, 10 ** (-db / 20))
        assert (pad.series_ohm, pad.parallel_ohm) == pytest.approx((book.series_ohm, book.parallel_ohm), rel=1e-12)


def test_the_ends():
    assert fixed_equivalent(RHEOSTAT, 16.0, 0.0) == PadResistors(0.0, math.inf)
    assert fixed_equivalent(POT, 16.0, 1.0) == PadResistors(0.0, 16.0)
    assert fixed_equivalent(POT, 16.0, 0.0) == PadResistors(16.0, 0.0)
    assert fixed_equivalent(L_PAD, 8.0, 1.0) == PadResistors(0.0, math.inf)
    assert fixed_equivalent(L_PAD, 8.0, 0.0) == PadResistors(8.0, 0.0)


@settings(max_examples=50)
@given(kind=st.sampled_from([POT, L_PAD]), track=st.floats(1.0, 500.0), setting=st.floats(0.001, 0.999))
def test_two_readings_give_the_setting_back(kind, track, setting):
    pad = fixed_equivalent(kind, track, setting)
    found = measured_setting(kind, pad.series_ohm, pad.parallel_ohm)
    assert found == pytest.approx((track, setting), rel=1e-9)


def test_readings_by_hand():
    assert measured_setting(RHEOSTAT, 4.0, 16.0) == (16.0, 0.25)
    assert measured_setting(POT, 12.0, 4.0) == (16.0, 0.25)
    assert measured_setting(L_PAD, 4.0, 8.0) == pytest.approx((8.0, 0.5))
    assert measured_setting(L_PAD, 8.0, 0.0) == (8.0, 0.0)
    track, setting = measured_setting(L_PAD, 0.0, math.inf)
    assert math.isnan(track)
    assert setting == 1.0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: fixed_equivalent(POT, 0.0, 0.5), "track is 0 ohm"),
        (lambda: fixed_equivalent(POT, 16.0, 1.5), "setting is 1.5"),
        (lambda: measured_setting(RHEOSTAT, 17.0, 16.0), "17 ohm in series is more than the whole track's 16 ohm"),
        (lambda: measured_setting(POT, -1.0, 16.0), "-1 and 16 ohm"),
        (lambda: measured_setting(POT, 0.0, 0.0), "0 and 0 ohm"),
        (lambda: measured_setting(POT, 4.0, math.inf), "reads open"),
        (lambda: measured_setting(L_PAD, 4.0, math.inf), "no setting of an L-pad"),
    ],
)
def test_bad_input(call, message):
    with pytest.raises(InputError, match=message):
        call()
