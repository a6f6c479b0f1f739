"""Stress on parts: closed forms of small networks, and what must hold for every network.

All expected values are derived here from Ohm's law and the share of the programme on the grid.
"""

import math
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.amplifier.programme import Spectrum, power_below, programme_weights, share_outside
from xover.amplifier.stress import ElementKind, element_power_w, read_stress
from xover.curve import log_grid
from xover.errors import InputError
from xover.files.netlist import parse_netlist
from xover.network import build_network, solve

sys.path.insert(0, str(Path(__file__).parents[1] / "network"))
from random_networks import random_network

GRID = log_grid(20.0, 20_000.0, 24)
INSIDE = 1.0 - share_outside(GRID)


def stress_of(cards, drivers, rms_v=8.0, crest=4.0, grid=GRID, spectrum=Spectrum.PROGRAMME, fine=True):
    network = build_network(parse_netlist("* invented\n" + cards))

    def at(f):
        return solve(network, f, {name: np.full(f.size, z + 0j) for name, z in drivers.items()})

    volts = rms_v if isinstance(rms_v, dict) else {c.name: rms_v for c in network.channels}
    return read_stress(at(grid), volts, crest, spectrum, at if fine else None)


def test_resistors_alone():
    """2 ohm and 6 ohm in series at 8 V rms: 1 A, 2 W and 6 W, on what the grid holds of the programme."""
    s = stress_of("R1 in a 2\nXlow a 0 woofer\n", {"woofer": 6.0})
    r, d = s.of("R1"), s.of("woofer")
    assert (r.kind, d.kind) == (ElementKind.RESISTOR, ElementKind.DRIVER)
    assert r.power_w == pytest.approx(2.0 * INSIDE, rel=1e-12)
    assert d.power_w == pytest.approx(6.0 * INSIDE, rel=1e-12)
    assert (r.power_share, d.power_share) == (pytest.approx(0.25), pytest.approx(0.75))
    assert s.power_w == pytest.approx(8.0 * INSIDE, rel=1e-12)
    assert s.drawn_w == pytest.approx(8.0 * INSIDE, rel=1e-12)
    assert r.voltage_rms_v == pytest.approx(2.0 * math.sqrt(INSIDE), rel=1e-12)
    assert r.current_rms_a == pytest.approx(math.sqrt(INSIDE), rel=1e-12)
    assert d.crest_voltage_peak_v == pytest.approx(24.0 * math.sqrt(INSIDE), rel=1e-12)
    assert d.crest_current_peak_a == pytest.approx(4.0 * math.sqrt(INSIDE), rel=1e-12)
    # A sine as high as the peak of 32 V: 4 A peak, 2.83 A rms.
    assert r.sine_voltage_peak_v == pytest.approx(8.0, rel=1e-12)
    assert d.sine_current_peak_a == pytest.approx(4.0, rel=1e-12)
    assert r.sine_power_w == pytest.approx(16.0, rel=1e-12)
    assert r.known_share == s.drawn_known_share == pytest.approx(INSIDE, rel=1e-12)
    assert r.bounded
    # The share of each third octave is that of table II: 630 Hz, at 0 dB, has 1/18.02 of the power (12.56 dB).
    assert r.band_power_w[15] == pytest.approx(2.0 / 18.02, rel=1e-3)
    assert r.band_power_w.sum() == pytest.approx(r.power_w, rel=1e-12)


def test_a_capacitor_in_front_of_a_driver():
    """First order high-pass, 8 ohm at 2 kHz, pink noise: watts = V^2/R of the mean of x^2/(1+x^2) over ln f.

    The integral of x^2/(1+x^2) dx/x is ln(1+x^2)/2.
    """
    farad = 1 / (2 * math.pi * 2000 * 8)
    s = stress_of(f"C1 in a {farad!r}\nXhigh a 0 tweeter\n", {"tweeter": 8.0}, spectrum=Spectrum.PINK)
    mean = 0.5 * math.log((1 + 10.0**2) / (1 + 0.01**2)) / math.log(1000)
    assert s.of("tweeter").power_w == pytest.approx(8.0 * mean, rel=2e-4)
    c = s.of("C1")
    assert c.power_w == 0.0
    assert c.power_share == 0.0
    assert c.voltage_rms_v == pytest.approx(8.0 * math.sqrt(1 - mean), rel=2e-4)
    # All of the peak stands on it at the lowest frequency: 32 V / sqrt(1 + x^2), x = 0.01.
    assert c.sine_voltage_peak_v == pytest.approx(32.0 / math.sqrt(1 + 0.01**2), rel=1e-12)
    assert c.sine_voltage_at_hz == 20.0
    # And the highest current flows at the highest: 32/8 A x / sqrt(1 + x^2), x = 10.
    assert s.of("Xhigh").sine_current_peak_a == pytest.approx(4.0 * 10 / math.sqrt(101), rel=1e-12)


