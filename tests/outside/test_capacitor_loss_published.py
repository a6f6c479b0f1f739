"""Capacitor loss and meters against published numbers, a network of plain resistors and capacitors, and ngspice."""

import math

import numpy as np
import pytest
from charging import charge_time_s
from ngspice_judge import require_ngspice, run

from xover.parts.capacitor_loss import (
    LossReading,
    ReadingKind,
    capacitance_at,
    esr_from_df,
    fall_per_decade,
    fit_readings,
)
from xover.parts.capacitor_pairs import voltage_needed
from xover.parts.meter import (
    TO_63_PERCENT,
    LossyCapacitor,
    constant_current_ohm,
    constant_current_reading,
    mittag_leffler,
    rc_reading,
    rc_voltage,
)


@pytest.mark.parametrize(
    ("df", "farad", "hz", "milliohm"),
    [
        (0.0005, 10e-6, 1000, 7.95775),
        (0.001, 10e-6, 1000, 15.91549),
        (0.05, 47e-6, 1000, 169.31377),
        (0.1, 100e-6, 100, 1591.54943),
    ],
)
def test_esr_of_a_dissipation_factor(df, farad, hz, milliohm):
    """Derived from the definition tan d = ESR/|Xc|."""
    assert esr_from_df(df, hz, farad) * 1000 == pytest.approx(milliohm, abs=6e-6)


@pytest.mark.parametrize(
    ("farad", "ohms"), [(4.7e-6, (1.69, 0.56, 0.17)), (10e-6, (0.80, 0.27, 0.08))], ids=["4.7 uF", "10 uF"]
)
def test_esr_of_5_percent_at_1_3_and_10_khz(farad, ohms):
    """Figures of the trade, computed from first principles and printed with two decimals."""
    assert esr_from_df(0.05, np.array([1e3, 3e3, 1e4]), farad) == pytest.approx(ohms, abs=0.0051)


def test_a_measured_new_non_polar_capacitor():
    """Published readings of one 4.7 uF part: 1.7 ohm and 4.77 uF at 1 kHz, 0.28 ohm and 4.50 uF at 10 kHz.

    Its fall of 5.7 % a decade was measured; ours follows from the two resistances alone, which are printed with two
    digits. A constant loss angle meets it within a fifth, as good as the model is for a real part.
    """
    loss = fit_readings(4.77e-6, [LossReading(ReadingKind.ESR, 1.7, 1e3), LossReading(ReadingKind.ESR, 0.28, 1e4)])
    measured = 1 - 4.50 / 4.77
    assert fall_per_decade(loss.dissipation_factor) == pytest.approx(measured, rel=0.2)
    assert capacitance_at(1e4, 4.77e-6, 1e3, loss.dissipation_factor) == pytest.approx(4.50e-6, rel=0.015)


def test_a_multimeter_that_read_13_percent_high():
    """The same part read 5.41 uF on a multimeter whose principle is not told: plausible, no more.

    Constant current for 16 ms explains it with the loss from two resistances, 37 ms with the fall that was
    measured: both are times that such meters take.
    """
    loss = fit_readings(4.77e-6, [LossReading(ReadingKind.ESR, 1.7, 1e3), LossReading(ReadingKind.ESR, 0.28, 1e4)])
    time = charge_time_s(5.41 / 4.77, loss.dissipation_factor)
    # By hand: n = 0.030081; Gamma(2-n) sin(a pi/2) = 0.98668; (5.41/4.77/0.98668)^(1/n) / (2 pi 1000) = 16.4 ms.
    assert time == pytest.approx(0.0164, rel=0.01)
    assert constant_current_reading(LossyCapacitor(4.77e-6, loss.dissipation_factor), time) == pytest.approx(5.41e-6)
    from_the_fall = math.tan(math.pi / 2 * -math.log10(4.50 / 4.77))
    assert 0.02 < charge_time_s(5.41 / 4.77, from_the_fall) < 0.06


@pytest.mark.parametrize(("watts", "rms", "peak"), [(50, 20, 28), (100, 28, 40), (200, 40, 57)])
def test_amplifier_volts_into_8_ohm(watts, rms, peak):
    """Figures of the trade, printed as whole volts."""
    need = voltage_needed(watts, 8)
    assert need.rms_v == pytest.approx(rms, abs=0.51)
    assert need.peak_v == pytest.approx(peak, abs=0.51)


