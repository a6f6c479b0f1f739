"""What is not known of a network, what is plausible for each number beforehand, and what a sweep would be with it.

A value is looked for by its natural logarithm, so that its prior is a factor up or down; a loss by itself, as it may
be next to nothing and as losses in one leg add up. Either has a normal prior, a loss cut off at zero. All widths rest
on xover/parts/kinds.py, or are common practice with no published source; results state which prior was used.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Complex, Float
from xover.errors import OptionError
from xover.explain.drift import DriftingDriver
from xover.explain.sweeps import SweepPlace
from xover.network import Network, solve
from xover.network.adjoint import ParameterKind, drive_gradient, impedance_gradient
from xover.network.parts import Capacitor, Inductor, Resistor, changed, value_of
from xover.parts.capacitor_loss import REFERENCE_HZ, dispersion
from xover.parts.kinds import FACTS, PartKind, kind_of, tolerance_of
from xover.rules.likeness import ONE_PART

# 95 % of a normal distribution lie within this many standard deviations.
NORMAL_95: Final = 1.959964
# A part of an old box may have been exchanged, or changed twice: 95 % within a factor of 1.8 of what is usual.
ANY_SD: Final = 0.30
# Without a prior a value is flat over more than eight decades, which stands for flat.
FLAT_SD: Final = 10.0
# Losses without a prior: these stand for flat, as no part of a crossover that plays loses more.
_FLAT_OHM: Final = 3.0
_FLAT_DISSIPATION: Final = 1.0
# A coil whose resistance nobody stated: ohms at 1 mH, going with the root of the inductance; spread over its own size.
_USUAL_DCR_OHM: Final = 0.35
_UNSTATED: Final = 0.7
# Fixed series resistance (foil, leads, drying out), mean and spread in ohms: wet capacitors, and dry ones.
_ESR_OHM: Final = {True: (0.3, 0.4), False: (0.01, 0.03)}
# A wet capacitor that dries out loses up to ten times what it did: mean and spread over what is stated.
_AGED_ESR: Final = 4.0
# Dissipation factor of a capacitor of which nothing is said, film or tired electrolytic: mean and spread.
_ANY_DISSIPATION: Final = (0.05, 0.08)
# With a loss angle that is constant a capacitance must fall as the frequency rises; how much of that it does, 1 for
# all of it: real ones lie between a constant phase and none. Mean and spread.
_FALL: Final = (0.3, 0.5)
# A core loses as a resistance beside the coil would; reactance at 1 kHz over that resistance. Mean and spread.
_CORE: Final = (0.01, 0.012)
# Spread of a dissipation factor beyond what is usual for the kind, for wet capacitors and dry ones.
_ANY_DF_SD: Final = {True: 0.05, False: 0.005}
# Resistance of a coil's wire, new: within this of what is stated.
_DCR_TOLERANCE: Final = 0.10
# Leakage (1 - k) of closely coupled coils: within a factor of 2.7 either way.
_LEAKAGE_SD: Final = 0.5
# Of coils that are one part: how close they are is looked for, within as much again.
_COUPLING_SD: Final = 0.5


_KINDS: Final = {
    Resistor: ParameterKind.OHM,
    Inductor: ParameterKind.HENRY,
    Capacitor: ParameterKind.FARAD,
}


HIDDEN_LAWS: Final = (ParameterKind.FALL, ParameterKind.CORE)
_OF_COIL: Final = (ParameterKind.HENRY, ParameterKind.DCR, ParameterKind.CORE)
_OF_CAPACITOR: Final = (ParameterKind.FARAD, ParameterKind.DISSIPATION, ParameterKind.ESR)


class Prior(StrEnum):
    """What is held plausible before the sweep is read."""

    ANY = "any"
    USUAL = "usual"
    NONE = "none"


PRIOR_WORDS: Final = {
    Prior.ANY: "95 % of parts within a factor of 1.8 of the marked value shifted by the drift usual for their kind",
    Prior.USUAL: "tolerance and drift usual for each kind of part",
    Prior.NONE: "none: the sweeps alone",
}


@dataclass(frozen=True)
class Unknown:
    """One positive number that is looked for.

    Attributes
    ----------
    name : as `solve` takes it: C1, L1_dcr, C1_esr, C1_df; a K card's name stands for its leakage 1 - |k|.
    part : whose it is. kind : what it is.
    marked : as the netlist says; 0 where it says nothing.
    logarithmic : the coordinate is the natural logarithm of the number, else the number itself.
    centre, spread : mean and standard deviation of the coordinate beforehand.
    """

    name: str
    part: str
    kind: ParameterKind
    marked: float
    logarithmic: bool
    centre: float
    spread: float

    @property
    def is_value(self) -> bool:
        """The part's own value, not a loss."""
        return self.kind in (ParameterKind.OHM, ParameterKind.HENRY, ParameterKind.FARAD)

    def number(self, coordinate: ArrayLike) -> Float:
        """The number at a coordinate, of the same shape."""
        return np.exp(coordinate) if self.logarithmic else np.asarray(coordinate, dtype=float)

    def per_coordinate(self, coordinate: ArrayLike) -> Float:
        """Derivative of the number to the coordinate, of the same shape."""
        return np.exp(coordinate) if self.logarithmic else np.ones_like(coordinate, dtype=float)


