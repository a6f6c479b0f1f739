"""Protection capacitor, what the network also did, fitness and watts, against formulas worked out here."""

import math

import numpy as np
import pytest

from xover.amplifier.programme import heat_w
from xover.curve import log_grid
from xover.electronic.biquad import Band, BandKind, high_pass, low_pass, parse_slope, response
from xover.search.equaliser import fit_equaliser
from xover.studies.change.bypass.capacitor import choose_capacitor, transfer_of
from xover.studies.change.bypass.crossover import least_ratio
from xover.studies.change.bypass.fitness import BandFit, _judge_ka, _judge_resonance
from xover.studies.change.bypass.twin import read_missing

F = log_grid(20.0, 20e3, 24)
RATE = 48000.0


def resistor(f):
    return np.full(np.shape(f), 8.0, dtype=complex)


def motional(f):
    """8 ohm and a resonance of 20 ohm, Q 3, at 800 Hz."""
    x = f / 800.0
    return 8.0 + 20.0 / (1.0 + 3.0j * (x - 1.0 / x))


def choose(impedance, corner=2000.0, volts=20.0):
    slope = high_pass(parse_slope("LR4"), corner, F, RATE)
    return choose_capacitor("tweeter", F, impedance, corner, slope, volts, RATE)


def test_a_capacitor_into_a_resistor_is_a_first_order_high_pass():
    found = choose(resistor)
    # 1 dB at 2 kHz into 8 ohm needs w R C = 1.965, 19.5 uF: the next in E6 is 22 uF.
    assert found.chosen.farad == 22e-6
    x = 2 * math.pi * 2000.0 * 8.0 * 22e-6
    assert found.chosen.at_corner_db == pytest.approx(-10 * math.log10(1 + 1 / x**2), rel=1e-9)
    assert found.chosen.at_corner_deg == pytest.approx(math.degrees(math.atan(1 / x)), rel=1e-9)
    assert found.chosen.above_db == pytest.approx(-found.chosen.at_corner_db, rel=1e-9)
    assert found.chosen.corner_hz == pytest.approx(1 / (2 * math.pi * 8.0 * 22e-6), rel=1e-3)
    y = 2 * math.pi * 50.0 * 8.0 * 22e-6
    assert found.chosen.mains_db == pytest.approx(-10 * math.log10(1 + 1 / y**2), rel=1e-6)
    assert math.isnan(found.chosen.bump_hz)  # nothing for it to ring with
    assert [e.farad for e in found.beside] == [15e-6, 22e-6, 33e-6]
    # All of the amplifier's volts stand on it at low frequencies: 20 V and 30 % of margin.
    assert found.volts_peak == pytest.approx(26.0, rel=1e-2)
    assert found.usual_volts == 50.0
    assert found.met


def test_it_rings_with_the_motional_resonance():
    e = choose(motional).chosen
    fine = np.geomspace(100.0, 1900.0, 20001)
    z = motional(fine)
    level = 20 * np.log10(np.abs(z / (z + 1 / (2j * np.pi * fine * e.farad))))
    top = int(np.argmax(level[fine < 1500.0]))
    assert e.bump_db == pytest.approx(level[top], abs=1e-4)
    assert e.bump_hz == pytest.approx(fine[top], rel=1e-3)
    r = abs(motional(2000.0))
    y = 2 * math.pi * e.bump_hz * r * e.farad
    assert e.bump_over_db == pytest.approx(level[top] + 10 * math.log10(1 + 1 / y**2), abs=1e-3)
    assert e.bump_over_db > 3.0


def test_the_correction_undoes_it_where_the_slope_lets_sound_through():
    found = choose(motional)
    done = found.transfer * response(found.bands, F, RATE) * 10 ** (found.gain_db / 20)
    heard = F >= 2000.0
    assert 1 <= len(found.bands) <= 2
    assert np.max(np.abs(20 * np.log10(np.abs(done[heard])))) < 0.45
    assert np.max(np.abs(np.degrees(np.angle(done[heard])))) < 8.0
    assert found.left_db < 0.45


