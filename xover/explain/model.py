"""What a network predicts for a sweep, and its exact derivatives, all in logarithms."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from xover.curve import Complex, Float
from xover.errors import OptionError
from xover.explain.sweeps import Where
from xover.explain.unknowns import Unknown
from xover.network import Network, solve
from xover.network.adjoint import ParameterKind, drive_gradient, impedance_gradient
from xover.network.parts import Part


@dataclass(frozen=True, eq=False)
class Prediction:
    """A sweep as the network has it, for each of k candidates.

    Attributes
    ----------
    log : (k, n) natural logarithm of the impedance or ratio, its phase between -pi and pi.
    slope : (k, n, u) d log / d coordinate of each unknown, zero for what the sweep does not reach.
    by_driver : (k, n) d log / d ln Z of each driver's impedance, by the driver's name.
    """

    log: Complex
    slope: Complex
    by_driver: Mapping[str, Complex]


@dataclass(frozen=True, eq=False)
class SweepModel:
    """A network as one kind of sweep sees it.

    Attributes
    ----------
    network : with the driver unplugged or shorted, where that is how the sweep was made.
    channel : where the impedance is measured. driver : key, for a ratio; else empty.
    drivers_ohm : (n,) impedance of each driver at `frequency_hz`.
    """

    network: Network
    channel: str
    driver: str
    frequency_hz: Float
    drivers_ohm: Mapping[str, Complex]

    def predict(self, sought: Sequence[Unknown], at: Float, scale: Float) -> Prediction:
        """Solve.

        Parameters
        ----------
        at : (k, u) coordinates of the unknowns. scale : (k,) factor on every driver's impedance.
        """
        sign = self._signs
        here = [(column, u) for column, u in enumerate(sought) if u.name in sign]
        values = {}
        for column, unknown in here:
            number = unknown.number(at[:, column])
            values[unknown.name] = sign[unknown.name] * (1.0 - number) if _leaks(unknown) else number
        impedance = {n: z if np.all(scale == 1.0) else scale[:, None] * z for n, z in self._drivers.items()}
        solution = solve(self.network, self.frequency_hz, impedance, values)
        if self.driver:
            gradient, result = drive_gradient(solution)[self.driver], solution.drive[self.driver]
        else:
            gradient, result = impedance_gradient(solution)[self.channel], solution.impedance_ohm[self.channel]
        shape = (at.shape[0], self.frequency_hz.size)
        result = np.broadcast_to(result, shape)
        slope = np.zeros((*shape, len(sought)), dtype=complex)
        for column, unknown in here:
            turn = unknown.per_coordinate(at[:, column]) * (-sign[unknown.name] if _leaks(unknown) else 1.0)
            slope[:, :, column] = gradient[unknown.name] * turn[:, None] / result
        by_driver = {name: gradient[f"Z_{name}"] * z / result for name, z in impedance.items()}
        return Prediction(np.log(result), slope, by_driver)

    @cached_property
    def _drivers(self) -> Mapping[str, Complex]:
        """Those that are connected."""
        return {name: self.drivers_ohm[name] for name in self.network.driver_names}

    @cached_property
    def _signs(self) -> dict[str, float]:
        """1 for each name that may be given to `solve`; for a coupling its sign."""
        names = dict.fromkeys([p.name for p in self.network.parts], 1.0)
        names |= dict.fromkeys([f"{p.name}_dcr" for p in self.network.coils], 1.0)
        names |= dict.fromkeys([f"{p.name}_{loss}" for p in self.network.capacitors for loss in ("esr", "df")], 1.0)
        return names | {c.name: 1.0 if c.k > 0 else -1.0 for c in self.network.couplings}


def _leaks(unknown: Unknown) -> bool:
    return unknown.kind is ParameterKind.COUPLING


def network_for(network: Network, where: Where, driver: str) -> Network:
    """The network as it is during a sweep: with a driver unplugged, or shorted.

    Raises
    ------
    OptionError : no such driver, or none is left.
    """
    if where is Where.DISCONNECTED:
        left = network.without(driver)
    elif where is Where.SHORTED:
        left = network.with_short(driver)
    else:
        left = network
    if not left.drivers:
        raise OptionError(f"with {driver} {where} no driver is left", "sweep with one driver left in")
    return left


def with_values(network: Network, sought: Sequence[Unknown], at: Float) -> Network:
    """The network with the unknowns at these coordinates."""
    by_name = {u.name: float(u.number(c)) for u, c in zip(sought, at, strict=True)}
    field = {"_dcr": "dcr_ohm", "_esr": "esr_ohm", "_df": "dissipation_factor"}

    def renewed(part: Part) -> Part:
        own: dict[str, Any] = {u.kind.value: by_name[u.name] for u in sought if u.name == part.name and u.is_value}
        losses: dict[str, Any] = {
            key: by_name[part.name + end] for end, key in field.items() if part.name + end in by_name
        }
        return replace(part, **own, **losses)

    couplings = tuple(
        replace(c, k=(1.0 if c.k > 0 else -1.0) * (1.0 - by_name[c.name])) if c.name in by_name else c
        for c in network.couplings
    )
    return replace(network, parts=tuple(renewed(p) for p in network.parts), couplings=couplings)
