"""What meters show for lossy capacitors: limits with exact answers, and the function that they rest on."""

import math

import numpy as np
import pytest
from charging import charge_time_s

from xover.errors import InputError
from xover.parts.capacitor_loss import capacitance_at
from xover.parts.meter import (
    LossyCapacitor,
    constant_current_ohm,
    constant_current_reading,
    lcr_reading,
    mittag_leffler,
    rc_reading,
    rc_voltage,
)

IDEAL = LossyCapacitor(4.7e-6)
LOSSY = LossyCapacitor(4.7e-6, 0.05, fixed_ohm=0.2)


def series_of(x, a):
    """E_a(-x) by its defining power series; for x up to 5 good to 1e-12 in doubles."""
    terms = ((-x) ** k / math.gamma(a * k + 1) for k in range(int(160 / a)))
    return math.fsum(terms)


@pytest.mark.parametrize("a", [1.0, 0.99999, 0.97, 0.87, 0.5])
@pytest.mark.parametrize("x", [0.0, 1e-6, 0.02, 0.9, 2.5])
def test_mittag_leffler_is_its_series(a, x):
    assert float(mittag_leffler(x, a)) == pytest.approx(series_of(x, a), rel=1e-10)


def test_mittag_leffler_far_out_goes_as_a_power():
    # Asymptotic: 1/(x Gamma(1-a)) - 1/(x^2 Gamma(1-2a)) ...; the third term is below 1e-5 of the first here.
    a, x = 0.7, 1e4
    two = 1 / (x * math.gamma(1 - a)) - 1 / (x * x * math.gamma(1 - 2 * a))
    assert float(mittag_leffler(x, a)) == pytest.approx(two, rel=1e-6)


@pytest.mark.parametrize("start", [0.0, 0.3])
def test_every_meter_is_right_on_an_ideal_capacitor(start):
    assert constant_current_reading(IDEAL, 0.01, start) == pytest.approx(4.7e-6, rel=1e-12)
    assert rc_reading(IDEAL, 10e3, start, 0.8) == pytest.approx(4.7e-6, rel=1e-12)
    shown = lcr_reading(IDEAL, 120.0)
    assert shown.series_farad == pytest.approx(4.7e-6, rel=1e-12)
    assert shown.parallel_farad == pytest.approx(4.7e-6, rel=1e-12)
    assert shown.dissipation_factor < 1e-12


def test_leakage_and_series_resistance_with_exact_exponentials():
    leaky = LossyCapacitor(1e-6, 0.0, fixed_ohm=100.0, leakage_ohm=50e3)
    t = np.array([1e-3, 20e-3, 200e-3])
    assert constant_current_ohm(leaky, t) == pytest.approx(100 + 50e3 * (1 - np.exp(-t / 0.05)), rel=1e-12)
    # Through 10 kohm: Thevenin of 10.1 kohm and 50 kohm, then the divider of 100 ohm.
    both, final = 1 / (1 / 10.1e3 + 1 / 50e3), 50e3 / 60.1e3
    element = final * (1 - np.exp(-t / (both * 1e-6)))
    assert rc_voltage(leaky, 10e3, t) == pytest.approx(element + (1 - element) * 100 / 10.1e3, rel=1e-12)
    # Charged with a constant current, a resistance in series takes R C / t of the reading away.
    assert constant_current_reading(LossyCapacitor(1e-6, fixed_ohm=100.0), 1e-3) == pytest.approx(1e-6 / 1.1, rel=1e-12)
    # Timed between two voltages it does no harm.
    assert constant_current_reading(LossyCapacitor(1e-6, fixed_ohm=100.0), 1e-3, 0.5) == pytest.approx(1e-6, rel=1e-12)


def test_leakage_reads_high_and_too_much_of_it_never_gets_there():
    tight, leaky = LossyCapacitor(4.7e-6, 0.05), LossyCapacitor(4.7e-6, 0.05, leakage_ohm=100e3)
    assert constant_current_reading(leaky, 0.05) > 1.03 * constant_current_reading(tight, 0.05)
    assert rc_reading(leaky, 10e3) > 1.03 * rc_reading(tight, 10e3)
    assert math.isnan(rc_reading(LossyCapacitor(4.7e-6, leakage_ohm=15e3), 10e3))  # ends at 60 %
    # Leakage that does not matter goes over into none: both formulas meet.
    nearly = LossyCapacitor(4.7e-6, 0.05, leakage_ohm=1e10)
    assert constant_current_reading(nearly, 0.05) == pytest.approx(constant_current_reading(tight, 0.05), rel=1e-5)


def test_lcr_meter_in_both_modes():
    for f in (100.0, 1000.0, 10_000.0):
        shown = lcr_reading(LOSSY, f)
        c = float(capacitance_at(f, 4.7e-6, 1000.0, 0.05))
        assert shown.series_farad == pytest.approx(c, rel=1e-12)
        assert shown.esr_ohm == pytest.approx(0.2 + 0.05 / (2 * math.pi * f * c), rel=1e-12)
        assert shown.parallel_farad == pytest.approx(c / (1 + shown.dissipation_factor**2), rel=1e-12)
        assert shown.q == pytest.approx(1 / shown.dissipation_factor, rel=1e-12)
    assert lcr_reading(LOSSY, 10_000.0).dissipation_factor == pytest.approx(
        0.05 + 0.2 * 2 * math.pi * 1e4 * c, rel=1e-9
    )


def test_slow_meters_read_lossy_capacitors_high():
    """The longer the charge, the lower the frequency that it amounts to, and the larger C is there."""
    reading = [constant_current_reading(LOSSY, t) / 4.7e-6 for t in (1e-3, 1e-2, 1e-1)]
    assert 1.03 < reading[0] < reading[1] < reading[2] < 1.3
    # A decade of time is a decade of frequency: C rises by the same 7.6 % (the series resistance hardly counts).
    assert reading[2] / reading[1] == pytest.approx(1 / 0.9294, rel=2e-4)


def test_charge_time_that_explains_a_reading():
    t = charge_time_s(1.13, 0.05)
    assert constant_current_reading(LossyCapacitor(1e-6, 0.05), t) == pytest.approx(1.13e-6, rel=1e-9)
    assert math.isnan(charge_time_s(1.13, 0.0))


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: LossyCapacitor(0.0), "capacitance of a capacitor is 0"),
        (lambda: LossyCapacitor(1e-6, -0.1), "below zero"),
        (lambda: LossyCapacitor(1e-6, leakage_ohm=0.0), "leakage resistance of a capacitor is 0"),
        (lambda: constant_current_reading(IDEAL, 0.0), "charging time is 0"),
        (lambda: constant_current_reading(IDEAL, 1.0, 1.0), "lower voltage is 1"),
        (lambda: rc_reading(IDEAL, 0.0), "timing resistor is 0"),
        (lambda: rc_reading(IDEAL, 1e3, 0.7, 0.6), "voltages 0.7 and 0.6"),
    ],
)
def test_bad_input(call, message):
    with pytest.raises(InputError, match=message):
        call()
