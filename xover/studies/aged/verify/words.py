"""Faults in words, and what to do next at the bench to be sure."""

from __future__ import annotations

import math
from collections.abc import Sequence

from xover.explain.faults import Fault, FaultKind, shown_value
from xover.explain.terminals import GAIN, LEADS, Knob, KnobKind
from xover.network import Network
from xover.network.parts import Capacitor, Inductor, Part, value_of

LIFT = "with one leg lifted"


def fault_words(network: Network, fault: Fault, value: float | None = None) -> str:
    """A fault as one says it."""
    if fault.is_driver:
        return {
            FaultKind.OPEN: f"{fault.part} not connected, or its coil open",
            FaultKind.SHORTED: f"{fault.part} shorted at its terminals",
            FaultKind.SWAPPED: f"{fault.part} and {fault.other} exchanged",
            FaultKind.REVERSED: f"{fault.part} with its wires swapped",
        }[fault.kind]
    part = network.part(fault.part)
    marked = shown_value(part)
    if fault.kind is FaultKind.SWAPPED:
        other = network.part(fault.other or "")
        return f"{part.name} ({marked}) and {other.name} ({shown_value(other)}) in each other's place"
    if fault.kind is FaultKind.OTHER_VALUE:
        return f"{part.name} about {shown_value(part, value)} in place of {marked}"
    if fault.kind in (FaultKind.TEN_TIMES, FaultKind.TENTH):
        factor = 10.0 if fault.kind is FaultKind.TEN_TIMES else 0.1
        return f"{part.name} {shown_value(part, factor * value_of(part))} in place of {marked}: wrong by a decade"
    return f"{part.name} ({marked}) {fault.kind}"


def next_test(network: Network, fault: Fault, tied: Sequence[Fault]) -> str:
    """The cheapest test that settles whether a fault is there; where faults are tied, one that parts them."""
    rivals = [f for f in tied if f != fault]
    if fault.is_driver:
        return _driver_test(fault, rivals)
    part = network.part(fault.part)
    if fault.kind is FaultKind.OPEN:
        joints = f"press on the joints of {part.name} while sweeping, then "
        return joints + _meter(part, "reads nothing: it or its joint is open")
    if fault.kind is FaultKind.SHORTED:
        across = [f.part for f in rivals if f.is_driver and f.kind is FaultKind.SHORTED]
        unplug = f"unplug {' and '.join(across)}; " if across else ""
        return f"{unplug}ohmmeter across {part.name} {LIFT}: under an ohm, or not"
    if fault.kind is FaultKind.SWAPPED:
        return f"read the print on {fault.part} and {fault.other}"
    return f"read the print on {part.name}, then " + _meter(part, "tells its value")


def _driver_test(fault: Fault, rivals: Sequence[Fault]) -> str:
    if fault.kind is FaultKind.REVERSED:
        return (
            f"look which wire goes to the marked terminal of {fault.part}; a 1.5 V cell at a woofer's terminals (never "
            "at a tweeter's) pushes the cone out when plus is on plus"
        )
    if fault.kind is FaultKind.SWAPPED:
        return f"play at a whisper: {fault.part} must not sound like {fault.other}"
    if fault.kind is FaultKind.OPEN:
        alike = [f.part for f in rivals if f.is_driver and f.kind is FaultKind.OPEN]
        others = f" and of {', '.join(alike)}" if alike else ""
        return f"ohmmeter across the terminals of {fault.part}{others}, one wire off: some ohms, or nothing"
    return f"take one wire off {fault.part} and sweep again: its ohms alone should be as measured"


def _meter(part: Part, tells: str) -> str:
    if isinstance(part, Capacitor):
        return f"a capacitance meter across {part.name} {LIFT} {tells}"
    if isinstance(part, Inductor):
        return f"an ohmmeter, better an inductance meter, across {part.name} {LIFT} {tells}"
    return f"an ohmmeter across {part.name} {LIFT} {tells}"


def knob_words(knob: Knob, turned: float) -> str:
    """What a knob far from its place means."""
    percent = 100.0 * math.expm1(turned)
    size = f"{percent:+.0f} %"
    if knob.name == GAIN:
        return f"the sweep {size} off as a whole"
    if knob.name == LEADS:
        return f"leads of {turned:+.2f} ohm"
    if knob.kind is KnobKind.DRIVER:
        key, _, what = knob.name.partition(":")
        meaning = {"scale": "impedance", "shift": "resonances"}.get(what, what)
        return f"{meaning} of {key} {size}"
    if knob.kind is KnobKind.LOSS:
        kind = "resistance" if knob.name.endswith(("_dcr", "_esr")) else "loss"
        return f"{kind} of {knob.name.rpartition('_')[0]} {size}"
    if knob.kind is KnobKind.LEAKAGE:
        return f"leakage of {knob.name} {size}"
    return f"{' and '.join(knob.acts_on)} {size}"