def test_no_capacitor_without_an_impedance_and_none_large_enough():
    assert choose(lambda f: np.full(np.shape(f), np.nan, dtype=complex)) is None
    low = choose(resistor, corner=40.0)
    assert (low.met, low.chosen.farad) == (False, 330e-6)
    np.testing.assert_allclose(transfer_of(1e-6, np.array([1e3]), np.array([0j])), 0.0)


def test_a_pad_and_a_notch_are_told_in_words():
    slope = high_pass(parse_slope("LR4"), 2000.0, F, RATE)
    weight = np.minimum(np.abs(slope), 1.0)
    notch = response([Band(BandKind.PEAKING, 6000.0, -5.0, 2.5)], F, RATE)
    found = read_missing(F, 0.5 * slope * notch, slope, weight, None, RATE)
    assert found.gain_db == pytest.approx(20 * math.log10(0.5), abs=0.3)
    (band,) = found.bands
    assert band.frequency_hz == pytest.approx(6000.0, rel=0.03)
    assert band.gain_db == pytest.approx(-5.0, abs=0.7)  # every decibel of a band has its price
    assert band.q == pytest.approx(2.5, rel=0.25)
    assert [w.split(" of ")[0] for w in found.words] == ["padded down by 6.0 dB", "a notch"]
    assert found.worst_db < 0.5 < found.before_db
    alike = read_missing(F, slope, slope, weight, None, RATE)
    assert (alike.bands, alike.words) == ((), ())
    assert alike.gain_db == pytest.approx(0.0, abs=1e-9)


def test_a_baffle_step_is_told_as_what_it_is():
    slope = low_pass(parse_slope("LR4"), 2500.0, F, RATE)
    step = response([Band(BandKind.HIGH_SHELF, 400.0, -4.0, 0.6)], F, RATE)
    found = read_missing(F, slope * step, slope, np.ones(F.size), 2500.0, RATE)
    assert len(found.words) == 1
    assert found.words[0].startswith("held the bass 3.")
    assert found.words[0].endswith("baffle-step correction")
    unknown = read_missing(F, np.full(F.size, np.nan + 0j), slope, np.ones(F.size), 2500.0, RATE)
    assert math.isnan(unknown.gain_db)
    assert unknown.words == ()


def test_an_equaliser_stays_within_its_limits_and_says_what_it_leaves():
    wanted = 30.0 * np.exp(-((np.log2(F / 1000.0) / 0.05) ** 2))
    found = fit_equaliser(F, wanted, np.ones(F.size), 2, RATE)
    assert all(b.gain_db <= 6.0 and (b.q or 0) <= 4.0 + 1e-9 for b in found.bands)
    left = wanted - found.gain_db - 20 * np.log10(np.abs(response(found.bands, F, RATE)))
    assert found.worst_db == pytest.approx(np.max(np.abs(left)), rel=1e-6)
    assert math.isnan(fit_equaliser(F, wanted, np.zeros(F.size), 2, RATE).gain_db)


def test_a_driver_is_judged_by_its_figures():
    assert [_judge_resonance(r, 2.0) for r in (3.0, 2.0, 1.9, 0.9, math.nan)] == [
        BandFit.FITS,
        BandFit.FITS,
        BandFit.MARGINAL,
        BandFit.POOR,
        BandFit.UNKNOWN,
    ]
    assert [_judge_ka(k) for k in (1.0, 2.5, 4.0, math.nan)] == [
        BandFit.FITS,
        BandFit.MARGINAL,
        BandFit.POOR,
        BandFit.UNKNOWN,
    ]
    assert (least_ratio(1), least_ratio(2), least_ratio(4)) == (4.0, 2.0, 2.0)


def test_heat_is_voltage_squared_times_conductance():
    z = np.array([8.0 + 0j, 6.0 + 8.0j, np.nan])
    watts, known = heat_w(np.array([0.25, 0.25, 0.5]), np.array([1.0, 2.0, 3.0]), z)
    assert watts == pytest.approx(0.25 / 8.0 + 0.25 * 4.0 * 6.0 / 100.0)
    assert known == pytest.approx(0.5)
    assert math.isnan(heat_w(np.ones(3), np.ones(3), np.full(3, np.nan, dtype=complex))[0])
