"""Sweeps and sounds of builds whose faults are known, made for the tests (all invented).

The drivers are the formulas of examples/make_examples.py, not the tables that the folders hold. A fault is made here
by rewiring: what is open is taken out, a short is a wire of 0.1 milliohm in parallel. Parts lie within their
tolerance, drivers have moved by up to 1 % since they were measured, and the sweep has noise, mains hum and a gain that
is off by up to 1 %.
"""

import importlib.util
import itertools
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from xover.curve import Curve, Unit
from xover.network import Resistor, solve
from xover.network.parts import Capacitor, Inductor, value_of
from xover.speaker import open_speaker

EXAMPLES = Path(__file__).parents[2] / "examples"


def _script():
    spec = importlib.util.spec_from_file_location("make_examples_for_builds", EXAMPLES / "make_examples.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


MADE = _script()
DRIVERS = {
    "attic-two-way/left": {"woofer": MADE.ATTIC_WOOFER, "tweeter": MADE.ATTIC_TWEETER},
    "hall-horn-two-way": {"woofer": MADE.HALL_WOOFER, "horn": MADE.HALL_HORN},
    "studio-three-way": {"woofer": MADE.STUDIO_WOOFER, "mid": MADE.STUDIO_MID, "tweeter": MADE.STUDIO_TWEETER},
}
SPEAKERS = {name: open_speaker(EXAMPLES / name) for name in DRIVERS}
SWEPT = MADE.grid(10, 20e3, 48)
# Written out, so that the tests do not ask the code under test what parts may be.
TOLERANCE = {
    "attic-two-way/left": {"L1": 0.10, "C1": 0.10, "C2": 0.10, "L2": 0.05, "R1": 0.10, "R2": 0.10},
    "hall-horn-two-way": {"L1": 0.10, "C1": 0.20, "C2": 0.20, "R1": 0.10, "L2": 0.10, "L3": 0.10},
    "studio-three-way": dict.fromkeys(("L1", "C1", "C2", "L2"), 0.10)
    | dict.fromkeys(("L3", "C3", "R1", "C4", "L4", "R2", "R3"), 0.05),
}


def changed(network, name, **fields):
    return replace(network, parts=tuple(replace(p, **fields) if p.name == name else p for p in network.parts))


def times(network, name, factor):
    """One part's value times a factor."""
    part = network.part(name)
    field = {Resistor: "ohm", Inductor: "henry", Capacitor: "farad"}[type(part)]
    return changed(network, name, **{field: value_of(part) * factor})


def within_tolerance(name, network, rng):
    """Every part anywhere within its tolerance; windings of one core move together."""
    core = {n for c in network.couplings for n in (c.first, c.second)}
    together = 1.0 + 0.1 * rng.uniform(-1, 1)
    for part in network.parts:
        own = 1.0 + TOLERANCE[name][part.name] * rng.uniform(-1, 1)
        network = times(network, part.name, together if part.name in core else own)
        if isinstance(part, Inductor):
            network = changed(network, part.name, dcr_ohm=part.dcr_ohm * np.exp(0.07 * rng.normal()))
        elif isinstance(part, Capacitor):
            loss = part.dissipation_factor * np.exp(0.4 * rng.normal())
            network = changed(network, part.name, dissipation_factor=loss)
    return network


def catalogue(network):
    """Every single fault that an impedance could show: (kind, part or driver, other or None)."""
    core = {n for c in network.couplings for n in (c.first, c.second)}
    found = []
    for part in network.parts:
        found += [("open", part.name, None), ("shorted", part.name, None)]
        if part.name not in core:
            found += [("ten times the value", part.name, None), ("a tenth of the value", part.name, None)]
    for one, other in itertools.combinations(network.parts, 2):
        if type(one) is type(other) and (one.name in core) == (other.name in core):
            found.append(("swapped", one.name, other.name))
    for card in network.drivers:
        found += [("open", card.key, None), ("shorted", card.key, None)]
    return found


def with_fault(network, fault):
    """Rewire a network."""
    kind, name, other = fault
    if any(name == card.key for card in network.drivers):
        card = network.driver_card(name)
        if kind == "open":
            return network.without(name)
        bare = replace(network, drivers=tuple(d for d in network.drivers if d is not card))
        return replace(bare, parts=(*bare.parts, Resistor("Rwire", card.plus, card.minus, 1e-4)))
    part = network.part(name)
    if kind == "open":
        coupled = tuple(c for c in network.couplings if name not in (c.first, c.second))
        rest = tuple(p for p in network.parts if p is not part)
        return replace(network, parts=rest, couplings=coupled).pruned()
    if kind == "shorted":
        return replace(network, parts=(*network.parts, Resistor("Rwire", part.a, part.b, 1e-4)))
    if kind == "swapped":
        beside = network.part(other)
        moved = {
            name: replace(beside, name=name, a=part.a, b=part.b),
            other: replace(part, name=other, a=beside.a, b=beside.b),
        }
        return replace(network, parts=tuple(moved.get(p.name, p) for p in network.parts))
    factor = {"ten times the value": 10.0, "a tenth of the value": 0.1}[kind]
    network = times(network, name, factor)
    return changed(network, name, dcr_ohm=part.dcr_ohm * factor**0.5) if isinstance(part, Inductor) else network


def moved(drivers, rng):
    """The drivers on the day of the sweep."""
    return {
        name: replace(
            d, re_ohm=d.re_ohm * (1 + 0.01 * rng.uniform(-1, 1)), fs_hz=d.fs_hz * (1 + 0.01 * rng.uniform(-1, 1))
        )
        for name, d in drivers.items()
    }


def swept(network, drivers, rng, noise=0.004, gain=0.01, frequency_hz=SWEPT):
    """What a bench reads at the terminals."""
    ohm = {name: drivers[name].impedance(frequency_hz) for name in network.driver_names}
    load = solve(network, frequency_hz, ohm).impedance_ohm["in"]
    error = rng.normal(size=(2, frequency_hz.size))
    hum = sum(s * np.exp(-((np.log2(frequency_hz / hz) / 0.02) ** 2)) for hz, s in ((50.0, 0.012), (100.0, 0.007)))
    read = load * (1 + noise * (error[0] + 1j * error[1])) * (1 + hum * np.exp(0.8j)) * (1 + gain * rng.uniform(-1, 1))
    return Curve(frequency_hz, read, Unit.OHM)


def built(name, fault, rng, noise=0.004):
    """The sweep of a build of an example's `original` with one fault, or none."""
    network = within_tolerance(name, SPEAKERS[name].network("original"), rng)
    network = network if fault is None else with_fault(network, fault)
    return swept(network, moved(DRIVERS[name], rng), rng, noise)


def place_of(study, fault):
    """(place, tie) of a fault in a study's ranking, from 0; (None, None) where it is not there."""
    kind, name, other = fault
    told = {(name, kind)} if other is None else {(name, f"swapped with {other}"), (other, f"swapped with {name}")}
    for place, ranked in enumerate(study.faults):
        if (ranked.fault.part, ranked.fault.told) in told:
            return place, ranked.tie
    return None, None


def heard(network, drivers, frequency_hz, reversed_key=None):
    """Level of the sum on the axis, dB, one driver's wires swapped where it is named."""
    solution = solve(network, frequency_hz, {n: d.impedance(frequency_hz) for n, d in drivers.items()})
    total = np.zeros(frequency_hz.size, dtype=complex)
    for card in network.drivers:
        sign = -1.0 if card.key == reversed_key else 1.0
        total += sign * solution.drive[card.key] * drivers[card.driver].pressure(frequency_hz)
    return 20 * np.log10(np.abs(total))
