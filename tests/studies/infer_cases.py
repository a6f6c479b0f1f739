"""Invented sweeps of aged speakers, whose part values are known; no such loudspeaker exists.

Drivers are formulas, or models fitted to the examples' sweeps. A sweep is the network solved with the true values,
times a gain, times noise in magnitude and phase alike.
"""

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from xover.curve import Curve, Unit, log_grid
from xover.explain.sweeps import Sweep, SweepPlace, smoothness_noise
from xover.files.netlist import read_netlist
from xover.network import Capacitor, Inductor, Resistor, build_network, solve, value_of

ROOT = Path(__file__).parents[2]
WIDE = log_grid(10.0, 20e3, 48)


def formula_drivers(frequency_hz):
    """Impedances by formula: a resistance, a semi-inductance, a resonance."""

    def driver(re_ohm, fs_hz, qm, qe, coil_ohm, power):
        resonance = re_ohm * qm / qe / (1 + 1j * qm * (frequency_hz / fs_hz - fs_hz / frequency_hz))
        return re_ohm + coil_ohm * (1j * frequency_hz / 1e3) ** power + resonance

    return {
        "woofer": driver(6.0, 48.0, 4.5, 0.9, 3.8, 0.64),
        "mid": driver(5.8, 170.0, 3.1, 1.1, 1.2, 0.68),
        "tweeter": driver(5.5, 980.0, 2.4, 1.7, 0.40, 0.76),
    }


@cache
def _fitted_models():
    from xover.driver.fit import fit_driver
    from xover.speaker import open_speaker

    attic = open_speaker(ROOT / "examples" / "attic-two-way" / "left").drivers
    studio = open_speaker(ROOT / "examples" / "studio-three-way").drivers
    sources = {"woofer": attic["woofer"], "mid": studio["mid"], "tweeter": attic["tweeter"]}
    return {name: fit_driver(source.impedance).model for name, source in sources.items()}


def fitted_drivers(frequency_hz):
    """Impedances of models fitted to the examples' sweeps."""
    return {name: model.impedance_ohm(frequency_hz) for name, model in _fitted_models().items()}


@cache
def circuit(name):
    return build_network(read_netlist(ROOT / "circuits" / f"{name}.cir"))


def aged(network, random):
    """Every value times 0.7 to 1.8; resistances of coils within 10 %, losses of capacitors grown."""

    def one(part):
        factor = 1.0 + random.uniform(-0.3, 0.8)
        if isinstance(part, Resistor):
            return replace(part, ohm=part.ohm * factor)
        if isinstance(part, Inductor):
            return replace(part, henry=part.henry * factor, dcr_ohm=part.dcr_ohm * random.uniform(0.9, 1.1))
        assert isinstance(part, Capacitor)
        wet = part.kind == "electrolytic"
        return replace(
            part,
            farad=part.farad * factor,
            dissipation_factor=part.dissipation_factor * random.uniform(1.0, 3.0 if wet else 1.5),
            esr_ohm=random.uniform(0.0, 0.5) if wet else 0.0,
        )

    return replace(network, parts=tuple(one(part) for part in network.parts))


def noisy(value, share, random):
    return value * np.exp(share * (random.standard_normal(value.size) + 1j * random.standard_normal(value.size)))


def measured(network, drivers, frequency_hz, random, noise=0.01, gain=0.01, where=SweepPlace.TERMINALS, driver=""):
    """A sweep as a jig would take it; the network is rewired here, not by the code under test."""
    if where is SweepPlace.DISCONNECTED:
        network = replace(network, drivers=tuple(d for d in network.drivers if d.driver != driver))
    elif where is SweepPlace.SHORTED:
        card = next(d for d in network.drivers if d.driver == driver)
        wire = Resistor("Rwire", card.plus, card.minus, 0.0)
        left = tuple(d for d in network.drivers if d is not card)
        network = replace(network, parts=(*network.parts, wire), drivers=left)
    solution = solve(network, frequency_hz, drivers)
    value = solution.drive[driver] if where is SweepPlace.RATIO else solution.impedance_ohm[network.channels[0].name]
    value = noisy(value, noise, random) * np.exp(gain * random.standard_normal())
    curve = Curve(frequency_hz, value, Unit.RATIO if where is SweepPlace.RATIO else Unit.OHM)
    return Sweep(where, driver, curve, smoothness_noise(curve))


@dataclass(frozen=True)
class Case:
    """What is drawn, what is true, and what was measured."""

    drawn: object
    true: object
    sweep: Sweep
    drivers: dict


def case(drawn, seed, *, drivers=fitted_drivers, change=lambda network: network, noise=0.01, frequency_hz=WIDE):
    """A sweep of `change(drawn)`, aged at random, to be read with `drawn`."""
    random = np.random.default_rng(seed)
    true = aged(change(drawn), random)
    impedance = drivers(frequency_hz)
    sweep = measured(true, impedance, frequency_hz, random, noise)
    return Case(drawn, true, sweep, {name: Curve(frequency_hz, z, Unit.OHM) for name, z in impedance.items()})


def put(name, make):
    """A change: one part is exchanged for `make(part)`."""
    return lambda network: replace(network, parts=tuple(make(p) if p.name == name else p for p in network.parts))


def opened(name):
    return put(name, lambda part: Resistor(part.name, part.a, part.b, 1e8))


def shorted(name):
    return put(name, lambda part: Resistor(part.name, part.a, part.b, 1e-4))


def swapped(one, other):
    def change(network):
        a, b = network.part(one), network.part(other)
        moved = {one: replace(a, a=b.a, b=b.b), other: replace(b, a=a.a, b=a.b)}
        return replace(network, parts=tuple(moved.get(p.name, p) for p in network.parts))

    return change


def unplugged(driver):
    return lambda network: replace(network, drivers=tuple(d for d in network.drivers if d.driver != driver))


def instead(name):
    return lambda _: circuit(name)


@dataclass(frozen=True)
class Error:
    """One part of one case: relative error of the estimate, and whether the interval holds the truth."""

    kind: str
    part: str
    relative: float
    covered: bool
    seen: bool


def errors(study, true):
    """One for each part of a study."""
    out = []
    for part in study.parts:
        truth = value_of(true.part(part.name))
        covered = part.own.low <= truth <= part.own.high
        out.append(Error(part.name[0], part.name, part.own.value / truth - 1.0, covered, part.own.seen))
    return out
