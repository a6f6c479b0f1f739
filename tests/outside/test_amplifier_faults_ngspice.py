"""Open and shorted drivers of ready circuits, judged by ngspice.

Two questions: is the load that xover calls lowest the load that ngspice finds at that frequency, and does
ngspice find a lower one anywhere, near by or far? The same for the highest voltage on the worst capacitor.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from ngspice_judge import ac, ac_decades, lumped, to_ngspice

from xover.amplifier.faults import FaultKind, fault_cases
from xover.curve import log_grid
from xover.files.netlist import parse_netlist, read_netlist
from xover.network import Network, Resistor, build_network

pytestmark = pytest.mark.outside

CIRCUITS = Path(__file__).resolve().parents[2] / "circuits"
GRID = log_grid(20, 20000, 24)
DRIVERS = {
    "woofer": lumped(6.2, 0.7e-3, 45.0, 3.0, 0.5),
    "mid": lumped(6.8, 0.3e-3, 130.0, 2.8, 0.7),
    "tweeter": lumped(5.4, 0.05e-3, 900.0, 2.2, 1.1),
}


def impedances(f):
    return {name: driver.impedance_ohm(f) for name, driver in DRIVERS.items()}


def faulty(network: Network, card: str, kind: FaultKind) -> Network:
    """The fault made by hand: the card cut out, or a wire of 0 ohm (0 V source in ngspice) in its place."""
    gone = network.driver_card(card)
    drivers = tuple(d for d in network.drivers if d is not gone)
    wires = (Resistor(card, gone.plus, gone.minus, 0.0),) if kind is FaultKind.SHORTED else ()
    return replace(network, drivers=drivers, parts=network.parts + wires)


def numbered(network: Network) -> dict[str, str]:
    """The network's nodes as `to_ngspice` numbers them."""
    numbers = {"0": "0"}
    ends = [(c.plus, c.minus) for c in network.channels] + [(p.a, p.b) for p in network.parts]
    for node in (n for pair in ends for n in pair):
        numbers.setdefault(node, f"n{len(numbers)}")
    return numbers


def voltage_expression(network: Network, capacitor: str) -> str:
    """Voltage over a capacitor with its loss."""
    part, numbers = network.part(capacitor), numbered(network)
    return "-".join("0" if n == "0" else f"v({numbers[n]})" for n in (part.a, part.b))


def bleeders(network: Network) -> list[str]:
    """100 Gohm from each node to ground, so that ngspice finds an operating point behind capacitors."""
    return [f"Rbleed{n} {n} 0 1e11" for n in numbered(network).values() if n != "0"]


@pytest.mark.parametrize(
    ("circuit", "card", "kind"),
    [
        ("two-way-second-order", "Xhigh", FaultKind.OPEN),
        ("two-way-second-order", "Xlow", FaultKind.OPEN),
        ("two-way-second-order-l-pad", "Xhigh", FaultKind.OPEN),
        ("two-way-fourth-order", "Xhigh", FaultKind.OPEN),
        ("two-way-fourth-order", "Xhigh", FaultKind.SHORTED),
        ("two-way-series-second-order", "Xlow", FaultKind.OPEN),
        ("three-way-third-order", "Xmid", FaultKind.OPEN),
        ("three-way-first-order", "Xmid", FaultKind.SHORTED),
    ],
)
def test_ready_circuits(circuit, card, kind):
    network = build_network(read_netlist(CIRCUITS / f"{circuit}.cir"))
    cases = fault_cases(network, GRID, impedances(GRID), driver_impedance_at=impedances)
    got = next(c for c in cases if c.card == card and c.kind is kind)
    worst = next(s for s in got.capacitors if s.name == got.worst_capacitor)
    broken = faulty(network, card, kind)
    deck = to_ngspice(broken, DRIVERS)
    cards = deck.cards + bleeders(broken)
    current = deck.current["in"]
    volts = voltage_expression(broken, worst.name)

    at = ac(cards, [got.at_hz, worst.at_hz], [current, volts])
    assert got.minimum_ohm == pytest.approx(1 / abs(at[current][0]), rel=1e-6)
    assert worst.magnification == pytest.approx(abs(at[volts][1]), rel=1e-6)

    near = np.geomspace(0.99, 1.01, 21)
    far, everywhere = ac_decades(cards, 200, 20.0, 20000.0, [current, volts])
    assert far.size > 600
    about = ac(cards, np.minimum(got.at_hz * near, 20000.0), [current])[current]
    for amps in (about, everywhere[current]):
        assert (1 / np.abs(amps)).min() >= got.minimum_ohm * (1 - 1e-6)
    about = ac(cards, np.minimum(worst.at_hz * near, 20000.0), [volts])[volts]
    for level in (about, everywhere[volts]):
        assert np.abs(level).max() <= worst.magnification * (1 + 1e-6)


@pytest.mark.parametrize(("dcr", "esr"), [(0.4, 0.0), (0.3, 0.2), (0.7, 0.3)])
def test_unplugged_tweeter_behind_lr2(dcr, esr):
    """LR2 high-pass, 8 ohm, 3 kHz, from netlist to ngspice: the losses are all that is left of the load."""
    c, inductance = 1 / (4 * math.pi * 3000 * 8), 8 / (math.pi * 3000)
    text = f"* Invented\nC2 in t {c!r} esr={esr!r}\nL2 t 0 {inductance!r} dcr={dcr!r}\nXhigh t 0 tweeter\n"
    got = fault_cases(build_network(parse_netlist(text)), GRID, impedances(GRID))[0]
    cards = ["V1 in 0 AC 1", f"C2 in a {c!r}", f"L2 t b {inductance!r}", f"R2 b 0 {dcr!r}"]
    cards.append(f"R1 a t {esr!r}" if esr else "V2 a t DC 0")
    at = ac(cards, [got.at_hz, got.capacitors[0].at_hz, 3000.0], ["i(v1)", "v(in)-v(t)"])
    assert got.minimum_ohm == pytest.approx(1 / abs(at["i(v1)"][0]), rel=1e-6)
    assert got.minimum_ohm == pytest.approx(1 / abs(at["i(v1)"][2]), rel=1e-6)
    assert got.capacitors[0].magnification == pytest.approx(abs(at["v(in)-v(t)"][1]), rel=1e-6)
    assert 15 < got.capacitors[0].magnification < 41
