"""Which parts the sweeps show, which numbers they cannot tell apart, and which further sweep would settle most."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from xover.curve import Complex, Float
from xover.errors import NoSolutionError, OptionError
from xover.explain.fit import SweepFit, posterior_covariance, thinned
from xover.explain.problem import Problem, SweepRows
from xover.explain.sweeps import SweepPlace
from xover.explain.unknowns import HIDDEN_LAWS, SweepModel, Unknown, network_for
from xover.network import Network
from xover.network.adjoint import ParameterKind
from xover.plain import fields_of

# A value is seen if the sweeps alone, without its own prior, pin it to this, one standard deviation (20 % at 95 %).
SEEN_SD: Final = 0.10
# A loss: to this share of itself.
SEEN_LOSS: Final = 0.20
# A resistor that is known to this, one standard deviation, is told by itself whatever is in series with it.
SHARP: Final = 0.025
# So many are told as a group at the most; another one must take this share of the variance that is left.
MOST_TOGETHER: Final = 4
_PAYS: Final = 0.7
# Standard deviations of the prior over which a direction counts as shown by the sweeps.
SHOWN: Final = 3.0
# A combination is worth telling if it is known this much better than its parts.
_BETTER: Final = 0.35


@dataclass(frozen=True)
class Combination:
    """Numbers of which the sweeps show one combination only.

    Attributes
    ----------
    names : two, or more for a sum. how : "sum", "ratio", "product" or "parallel".
    value : in SI units. error : relative, one sd. in_ohm : all are resistances.
    """

    names: tuple[str, ...]
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
    known : the simple combination that is known best, or None.
    """

    names: tuple[str, ...]
    shown: int
    known: Combination | None


def data_deviation(found: SweepFit, scale: float = 1.0) -> Float:
    """(p,) standard deviation of each coordinate without its own prior, all others with theirs."""
    own = found.problem.spread**-2.0
    precision = 1.0 / np.diag(covariance(found, scale)) - own
    with np.errstate(divide="ignore"):
        return np.where(precision > 1e-9 * own, 1.0 / np.sqrt(np.maximum(precision, 1e-300)), np.inf)


def covariance(found: SweepFit, scale: float = 1.0) -> Float:
    """(p, p) with the residuals' standard deviation taken as `scale` in place of 1."""
    return posterior_covariance(found.jacobian, found.problem.spread, scale)


def seen(found: SweepFit, scale: float = 1.0) -> list[bool]:
    """For each unknown, the measurement's too: whether the sweeps alone show it, be it by itself.

    A resistor of which only the sum with the loss of a part in series is known well does not show by itself.
    """
    everything, whole = found.problem.all_unknowns, covariance(found, scale)
    alone = data_deviation(found, scale)
    out = [
        bool(own <= (SEEN_SD if u.logarithmic else SEEN_LOSS * at))
        for u, at, own in zip(everything, found.at, alone, strict=True)
    ]
    for chain in chains(found.problem.network):
        mine = [i for i, u in enumerate(everything) if u.part in chain and _dimension(u) == "ohm"]
        for i, j in itertools.permutations(mine, 2):
            blunt = everything[i].is_value and whole[i, i] > SHARP**2
            if blunt and not out[j] and _sum(found, (i, j), whole)[1] < _BETTER * math.sqrt(whole[i, i]):
                out[i] = False
    return out


def chains(network: Network) -> list[set[str]]:
    """Names of parts that stand in series with nothing between them."""
    ends = Counter(node for card in network.drivers for node in (card.plus, card.minus) for _ in "12")
    ends.update(node for part in network.parts for node in (part.a, part.b))
    ends.update(node for channel in network.channels for node in (channel.plus, channel.minus) for _ in "12")
    joined: list[set[str]] = [{part.name} for part in network.parts]
    for node, count in ends.items():
        if count == 2:
            here = [part.name for part in network.parts if node in (part.a, part.b)]
            both = [chain for chain in joined if chain & set(here)]
            if len(here) == 2 and len(both) == 2:
                joined = [chain for chain in joined if chain not in both] + [both[0] | both[1]]
    return [chain for chain in joined if len(chain) > 1]


def groups(found: SweepFit, scale: float = 1.0) -> tuple[Group, ...]:
    """Unknowns that are not seen, each with the fewest that it trades against; groups with part values first."""
    everything, whole = found.problem.all_unknowns, covariance(found, scale)
    sharp = seen(found, scale)
    found_groups = set()
    for i, unknown in enumerate(everything):
        if not sharp[i] and unknown.kind not in (ParameterKind.COUPLING, *HIDDEN_LAWS):
            found_groups.add(
                _simplest(found, i, whole) or (_partners(i, whole) if unknown.is_value and unknown.part else ())
            )
    apart = [
        g
        for g in found_groups
        if len(g) > 1 and not any(set(g) > set(other) for other in found_groups - {(g)} if len(other) > 1)
    ]
    ordered = sorted(apart, key=lambda g: (not any(everything[i].is_value and everything[i].part for i in g), g))
    told = [_group(found, members, whole) for members in ordered]
    return tuple(group for group in told if group.shown < len(group.names))