def unknowns(network: Network, prior: Prior = Prior.ANY) -> tuple[Unknown, ...]:
    """What is not known of a network, values first. Links of 0 ohm are taken as they are."""
    found = [*_values(network), *_losses(network), *_leakages(network)]
    if prior is Prior.USUAL:
        return tuple(found)
    wet = {p.name for p in network.capacitors if _may_be_wet(p)}
    return tuple(
        replace(u, spread=max(u.spread, _for_any(u, u.part in wet) if prior is Prior.ANY else _for_none(u)))
        for u in found
    )


def _for_any(unknown: Unknown, wet: bool) -> float:
    if unknown.kind in (ParameterKind.COUPLING, *HIDDEN_LAWS):
        return unknown.spread
    if unknown.logarithmic:
        return ANY_SD
    if unknown.kind is ParameterKind.DISSIPATION:
        return max(_ANY_DF_SD[wet], unknown.marked)
    return ANY_SD * unknown.centre


def _for_none(unknown: Unknown) -> float:
    if unknown.logarithmic:
        return FLAT_SD
    if unknown.kind in HIDDEN_LAWS:
        return unknown.spread
    return _FLAT_DISSIPATION if unknown.kind is ParameterKind.DISSIPATION else _FLAT_OHM


def _values(network: Network) -> Iterator[Unknown]:
    for part in network.parts:
        value = value_of(part)
        if value > 0:
            facts = FACTS[kind_of(part)]
            tolerance = min(tolerance_of(part), 0.9)
            low, high = facts.drift
            # The centre is the drift's alone: a tolerance of -20/+20 % is not a shift by -2 %.
            centre = 0.5 * (math.log1p(low) + math.log1p(high))
            width = math.log((1 + tolerance) * (1 + high)) - math.log((1 - tolerance) * (1 + low))
            spread = max(width, 0.01) / (2.0 * NORMAL_95)
            yield Unknown(part.name, part.name, _KINDS[type(part)], value, True, math.log(value) + centre, spread)


def _losses(network: Network) -> Iterator[Unknown]:
    for part in network.parts:
        if isinstance(part, Inductor):
            yield _dcr(part)
            if kind_of(part) is PartKind.CORED_COIL and not any(
                part.name in (c.first, c.second) for c in network.couplings
            ):
                yield Unknown(f"{part.name}_core", part.name, ParameterKind.CORE, 0.0, False, *_CORE)
        elif isinstance(part, Capacitor):
            yield _dissipation(part)
            yield _esr(part)
            if _may_be_wet(part):
                yield Unknown(f"{part.name}_fall", part.name, ParameterKind.FALL, 0.0, False, *_FALL)