def test_losses_of_coils_and_capacitors():
    """1 A through a coil's 0.4 ohm, and a dissipation factor that is 0.05/(w C)."""
    s = stress_of("L1 in a 1uH dcr=0.4\nC1 a b 10000uF esr=0.1 df=0.05\nXlow b 0 woofer\n", {"woofer": 7.5}, grid=GRID)
    amps_2 = (s.of("L1").current_rms_a) ** 2
    assert amps_2 == pytest.approx(INSIDE, rel=0.01)
    assert s.of("L1").power_w == pytest.approx(0.4 * amps_2, rel=1e-12)
    w = programme_weights(GRID)
    omega = 2 * np.pi * GRID
    z = 0.4 + 1j * omega * 1e-6 + 0.1 + (0.05 - 1j) / (omega * 0.01) + 7.5
    expected = np.sum(w * 64 / np.abs(z) ** 2 * (0.1 + 0.05 / (omega * 0.01)))
    assert s.of("C1").power_w == pytest.approx(expected, rel=1e-9)
    assert 0.1 < s.of("C1").power_w < 0.15


def test_the_worst_frequency_is_found_between_the_points():
    """A trap of 0.05 ohm across the amplifier: at its resonance all of 32 V drives 640 A, whatever the grid."""
    coarse = log_grid(20.0, 20_000.0, 3)
    cards = "L1 in a 1mH dcr=0.05\nC1 a 0 12uF\nXlow in 0 woofer\n"
    s = stress_of(cards, {"woofer": 8.0}, grid=coarse)
    resonance = 1 / (2 * math.pi * math.sqrt(1e-3 * 12e-6))
    coil = s.of("L1")
    assert coil.sine_current_peak_a == pytest.approx(640.0, rel=1e-6)
    assert coil.sine_current_at_hz == pytest.approx(resonance, rel=1e-4)
    # The capacitor's highest voltage: Q / sqrt(1 - 1/(4 Q^2)) of the amplifier's, Q = sqrt(L/C)/R = 183.
    q = math.sqrt(1e-3 / 12e-6) / 0.05
    assert s.of("C1").sine_voltage_peak_v == pytest.approx(32.0 * q / math.sqrt(1 - 1 / (4 * q * q)), rel=1e-6)
    on_grid = stress_of(cards, {"woofer": 8.0}, grid=coarse, fine=False)
    assert on_grid.of("L1").sine_current_peak_a < 100.0


def test_without_losses_there_is_no_limit():
    s = stress_of("L1 in a 1mH\nC1 a 0 10uF\nXlow in 0 woofer\n", {"woofer": 8.0})
    assert math.isinf(s.of("L1").sine_current_peak_a)
    assert math.isinf(s.of("C1").sine_voltage_peak_v)
    assert not s.of("L1").bounded
    assert s.of("Xlow").bounded


def test_channels_have_their_own_voltage():
    """The same signal on both: a part between them bears the difference, one behind each bears its own."""
    cards = "Vbass lo 0\nVtreble hi 0\nR1 lo hi 5\nXlow lo 0 woofer\nXhigh hi 0 tweeter\n"
    s = stress_of(cards, {"woofer": 8.0, "tweeter": 4.0}, {"bass": 20.0, "treble": 8.0})
    assert s.of("R1").power_w == pytest.approx(12.0**2 / 5.0 * INSIDE, rel=1e-12)
    assert s.of("woofer").power_w == pytest.approx(400 / 8.0 * INSIDE, rel=1e-12)
    assert s.of("tweeter").power_w == pytest.approx(64 / 4.0 * INSIDE, rel=1e-12)
    # The bass channel gives 20 V (2.5 + 2.4) A, the treble one 8 V (2 - 2.4) A: it takes in.
    assert s.drawn_w == pytest.approx((20 * 4.9 - 8 * 0.4) * INSIDE, rel=1e-12)
    assert s.power_w == pytest.approx(s.drawn_w, rel=1e-12)


def test_what_is_not_known_is_left_out_and_told():
    network = build_network(parse_netlist("* invented\nXlow in 0 woofer\nR1 in a 2\nXhigh a 0 tweeter\n"))
    known = GRID >= 500.0
    z = {"woofer": np.full(GRID.size, 8 + 0j), "tweeter": np.where(known, 6.0 + 0j, np.nan)}
    s = read_stress(solve(network, GRID, z), {"in": 8.0}, 4.0)
    first = GRID[known][0]
    share = 1 - power_below(math.sqrt(first * GRID[~known][-1]))[0] - (1 - power_below(20_000.0)[0])
    assert share == pytest.approx(0.47, abs=0.01)  # IEC table II: 47.22 % lies above 500 Hz
    assert s.of("woofer").power_w == pytest.approx(8.0 * INSIDE, rel=1e-12)
    assert s.of("woofer").known_share == pytest.approx(INSIDE, rel=1e-12)
    for name, watts in (("R1", 2.0), ("tweeter", 6.0)):
        assert s.of(name).known_share == pytest.approx(share, rel=1e-9)
        assert s.of(name).power_w == pytest.approx(watts * share, rel=1e-9)
        assert s.of(name).sine_current_peak_a == pytest.approx(4.0, rel=1e-12)
    assert s.drawn_known_share == pytest.approx(share, rel=1e-9)
    assert s.power_w == pytest.approx(8.0 * (INSIDE + share), rel=1e-9)


