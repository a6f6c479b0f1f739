"""Networks that may be tried, and one whose values are open: solves candidates, tells how each value moves all."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Float
from xover.errors import OptionError
from xover.files.netlist import circuit_names, read_circuit
from xover.network import Capacitor, Inductor, Network, Part, Resistor, build_network, solve, value_of
from xover.network.adjoint import element_currents
from xover.network.closed_form import ClosedForm, compile_closed_form
from xover.network.parts import changed
from xover.network.retouch import turned
from xover.sound.meeting import WayOfDrivers
from xover.studies.change.redesign.goal import Goal, residuals_and_slopes, score, slopes_alone
from xover.studies.change.redesign.structure import Move
from xover.studies.change.redesign.wish import Slopes

# The drivers' names of circuits/, from the lowest way to the highest.
_ORDER: Final = ("woofer", "mid", "horn", "tweeter")
PRESENT: Final = "present"


@dataclass(frozen=True, eq=False)
class Topology:
    """A network that may be tried, its drivers named as the speaker's.

    Attributes
    ----------
    name : of the circuit, or "present".
    reversed : keys of the drivers that are turned over against the netlist.
    moves : what was taken out of the circuit.
    """

    name: str
    network: Network
    reversed: tuple[str, ...] = ()
    moves: tuple[Move, ...] = ()


def topology(name: str, reference: Network, order: Sequence[WayOfDrivers]) -> Topology:
    """One topology by its name, "present" for the network that is there.

    Parameters
    ----------
    order : the speaker's ways from the lowest to the highest.

    Raises
    ------
    OptionError : no circuit of that name, or its drivers are not as many as the speaker's.
    """
    if name == PRESENT:
        return Topology(PRESENT, reference)
    network = build_network(read_circuit(name))
    fitted = _fitted(network, reference, order)
    if fitted is None:
        have = ", ".join(way.name for way in order)
        raise OptionError(
            f"the circuit '{name}' is for other drivers than {have} on one channel",
            "choose one with as many ways and as many of each; 'xover new --list' shows them",
        )
    return Topology(name, fitted)


def fitting(reference: Network, order: Sequence[WayOfDrivers], most_parts: int | None) -> tuple[Topology, ...]:
    """The present network and every circuit that fits, the present one first."""
    found = [Topology(PRESENT, reference)]
    for name in circuit_names():
        network = _fitted(build_network(read_circuit(name)), reference, order)
        if network is not None:
            found.append(Topology(name, network))
    return tuple(t for t in found if most_parts is None or len(t.network.parts) <= most_parts)


def polarities(one: Topology, order: Sequence[WayOfDrivers]) -> tuple[Topology, ...]:
    """The topology with every choice of drivers turned over; the lowest way stays as it is."""
    out = []
    for turns in product((False, True), repeat=len(order) - 1):
        names = {name for way, turn in zip(order[1:], turns, strict=True) if turn for name in way.names}
        keys = tuple(d.key for d in one.network.drivers if d.driver in names)
        out.append(Topology(one.name, turned(one.network, keys), keys))
    return tuple(out)


def _fitted(network: Network, reference: Network, order: Sequence[WayOfDrivers]) -> Network | None:
    """The network with the speaker's drivers on its cards; None where they do not fit."""
    if len(network.channels) != 1 or len(reference.channels) != 1:
        return None
    own = sorted({d.driver for d in network.drivers}, key=_ORDER.index)
    if len(own) != len(order):
        return None
    ways = dict(zip(own, order, strict=True))
    if Counter(d.driver for d in network.drivers) != {name: len(way.keys) for name, way in ways.items()}:
        return None
    cards = {c.key: c for c in reference.drivers}
    left = {name: [cards[key] for key in way.keys] for name, way in ways.items()}
    drivers = []
    for d in network.drivers:
        old = left[d.driver].pop(0)
        alone = sum(c.driver == old.driver for c in reference.drivers) == 1
        drivers.append(replace(d, driver=old.driver, key=old.driver if alone else d.name[1:]))
    return replace(network, drivers=tuple(drivers))


# A coil's resistance grows so with its inductance, wire and proportions the same (Brooks coil: derived).
DCR_POWER: Final = 0.6
_CORNER_STEP: Final = 1e-4
_BATCH: Final = 400


