"""The single faults that a build can have: what each is, and the state of the network that it leaves."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from xover.explain.terminals import (
    NOMINAL,
    OPEN_OHM,
    SHORT_OHM,
    Knob,
    KnobKind,
    State,
    Terminals,
    bridge_name,
    on_cores,
)
from xover.network import Network
from xover.network.parts import Capacitor, Inductor, Part, Resistor, value_of
from xover.rules.likeness import ONE_PART

DECADE: Final = 10.0
FREE_SPREAD: Final = 1.0
"""Standard deviation of the logarithm of a value that may be any, and of a wrong part's loss: a factor e."""
BEGINNINGS: Final = (0.25, 1.0, 4.0)
"""Factors from which a free value is sought."""


class FaultKind(StrEnum):
    """What a single fault is."""

    OPEN = "open"
    SHORTED = "shorted"
    TEN_TIMES = "ten times the value"
    TENTH = "a tenth of the value"
    SWAPPED = "swapped"
    OTHER_VALUE = "another value"
    REVERSED = "reversed"


@dataclass(frozen=True)
class Fault:
    """One single fault.

    Attributes
    ----------
    part : the part's name, or the driver's key.
    other : the one that it is swapped with; of a value, the second winding of one part; else None.
    is_driver : whether it is a driver's, not a part's.
    """

    kind: FaultKind
    part: str
    other: str | None = None
    is_driver: bool = False

    @property
    def told(self) -> str:
        """The fault in as few words as a table has room for."""
        if self.kind is FaultKind.SWAPPED:
            return f"swapped with {self.other}"
        if self.other is not None:
            return f"{self.kind}, with {self.other}"
        return str(self.kind)

    @property
    def seen_at_terminals(self) -> bool:
        """False for a driver's polarity: the impedance is the same with its wires swapped."""
        return not (self.is_driver and self.kind is FaultKind.REVERSED)


@dataclass(frozen=True)
class FaultState:
    """A fault (None: no fault) and a state of the network that stands for it."""

    fault: Fault | None
    state: State


def fault_states(network: Network, terminals: Terminals) -> tuple[FaultState, ...]:
    """No fault first, then every single fault that the impedance can show; several states where a value is free."""
    knobs = {k.name: k for k in terminals.knobs}
    found = [FaultState(None, NOMINAL)]
    found += _of_parts(network, knobs, terminals.nominal)
    found += _swaps(network, knobs, terminals.nominal)
    found += _of_drivers(network, terminals)
    return tuple(found)


def polarity_faults(network: Network) -> tuple[Fault, ...]:
    """Each driver card with its wires swapped: only a microphone tells. With one driver nothing does."""
    if len(network.drivers) < 2:
        return ()
    return tuple(Fault(FaultKind.REVERSED, card.key, is_driver=True) for card in network.drivers)


def _of_parts(network: Network, knobs: dict[str, Knob], nominal: Mapping[str, float]) -> Iterator[FaultState]:
    coupled, partner = on_cores(network), _windings(network)
    for part in network.parts:
        own = _own_knobs(part, knobs)
        yield FaultState(Fault(FaultKind.OPEN, part.name), State(_open(part), dict.fromkeys(own, 0.0), {}, {}))
        if value_of(part) == 0.0:
            continue
        if part.name in coupled:
            yield FaultState(
                Fault(FaultKind.SHORTED, part.name), State({bridge_name(part.name): SHORT_OHM}, {}, {}, {})
            )
        else:
            yield FaultState(Fault(FaultKind.SHORTED, part.name), State(_short(part), dict.fromkeys(own, 0.0), {}, {}))
        if not any(part.name in k.acts_on and len(k.acts_on) > 1 for k in knobs.values()):
            yield from _values((part,), knobs, nominal)
        if part.name in partner:
            yield from _values((part, network.part(partner[part.name])), knobs, nominal)
    for coupling in network.couplings:
        fault = Fault(FaultKind.REVERSED, network.part(coupling.first).name, network.part(coupling.second).name)
        yield FaultState(fault, State({coupling.name: -coupling.k}, {}, {}, {}))


