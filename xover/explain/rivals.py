"""Neighbours of a network: one fault away from what is drawn; fitted to the same sweeps and ranked by evidence.

The evidence weighs how well a network fits against how much freedom it needed (Laplace's method; MacKay 1992, from
memory). A difference of 3 in its natural logarithm is called strong (Kass and Raftery 1995, from memory).
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, Final

import numpy as np

from xover.errors import NoSolutionError, OptionError
from xover.explain.estimate import Fit, fit
from xover.explain.problem import Problem
from xover.explain.starts import coarse_ends
from xover.explain.topology_test import TopologyTest, judge_topology
from xover.explain.unknowns import Prior, unknowns
from xover.network import Network
from xover.network.parts import Part, Resistor, value_of
from xover.plain import fields_of

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
    fit: Fit

    def plain(self) -> dict[str, Any]:
        """The network in words, its fault, and what speaks for it."""
        of = self.neighbour
        told = {"network": of.words, "fault": of.fault, "parts": of.parts, "fits": self.test.fits}
        return told | fields_of(self, neighbour=None, test=None, fit=None)


def try_rivals(
    problem: Problem, drawn: Fit, prior: Prior, progress: Callable[[float, str], None] | None = None
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


def left_over(found: Fit) -> float:
    """Root mean square of |ln(measured / fitted)| over all rows, outliers by their weight."""
    square = sum(float(w @ np.abs(r) ** 2) for w, r in zip(found.weights.row_weight, found.found.rows, strict=True))
    return float(np.sqrt(square / sum(float(w.sum()) for w in found.weights.row_weight)))