def _dcr(coil: Inductor) -> Unknown:
    name, ohm = f"{coil.name}_dcr", coil.dcr_ohm
    if ohm <= 0:
        usual = _USUAL_DCR_OHM * math.sqrt(coil.henry / 1e-3)
        return Unknown(name, coil.name, ParameterKind.DCR, 0.0, False, usual, _UNSTATED * usual)
    drift = FACTS[kind_of(coil)].dcr_drift or (0.0, 0.05)
    centre, spread = _between((1 - _DCR_TOLERANCE) * (1 + drift[0]) * ohm, (1 + _DCR_TOLERANCE) * (1 + drift[1]) * ohm)
    return Unknown(name, coil.name, ParameterKind.DCR, ohm, False, centre, spread)


def _dissipation(capacitor: Capacitor) -> Unknown:
    name, stated = f"{capacitor.name}_df", capacitor.dissipation_factor
    if stated <= 0 and _may_be_wet(capacitor):
        # Whatever is stated as a series resistance is no loss angle: there may be none.
        centre, spread = _ANY_DISSIPATION
    else:
        low, high = FACTS[kind_of(capacitor)].aged_dissipation_factor or (0.0, 0.2)
        centre, spread = _between(min(low, stated) if stated > 0 else low, max(high, 2.0 * stated))
    return Unknown(name, capacitor.name, ParameterKind.DISSIPATION, stated, False, centre, spread)


def _esr(capacitor: Capacitor) -> Unknown:
    name, stated = f"{capacitor.name}_esr", capacitor.esr_ohm
    if stated > 0:
        centre, spread = (_AGED_ESR * stated for _ in "12") if _may_be_wet(capacitor) else (stated, _UNSTATED * stated)
        return Unknown(name, capacitor.name, ParameterKind.ESR, stated, False, centre, spread)
    return Unknown(name, capacitor.name, ParameterKind.ESR, 0.0, False, *_ESR_OHM[_may_be_wet(capacitor)])


def _may_be_wet(capacitor: Capacitor) -> bool:
    """An electrolytic or paper capacitor, or one of which nothing is said."""
    unsaid = capacitor.kind is None and capacitor.dissipation_factor <= 0
    return unsaid or kind_of(capacitor) in (PartKind.ELECTROLYTIC, PartKind.PAPER)


def _leakages(network: Network) -> Iterator[Unknown]:
    for coupling in network.couplings:
        leakage = 1.0 - abs(coupling.k)
        if ONE_PART <= abs(coupling.k) < 1.0:
            name, log = coupling.name, math.log(leakage)
            spread = min(_LEAKAGE_SD, _COUPLING_SD * abs(coupling.k) / leakage)
            yield Unknown(name, name, ParameterKind.COUPLING, leakage, True, log, spread)


