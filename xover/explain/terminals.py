"""The impedance at the terminals for many states of one network at once, with exact derivatives.

A state is a set of start values (a fault is one of them: an open joint is ten megohms, a bridge a milliohm, as a
meter would read them) moved by knobs. Each knob has a usual spread: a part's tolerance, a loss that is not well
known, a driver that has changed a little since it was measured, the gain and the leads of the jig.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final, Protocol

import numpy as np

from xover.curve import Complex, Float
from xover.errors import OptionError
from xover.explain.drift import log_slope
from xover.explain.sweeps import smoothness_noise, swept_channel
from xover.network import Network, solve
from xover.network.adjoint import impedance_sensitivity
from xover.network.parts import Capacitor, Inductor, Resistor
from xover.parts.kinds import PartKind, kind_of
from xover.rules.likeness import JIG_GAIN
from xover.search.builds import ONE_CORE, draw_names, part_spreads
from xover.speaker import SpeakerDriver

SCALE_SPREAD: Final = 0.01
SHIFT_SPREAD: Final = 0.01
"""Standard deviations of a driver since it was measured: its whole impedance (a warmer coil, another sample) and the
frequencies of its resonances. Common practice, no published source."""


class DriverShape(Protocol):
    """How a driver's impedance answers its knobs."""

    @property
    def knobs(self) -> tuple[str, ...]:
        """What can be turned."""
        ...

    @property
    def spreads(self) -> tuple[float, ...]:
        """The usual spread of each knob."""
        ...

    def at(self, turned: Float) -> tuple[Complex, Complex]:
        """(k, n) ohm and its relative derivative (k, n, q), for knobs (k, q)."""
        ...


@dataclass(frozen=True, eq=False)
class MeasuredDriver:
    """A measured impedance that may be scaled and shifted in frequency by a little.

    Attributes
    ----------
    impedance_ohm : (n,). slope : (n,) complex, d ln Z/d ln f.
    """

    impedance_ohm: Complex
    slope: Complex

    @property
    def knobs(self) -> tuple[str, ...]:
        """Scale, and shift: ln of the factor on the frequency scale."""
        return ("scale", "shift")

    @property
    def spreads(self) -> tuple[float, ...]:
        """Of scale and shift."""
        return (SCALE_SPREAD, SHIFT_SPREAD)

    def at(self, turned: Float) -> tuple[Complex, Complex]:
        """(k, n) ohm and (k, n, 2) relative derivatives; the shift to first order."""
        change = turned[:, :1] - turned[:, 1:2] * self.slope
        slopes = np.stack([np.ones_like(self.slope), -self.slope], axis=-1)
        ohm = np.asarray(self.impedance_ohm * np.exp(change), dtype=complex)
        return ohm, np.broadcast_to(slopes, (*ohm.shape, 2))


def measured_driver(driver: SpeakerDriver, frequency_hz: Float) -> MeasuredDriver:
    """A driver of the folder at the frequencies of a sweep; NaN where its own does not reach."""
    return MeasuredDriver(driver.impedance_ohm(frequency_hz), log_slope(driver.impedance_ohm, frequency_hz))


def driver_noise(driver: SpeakerDriver) -> float:
    """Relative noise of a driver's sweep, 0 where there is none or it cannot be told."""
    if driver.impedance is None:
        return 0.0
    found = smoothness_noise(driver.impedance).either
    return found if np.isfinite(found) else 0.0


OPEN_OHM: Final = 1e7
"""An open joint: a meter on its highest range shows megohms."""
SHORT_OHM: Final = 1e-3
"""A piece of wire, or a bridge of solder: a milliohm."""
SIGMAS: Final = 2.0
"""A tolerance is taken as this many standard deviations. Common practice, no published source."""