def _simplest(found: SweepFit, first: int, whole: Float) -> tuple[int, ...] | None:
    """The members of the simple combination with one number that is known best; None where there is none."""
    rest = [j for j in range(len(whole)) if j != first]
    told: list[tuple[float, tuple[int, ...]]] = []
    for j in rest:
        if (c := _combination(found, min(first, j), max(first, j), whole)) is not None:
            told.append((c.error, (first, j)))
    if not told and _dimension(found.problem.all_unknowns[first]) == "ohm":
        ohms = [j for j in rest if _dimension(found.problem.all_unknowns[j]) == "ohm"]
        told = [
            (c.error, s) for s in _threes(found, first, ohms, whole) if (c := _several(found, s, whole)) is not None
        ]
    return tuple(sorted(min(told)[1])) if told else None


def _threes(found: SweepFit, first: int, others: list[int], whole: Float) -> list[tuple[int, ...]]:
    """Sets of three resistances, one of them given, whose sum is known far better than each."""
    members = [first, *others]
    turn = np.array([float(found.problem.all_unknowns[i].per_coordinate(found.at[i])) for i in members])
    block = whole[np.ix_(members, members)] * np.outer(turn, turn)
    own, across = np.diag(block), block[0]
    square = own[0] + own[:, None] + own + 2.0 * (across[:, None] + across + block)
    least = np.minimum(np.minimum(own[:, None], own), own[0])
    pairs = np.argwhere(np.triu(square < _BETTER**2 * least, 1))
    return [(first, members[a], members[b]) for a, b in pairs if a > 0]


def _partners(first: int, whole: Float) -> tuple[int, ...]:
    """The fewest others that, were they known, would leave little of one's variance; itself alone where none do."""
    members = [first]
    left = float(whole[first, first])
    while len(members) < MOST_TOGETHER:
        rest = [j for j in range(len(whole)) if j not in members]
        tried = []
        for j in rest:
            others = [*members[1:], j]
            across = whole[first, others]
            block = whole[np.ix_(others, others)]
            tried.append((float(whole[first, first] - across @ np.linalg.solve(block, across)), j))
        least, best = min(tried)
        if least > _PAYS * left:
            break
        members, left = [*members, best], least
        if left <= _BETTER**2 * whole[first, first]:
            return tuple(sorted(members))
    return (first,)


def _group(found: SweepFit, members: tuple[int, ...], whole: Float) -> Group:
    problem = found.problem
    ohms = [i for i in members if _dimension(problem.all_unknowns[i]) == "ohm"]
    sets = [s for n in range(2, len(ohms) + 1) for s in itertools.combinations(ohms, n)]
    told = [_combination(found, i, j, whole) for i, j in itertools.combinations(members, 2)]
    told += [_several(found, s, whole) for s in sets if len(s) > 2]
    # More numbers in a sum must pay.
    known = min((c for c in told if c is not None), key=lambda c: c.error * 1.2 ** len(c.names), default=None)
    # What the sweeps say of these alone, all others as uncertain as they are, in units of the prior.
    block = whole[np.ix_(members, members)]
    spread = np.minimum(problem.spread[list(members)], 1.0)
    inner = np.linalg.inv(block) - np.diag(problem.spread[list(members)] ** -2.0)
    singular = np.sqrt(np.maximum(np.linalg.eigvalsh(inner * np.outer(spread, spread)), 0.0))
    return Group(tuple(problem.all_unknowns[i].name for i in members), int(np.sum(singular > SHOWN)), known)


def _sum(found: SweepFit, members: tuple[int, ...], whole: Float) -> tuple[float, float]:
    """The sum of numbers, and its relative error."""
    at = found.at[list(members)]
    unknowns = [found.problem.all_unknowns[i] for i in members]
    total = float(sum(u.number(a) for u, a in zip(unknowns, at, strict=True)))
    turn = np.array([float(u.per_coordinate(a)) for u, a in zip(unknowns, at, strict=True)])
    square = float(turn @ whole[np.ix_(members, members)] @ turn)
    return total, math.sqrt(max(0.0, square)) / max(total, 1e-300)


def _several(found: SweepFit, members: tuple[int, ...], whole: Float) -> Combination | None:
    """The sum of three resistances or more, if it is known far better than each."""
    total, error = _sum(found, members, whole)
    worst = min(_sum(found, (i,), whole)[1] * _sum(found, (i,), whole)[0] for i in members)
    if error * total > _BETTER * worst:
        return None
    return Combination(tuple(found.problem.all_unknowns[i].name for i in members), "sum", total, error, True)


def _combination(found: SweepFit, i: int, j: int, whole: Float) -> Combination | None:
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
    in_ohm = _dimension(one) == _dimension(other) == "ohm"
    return Combination((one.name, other.name), how, ways[how][1], errors[how], in_ohm)