def _values(parts: Sequence[Part], knobs: dict[str, Knob], nominal: Mapping[str, float]) -> Iterator[FaultState]:
    """Another value of a part, or of both windings of one; how closely coils are coupled stays."""
    names = [p.name for p in parts]
    other = names[1] if len(names) > 1 else None
    losses = {name: FREE_SPREAD for p in parts for name in _own_knobs(p, knobs) if knobs[name].kind is KnobKind.LOSS}
    for kind, factor in ((FaultKind.TEN_TIMES, DECADE), (FaultKind.TENTH, 1.0 / DECADE)):
        scaled = {name: value for p in parts for name, value in _scaled(p, factor, nominal).items()}
        yield FaultState(Fault(kind, names[0], other), State(scaled, losses, {}, {}))
    knob = knobs.get(names[0])
    if knob is not None and set(knob.acts_on) == set(names):
        for factor in BEGINNINGS:
            begin = {knob.name: math.log(factor)} if factor != 1.0 else {}
            fault = Fault(FaultKind.OTHER_VALUE, names[0], other)
            yield FaultState(fault, State({}, {knob.name: FREE_SPREAD} | losses, {}, begin))


def _windings(network: Network) -> dict[str, str]:
    """The second winding of each part of two, by its first."""
    return {network.part(c.first).name: network.part(c.second).name for c in network.couplings if abs(c.k) >= ONE_PART}


def _swaps(network: Network, knobs: dict[str, Knob], nominal: Mapping[str, float]) -> Iterator[FaultState]:
    """Two parts of a kind, one in the place of the other, each with its tolerance; windings of one part stay there."""
    cores = on_cores(network, ONE_PART)
    for one, other in itertools.combinations(network.parts, 2):
        alike = type(one) is type(other) and value_of(one) != value_of(other)
        if alike and 0.0 not in (value_of(one), value_of(other)) and (one.name in cores) == (other.name in cores):
            spreads = {}
            if one.name in knobs and other.name in knobs:
                spreads = {one.name: knobs[other.name].spread, other.name: knobs[one.name].spread}
            yield FaultState(
                Fault(FaultKind.SWAPPED, one.name, other.name),
                State(_as(one, other, nominal) | _as(other, one, nominal), spreads, {}, {}),
            )


def _of_drivers(network: Network, terminals: Terminals) -> Iterator[FaultState]:
    def held(*keys: str) -> dict[str, float]:
        return {k.name: 0.0 for k in terminals.knobs if k.kind is KnobKind.DRIVER and k.acts_on[0] in keys}

    for card in network.drivers:
        for kind, ohm in ((FaultKind.OPEN, OPEN_OHM), (FaultKind.SHORTED, SHORT_OHM)):
            yield FaultState(Fault(kind, card.key, is_driver=True), State({}, held(card.key), {card.key: ohm}, {}))
    for one, other in itertools.combinations(network.drivers, 2):
        if one.driver != other.driver:
            yield FaultState(
                Fault(FaultKind.SWAPPED, one.key, other.key, is_driver=True),
                State({}, held(one.key, other.key), {one.key: other.key, other.key: one.key}, {}),
            )


def _own_knobs(part: Part, knobs: dict[str, Knob]) -> list[str]:
    """The knobs that turn this part alone."""
    names = {part.name, f"{part.name}_dcr", f"{part.name}_esr", f"{part.name}_df"}
    return [k.name for k in knobs.values() if k.acts_on and names.issuperset(k.acts_on)]


def _open(part: Part) -> dict[str, float]:
    """A joint of megohms in the part's place, or in series with it."""
    if isinstance(part, Resistor):
        return {part.name: OPEN_OHM}
    if isinstance(part, Inductor):
        return {f"{part.name}_dcr": OPEN_OHM}
    return {f"{part.name}_esr": OPEN_OHM}


def _short(part: Part) -> dict[str, float]:
    """A piece of wire in the part's place."""
    if isinstance(part, Resistor):
        return {part.name: SHORT_OHM}
    if isinstance(part, Inductor):
        return {part.name: 1e-9, f"{part.name}_dcr": SHORT_OHM}
    return {part.name: 1e3, f"{part.name}_esr": SHORT_OHM, f"{part.name}_df": 0.0}


def _scaled(part: Part, factor: float, nominal: Mapping[str, float]) -> dict[str, float]:
    """Another value of the same make: a coil's resistance goes with the root of its inductance, a loss angle stays."""
    changed = {part.name: nominal[part.name] * factor}
    if isinstance(part, Inductor):
        changed[f"{part.name}_dcr"] = nominal[f"{part.name}_dcr"] * math.sqrt(factor)
    elif isinstance(part, Capacitor):
        changed[f"{part.name}_esr"] = nominal[f"{part.name}_esr"] / factor
    return changed


def _as(place: Part, part: Part, nominal: Mapping[str, float]) -> dict[str, float]:
    """The values of a part, in the place of another."""
    return {
        place.name + end: nominal[part.name + end]
        for end in ("", "_dcr", "_esr", "_df")
        if part.name + end in nominal and place.name + end in nominal
    }