DCR_SPREAD: Final = 0.10
LOSS_SPREAD: Final = 0.5
WET_SPREAD: Final = 0.8
LEAKAGE_SPREAD: Final = 0.3
LEAD_SPREAD_OHM: Final = 0.05
"""Standard deviations (of the logarithm): a coil's resistance, a capacitor's loss, that of a wet one, which age may
make tenfold, the leakage of coils on one core; the jig's leads in ohm. Common practice, no published source."""
UNSTATED_DCR_OHM: Final = 0.35
UNSTATED_ESR_OHM: Final = 0.05
UNSTATED_SPREAD: Final = 1.0
"""Where a card says nothing: the resistance of a coil of 1 mH, going with the root of its inductance, and that of a
wet capacitor beside its loss angle; a factor e is one standard deviation. Common practice, no published source."""
WET: Final = (PartKind.ELECTROLYTIC, PartKind.PAPER)

GAIN: Final = "gain"
LEADS: Final = "leads"


class KnobKind(StrEnum):
    """What a knob turns."""

    PART = "part"
    LOSS = "loss"
    LEAKAGE = "leakage"
    DRIVER = "driver"
    JIG = "jig"


@dataclass(frozen=True)
class Knob:
    """Something that may differ a little from what it is taken for.

    Attributes
    ----------
    name : the part's or core's first coil; NAME_dcr, NAME_loss, NAME_esr; a close coupling's; CARD:WHAT of a driver;
        gain, leads.
    acts_on : the values as `solve` takes them that it moves together, or the driver's card.
    spread : standard deviation of the logarithm (leads: ohm; a coupling: of the logarithm of 1 - k); 0 holds it fast.
    """

    name: str
    kind: KnobKind
    acts_on: tuple[str, ...]
    spread: float


@dataclass(frozen=True)
class State:
    """Start values that differ from the network's, spreads that differ from the usual, and where the knobs begin.

    Attributes
    ----------
    values : by name as `solve` takes it. spreads, begin : by knob.
    drivers : what stands on a driver's card instead: another card's name, or ohms.
    """

    values: Mapping[str, float]
    spreads: Mapping[str, float]
    drivers: Mapping[str, str | float]
    begin: Mapping[str, float]


NOMINAL: Final = State({}, {}, {}, {})
"""The network as its netlist has it."""


