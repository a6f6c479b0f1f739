"""Dead and shorted drivers: closed forms of the resonance they leave behind.

LR2 high-pass, 8 ohm, 3 kHz (textbook): C = 1/(4 pi f R), L = R/(pi f). Their resonance is 3 kHz
exactly and the reactance of each is X = 2 R = 16 ohm there.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.amplifier.extremum import BRIDGE_NOTE, SHORT_NOTE
from xover.amplifier.faults import (
    LINEAR_NOTE,
    LINKED_NOTE,
    NO_LOAD_NOTE,
    FaultKind,
    fault_cases,
)
from xover.curve import log_grid
from xover.errors import InputError, NoSolutionError, OptionError
from xover.files.netlist import parse_netlist
from xover.network import Network, build_network, solve

GRID = log_grid(20, 20000, 24)
EIGHT = {"tweeter": np.full(GRID.size, 8 + 0j), "woofer": np.full(GRID.size, 8 + 0j)}
X = 16.0
C = 1 / (4 * math.pi * 3000 * 8)
L = 8 / (math.pi * 3000)


def network(text: str) -> Network:
    return build_network(parse_netlist("* Invented\n" + text))


def high_pass(dcr: float = 0.0, esr: float = 0.0, more: str = "", said: str = "") -> Network:
    return network(f"C2 in t {C!r} esr={esr!r} {said}\nL2 t 0 {L!r} dcr={dcr!r}\nXhigh t 0 tweeter\n{more}")


def case(cases, card, kind):
    return next(c for c in cases if c.card == card and c.kind is kind)


def opened(net, **kwargs):
    return case(fault_cases(net, GRID, EIGHT, **kwargs), "Xhigh", FaultKind.OPEN)


@pytest.mark.parametrize("dcr", [0.4, 0.6, 1.0])
def test_open_tweeter_leaves_the_losses_and_a_magnified_voltage(dcr):
    """Derived: lowest |Z| = DCR at 3 kHz; 0.4 to 1 ohm give 40 to 16 times the drive.

    With Q = X/DCR, |V_C| peaks with Q/sqrt(1 - 1/(4 Q^2)) at f0 sqrt(1 - 1/(2 Q^2)).
    """
    got = opened(high_pass(dcr))
    assert got.minimum_ohm == pytest.approx(dcr, rel=1e-6)
    assert got.at_hz == pytest.approx(3000.0, rel=1e-4)
    q = X / dcr
    (stress,) = got.capacitors
    assert stress.bounded
    assert stress.magnification == pytest.approx(q / math.sqrt(1 - 1 / (4 * q * q)), rel=1e-6)
    assert stress.at_hz == pytest.approx(3000 * math.sqrt(1 - 1 / (2 * q * q)), rel=1e-4)
    assert got.worst_capacitor == "C2"


@pytest.mark.parametrize(("dcr", "esr"), [(0.3, 0.1), (0.3, 0.3), (0.5, 0.5)])
def test_the_capacitors_own_loss_counts_on_both_sides(dcr, esr):
    """Derived: with u = (f/f0)^2, |V_C|^2 = (e^2 u + X^2)/(r^2 u + X^2 (u - 1)^2), r = DCR + ESR.

    Its derivative vanishes where e^2 u^2 + 2 X^2 u + r^2 - 2 X^2 - e^2 = 0.
    """
    got = opened(high_pass(dcr, esr))
    r = dcr + esr
    assert got.minimum_ohm == pytest.approx(r, rel=1e-6)
    u = (-(X**2) + math.sqrt(X**4 + esr**2 * (2 * X**2 + esr**2 - r**2))) / esr**2
    peak = math.sqrt((esr**2 * u + X**2) / (r**2 * u + X**2 * (u - 1) ** 2))
    assert peak == pytest.approx(X / r, rel=2e-3), "roughly X_C over the losses: 16 to 40 times"
    assert got.capacitors[0].magnification == pytest.approx(peak, rel=1e-6)


def test_volts_at_the_rated_voltage_and_the_marked_rating():
    """50 W into 8 ohm are 20 V rms: 40 times is 800 V rms and 1132 V peak, over the 100 V that the card says."""
    got = opened(high_pass(0.4, said="volts=100"), rated_voltage_v=20.0)
    (stress,) = got.capacitors
    factor = 40 / math.sqrt(1 - 1 / 6400)
    assert stress.rms_v == pytest.approx(20 * factor, rel=1e-6)
    assert stress.peak_v == pytest.approx(20 * math.sqrt(2) * factor, rel=1e-6)
    assert stress.rating_v == 100.0
    assert stress.over_rating is True
    assert "C2 bears 40.0 times the amplifier's voltage, 800 V rms or 1130 V peak" in got.sentence
    assert "over its rating of 100 V" in got.sentence
    assert LINEAR_NOTE in got.notes
    mild = opened(high_pass(0.4, said="volts=1200"), rated_voltage_v=20.0)
    assert mild.capacitors[0].over_rating is False, "the peak is judged, and it is below 1200 V"
    assert "over its rating" not in mild.sentence
    assert opened(high_pass(0.4, said="volts=1100"), rated_voltage_v=20.0).capacitors[0].over_rating is True
    unrated = opened(high_pass(0.4), rated_voltage_v=20.0).capacitors[0]
    assert (unrated.rating_v, unrated.over_rating) == (None, None)
    unpowered = opened(high_pass(0.4, said="volts=100")).capacitors[0]
    assert (unpowered.rms_v, unpowered.peak_v, unpowered.over_rating) == (None, None, None)


def test_without_losses_there_is_no_limit_and_it_is_said():
    got = opened(high_pass(), rated_voltage_v=20.0)
    assert got.minimum_ohm == 0.0
    assert got.at_hz == pytest.approx(3000.0, rel=1e-9)
    (stress,) = got.capacitors
    assert not stress.bounded
    assert stress.magnification == math.inf
    assert stress.at_hz == pytest.approx(3000.0, rel=1e-9)
    assert "no losses given for C2, L2: real parts will limit it" in got.notes
    assert "without losses the voltage on C2 has no limit" in got.sentence
    assert "inf" not in got.sentence


def test_shunt_resistor_of_a_pad_damps():
    """R1 = 3 and R2 = 6 ohm stay behind when the tweeter goes: C in series with (L parallel 9 ohm), scanned densely."""
    net = network(f"C2 in t {C!r}\nL2 t 0 {L!r} dcr=0.4\nR1 t p 3\nR2 p 0 6\nXhigh p 0 tweeter\n")
    got = opened(net)
    w = 2 * np.pi * np.geomspace(20, 20000, 2_000_001)
    zl = 0.4 + 1j * w * L
    zc = 1 / (1j * w * C)
    z = zc + zl * 9 / (zl + 9)
    assert got.minimum_ohm == pytest.approx(np.abs(z).min(), rel=1e-9)
    assert got.capacitors[0].magnification == pytest.approx(np.abs(zc / z).max(), rel=1e-6)
    assert 1 < got.capacitors[0].magnification < 3, "against 40 without the pad"


def test_shorted_tweeter_leaves_the_capacitor_alone():
    """C straight across the amplifier: lowest 1/(w C) = 2.4 ohm at 20 kHz, and it bears the whole voltage."""
    got = case(fault_cases(high_pass(0.4), GRID, EIGHT, 20.0), "Xhigh", FaultKind.SHORTED)
    assert got.minimum_ohm == pytest.approx(2.4, rel=1e-9)
    assert got.at_hz == 20000.0
    assert got.capacitors[0].magnification == pytest.approx(1.0, rel=1e-9)
    assert got.capacitors[0].peak_v == pytest.approx(20 * math.sqrt(2))
    assert "the load falls to 2.40 ohm at 20 kHz" in got.sentence
    assert "sought from 20 Hz to 20 kHz; the lowest is at its end, so beyond it may be lower" in got.notes


def test_shorted_woofer_leaves_its_coil():
    """Low-pass 1 mH + 0.5 ohm: |0.5 + j w L| at 20 Hz, and nothing across the shunt capacitor."""
    net = network("L1 in w 1mH dcr=0.5\nC1 w 0 10uF\nXlow w 0 woofer\n")
    got = case(fault_cases(net, GRID, EIGHT), "Xlow", FaultKind.SHORTED)
    assert got.minimum_ohm == pytest.approx(math.hypot(0.5, 2 * math.pi * 20 * 1e-3), rel=1e-9)
    assert got.at_hz == 20.0
    assert got.capacitors[0].magnification == 0.0
    assert "bears" not in got.sentence


def test_healthy_minimum_is_the_untouched_load():
    """LR2 high-pass on 8 ohm, no losses: dense scan of C + (L parallel 8)."""
    got = opened(high_pass())
    w = 2 * np.pi * np.geomspace(20, 20000, 200_001)
    z = 1 / (1j * w * C) + 8j * w * L / (8 + 1j * w * L)
    assert got.healthy_minimum_ohm == pytest.approx(np.abs(z).min(), rel=1e-9)


def test_direct_driver_shorted_is_a_dead_short():
    net = network("Xlow in 0 woofer\nC2 in t 5uF\nXhigh t 0 tweeter\n")
    got = case(fault_cases(net, GRID, EIGHT), "Xlow", FaultKind.SHORTED)
    assert (got.minimum_ohm, got.at_hz, got.capacitors) == (0.0, None, ())
    assert got.notes == (SHORT_NOTE,)
    assert got.sentence == "woofer (Xlow) shorted: direct short across the amplifier"
    with pytest.raises(NoSolutionError, match="channel in is shorted by Xlow"):
        solve(net.with_short("Xlow"), GRID, EIGHT)


def test_driver_between_two_channels_shorted_joins_them():
    net = network("Va a 0\nVb b 0\nXone a b woofer\nR1 a 0 50\nR2 b 0 50\n")
    got = case(fault_cases(net, GRID, EIGHT), "Xone", FaultKind.SHORTED)
    assert got.minimum_ohm == 0.0
    assert got.notes == (BRIDGE_NOTE,)


def test_channel_without_load():
    """Bi-amp, first order: with the tweeter gone its capacitor leads nowhere; the bass channel is as before."""
    net = network("Vbass lo 0\nVtreble hi 0\nL1 lo w 1mH dcr=0.3\nXlow w 0 woofer\nC2 hi t 5uF\nXhigh t 0 tweeter\n")
    cases = fault_cases(net, GRID, EIGHT, 20.0)
    got = case(cases, "Xhigh", FaultKind.OPEN)
    assert got.channel == "treble"
    assert (got.minimum_ohm, got.at_hz) == (None, None)
    assert got.notes[0] == NO_LOAD_NOTE
    assert got.capacitors[0].magnification == 0.0
    assert "the amplifier has no load" in got.sentence
    assert got.healthy_minimum_ohm == pytest.approx(math.hypot(8, 1 / (2 * math.pi * 20000 * 5e-6)), rel=1e-9)
    woofer = case(cases, "Xlow", FaultKind.SHORTED)
    assert woofer.channel == "bass"
    assert woofer.minimum_ohm == pytest.approx(math.hypot(0.3, 2 * math.pi * 20 * 1e-3), rel=1e-9)
    assert woofer.capacitors == (), "the treble channel's capacitor does not feel it"


def test_only_driver_gone_with_parts_left_on_ground():
    """The driver stands before the parts: unplugged, the amplifier is bare, and the capacitor idles."""
    net = network("Xlow in a woofer\nC1 a 0 100uF\nR1 a 0 10\n")
    got = case(fault_cases(net, GRID, EIGHT), "Xlow", FaultKind.OPEN)
    assert (got.minimum_ohm, got.capacitors, got.worst_capacitor) == (None, (), None)
    assert got.notes == (NO_LOAD_NOTE,)
    assert got.sentence == "woofer (Xlow) open: the amplifier has no load"


def test_a_link_across_the_driver_makes_its_short_no_news():
    net = network("R1 in w 4\nXlow w 0 woofer\nR2 w 0 0\n")
    got = case(fault_cases(net, GRID, EIGHT), "Xlow", FaultKind.SHORTED)
    assert got.minimum_ohm == pytest.approx(4.0)
    assert LINKED_NOTE in got.notes


def test_every_card_has_two_cases_in_order():
    net = network("L1 in w 1mH\nXa w m woofer\nXb m 0 woofer\nC2 in t 5uF\nXhigh 0 t tweeter\n")
    cases = fault_cases(net, GRID, EIGHT)
    assert [(c.card, c.driver, c.kind.value) for c in cases] == [
        ("Xa", "a", "open"),
        ("Xa", "a", "shorted"),
        ("Xb", "b", "open"),
        ("Xb", "b", "shorted"),
        ("Xhigh", "tweeter", "open"),
        ("Xhigh", "tweeter", "shorted"),
    ]
    w = 2 * math.pi * 20
    one_woofer = abs(1 / (1 / (8 + 1j * w * 1e-3) + 1 / (8 + 1 / (1j * w * 5e-6))))
    shorted = case(cases, "Xb", FaultKind.SHORTED)
    assert shorted.minimum_ohm <= one_woofer
    assert shorted.minimum_ohm > 4.0
    assert case(cases, "Xa", FaultKind.OPEN).minimum_ohm > 8.0


def test_open_driver_needs_no_impedance_of_its_own():
    """The tweeter is known from 1 kHz only: with all drivers the load is known there only, without it everywhere."""
    known = {"tweeter": np.where(GRID >= 1000, 8 + 0j, np.nan), "woofer": EIGHT["woofer"]}
    net = high_pass(0.4, more="Xlow in 0 woofer\n")
    cases = fault_cases(net, GRID, known)
    first = GRID[GRID >= 1000][0]
    assert "sought from 20 Hz to 20 kHz" in case(cases, "Xhigh", FaultKind.OPEN).notes
    low_open = case(cases, "Xlow", FaultKind.OPEN)
    assert any(note.startswith(f"sought from {first / 1000:.3g}".rstrip("0")) for note in low_open.notes)


def test_unknown_drivers_leave_the_case_unknown():
    net = network("L1 in w 1mH\nXlow w 0 woofer\nC2 in t 5uF\nL2 t 0 0.5mH\nXhigh t 0 tweeter\n")
    unknown = {"tweeter": EIGHT["tweeter"], "woofer": np.full(GRID.size, complex(np.nan, np.nan))}
    got = case(fault_cases(net, GRID, unknown), "Xhigh", FaultKind.SHORTED)
    assert math.isnan(got.minimum_ohm)
    assert math.isnan(got.healthy_minimum_ohm)
    assert "the load is not known" in got.sentence
    assert "the load is not known at any frequency asked for" in got.notes
    assert got.capacitors[0].magnification == pytest.approx(1.0), "its own branch is known all the same"


def test_impedance_between_rows_comes_from_the_function_given():
    """A woofer dips to 2 ohm between two rows: only the function knows."""
    rows = np.array([100.0, 1000.0, 10000.0])

    def dip(f):
        return 8 - 6 * np.exp(-((np.log(f / 500.0) / 0.1) ** 2)) + 0j

    z = {"woofer": dip(rows), "tweeter": np.full(3, 8 + 0j)}

    def at(f):
        return {"woofer": dip(f), "tweeter": np.full(f.shape, 8 + 0j)}

    net = network("Xlow in 0 woofer\nC2 in t 1uF\nXhigh t 0 tweeter\n")
    blind = case(fault_cases(net, rows, z), "Xhigh", FaultKind.OPEN)
    assert blind.minimum_ohm > 7.9
    # The dip shows on a grid with a row on its flank.
    rows = np.array([100.0, 450.0, 1000.0, 10000.0])
    z = {"woofer": dip(rows), "tweeter": np.full(4, 8 + 0j)}
    seen = case(fault_cases(net, rows, z, driver_impedance_at=at), "Xhigh", FaultKind.OPEN)
    assert seen.minimum_ohm == pytest.approx(2.0, rel=1e-6)
    assert seen.at_hz == pytest.approx(500.0, rel=1e-3)


@settings(max_examples=15)
@given(st.floats(0.1, 4.0), st.floats(0.1, 10.0))
def test_scaling_all_impedances_scales_ohms_and_keeps_ratios(dcr, factor):
    """R, L times k and C over k: the load times k, the voltages as they were (impedance scaling, textbook)."""
    one = opened(high_pass(dcr))
    text = f"C2 in t {C / factor!r}\nL2 t 0 {L * factor!r} dcr={dcr * factor!r}\nXhigh t 0 tweeter\n"
    other = opened(network(text))
    assert other.minimum_ohm == pytest.approx(factor * one.minimum_ohm, rel=2e-6)
    assert other.capacitors[0].magnification == pytest.approx(one.capacitors[0].magnification, rel=2e-6)


@pytest.mark.parametrize("volts", [0.0, -20.0, math.nan, math.inf])
def test_impossible_rated_voltage_is_refused(volts):
    with pytest.raises(InputError, match=rf"rated voltage is {volts:g} V; give volts above 0"):
        fault_cases(high_pass(0.4), GRID, EIGHT, volts)


def test_faulty_inputs_are_refused():
    with pytest.raises(InputError, match="2 values for 241 frequencies"):
        fault_cases(high_pass(0.4), GRID[:241], {"tweeter": np.array([8.0, 8.0])})
    with pytest.raises(OptionError, match="no impedance is known for the driver tweeter"):
        fault_cases(high_pass(0.4), GRID, {"woofer": EIGHT["woofer"]})
    broken = network("Xlow in 0 woofer\n").with_short("Xlow")
    with pytest.raises(NoSolutionError, match="channel in is shorted"):
        fault_cases(broken, GRID, EIGHT)
