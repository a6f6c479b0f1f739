"""Which parts the sweeps show, and which numbers they cannot tell apart."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.curve import Float
from xover.explain.estimate import Fit
from xover.explain.least_squares import posterior_covariance
from xover.explain.problem import is_factor
from xover.explain.unknowns import Unknown
from xover.network.adjoint import ParameterKind

# A value is seen if the sweeps alone, without its own prior, pin it to this, one standard deviation (20 % at 95 %).
SEEN_SD: Final = 0.10
# A loss: to this share of itself.
SEEN_LOSS: Final = 0.20
# Unknowns whose errors go together more closely than this are told as a group.
TOGETHER: Final = 0.8
# Standard deviations of the prior over which a direction counts as shown by the sweeps.
SHOWN: Final = 3.0
# A combination is worth telling if it is known this much better than its parts.
_BETTER: Final = 0.35


@dataclass(frozen=True)
class Combination:
    """Two numbers of which the sweeps show one combination only.

    Attributes
    ----------
    how : "sum", "ratio", "product" or "parallel". value : in SI units. error : relative, one sd.
    in_ohm : both are resistances.
    """

    first: str
    second: str
    how: str
    value: float
    error: float
    in_ohm: bool


@dataclass(frozen=True)
class Group:
    """Unknowns that trade against each other.

    Attributes
    ----------
    names : as `solve` takes them; "lead" and "gain" are the measurement's.
    shown : how many independent combinations of them the sweeps show.
    known : the pair of which a simple combination is known best, or None.
    """

    names: tuple[str, ...]
    shown: int
    known: Combination | None


def data_deviation(found: Fit, scale: float = 1.0) -> Float:
    """(p,) standard deviation of each coordinate without its own prior, all others with theirs."""
    own = found.problem.spread**-2.0
    precision = 1.0 / np.diag(covariance(found, scale)) - own
    with np.errstate(divide="ignore"):
        return np.where(precision > 1e-9 * own, 1.0 / np.sqrt(np.maximum(precision, 1e-300)), np.inf)


def covariance(found: Fit, scale: float = 1.0) -> Float:
    """(p, p) with the residuals' standard deviation taken as `scale` in place of 1."""
    return posterior_covariance(found.jacobian, found.problem.spread, scale)


def is_seen(unknown: Unknown, coordinate: float, deviation: float) -> bool:
    """Whether the sweeps alone show it; `deviation` as by `data_deviation`."""
    return deviation <= (SEEN_SD if unknown.logarithmic else SEEN_LOSS * coordinate)


def groups(found: Fit, scale: float = 1.0) -> tuple[Group, ...]:
    """Unknowns that are not seen, with those that they trade against; groups with part values first."""
    problem = found.problem
    everything = problem.all_unknowns
    alone = data_deviation(found, scale)
    whole = covariance(found, scale)
    deviation = np.sqrt(np.diag(whole))
    correlation = whole / np.outer(deviation, deviation)
    hidden = [
        i
        for i, u in enumerate(everything)
        if not is_seen(u, float(found.at[i]), float(alone[i])) and u.kind is not ParameterKind.COUPLING
    ]
    joined = {i: {i} for i in range(len(everything))}
    for i, j in itertools.combinations(range(len(everything)), 2):
        if (i in hidden or j in hidden) and abs(correlation[i, j]) > TOGETHER and joined[i] is not joined[j]:
            both = joined[i] | joined[j]
            for member in both:
                joined[member] = both
    found_groups = {tuple(sorted(members)) for members in joined.values() if len(members) > 1}
    ordered = sorted(found_groups, key=lambda g: (not any(everything[i].is_value and everything[i].part for i in g), g))
    told = [_group(found, members, whole) for members in ordered]
    return tuple(group for group in told if group.shown < len(group.names))


def _group(found: Fit, members: tuple[int, ...], whole: Float) -> Group:
    problem = found.problem
    pairs = [_combination(found, i, j, whole) for i, j in itertools.combinations(members, 2)]
    known = min((p for p in pairs if p is not None), key=lambda c: c.error, default=None)
    # What the sweeps say of these alone, all others as uncertain as they are, in units of the prior.
    block = whole[np.ix_(members, members)]
    spread = np.minimum(problem.spread[list(members)], 1.0)
    inner = np.linalg.inv(block) - np.diag(problem.spread[list(members)] ** -2.0)
    singular = np.sqrt(np.maximum(np.linalg.eigvalsh(inner * np.outer(spread, spread)), 0.0))
    return Group(tuple(problem.all_unknowns[i].name for i in members), int(np.sum(singular > SHOWN)), known)


def _combination(found: Fit, i: int, j: int, whole: Float) -> Combination | None:
    """The simple combination of two numbers that is known best, if it is known far better than either."""
    one, other = found.problem.all_unknowns[i], found.problem.all_unknowns[j]
    a, b = float(one.number(found.at[i])), float(other.number(found.at[j]))
    if a <= 0 or b <= 0:
        return None
    turn = np.array([1.0 if one.logarithmic else 1.0 / a, 1.0 if other.logarithmic else 1.0 / b])
    block = whole[np.ix_((i, j), (i, j))] * np.outer(turn, turn)
    ways = {"ratio": ((1.0, -1.0), a / b), "product": ((1.0, 1.0), a * b)}
    if _dimension(one) == _dimension(other):
        ways["sum"] = ((a / (a + b), b / (a + b)), a + b)
        ways["parallel"] = ((b / (a + b), a / (a + b)), a * b / (a + b))
    errors = {how: math.sqrt(max(0.0, float(np.array(w) @ block @ np.array(w)))) for how, (w, _) in ways.items()}
    how = min(errors, key=lambda k: errors[k])
    if errors[how] > _BETTER * math.sqrt(float(min(block[0, 0], block[1, 1]))):
        return None
    return Combination(
        one.name, other.name, how, ways[how][1], errors[how], _dimension(one) == _dimension(other) == "ohm"
    )


def _dimension(unknown: Unknown) -> str:
    if unknown.kind in (ParameterKind.OHM, ParameterKind.DCR, ParameterKind.ESR):
        return "factor" if is_factor(unknown.name) else "ohm"
    return unknown.kind.value