def _dimension(unknown: Unknown) -> str:
    if unknown.kind in (ParameterKind.OHM, ParameterKind.DCR, ParameterKind.ESR):
        return "ohm"
    return unknown.kind.value


# Rows in an octave that the expectation is worked out on.
_ROWS: Final = 12
# A sweep that leaves more than this share of the widest interval is not worth the trouble.
HELPS: Final = 0.8
_CHUNK: Final = (SweepPlace.DISCONNECTED, SweepPlace.SHORTED, SweepPlace.RATIO)


@dataclass(frozen=True)
class NextSweep:
    """A sweep that was not made yet, and what it would do.

    Attributes
    ----------
    where : how. driver : which one.
    widest : part whose value is known worst afterwards. before, after : largest standard deviation of a part's
        logarithm, without and with the sweep.
    by_part : standard deviation of each part's logarithm afterwards.
    """

    where: SweepPlace
    driver: str
    widest: str
    before: float
    after: float
    by_part: dict[str, float]

    @property
    def helps(self) -> bool:
        """Whether it narrows the widest interval noticeably."""
        return self.after < HELPS * self.before

    def plain(self) -> dict[str, Any]:
        """Without the single parts."""
        return fields_of(self, by_part=None)


def next_sweeps(found: SweepFit, scale: float = 1.0) -> tuple[NextSweep, ...]:
    """Sweeps with a driver unplugged or shorted, or of the voltage at it; those that narrow most come first.

    Each is taken to have the rows and the noise of the first sweep; that its drivers' noise is shared with the sweeps
    at hand is left out.
    """
    problem = thinned(found.problem, _ROWS)
    precision = np.linalg.inv(covariance(found, scale))
    places = {u.part: i for i, u in enumerate(problem.sought) if u.is_value}
    if not places:
        return ()
    before = np.sqrt(np.diag(covariance(found, scale)))
    widest = max(before[i] for i in places.values())
    made = {(s.sweep.where, s.sweep.driver) for s in problem.sweeps}
    share = problem.sweeps[0].sweep.frequency_hz.size / found.problem.sweeps[0].sweep.frequency_hz.size
    out = []
    for card in problem.network.drivers:
        for where in _CHUNK:
            if (where, card.key) in made:
                continue
            rows = _rows(problem, where, card.key)
            told = None if rows is None else _information(problem, rows, found.at, share)
            if told is None:
                continue
            after = np.sqrt(np.diag(np.linalg.inv(precision + told / scale**2)))
            by_part = {part: float(after[i]) for part, i in places.items()}
            worst = max(by_part, key=lambda p: by_part[p])
            out.append(NextSweep(where, card.key, worst, float(widest), by_part[worst], by_part))
    return tuple(sorted(out, key=lambda s: s.after))


def _rows(problem: Problem, where: SweepPlace, driver: str) -> SweepRows | None:
    """The first sweep's rows, as that sweep would have them."""
    first = problem.sweeps[0]
    try:
        network = network_for(problem.network, where, driver)
    except OptionError:
        return None
    if set(network.driver_names) - set(first.model.drivers):
        return None
    card = problem.network.driver_card(driver)
    model = SweepModel(
        network,
        problem.channel,
        card.key if where is SweepPlace.RATIO else "",
        first.sweep.frequency_hz,
        {name: z for name, z in first.model.drivers.items() if name in network.driver_names},
    )
    # A ratio has a gain of its own, which is left out: its slope is taken to carry the rest.
    gain = -1 if where is SweepPlace.RATIO else first.gain
    return replace(
        first,
        sweep=replace(first.sweep, where=where, driver=driver),
        model=model,
        gain=gain,
        has_lead=where is not SweepPlace.RATIO,
    )


def _information(problem: Problem, rows: SweepRows, at: Float, share: float) -> Float | None:
    """(p, p) what the sweep would tell; None where the network has no solution in it."""
    try:
        expected = replace(problem, sweeps=(rows,)).residual(at)
    except (NoSolutionError, OptionError):
        return None
    slopes: Complex = expected.slopes[0]
    if not np.all(np.isfinite(slopes)):
        return None
    if rows.sweep.where is SweepPlace.RATIO:
        slopes = slopes - slopes.mean(axis=0).real  # the gain of the second channel is not known
    drivers = sum(
        (np.abs(d) ** 2 * problem.driver_noise[n] ** 2 for n, d in expected.shares[0].items()), np.zeros(len(slopes))
    )
    noise = rows.sweep.noise
    own = share * (noise.magnitude**2 + drivers)
    told = slopes.real.T @ (slopes.real / own[:, None])
    if rows.sweep.curve.has_phase:
        own = share * (noise.phase_rad**2 + drivers)
        told = told + slopes.imag.T @ (slopes.imag / own[:, None])
    return np.asarray(told)
