"""A topology whose values are open: solves candidates, and tells how each value moves every drive and the load."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Float
from xover.errors import OptionError
from xover.network import Capacitor, Inductor, Network, Part, Resistor, solve, value_of
from xover.network.adjoint import element_currents
from xover.network.closed_form import ClosedForm, compile_closed_form
from xover.studies.change.redesign.goal import Goal

# A coil's resistance grows so with its inductance, wire and proportions the same (Brooks coil: derived).
DCR_POWER = 0.6


@dataclass(frozen=True, eq=False)
class Design:
    """A network of which some values are open.

    Attributes
    ----------
    open_parts : names, in the order of every array of values.
    dcr_at : by coil: (henry, ohm) that its DC resistance is scaled from while values are continuous.
    """

    network: Network
    goal: Goal
    open_parts: tuple[str, ...]
    dcr_at: Mapping[str, tuple[float, float]]

    def __post_init__(self) -> None:
        if len(self.network.channels) != 1:
            raise OptionError("a network of several channels has no one load", "redesign the network of each channel")
        if not self.open_parts:
            raise OptionError("the network has no value to change", "give a network with parts")

    @cached_property
    def start(self) -> Float:
        """(p,) the network's own values."""
        return np.array([value_of(self.network.part(name)) for name in self.open_parts])

    def values(self, values: Float) -> dict[str, Float]:
        """What `solve` takes for (k, p) values: DC resistances follow the coils."""
        given: dict[str, Float] = {}
        for column, name in zip(values.T, self.open_parts, strict=True):
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

    def _impedance_slopes(self, values: Float) -> Complex:
        """(p, n) derivative of each open part's impedance to its ln(value), a coil's DC resistance following it."""
        omega = 2.0 * np.pi * self.goal.frequency_hz
        out = np.empty((values.size, omega.size), dtype=complex)
        for row, (name, value) in enumerate(zip(self.open_parts, values, strict=True)):
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


def with_values(network: Network, values: Mapping[str, float], dcr_ohm: Mapping[str, float]) -> Network:
    """The network with some values changed, and what the cards said of the old ones dropped."""

    def changed(part: Part) -> Part:
        if part.name not in values:
            return part
        value = float(values[part.name])
        if isinstance(part, Resistor):
            return replace(part, ohm=value, fields=())
        if isinstance(part, Inductor):
            dcr = float(dcr_ohm.get(part.name, part.dcr_ohm))
            return replace(part, henry=value, dcr_ohm=dcr, fields=(("core", part.said("core") or "air"),))
        return replace(part, farad=value, fields=(("kind", part.said("kind") or "film"),))

    return replace(network, parts=tuple(changed(p) for p in network.parts))


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