@dataclass(frozen=True, eq=False)
class Design:
    """A network of which some values are open.

    Attributes
    ----------
    open_parts : names, in the order of every array of values.
    dcr_at : by coil: (henry, ohm) that its DC resistance is scaled from while values are continuous.
    slopes : where the corner frequencies are open too: values then end with them. None: the goal's own slopes.
    corners_hz : (w,) to start from.
    """

    network: Network
    goal: Goal
    open_parts: tuple[str, ...]
    dcr_at: Mapping[str, tuple[float, float]]
    slopes: Slopes | None = None
    corners_hz: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if len(self.network.channels) != 1:
            raise OptionError("a network of several channels has no one load", "redesign the network of each channel")
        if not self.open_parts:
            raise OptionError("the network has no value to change", "give a network with parts")

    @cached_property
    def start(self) -> Float:
        """(p,) the network's own values, then corners that are open."""
        own = [value_of(self.network.part(name)) for name in self.open_parts]
        return np.array([*own, *(self.corners_hz if self.slopes is not None else ())])

    def settled(self, values: Float) -> Float:
        """(p,) values with the corners, where they are open, that suit the others best."""
        if self.slopes is None:
            return values
        drive, _ = self.solve(values[None])
        row = self.slopes.table.best(self.goal, drive)[1][0]
        return np.concatenate([values[: len(self.open_parts)], self.slopes.table.corners_hz[row]])

    def at_corners(self, values: Float) -> tuple[Design, Float]:
        """The design with its corners fixed where (p,) values have them, and what is left of the values."""
        count = len(self.open_parts)
        corners = tuple(float(c) for c in values[count:])
        return replace(self, goal=self._goal_at(values), slopes=None, corners_hz=corners or self.corners_hz), values[
            :count
        ]

    def network_with(self, values: Float) -> Network:
        """The network with (p,) values in it."""
        given = {name: float(v[0]) for name, v in self.values(values[None]).items()}
        parts = (changed(p, {n: given[n] for n in (p.name, f"{p.name}_dcr") if n in given}) for p in self.network.parts)
        return replace(self.network, parts=tuple(parts))

    def _goal_at(self, values: Float) -> Goal:
        if self.slopes is None:
            return self.goal
        return replace(self.goal, slope_db=self.slopes.level_db(values[len(self.open_parts) :]))

    def values(self, values: Float) -> dict[str, Float]:
        """What `solve` takes for (k, p) values: DC resistances follow the coils."""
        given: dict[str, Float] = {}
        for column, name in zip(values.T, self.open_parts, strict=False):
            given[name] = column
            if name in self.dcr_at:
                given[f"{name}_dcr"] = self._dcr(name, column)
        return given

    def _dcr(self, name: str, henry: Float) -> Float:
        at_h, at_ohm = self.dcr_at[name]
        return np.asarray(at_ohm * (henry / at_h) ** DCR_POWER)

    def solve(self, values: Float) -> tuple[Complex, Complex]:
        """Drives (k, c, n) and load (k, n) of candidates (k, p)."""
        solution = solve(self.network, self.goal.frequency_hz, self.goal.driver_ohm, self.values(values))
        return self._arrays(solution.drive, solution.impedance_ohm)

    def solve_with_slopes(self, values: Float) -> tuple[Complex, Complex, Complex, Complex]:
        """For values (p,): drives (c, n), load (n,), and their derivatives to ln(value), (p, c, n) and (p, n)."""
        solution = solve(self.network, self.goal.frequency_hz, self.goal.driver_ohm, self.values(values[None]))
        drive, load = self._arrays(solution.drive, solution.impedance_ohm)
        amps = element_currents(solution, self.open_parts)
        step = self._impedance_slopes(values)
        order = [next(i for i, d in enumerate(self.network.drivers) if d.key == key) for key in self.goal.keys]
        flow = amps.flow[:, 0]
        drive_slope = amps.answer[order, :, 0].swapaxes(0, 1) * (flow * step)[:, None]
        square = np.where(np.isfinite(load[0]), load[0], np.nan) ** 2
        return drive[0], load[0], drive_slope, square * (flow * flow * step)

    def limits(self) -> tuple[Float, Float]:
        """(p,) lowest and highest values worth trying."""
        low, high = bounds(self.network.part(n) for n in self.open_parts)
        if self.slopes is None:
            return low, high
        return np.concatenate([low, self.slopes.low_hz]), np.concatenate([high, self.slopes.high_hz])

    def scores(self, values: Float) -> Float:
        """(k,) scores of candidates (k, p)."""
        return SolvedCloud().scores(self, values)

    def residuals(self, values: Float) -> tuple[Float, Float]:
        """(m,) residuals for values (p,), and their derivatives (m, p) to ln(value)."""
        drive, load, *turned = self.solve_with_slopes(values[: len(self.open_parts)])
        value, slope = residuals_and_slopes(self._goal_at(values), drive, load, *turned)
        if self.slopes is None:
            return value, slope
        columns = np.zeros((value.size, values.size - len(self.open_parts)))
        for column, at in zip(columns.T, range(len(self.open_parts), values.size), strict=True):
            step = np.zeros(values.size)
            step[at] = _CORNER_STEP
            up, down = (slopes_alone(self._goal_at(values * np.exp(s)), drive[None]) for s in (step, -step))
            column[: up.size] = (up - down) / (2.0 * _CORNER_STEP)
        return value, np.hstack([slope, columns])

    def _impedance_slopes(self, values: Float) -> Complex:
        """(p, n) derivative of each open part's impedance to its ln(value), a coil's DC resistance following it."""
        omega = 2.0 * np.pi * self.goal.frequency_hz
        out = np.empty((values.size, omega.size), dtype=complex)
        for row, (name, value) in enumerate(zip(self.open_parts, values, strict=False)):
            part = self.network.part(name)
            if isinstance(part, Capacitor):
                out[row] = (1j - part.dissipation_factor) / (omega * value)
            elif isinstance(part, Inductor):
                out[row] = 1j * omega * value
                if name in self.dcr_at:
                    out[row] += DCR_POWER * self._dcr(name, np.array(value))
            else:
                out[row] = value
        return out

    def variants(self, network: Network, values: Mapping[str, Float]) -> Variants:
        """A network with a few values varied over (k,) candidates: the fast way."""
        form = compile_closed_form(network, self.goal.frequency_hz, self.goal.driver_ohm, values)
        return Variants(self, form, values)

    @property
    def _channel(self) -> str:
        return self.network.channels[0].name

    def _arrays(self, drive: Mapping[str, Complex], impedance_ohm: Mapping[str, Complex]) -> tuple[Complex, Complex]:
        load = impedance_ohm[self._channel]
        count = load.shape[-1]
        stacked = np.stack([drive[key].reshape(-1, count) for key in self.goal.keys], axis=1)
        return np.asarray(stacked, dtype=complex), np.asarray(load.reshape(-1, count), dtype=complex)


