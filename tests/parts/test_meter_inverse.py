"""From readings back to capacitors: the way there and back, and ranges that hold the truth."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.errors import InputError
from xover.parts.capacitor_loss import LossReading, ReadingKind, capacitance_at, fit_readings
from xover.parts.kinds import PartKind
from xover.parts.meter import (
    LossRange,
    LossyCapacitor,
    Meter,
    MeterKind,
    believable,
    constant_current_reading,
    expected_reading,
    farad_from_reading,
    lcr_reading,
    loss_of_kind,
    loss_of_readings,
    rc_reading,
)

MULTIMETER = Meter(MeterKind.CONSTANT_CURRENT)


@settings(max_examples=50)
@given(
    farad=st.floats(1e-7, 1e-4),
    factor=st.floats(0.0, 0.3),
    charge=st.floats(1e-3, 1.0),
    start=st.floats(0.0, 0.6),
    ohm=st.floats(1e3, 1e5),
)
def test_there_and_back(farad, factor, charge, start, ohm):
    part = LossyCapacitor(farad, factor)
    at_5k = float(capacitance_at(5000.0, farad, 1000.0, factor))
    shown = lcr_reading(part, 120.0)
    timing = Meter(MeterKind.RC, resistor_ohm=ohm)
    back = [
        farad_from_reading(shown.series_farad, Meter(MeterKind.LCR, 120.0), factor, [1000.0, 5000.0]),
        farad_from_reading(
            shown.parallel_farad, Meter(MeterKind.LCR_PARALLEL, 120.0), factor, [1000.0, 5000.0], total_df=factor
        ),
        farad_from_reading(
            constant_current_reading(part, charge, start),
            MULTIMETER,
            factor,
            [1000.0, 5000.0],
            charge_s=charge,
            start=start,
        ),
        farad_from_reading(rc_reading(part, ohm), timing, factor, [1000.0, 5000.0]),
    ]
    np.testing.assert_allclose(back, [[farad, at_5k]] * 4, rtol=1e-9)


@settings(max_examples=30)
@given(
    share=st.floats(0.0, 1.0),
    total=st.floats(0.05, 0.2),
    charge=st.floats(1e-3, 1.0),
    start=st.floats(0.0, 0.5),
)
def test_the_range_holds_every_capacitor_that_it_claims_to(share, total, charge, start):
    farad = 6.8e-6
    part = LossyCapacitor(farad, share * total, (1 - share) * total / (2 * math.pi * 1000 * farad))
    loss = loss_of_kind(PartKind.ELECTROLYTIC)
    found = [believable(constant_current_reading(part, charge, start), MULTIMETER, loss)]
    for f in (120.0, 1000.0, 10_000.0):
        shown = lcr_reading(part, f)
        found.append(believable(shown.series_farad, Meter(MeterKind.LCR, f), loss))
        found.append(believable(shown.parallel_farad, Meter(MeterKind.LCR_PARALLEL, f), loss))
    for one in found:
        for f, low, high in zip(one.frequency_hz, one.lowest_farad, one.highest_farad, strict=True):
            # An ohm in series takes R C / t, up to 3 % in the shortest charge; it is left out, and here allowed for.
            slack = 1 + 1.2 * part.fixed_ohm * farad / charge if one is found[0] else 1.0
            assert low * (1 - 1e-9) <= capacitance_at(f, farad, 1000.0, share * total) <= high * slack * (1 + 1e-9)


def test_an_lcr_meter_at_1_khz_leaves_nothing_open_there():
    found = believable(4.77e-6, Meter(MeterKind.LCR), loss_of_kind(PartKind.ELECTROLYTIC))
    assert (found.lowest_farad[0], found.highest_farad[0]) == pytest.approx((4.77e-6, 4.77e-6), rel=1e-12)
    # df 0.2: 1 - a = 0.12567, so at 5 kHz it may have fallen to 5^-0.12567 = 0.8169 of it.
    assert found.lowest_farad[1] == pytest.approx(0.8169 * 4.77e-6, rel=1e-4)
    assert found.highest_farad[1] == pytest.approx(4.77e-6, rel=1e-12)


def test_film_reads_true_on_every_meter():
    for kind in MeterKind:
        found = believable(3.3e-6, Meter(kind), loss_of_kind(PartKind.FILM))
        assert found.lowest_farad[0] == pytest.approx(3.3e-6, rel=0.007)
        assert found.highest_farad[0] == pytest.approx(3.3e-6, rel=0.001)


def test_what_loss_is_believed():
    esr = LossReading(ReadingKind.ESR, 1.7, 1000.0)
    high = LossReading(ReadingKind.DISSIPATION_FACTOR, 0.08, 10_000.0)
    two = loss_of_readings(fit_readings(4.77e-6, [esr, LossReading(ReadingKind.ESR, 0.28, 10_000.0)]), [esr, esr])
    assert two.constant_phase_df == pytest.approx((0.047287, 0.047287), abs=1e-6)
    assert two.total_df == pytest.approx((0.05095, 0.05095), abs=1e-5)
    one = loss_of_readings(fit_readings(4.77e-6, [high]), [high])
    assert one.total_df == pytest.approx((0.008, 0.08))  # all fixed resistance, or all constant angle
    assert one.constant_phase_df == pytest.approx((0.0, 0.08))
    kind = loss_of_kind(PartKind.ELECTROLYTIC)
    assert kind.total_df == (0.05, 0.20)
    assert kind.constant_phase_df == (0.0, 0.20)
    assert "common practice" in kind.because
    corners = kind.corners(10e-6)
    assert [c.dissipation_factor for c in corners] == [0.0, 0.05, 0.0, 0.2]
    assert [c.fixed_ohm for c in corners] == pytest.approx([0.79577, 0.0, 3.18310, 0.0], rel=1e-5)


def test_whether_a_reading_shows_a_drift():
    found = believable(5.41e-6, MULTIMETER, LossRange((0.05, 0.05), (0.0473, 0.0473), "two readings"))
    assert found.against(4.7e-6).startswith("4.7 uF lies in that range")
    assert found.against(3.3e-6) == "3.3 uF lies outside: at 1 kHz the capacitor has at least 25 % more"
    assert found.against(6.8e-6) == "6.8 uF lies outside: at 1 kHz the capacitor has at least 24 % less"
    assert found.reading_over_1khz[0] * found.highest_farad[0] == pytest.approx(5.41e-6, rel=1e-12)
    assert "5.41 uF means 4.13 uF to 5.19 uF at 1 kHz" in found.sentence


def test_expected_readings():
    part = LossyCapacitor(4.77e-6, 0.0473, 0.12)
    low, high = expected_reading(part, MULTIMETER)
    assert 1.03 * 4.77e-6 < low < 5.41e-6 < high < 1.4 * 4.77e-6
    assert expected_reading(part, Meter(MeterKind.LCR)) == pytest.approx((4.77e-6, 4.77e-6))
    assert expected_reading(part, Meter(MeterKind.LCR_PARALLEL))[0] == pytest.approx(
        4.77e-6 / (1 + 0.0509**2), rel=1e-4
    )
    assert expected_reading(LossyCapacitor(1e-6), Meter(MeterKind.RC)) == pytest.approx((1e-6, 1e-6))


def test_bad_input():
    with pytest.raises(InputError, match="not above zero"):
        believable(0.0, MULTIMETER, loss_of_kind(PartKind.FILM))
    with pytest.raises(InputError, match=r"0\.2 to 0\.1"):
        LossRange((0.2, 0.1), (0.0, 0.1), "")
    with pytest.raises(InputError, match="no kind of capacitor"):
        loss_of_kind(PartKind.RESISTOR)