@dataclass(frozen=True, eq=False)
class Terminals:
    """One channel of a network as its terminals show it.

    Attributes
    ----------
    network : with every driver card bound by its own key, and a bridge (open) across each coil of a common core.
    nominal : start values by name as `solve` takes them. shapes : the driver on each card, by key.
    """

    network: Network
    channel: str
    frequency_hz: Float
    shapes: Mapping[str, DriverShape]
    knobs: tuple[Knob, ...]
    nominal: Mapping[str, float]

    def spreads(self, states: Sequence[State]) -> Float:
        """(k, p) spread of each knob in each state."""
        return np.array([[s.spreads.get(k.name, k.spread) for k in self.knobs] for s in states])

    def begin(self, states: Sequence[State]) -> Float:
        """(k, p) where the knobs begin."""
        return np.array([[s.begin.get(k.name, 0.0) for k in self.knobs] for s in states])

    def values(self, states: Sequence[State], turned: Float) -> dict[str, Float]:
        """(k,) values by name as `solve` takes them, for knobs (k, p)."""
        out = {n: np.array([s.values.get(n, v) for s in states]) for n, v in self.nominal.items()}
        for column, knob in enumerate(self.knobs):
            for name in knob.acts_on:
                if knob.kind in (KnobKind.PART, KnobKind.LOSS):
                    out[name] = out[name] * np.exp(turned[:, column])
                elif knob.kind is KnobKind.LEAKAGE:
                    out[name] = np.sign(out[name]) * (1.0 - (1.0 - np.abs(out[name])) * np.exp(turned[:, column]))
        return out

    def driver_ohm(self, states: Sequence[State], turned: Float) -> tuple[dict[str, Complex], dict[str, Complex]]:
        """(k, n) impedance on each card, and (k, n) its relative derivative to each driver's knob, by knob."""
        index = {knob.name: column for column, knob in enumerate(self.knobs)}
        ohm: dict[str, Complex] = {}
        slope: dict[str, Complex] = {}
        whole: dict[str, Complex] = {}
        for key, shape in self.shapes.items():
            columns = [index[f"{key}:{what}"] for what in shape.knobs]
            whole[key], slopes = shape.at(turned[:, columns])
            slope |= {f"{key}:{what}": slopes[..., i] for i, what in enumerate(shape.knobs)}
        for key in self.shapes:
            ohm[key] = whole[key].copy()
            for row, state in enumerate(states):
                other = state.drivers.get(key)
                if other is not None:
                    ohm[key][row] = whole[other][row] if isinstance(other, str) else other
        return ohm, slope

    def look(self, states: Sequence[State], turned: Float) -> tuple[Complex, Complex]:
        """Logarithm of the impedance (k, n) as the jig reads it, and its derivative to each knob (k, n, p).

        Exact, by the adjoint network (xover/network/adjoint.py).
        """
        values = self.values(states, turned)
        ohm, slope = self.driver_ohm(states, turned)
        solution = solve(self.network, self.frequency_hz, ohm, values)
        bare = np.atleast_2d(solution.impedance_ohm[self.channel])
        relative = impedance_sensitivity(solution)[self.channel]
        index = {knob.name: column for column, knob in enumerate(self.knobs)}
        total = bare + turned[:, index[LEADS], None]
        share = bare / total
        slopes = np.zeros((*total.shape, len(self.knobs)), dtype=complex)
        for column, knob in enumerate(self.knobs):
            if knob.kind in (KnobKind.PART, KnobKind.LOSS):
                for name in knob.acts_on:
                    slopes[..., column] += relative[name] * share
            elif knob.kind is KnobKind.LEAKAGE:
                k = np.abs(values[knob.acts_on[0]])[:, None]
                slopes[..., column] = relative[knob.acts_on[0]] * (k - 1.0) / k * share
            elif knob.kind is KnobKind.DRIVER:
                slopes[..., column] = relative[f"Z_{knob.acts_on[0]}"] * slope[knob.name] * share
        slopes[..., index[GAIN]] = 1.0
        slopes[..., index[LEADS]] = 1.0 / total
        return np.asarray(np.log(total) + turned[:, index[GAIN], None], dtype=complex), slopes

    def driver_share(self, keys: Sequence[str]) -> Complex:
        """(n,) d ln Z/d ln Z_driver at the terminals, of some cards together, the network as it is."""
        begin = self.begin([NOMINAL])
        ohm, _ = self.driver_ohm([NOMINAL], begin)
        relative = impedance_sensitivity(solve(self.network, self.frequency_hz, ohm, self.values([NOMINAL], begin)))
        return np.asarray(sum(relative[self.channel][f"Z_{key}"][0] for key in keys), dtype=complex)

    def drive(
        self, states: Sequence[State], turned: Float, frequency_hz: Float, ohm: Mapping[str, Complex]
    ) -> dict[str, Complex]:
        """(k, n) drive of each driver card at other frequencies, with the drivers' own impedances (n,) by card.

        A card in open or short keeps no drive: what lies across an open driver makes no sound.
        """
        count = len(states)
        mine: dict[str, Complex] = {}
        for key in self.shapes:
            mine[key] = np.repeat(np.asarray(ohm[key], dtype=complex)[None, :], count, axis=0)
            for row, state in enumerate(states):
                other = state.drivers.get(key)
                if other is not None:
                    mine[key][row] = ohm[other] if isinstance(other, str) else other
        solution = solve(self.network, frequency_hz, mine, self.values(states, turned))
        out = {}
        for key in self.shapes:
            dead = np.array([isinstance(s.drivers.get(key), float) for s in states])
            out[key] = np.where(dead[:, None], 0.0, np.atleast_2d(solution.drive[key]))
        return out