@dataclass(frozen=True, eq=False)
class Variants:
    """Candidates of a design that differ in a few values, solved as far as is asked for."""

    design: Design
    form: ClosedForm
    values: Mapping[str, Float]

    @cached_property
    def drive(self) -> Complex:
        """(k, c, n)."""
        drive = self.form.at(self.values, loads=False).drive
        return np.stack([drive[key] for key in self.design.goal.keys], axis=1)

    def load(self, some: NDArray[np.intp]) -> Complex:
        """(j, n) load of j of the candidates."""
        values = {name: np.asarray(value)[some] for name, value in self.values.items()}
        return self.form.at(values).impedance_ohm[self.design.network.channels[0].name]


def openable(network: Network) -> tuple[str, ...]:
    """Parts whose values may be chosen: no lamps, no 0 ohm links, no coupled coils (autotransformers)."""
    coupled = {name.lower() for c in network.couplings for name in (c.first, c.second)}
    return tuple(
        p.name
        for p in network.parts
        if not (isinstance(p, Resistor) and (p.is_lamp or p.ohm == 0)) and p.name.lower() not in coupled
    )


def bounds(parts: Iterable[Part]) -> tuple[Float, Float]:
    """(p,) lowest and highest values worth trying; what crossovers are built of."""
    limits = {Resistor: (0.1, 220.0), Inductor: (0.05e-3, 15e-3), Capacitor: (0.47e-6, 220e-6)}
    low, high = zip(*(limits[type(p)] for p in parts), strict=True)
    return np.array(low), np.array(high)


@dataclass(eq=False)
class SolvedCloud:
    """Candidates solved once for all polarities, and all goals, that scatter them round the same values."""

    _key: object = None
    _plus: tuple[str, ...] = ()
    _drive: Complex = field(default_factory=lambda: np.empty((0, 0, 0), dtype=complex))
    _load: Complex = field(default_factory=lambda: np.empty((0, 0), dtype=complex))

    def scores(self, design: Design, values: Float) -> Float:
        """(k,) scores of candidates (k, p)."""
        network, goal = design.network, design.goal
        cards = [network.driver_card(key) for key in goal.keys]
        key = (
            network.parts,
            network.couplings,
            network.channels,
            tuple((c.name, c.driver, frozenset((c.plus, c.minus))) for c in cards),
            tuple(design.dcr_at.items()),
            goal.frequency_hz.tobytes(),
            tuple(np.asarray(ohm).tobytes() for ohm in goal.driver_ohm.values()),
            values.tobytes(),
        )
        plus = tuple(c.plus for c in cards)
        batches = [slice(at, at + _BATCH) for at in range(0, values.shape[0], _BATCH)]
        if key != self._key:
            solved = [design.solve(values[rows]) for rows in batches]
            self._drive, self._load = (np.concatenate(both) for both in zip(*solved, strict=True))
            self._key, self._plus = key, plus
        # A driver turned round gets the same voltage with the other sign.
        sign = np.array([1.0 if one == other else -1.0 for one, other in zip(plus, self._plus, strict=True)])
        total = []
        for rows in batches:
            drive = self._drive[rows] * sign[:, None]
            total.append(score(goal, drive, self._load[rows]))
            if design.slopes is not None:
                total[-1] += design.slopes.table.best(goal, drive)[0]
        return np.concatenate(total)
