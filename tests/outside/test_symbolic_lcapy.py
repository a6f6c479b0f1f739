"""lcapy re-derives our formulas by its own circuit analysis (modified nodal analysis in its own code).

First it is judged itself, on coupled coils, by formulas worked out by hand.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from xover.driver.model import DriverModel, LossyInductance, Resonance
from xover.files.netlist import parse_netlist
from xover.network import build_network
from xover.studies.does.formula import by_lcapy
from xover.studies.does.formula.by_lcapy import CircuitCards, circuit_cards, derived_anew, study_judge
from xover.studies.does.formula.study import drive_polynomials
from xover.studies.does.formula.terminated import TerminatedNetwork

pytestmark = pytest.mark.outside

S = np.array([0.3 + 0.7j, 2.0 - 1.0j, 5.0 + 0.0j])
PATIENT_S = 300.0


def at(ratio):
    top, bottom = ([float(c) for c in p] for p in ratio)
    return np.polyval(top, S) / np.polyval(bottom, S)


def test_lcapy_knows_coupled_coils():
    """A transformer with its dots either way and its coils in either order, and a tapped winding at three couplings.

    Derived by hand with M = k sqrt(L1 L2): s M R2/((R1 + s L1)(R2 + s L2) - s^2 M^2), and (L2 + M)/(L1 + L2 + 2 M).
    All stand side by side on one source.
    """
    cards, drives, wanted = ["V1 1 0 s 1"], {}, {}
    node = 2
    l1, l2, r1, r2, k = 2.0, 3.0, 0.5, 0.25, 0.75
    m = k * np.sqrt(l1 * l2)
    for order in ("{0}1 {0}2", "{0}2 {0}1"):
        for sign in (1, -1):
            a, b, name = node, node + 1, f"transformer {order} {sign}"
            ends = f"{b} 0" if sign > 0 else f"0 {b}"
            coil = f"L{a}00"
            cards += [f"R{a} 1 {a} {{1/2}}", f"{coil}1 {a} 0 {{2}}", f"{coil}2 {ends} {{3}}", f"R{b} {b} 0 {{1/4}}"]
            cards.append(f"K{a} {order.format(coil)} {{3/4}}")
            drives[name] = (str(b), "0")
            wanted[name] = sign * S * m * r2 / ((r1 + S * l1) * (r2 + S * l2) - S**2 * m**2)
            node += 2
    for k in ("1/2", "1", "-1/3"):
        coil, name = f"L{node}00", f"tap {k}"
        cards += [f"{coil}1 1 {node} {{2}}", f"{coil}2 {node} 0 {{3}}", f"K{node} {coil}1 {coil}2 {{{k}}}"]
        m = float(Fraction(k)) * np.sqrt(l1 * l2)
        drives[name], wanted[name] = (str(node), "0"), np.full(3, (l2 + m) / (l1 + l2 + 2 * m))
        node += 1
    # Roots of 6 make lcapy's ratios irrational: each coil is scaled so that they are whole again.
    cards = [c.replace("{3}", "{8}") for c in cards]
    l2 = 8.0
    for name in wanted:
        if name.startswith("transformer"):
            m, sign = 0.75 * 4.0, 1 if name.endswith(" 1") else -1
            wanted[name] = sign * S * m * r2 / ((r1 + S * l1) * (r2 + S * l2) - S**2 * m**2)
        else:
            m = float(Fraction(name.split()[1])) * 4.0
            wanted[name] = np.full(3, (l2 + m) / (l1 + l2 + 2 * m))
    found = derived_anew(CircuitCards(tuple(cards), {}, {}, {}, drives, ()), PATIENT_S)
    assert len(found) == 7
    for name, ratio in found.items():
        np.testing.assert_allclose(at(ratio), wanted[name], rtol=1e-12, err_msg=name)


SECTIONS = {
    "low-pass with losses": "L1 in w 1mH dcr=0.3\nC1 w 0 10uF esr=0.1\nXlow w 0 woofer",
    "loss angle": "C1 in t 4.7uF df=0.05\nR1 t 0 9\nXhigh 0 t tweeter",
    "third order": "C1 in a 5uF\nL1 a 0 0.3mH\nC2 a t 15uF\nXhigh t 0 tweeter",
    "zobel and pad": "R1 in t 2\nR2 t 0 9\nR3 t z 6\nC1 z 0 2uF\nXhigh t 0 tweeter",
    "series, two drivers": "L1 in m 0.4mH\nXhigh m in tweeter\nC1 m 0 8uF\nXlow m 0 woofer",
    "bridged": "L1 in w 1mH\nC1 in w 2uF esr=0.2\nR1 w 0 30\nXlow w 0 woofer",
    "link": "L1 in a 1mH\nR9 a w 0\nC1 w 0 3uF\nXlow w 0 woofer",
    "autotransformer": "C1 in a 6uF\nL1 a t 20mH\nL2 t 0 20mH\nK1 L1 L2 1\nXhorn t 0 horn",
    "transformer": "R1 in a 4\nL1 a 0 1mH\nL2 w 0 2mH\nK1 L1 L2 -0.4\nXlow w 0 woofer",
}
MODEL = DriverModel(5.8, 0.1e-3, (LossyInductance(4.0, 0.4e-3),), (Resonance(55.0, 40.0, 4.0),))


def terminated(name: str, model: DriverModel | None = None) -> TerminatedNetwork:
    network = build_network(parse_netlist("* Invented\n" + SECTIONS[name] + "\n"))
    names = network.driver_names
    return TerminatedNetwork(network, "found", dict.fromkeys(names, 6.5), {n: model for n in names if model})


@pytest.mark.parametrize("name", SECTIONS)
def test_drives_are_derived_anew(name):
    """With resistors for drivers the two polynomials are the same but for a factor; checked along the j w axis."""
    study = study_judge(terminated(name), limit_s=PATIENT_S)
    assert study.drives
    for drive in study.drives.values():
        assert drive.largest_difference < 1e-12, drive


def test_the_same_polynomials_exactly():
    network = terminated("zobel and pad")
    ours = drive_polynomials(network)["tweeter"]
    theirs = derived_anew(circuit_cards(network, sources=True), PATIENT_S)["tweeter"]
    np.testing.assert_array_equal(np.convolve(ours[0], theirs[1]), np.convolve(theirs[0], ours[1]))


@pytest.mark.parametrize("name", ["low-pass with losses", "series, two drivers"])
def test_a_driver_as_a_circuit_is_its_model(name):
    study = study_judge(terminated(name, MODEL), limit_s=PATIENT_S)
    assert all(d.largest_difference < 1e-12 for d in study.drives.values())
    assert all(d.order >= 4 for d in study.drives.values())


def test_the_judge_sees_a_wrong_formula(monkeypatch):
    network = terminated("low-pass with losses")
    (key, (top, bottom)), *_ = drive_polynomials(network).items()
    for wrong in ([-c for c in top], [2 * c for c in top], [c * Fraction(100001, 100000) for c in top]):
        monkeypatch.setattr(by_lcapy, "drive_polynomials", lambda _, w=wrong: {key: (w, bottom)})
        assert study_judge(network, limit_s=PATIENT_S).drives[key].largest_difference > 0.9e-5


def test_two_channels_drive_together():
    """A driver between two channels of a bridge sees the difference of their volts: nothing."""
    text = "* Invented\nVleft l 0\nVright r 0\nL1 l w 1mH\nXlow w r woofer\nC1 l t 4uF\nXhigh t 0 tweeter\n"
    network = build_network(parse_netlist(text))
    found = TerminatedNetwork(network, "found", dict.fromkeys(network.driver_names, 8.0))
    theirs = derived_anew(circuit_cards(found, sources=True), PATIENT_S)
    assert theirs["woofer"][0] == [0]
    assert study_judge(found, limit_s=PATIENT_S).drives["tweeter"].largest_difference < 1e-12