def make_terminals(
    network: Network, channel: str | None, frequency_hz: Float, shapes: Mapping[str, DriverShape]
) -> Terminals:
    """Prepare a network at the frequencies of a sweep.

    Parameters
    ----------
    channel : where the sweep was taken; may be None where there is one only.
    frequency_hz : (n,). shapes : the driver on each card, by the card's key.

    Raises
    ------
    OptionError : several channels and none named, or one that is not there. NoSolutionError, InputError.
    """
    at = swept_channel(network, channel)
    apart = replace(network, drivers=tuple(replace(d, driver=d.key) for d in network.drivers))
    cores = on_cores(network)
    taken = {p.name for p in network.parts}
    bridges = tuple(Resistor(bridge_name(p.name), p.a, p.b, OPEN_OHM) for p in network.coils if p.name in cores)
    if clash := taken & {b.name for b in bridges}:
        raise OptionError(f"a part is named {clash.pop()}", "rename it: the name is needed for a bridge across a coil")
    apart = replace(apart, parts=(*apart.parts, *bridges))
    nominal: dict[str, float] = {b.name: OPEN_OHM for b in bridges}
    nominal |= network.numbers
    unstated = _unstated(network)
    nominal |= {name: ohm for name, (ohm, _) in unstated.items()}
    return Terminals(apart, at, frequency_hz, dict(shapes), _knobs(network, shapes, unstated), nominal)


def _unstated(network: Network) -> dict[str, tuple[float, float]]:
    """Resistance that parts have though their cards say nothing of it, in ohm, and its spread."""
    found = {}
    for part in network.parts:
        if isinstance(part, Inductor) and part.dcr_ohm == 0.0:
            found[f"{part.name}_dcr"] = (UNSTATED_DCR_OHM * math.sqrt(part.henry / 1e-3), UNSTATED_SPREAD)
        elif isinstance(part, Capacitor) and part.esr_ohm == 0.0 and kind_of(part) in WET:
            found[f"{part.name}_esr"] = (UNSTATED_ESR_OHM, UNSTATED_SPREAD)
    return found


def _knobs(
    network: Network, shapes: Mapping[str, DriverShape], unstated: Mapping[str, tuple[float, float]]
) -> tuple[Knob, ...]:
    found = []
    try:
        spreads = part_spreads(network)
    except OptionError:  # every part is exact, or there is none
        spreads = ()
    for name in draw_names(spreads):
        members = [s for s in spreads if s.draw == name]
        widest = max(s.tolerance for s in members) / SIGMAS
        found.append(Knob(name, KnobKind.PART, tuple(s.part for s in members), widest))
    for part in network.parts:
        if isinstance(part, Inductor) and part.dcr_ohm > 0:
            found.append(Knob(f"{part.name}_dcr", KnobKind.LOSS, (f"{part.name}_dcr",), DCR_SPREAD))
        elif isinstance(part, Capacitor) and (part.esr_ohm > 0 or part.dissipation_factor > 0):
            both = tuple(n for n in (f"{part.name}_esr", f"{part.name}_df") if n not in unstated)
            spread = WET_SPREAD if kind_of(part) in WET else LOSS_SPREAD
            found.append(Knob(f"{part.name}_loss", KnobKind.LOSS, both, spread))
    found += [Knob(name, KnobKind.LOSS, (name,), spread) for name, (_, spread) in unstated.items()]
    found += [
        Knob(c.name, KnobKind.LEAKAGE, (c.name,), LEAKAGE_SPREAD) for c in network.couplings if ONE_CORE < abs(c.k) < 1
    ]
    for key, shape in shapes.items():
        found += [
            Knob(f"{key}:{what}", KnobKind.DRIVER, (key,), spread)
            for what, spread in zip(shape.knobs, shape.spreads, strict=True)
        ]
    found.append(Knob(GAIN, KnobKind.JIG, (), JIG_GAIN))
    found.append(Knob(LEADS, KnobKind.JIG, (), LEAD_SPREAD_OHM))
    return tuple(found)


def on_cores(network: Network, least: float = 0.0) -> frozenset[str]:
    """Names of the coils that are coupled to another, by `least` or more: a bridge across one loads the other."""
    return frozenset(network.part(n).name for c in network.couplings for n in (c.first, c.second) if abs(c.k) >= least)


def bridge_name(coil: str) -> str:
    """Name of the resistor across a coupled coil."""
    return f"R_across_{coil}"
