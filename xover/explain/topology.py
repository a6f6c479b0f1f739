"""Does the network fit the sweeps? And which network that is one fault away from what is drawn fits better?

A wrong network leaves a residual that is smooth over frequency: it is larger at long periods than at short ones. So
the whitened residuals are taken apart by cosines over ln f (DCT-II), and their mean square at long periods is held
against that at short ones by Fisher's F. The test needs no stated noise, as the short periods are the noise.

Neighbours are fitted to the same sweeps and ranked by evidence: how well a network fits against how much freedom it
needed (Laplace's method; MacKay 1992, from memory). A difference of 3 in its natural logarithm is called strong (Kass
and Raftery 1995, from memory).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, Final

import numpy as np

from xover.curve import Float
from xover.errors import NoSolutionError, OptionError
from xover.explain.fit import SweepFit, coarse_ends, fit
from xover.explain.problem import CELLS_PER_OCTAVE, Problem
from xover.explain.unknowns import Prior, unknowns
from xover.network import Network
from xover.network.parts import Part, Resistor, value_of
from xover.plain import fields_of

# Periods longer than this many octaves count as smooth.
LONGEST_ROUGH: Final = 1.0 / 3.0
# The chance of so smooth a residual with the right network, below which it is called wrong ...
CHANCE: Final = 1e-4
# ... if what is left over is also larger than this, relative: no driver repeats better (common practice).
MATTERS: Final = 0.003
# A value this many standard deviations of the prior away is a stranger ...
STRANGE: Final = 3.3
# ... if the sweeps hold it there: beyond that with all but 5 % of what they leave open (normal, one side).
HELD: Final = 1.645


@dataclass(frozen=True)
class TopologyTest:
    """Whether the network fits.

    Attributes
    ----------
    smooth_ratio : mean square of the residual at long periods over that at short ones; 1 for noise.
    chance : of so large a ratio with the right network.
    left_over : what is left over and smooth, rms of |dZ/Z|.
    noise_factor : rough residual over the noise that was reckoned with; 1 if that was right.
    strangers : unknowns so far from what is plausible that another fault is likelier.
    """

    smooth_ratio: float
    chance: float
    left_over: float
    noise_factor: float
    strangers: tuple[str, ...]

    @property
    def fits(self) -> bool:
        """The verdict."""
        return not self.strangers and not self.misfits

    @property
    def misfits(self) -> bool:
        """The shape of the residual speaks against the network."""
        return self.chance < CHANCE and self.left_over > MATTERS


def judge_topology(found: SweepFit) -> TopologyTest:
    """Judge a fit."""
    smooth = rough = variance = 0.0
    smooth_size = rough_size = start = 0
    for cells in _series(found):
        amplitude = cosines(found.whitened[start : start + cells])
        variance += float(np.median(found.weights.cell_deviation[start : start + cells]) ** 2) * cells
        start += cells
        count = min(cells - 1, math.ceil(2.0 * cells / (CELLS_PER_OCTAVE * LONGEST_ROUGH)))
        smooth += float(amplitude[:count] @ amplitude[:count])
        rough += float(amplitude[count:] @ amplitude[count:])
        smooth_size, rough_size = smooth_size + count, rough_size + cells - count
    freedom = max(1.0, smooth_size - found.effective_parameters)
    floor = rough / rough_size
    ratio = smooth / freedom / floor
    # Of |dZ/Z|: magnitude and phase together.
    extra = 2.0 * max(0.0, smooth - freedom * floor) / start * variance / start
    strangers = tuple(
        u.name
        for u, at, open_ in zip(found.problem.sought, found.at, found.deviation, strict=False)
        if u.is_value and u.spread < 5.0 and abs(at - u.centre) - HELD * open_ > STRANGE * max(u.spread, 0.3)
    )
    chance = f_tail(ratio, freedom, float(rough_size))
    return TopologyTest(ratio, chance, math.sqrt(extra), math.sqrt(floor), strangers)


def _series(found: SweepFit) -> list[int]:
    """Lengths of the series that the whitened residuals are made of: magnitudes, then phases."""
    sweeps = found.problem.sweeps
    return [s.first.size for s in sweeps] + [s.first.size for s in sweeps if s.sweep.curve.has_phase]


def cosines(values: Float) -> Float:
    """(n,) orthonormal DCT-II, the longest period first (Ahmed, Natarajan and Rao 1974, from memory)."""
    count = values.size
    rows = np.arange(count)
    table = np.cos(np.pi * rows[:, None] * (rows[None, :] + 0.5) / count) * math.sqrt(2.0 / count)
    table[0] /= math.sqrt(2.0)
    return np.asarray(table @ values)


_TERMS: Final = 400
_ENOUGH: Final = 1e-14
_TINY: Final = 1e-300


def f_tail(ratio: float, upper_freedom: float, lower_freedom: float) -> float:
    """Chance that a ratio of mean squares is larger than `ratio`, for normal noise: the upper tail of Fisher's F.

    Written out, as scipy.special takes longer to load than a fit.
    The incomplete beta function by its continued fraction (Abramowitz and Stegun 26.5.8 and 26.6.2, from memory),
    evaluated by the method of Lentz.
    """
    if ratio <= 0:
        return 1.0
    x = lower_freedom / (lower_freedom + upper_freedom * ratio)
    return _beta(x, 0.5 * lower_freedom, 0.5 * upper_freedom)


def _beta(x: float, a: float, b: float) -> float:
    """Regularised incomplete beta function."""
    if x <= 0 or x >= 1:
        return 0.0 if x <= 0 else 1.0
    if x > (a + 1) / (a + b + 2):
        return 1.0 - _beta(1 - x, b, a)
    log_front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    c, d = 1.0, 1.0 - (a + b) * x / (a + 1)
    d = 1.0 / (d if abs(d) > _TINY else _TINY)
    fraction = d
    for m in range(1, _TERMS):
        for term in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1.0 + term * d
            c = 1.0 + term / c
            d = 1.0 / (d if abs(d) > _TINY else _TINY)
            c = c if abs(c) > _TINY else _TINY
            fraction *= d * c
        if abs(d * c - 1.0) < _ENOUGH:
            break
    return math.exp(log_front) * fraction / a


# An open joint; any impedance of a crossover is a millionth of it.
OPEN_OHM: Final = 1e9
# Swapped parts are tried where their values differ by more than this factor.
SWAPPED_BEYOND: Final = 1.3
# Networks whose evidence differs by less are a tie.
TIE: Final = 3.0
# So many at the most are fitted to all rows, and only those whose coarse fit came within this of the best one's
# (-2 ln of the posterior); the second best always.
_FITTED: Final = 8
_WITHIN: Final = 300.0
_STARTS: Final = 4
_STEPS: Final = 12


class Fault(StrEnum):
    """What is different from the drawing."""

    NONE = "as drawn"
    OPEN = "open"
    SHORTED = "shorted"
    SWAPPED = "swapped"
    DISCONNECTED = "disconnected"


@dataclass(frozen=True, eq=False)
class Neighbour:
    """A network with one fault.

    Attributes
    ----------
    parts : names of the parts or driver cards at fault. network : with the fault in it.
    """

    fault: Fault
    parts: tuple[str, ...]
    network: Network

    @property
    def words(self) -> str:
        """Such as "C1 open"."""
        if self.fault is Fault.NONE:
            return "as drawn"
        return f"{' and '.join(self.parts)} {self.fault}"


def neighbours(network: Network) -> Iterator[Neighbour]:
    """Each part open, each part shorted, parts of a kind swapped, each driver disconnected."""
    for part in network.parts:
        yield Neighbour(Fault.OPEN, (part.name,), _replaced(network, part, OPEN_OHM))
        if not (isinstance(part, Resistor) and part.ohm == 0):
            yield Neighbour(Fault.SHORTED, (part.name,), _replaced(network, part, 0.0))
    for one, other in itertools.combinations(network.parts, 2):
        if type(one) is type(other) and _apart(one, other):
            yield Neighbour(Fault.SWAPPED, (one.name, other.name), _swapped(network, one, other))
    for card in network.drivers:
        yield Neighbour(Fault.DISCONNECTED, (card.key,), network.without(card.key))


def _replaced(network: Network, part: Part, ohm: float) -> Network:
    stand_in = Resistor(part.name, part.a, part.b, ohm)
    couplings = tuple(c for c in network.couplings if part.name.lower() not in (c.first.lower(), c.second.lower()))
    return replace(network, parts=tuple(stand_in if p is part else p for p in network.parts), couplings=couplings)


def _swapped(network: Network, one: Part, other: Part) -> Network:
    moved = {one.name: replace(one, a=other.a, b=other.b), other.name: replace(other, a=one.a, b=one.b)}
    return replace(network, parts=tuple(moved.get(p.name, p) for p in network.parts))


def _apart(one: Part, other: Part) -> bool:
    a, b = value_of(one), value_of(other)
    return min(a, b) > 0 and max(a, b) / min(a, b) > SWAPPED_BEYOND and {one.a, one.b} != {other.a, other.b}


@dataclass(frozen=True, eq=False)
class Rival:
    """A neighbour after its fit.

    Attributes
    ----------
    log_evidence : natural logarithm, 0 for the best.
    residual : rms of |dZ/Z| that is left. test : of its residual.
    tied : with the best.
    """

    neighbour: Neighbour
    log_evidence: float
    residual: float
    test: TopologyTest
    tied: bool
    fit: SweepFit

    def plain(self) -> dict[str, Any]:
        """The network in words, its fault, and what speaks for it."""
        of = self.neighbour
        told = {"network": of.words, "fault": of.fault, "parts": of.parts, "fits": self.test.fits}
        return told | fields_of(self, neighbour=None, test=None, fit=None)


def try_rivals(
    problem: Problem, drawn: SweepFit, prior: Prior, progress: Callable[[float, str], None] | None = None
) -> tuple[tuple[Rival, ...], int]:
    """Fit the neighbours of a network, and rank them together with the network as drawn.

    Returns
    -------
    The most plausible, best first, and how many were tried in all.
    """
    ends = []
    listed = list(neighbours(problem.network))
    for number, neighbour in enumerate(listed):
        if progress is not None:
            progress(number / len(listed), neighbour.words)
        try:
            changed = problem.with_network(neighbour.network, unknowns(neighbour.network, prior))
            at, cost = coarse_ends(changed, _STARTS, steps=_STEPS)
        except (NoSolutionError, OptionError, np.linalg.LinAlgError):
            continue  # such as the amplifier shorted: no sweep could have been made
        best = int(np.argmin(cost))
        if np.isfinite(cost[best]):
            ends.append((float(cost[best]), neighbour, changed, at[best]))
    ends.sort(key=lambda e: e[0])
    weights = list(drawn.weights.row_weight)
    fitted = [(Neighbour(Fault.NONE, (), problem.network), drawn)]
    for rank, (end, neighbour, changed, at) in enumerate(ends[:_FITTED]):
        if rank > 1 and end > ends[0][0] + _WITHIN:
            break
        fitted.append((neighbour, fit(changed, at, rounds=2, row_weight=weights)))
    fitted.sort(key=lambda pair: -pair[1].log_evidence)
    top = fitted[0][1].log_evidence
    rivals = [
        Rival(n, f.log_evidence - top, left_over(f), judge_topology(f), top - f.log_evidence < TIE, f)
        for n, f in fitted
    ]
    return tuple(rivals), len(ends) + 1


def left_over(found: SweepFit) -> float:
    """Root mean square of |ln(measured / fitted)| over all rows, outliers by their weight."""
    square = sum(float(w @ np.abs(r) ** 2) for w, r in zip(found.weights.row_weight, found.found.rows, strict=True))
    return float(np.sqrt(square / sum(float(w.sum()) for w in found.weights.row_weight)))
