"""Two capacitors together, and the voltage that one must stand."""

import math

import numpy as np
import pytest

from xover.errors import InputError
from xover.network.parts import Capacitor
from xover.parts.capacitor_pairs import bypass, in_parallel, in_series, voltage_needed


def cap(farad, esr=0.0, df=0.0):
    return Capacitor("C1", "a", "b", farad, esr, df)


def test_without_loss_values_add_at_every_frequency():
    f = np.array([20.0, 1000.0, 20_000.0])
    assert in_parallel(cap(10e-6), cap(3.3e-6), f).farad == pytest.approx([13.3e-6] * 3, rel=1e-12)
    assert in_series(cap(4.7e-6), cap(3.3e-6), f).farad == pytest.approx([1.93875e-6] * 3, rel=1e-12)
    assert np.all(np.abs(in_parallel(cap(10e-6), cap(3.3e-6), f).esr_ohm) < 1e-12)


def test_equal_lossy_parts():
    one = cap(10e-6, 0.3, 0.05)
    f = np.array([100.0, 10_000.0])
    esr = 0.3 + 0.05 / (2 * np.pi * f * 10e-6)
    both = in_parallel(one, one, f)
    assert both.esr_ohm == pytest.approx(esr / 2, rel=1e-12)
    assert both.farad == pytest.approx([20e-6] * 2, rel=1e-12)
    assert both.dissipation_factor == pytest.approx(2 * np.pi * f * 10e-6 * esr, rel=1e-12)
    assert in_series(one, one, f).esr_ohm == pytest.approx(2 * esr, rel=1e-12)


def test_unequal_lossy_parts_dissipate_what_the_pair_does():
    """By power: with one volt across, the pair's heat is the sum of both, |V|^2 Re Y."""
    first, second = cap(10e-6, 1.0, 0.1), cap(0.47e-6, 0.01, 0.001)
    f = np.array([1000.0, 20_000.0])
    w = 2 * np.pi * f
    heat = sum(
        r / (r**2 + (1 / (w * c)) ** 2)
        for c, r in ((10e-6, 1.0 + 0.1 / (w * 10e-6)), (0.47e-6, 0.01 + 0.001 / (w * 0.47e-6)))
    )
    z = in_parallel(first, second, f).impedance_ohm
    assert (1 / z).real == pytest.approx(heat, rel=1e-12)
    assert in_parallel(first, second, f).esr_ohm == pytest.approx(z.real, rel=1e-12)


def test_a_bypass_capacitor_changes_next_to_nothing():
    found = bypass(cap(10e-6, 0.1, 0.05), cap(0.1e-6, 0.0, 0.0005))
    assert found.frequency_hz == (1000.0, 10_000.0, 20_000.0)
    assert found.by_value_db == pytest.approx(20 * math.log10(10 / 10.1), rel=1e-12)
    assert all(-0.1 < change < -0.08 for change in found.change_db)  # one part in a hundred is 0.086 dB
    assert found.alone_ohm[0] == pytest.approx(abs(0.1 + (0.05 - 1j) * 15.91549), rel=1e-6)
    assert all(0.95 * a < b < a for a, b in zip(found.alone_esr_ohm, found.bypassed_esr_ohm, strict=True))
    assert "-0.09 dB" in found.sentence
    assert "no agreed benefit (common practice)" in found.sentence


def test_voltage():
    need = voltage_needed(60.0, 8.0)
    assert need.peak_v == pytest.approx(30.984, abs=1e-3)  # sqrt(2 x 60 x 8)
    assert need.needed_v == pytest.approx(40.279, abs=1e-3)
    assert need.rating_v == 50
    assert voltage_needed(100.0, 8.0).rating_v == 63  # 52.0 V
    assert voltage_needed(60.0, 8.0, magnification=16).rating_v is None  # 644 V
    assert "nothing usual" in voltage_needed(60.0, 8.0, magnification=16).sentence
    assert voltage_needed(50.0, 4.0, margin=1.0).needed_v == pytest.approx(20.0)
    assert need.sentence == "21.9 V rms is 31 V peak: with a margin of 30 % 40.3 V, take 50 V"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [((0.0, 8.0), "rated power is 0"), ((60.0, -4.0), "rated load is -4"), ((60.0, 8.0, 0.9), "margin is 0.9")],
)
def test_bad_voltage(arguments, message):
    with pytest.raises(InputError, match=message):
        voltage_needed(*arguments)