@pytest.mark.parametrize("x", [0.01, 0.5, 2.0, 10.0])
def test_mittag_leffler_of_one_half(x):
    """E_1/2(-x) = exp(x^2) erfc(x) (Erdelyi 1955, from memory), as scipy computes it."""
    from scipy.special import erfcx

    assert float(mittag_leffler(x, 0.5)) == pytest.approx(float(erfcx(x)), rel=1e-11)


def ladder(capacitor, per_decade=3, decades=(-3, 10)):
    """A capacitor of constant loss angle from plain parts: a capacitor, a resistor and R-C branches side by side.

    s^a = sin(a pi)/pi times the integral of r^(a-1) s/(s+r) over r (derived): a branch at each r, spaced evenly in
    log r; what lies above the highest r is a plain capacitor, below the lowest a plain resistor.

    Returns (farad, ohm, branch ohms, branch farads).
    """
    a, n = capacitor.exponent, 1 - capacitor.exponent
    step = math.log(10) / per_decade
    r = np.exp(np.arange(math.log(10) * decades[0] + step / 2, math.log(10) * decades[1], step))
    scale = capacitor.constant * math.sin(a * math.pi) / math.pi
    conductance = scale * r**a * step
    farad = scale * (r[-1] * math.exp(step / 2)) ** -n / n
    ohm = a / (scale * (r[0] * math.exp(-step / 2)) ** a)
    return float(farad), float(ohm), (1 / conductance).tolist(), (conductance / r).tolist()


def test_causal_plain_parts_lose_capacitance_as_the_law_says():
    """A network of resistors and capacitors is causal: with a constant loss angle its capacitance falls as told."""
    part = LossyCapacitor(4.7e-6, 0.05)
    farad, ohm, branch_ohm, branch_farad = ladder(part)
    f = np.array([100.0, 1000.0, 10_000.0])
    s = 2j * np.pi * f
    z = 1 / (s * farad + 1 / ohm + sum(1 / (r + 1 / (s * c)) for r, c in zip(branch_ohm, branch_farad, strict=True)))
    assert -z.real / z.imag == pytest.approx([0.05] * 3, rel=1e-4)
    series = -1 / (s.imag * z.imag)
    assert series[1] == pytest.approx(4.7e-6, rel=1e-4)
    assert series / series[1] == pytest.approx(capacitance_at(f, 1.0, 1000.0, 0.05), rel=1e-5)
    assert series[2] / series[1] == pytest.approx(0.9294, abs=1e-4)


@pytest.mark.outside
def test_charging_as_ngspice_sees_it(tmp_path):
    """Both ways of charging, the capacitor built from plain parts, its leakage and series resistance beside it."""
    require_ngspice()
    part = LossyCapacitor(4.7e-6, 0.08, fixed_ohm=300.0, leakage_ohm=50e3)
    farad, ohm, branch_ohm, branch_farad = ladder(part)
    cards = [".options reltol=1e-6 abstol=1e-15 vntol=1e-12", "Icharge 0 i DC 1m", "Vsource s 0 DC 1", "Rtime s v 10k"]
    for end in ("i", "v"):
        cards += [f"Rs{end} {end} {end}x 300", f"Rl{end} {end}x 0 50k"]
        cards += [f"Rp{end} {end}x 0 {ohm!r}", f"C0{end} {end}x 0 {farad!r} ic=0"]
        for k, (r, c) in enumerate(zip(branch_ohm, branch_farad, strict=True)):
            cards += [f"R{end}{k} {end}x {end}{k} {r!r}", f"C{end}{k} {end}{k} 0 {c!r} ic=0"]
    run(cards, ["set wr_singlescale", "tran 50u 150m 0 50u uic", "wrdata result v(i) v(v)"], tmp_path)
    t, by_current, by_voltage = np.loadtxt(tmp_path / "result").T
    seen = t > 2e-4
    assert t[-1] == pytest.approx(0.15, rel=1e-3)
    np.testing.assert_allclose(constant_current_ohm(part, t[seen]), by_current[seen] / 1e-3, rtol=2e-4)
    np.testing.assert_allclose(rc_voltage(part, 10e3, t[seen]), by_voltage[seen], rtol=2e-4)
    time = float(np.interp(TO_63_PERCENT, by_voltage, t))
    assert rc_reading(part, 10e3) == pytest.approx(time / 10e3, rel=2e-4)
    assert time / 10e3 > 1.2 * part.farad
