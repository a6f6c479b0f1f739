"""What is not known of a network: values and losses of its parts, and what is plausible for each beforehand.

A value is looked for by its natural logarithm, so that its prior is a factor up or down; a loss by itself, as it may
be next to nothing and as losses in one leg add up. Either has a normal prior, a loss cut off at zero. All widths rest
on xover/parts/kinds.py, or are common practice with no published source; results state which prior was used.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Float
from xover.network import Network
from xover.network.adjoint import ParameterKind
from xover.network.parts import Capacitor, Inductor, Resistor, value_of
from xover.parts.kinds import FACTS, PartKind, kind_of
from xover.quantity import parse_fraction

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
# Dissipation factor of a capacitor of which nothing is said, film or tired electrolytic: mean and spread.
_ANY_DISSIPATION: Final = (0.05, 0.08)
# Spread of a dissipation factor beyond what is usual for the kind, for wet capacitors and dry ones.
_ANY_DF_SD: Final = {True: 0.05, False: 0.005}
# Resistance of a coil's wire, new: within this of what is stated.
_DCR_TOLERANCE: Final = 0.10
# Leakage (1 - k) of closely coupled coils: within a factor of 2.7 either way. Loose coupling is taken as stated.
_LEAKAGE_SD: Final = 0.5
CLOSE_COUPLING: Final = 0.5


_KINDS: Final = {
    Resistor: ParameterKind.OHM,
    Inductor: ParameterKind.HENRY,
    Capacitor: ParameterKind.FARAD,
}


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
    if unknown.logarithmic:
        return ANY_SD
    if unknown.kind is ParameterKind.DISSIPATION:
        return max(_ANY_DF_SD[wet], unknown.marked)
    return ANY_SD * unknown.centre


def _for_none(unknown: Unknown) -> float:
    if unknown.logarithmic:
        return FLAT_SD
    return _FLAT_DISSIPATION if unknown.kind is ParameterKind.DISSIPATION else _FLAT_OHM


def _values(network: Network) -> Iterator[Unknown]:
    for part in network.parts:
        value = value_of(part)
        if value > 0:
            facts = FACTS[kind_of(part)]
            said = part.said("tol")
            tolerance = min(facts.tolerance if said is None else parse_fraction(said), 0.9)
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
        elif isinstance(part, Capacitor):
            yield _dissipation(part)
            yield _esr(part)


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
    if stated <= 0 and capacitor.said("kind") is None:
        centre, spread = _ANY_DISSIPATION
    else:
        low, high = FACTS[kind_of(capacitor)].aged_dissipation_factor or (0.0, 0.2)
        centre, spread = _between(min(low, stated) if stated > 0 else low, max(high, 2.0 * stated))
    return Unknown(name, capacitor.name, ParameterKind.DISSIPATION, stated, False, centre, spread)


def _esr(capacitor: Capacitor) -> Unknown:
    name, stated = f"{capacitor.name}_esr", capacitor.esr_ohm
    if stated > 0:
        return Unknown(name, capacitor.name, ParameterKind.ESR, stated, False, stated, _UNSTATED * stated)
    return Unknown(name, capacitor.name, ParameterKind.ESR, 0.0, False, *_ESR_OHM[_may_be_wet(capacitor)])


def _may_be_wet(capacitor: Capacitor) -> bool:
    """An electrolytic or paper capacitor, or one of which nothing is said."""
    unsaid = capacitor.said("kind") is None and capacitor.dissipation_factor <= 0
    return unsaid or kind_of(capacitor) in (PartKind.ELECTROLYTIC, PartKind.PAPER)


def _leakages(network: Network) -> Iterator[Unknown]:
    for coupling in network.couplings:
        leakage = 1.0 - abs(coupling.k)
        if CLOSE_COUPLING <= abs(coupling.k) < 1.0:
            name, log = coupling.name, math.log(leakage)
            yield Unknown(name, name, ParameterKind.COUPLING, leakage, True, log, _LEAKAGE_SD)


def _between(low: float, high: float) -> tuple[float, float]:
    """Mean and standard deviation that put 95 % between two numbers."""
    return 0.5 * (low + high), (high - low) / (2.0 * NORMAL_95)