def test_nothing_known_is_nan_not_zero():
    network = build_network(parse_netlist("* invented\nR1 in a 2\nXhigh a 0 tweeter\n"))
    s = read_stress(solve(network, GRID, {"tweeter": np.full(GRID.size, np.nan)}), {"in": 8.0}, 4.0)
    r = s.of("R1")
    assert math.isnan(r.power_w)
    assert math.isnan(r.voltage_rms_v)
    assert math.isnan(r.sine_power_w)
    assert math.isnan(s.drawn_w)
    assert r.known_share == 0.0
    assert r.band_power_w.sum() == 0.0


@given(st.randoms(use_true_random=False).map(random_network), st.sampled_from(Spectrum))
@settings(max_examples=30)
def test_power_drawn_is_power_dissipated(drawn, spectrum):
    """Tellegen: to 1e-9 of the volt-amperes, as a lossless coil across the amplifier leaves rounding alone."""
    grid = np.geomspace(50.0, 18_000.0, 13)
    network = build_network(parse_netlist(drawn.text()))
    solution = solve(network, grid, dict(drawn.impedances(grid)))
    s = read_stress(solution, {"in": 3.0}, 2.0, spectrum)
    weights = programme_weights(grid, spectrum)
    amps = 1.0 / solution.impedance_ohm["in"]
    apparent = 9.0 * np.sum(weights * np.abs(amps))
    assert s.power_w > 0
    assert abs(s.power_w - 9.0 * np.sum(weights * amps.real)) < 1e-9 * apparent
    assert abs(s.power_w - s.drawn_w) < 1e-9 * apparent
    for e in s.elements:
        # Noise cannot swing farther, by its crest factor, than a sine at the frequency that is worst.
        assert e.crest_voltage_peak_v <= e.sine_voltage_peak_v * (1 + 1e-9)
        assert e.crest_current_peak_a <= e.sine_current_peak_a * (1 + 1e-9)
        assert e.power_w >= -1e-9 * apparent
        assert e.band_power_w.sum() == pytest.approx(e.power_w, rel=1e-9, abs=1e-12 * apparent)
    # Twice the volts are four times the watts; another crest factor moves peaks alone.
    louder = read_stress(solution, {"in": 6.0}, 5.0, spectrum)
    for e, f, g in zip(s.elements, louder.elements, s.scaled(2.0, 2.5).elements, strict=True):
        assert f.power_w == pytest.approx(4.0 * e.power_w, rel=1e-9, abs=1e-12 * apparent)
        assert f.crest_current_peak_a == pytest.approx(5.0 * e.crest_current_peak_a, rel=1e-9)
        for name in ("power_w", "voltage_rms_v", "crest_voltage_peak_v", "sine_current_peak_a", "sine_power_w"):
            assert getattr(g, name) == pytest.approx(getattr(f, name), rel=1e-9, abs=1e-12 * apparent), name


def test_candidate_values_count():
    """A lamp at 3 ohm in place of its 1 ohm: the heat is that of the 3 ohm."""
    network = build_network(parse_netlist("* invented\nR1 in a kind=lamp cold=1\nXhigh a 0 tweeter\n"))
    z = {"tweeter": np.full(GRID.size, 5.0 + 0j)}
    watts = element_power_w(solve(network, GRID, z, {"R1": 3.0}), "R1", {"in": 8.0})
    np.testing.assert_allclose(watts, 3.0, rtol=1e-12)
    assert read_stress(solve(network, GRID, z), {"in": 6.0}, 4.0).of("R1").kind is ElementKind.LAMP


def test_refused():
    network = build_network(parse_netlist("* invented\nXlow in 0 woofer\n"))
    solution = solve(network, GRID, {"woofer": np.full(GRID.size, 8.0 + 0j)})
    with pytest.raises(InputError, match=r"the crest factor is 0\.9; give peak over rms"):
        read_stress(solution, {"in": 8.0}, 0.9)
    with pytest.raises(InputError, match="no voltage is given for channel in"):
        read_stress(solution, {"treble": 8.0}, 4.0)
    with pytest.raises(InputError, match="no voltage is given for channel in"):
        read_stress(solution, {"in": -1.0}, 4.0)
    with pytest.raises(InputError, match=r"no part R9; name one of Xlow"):
        read_stress(solution, {"in": 8.0}, 4.0).of("R9")