def _between(low: float, high: float) -> tuple[float, float]:
    """Mean and standard deviation that put 95 % between two numbers."""
    return 0.5 * (low + high), (high - low) / (2.0 * NORMAL_95)


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
    drivers : impedance of each driver at `frequency_hz`, and how it moves.
    """

    network: Network
    channel: str
    driver: str
    frequency_hz: Float
    drivers: Mapping[str, DriftingDriver]

    def predict(self, sought: Sequence[Unknown], at: Float, drivers_ohm: Mapping[str, Complex]) -> Prediction:
        """Solve.

        Parameters
        ----------
        at : (k, u) coordinates of the unknowns. drivers_ohm : (k, n) impedance of each driver.
        """
        sign = self._signs
        lossy, by_number = self._lossy(sought, at)
        here = [(column, u) for column, u in enumerate(sought) if u.name in sign and u.part not in lossy]
        values = {}
        for column, unknown in here:
            number = unknown.number(at[:, column])
            values[unknown.name] = sign[unknown.name] * (1.0 - number) if _leaks(unknown) else number
        impedance = {name: drivers_ohm[name] for name in self.network.driver_names}
        solution = solve(self.network, self.frequency_hz, impedance, values, impedance_ohm=lossy)
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
        for column, by in by_number.items():
            name = sought[column].part
            slope[:, :, column] = gradient[f"{name}_dcr" if f"{name}_dcr" in gradient else f"{name}_esr"] * by / result
        by_driver = {name: gradient[f"Z_{name}"] * z / result for name, z in impedance.items()}
        return Prediction(np.log(result), slope, by_driver)

    def _lossy(self, sought: Sequence[Unknown], at: Float) -> tuple[dict[str, Complex], dict[int, Complex]]:
        """(k, n) impedance of each capacitor and cored coil that is looked for, and its derivative by column.

        The capacitance is that at 1 kHz, where meters read it; it falls with frequency by its share of what goes with
        a constant loss angle (xover/parts/capacitor_loss.py).
        """
        omega, octave = 2.0 * math.pi * self.frequency_hz, np.log(self.frequency_hz / REFERENCE_HZ)
        impedance: dict[str, Complex] = {}
        slope: dict[int, Complex] = {}
        for coil in self.network.coils:
            mine = {u.kind: column for column, u in enumerate(sought) if u.part == coil.name}
            if ParameterKind.CORE in mine:
                henry, dcr, core = (at[:, mine[kind], None] for kind in _OF_COIL)
                alone = np.asarray(1j * omega * np.exp(henry), dtype=complex)
                turn = 1.0 / (1.0 + 1j * core * self.frequency_hz / REFERENCE_HZ)
                impedance[coil.name] = np.asarray(dcr + alone * turn)
                slope[mine[ParameterKind.HENRY]] = np.asarray(alone * turn)
                slope[mine[ParameterKind.DCR]] = np.ones_like(alone)
                slope[mine[ParameterKind.CORE]] = np.asarray(-1j * alone * turn**2 * self.frequency_hz / REFERENCE_HZ)
        for part in self.network.capacitors:
            mine = {u.kind: column for column, u in enumerate(sought) if u.part == part.name}
            if not mine:
                continue
            farad, df, esr = (at[:, mine[kind], None] for kind in _OF_CAPACITOR)
            share = at[:, mine[ParameterKind.FALL], None] if ParameterKind.FALL in mine else np.zeros_like(df)
            power = dispersion(df)
            reactance = np.exp(share * power * octave - farad) / omega
            lossy = np.asarray((df - 1j) * reactance, dtype=complex)
            impedance[part.name] = esr + lossy
            by_power = 2.0 / math.pi / (1.0 + df**2)
            slope[mine[ParameterKind.FARAD]] = -lossy
            slope[mine[ParameterKind.DISSIPATION]] = np.asarray(reactance + lossy * share * by_power * octave)
            slope[mine[ParameterKind.ESR]] = np.ones_like(lossy)
            if ParameterKind.FALL in mine:
                slope[mine[ParameterKind.FALL]] = np.asarray(lossy * power * octave)
        return impedance, slope

    @cached_property
    def _signs(self) -> dict[str, float]:
        """1 for each name that may be given to `solve`; for a coupling its sign."""
        return dict.fromkeys(self.network.numbers, 1.0) | {
            c.name: 1.0 if c.k > 0 else -1.0 for c in self.network.couplings
        }


def _leaks(unknown: Unknown) -> bool:
    return unknown.kind is ParameterKind.COUPLING


def network_for(network: Network, where: SweepPlace, driver: str) -> Network:
    """The network as it is during a sweep: with a driver unplugged, or shorted.

    Raises
    ------
    OptionError : no such driver, or none is left.
    """
    if where is SweepPlace.DISCONNECTED:
        left = network.without(driver)
    elif where is SweepPlace.SHORTED:
        left = network.with_short(driver)
    else:
        left = network
    if not left.drivers:
        raise OptionError(f"with {driver} {where} no driver is left", "sweep with one driver left in")
    return left


def with_values(network: Network, sought: Sequence[Unknown], at: Float) -> Network:
    """The network with the unknowns at these coordinates."""
    by_name = {u.name: float(u.number(c)) for u, c in zip(sought, at, strict=True)}
    couplings = tuple(
        replace(c, k=(1.0 if c.k > 0 else -1.0) * (1.0 - by_name[c.name])) if c.name in by_name else c
        for c in network.couplings
    )
    return replace(network, parts=tuple(changed(p, by_name) for p in network.parts), couplings=couplings)
