"""Infer part values from sweeps, and write the network that has them."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np

from xover.curve import Curve, Float
from xover.driver.kramers_kronig import check_causality
from xover.errors import NoSolutionError, OptionError, named
from xover.explain.fit import SweepFit, fit, search, search_anew
from xover.explain.identify import covariance, groups, next_sweeps, seen
from xover.explain.problem import Jig, build_problem, is_drift
from xover.explain.sweeps import Sweep
from xover.explain.topology import Rival, judge_topology, left_over, try_rivals
from xover.explain.unknowns import HIDDEN_LAWS, NORMAL_95, Prior, unknowns, with_values
from xover.network import Network, Part
from xover.network.adjoint import ParameterKind
from xover.network.cards import netlist_text
from xover.parts.kinds import kind_of
from xover.remark import About, Remark
from xover.rules.budgets import MOST_SEARCHING_S, hold
from xover.sentences import and_words
from xover.studies.aged.infer.result import Confusion, Inferred, InferredPart, InferStudy, Measurement, withheld
from xover.studies.aged.infer.words import (
    confusion,
    headline,
    measurement_warnings,
    next_sentence,
    rivals_sentence,
)

# A logarithm known no better than this is not bounded: a factor of 20 either way.
_UNBOUNDED: Final = 1.5
# A row that weighs less than this is told of.
_APART: Final = 0.5
# Standard deviations of a narrow prior from which it does harm.
_PULLED: Final = 2.5
_LOSSES: Final = {ParameterKind.DCR: "dcr", ParameterKind.ESR: "esr", ParameterKind.DISSIPATION: "df"}

# Digits that are written.
_DIGITS: Final = 4
_COUPLING_PLACES: Final = 6
# A driver's change shows where the sweeps leave less of what was believed of it, as standard deviations.
_SHARPER: Final = 0.5
# Spread, as a share of the number, that holds an unknown where it is.
_HELD: Final = 1e-6

NOTES: Final = (
    "evidence=inferred: the sweep shows it. evidence=marked: it does not, and the mark was left as it is.",
    "evidence=assumed: it does not, and the mark does not go with the sweep.",
)

Progress = Callable[[float, str], None]


def infer_network(
    network: Network,
    drivers: Mapping[str, Curve],
    sweeps: Sequence[Sweep],
    *,
    title: str = "",
    name: str = "network",
    channel: str | None = None,
    prior: Prior = Prior.ANY,
    jig: Jig | None = None,
    noise: float | None = None,
    try_neighbours: bool = False,
    force_numbers: bool = False,
    progress: Progress | None = None,
) -> InferStudy:
    """Infer what each part of a network is worth from sweeps of the whole.

    Parameters
    ----------
    network : the topology and the marked values. drivers : the measured impedance of each of its drivers, by name.
    sweeps : the first is told of in the measurement's figures.
    channel : where the sweeps were made, for a network of several channels.
    noise : stated relative noise of a row; estimated from each sweep if None.
    try_neighbours : fit the topology's neighbours even where it fits itself.
    force_numbers : tell values even where the network does not fit.

    Raises
    ------
    InputError, OptionError : as `build_problem`. NoSolutionError : the network has no unique solution.
    """
    if not sweeps:
        raise OptionError("there is no sweep to infer from", f"give one by {named('impedance')}")
    jig = Jig() if jig is None else jig
    read = [s if noise is None else s.with_noise(noise) for s in sweeps]
    sought = unknowns(network, prior)
    if not sought:
        raise OptionError("the network has no part to infer", "name another network")
    problem = build_problem(network, drivers, sought, read, jig, channel)
    values = sum(u.is_value for u in problem.sought)
    hold(
        f"{values} values sought at once",
        "leave out of the netlist what this sweep does not see, or sweep each section by itself",
        seconds=10.0 * (values / 18.0) ** 3,  # measured, ladders of 18 parts that do not fit at once
        most_seconds=MOST_SEARCHING_S,
    )
    found = search(problem)
    test = judge_topology(found)
    if not test.fits or prior is Prior.NONE:
        # Before a network is refused: another answer may fit, and without a prior two parts may have traded places.
        found = search_anew(found)
        test = judge_topology(found)
    scale = spread_factor(found)
    rivals: tuple[Rival, ...] = ()
    tried = 0
    if try_neighbours or not test.fits:
        # Without a prior there is nothing to weigh freedom by.
        weighed = Prior.ANY if prior is Prior.NONE else prior
        proper = replace(problem, sought=unknowns(network, weighed))
        drawn = found if prior is weighed else search(proper)
        rivals, tried = try_rivals(proper, drawn, weighed, progress)
    given = test.fits or force_numbers
    parts = _parts(network, found, scale)
    measured = _measurement(found, read[0], scale, jig)
    confusions = (
        tuple(Confusion(g.names, g.shown, confusion(g), g.known) for g in groups(found, scale)) if given else ()
    )
    further = next_sweeps(found, scale) if given else ()
    hidden = [p.name for p in parts if not p.own.seen]
    sentences = [
        s for s in (next_sentence(further, hidden) if given else None, rivals_sentence(rivals, test.fits)) if s
    ]
    told = f"{len(parts) - len(hidden)} of {len(parts)} parts are seen"
    netlist = None
    if given:
        about = f"{title or network.title}: values inferred from sweeps"
        note = f"Inferred from: {and_words([s.words for s in read])}; {told}."
        netlist = inferred_netlist(network, found, _seen(found, scale), scale, about, note)
    if not given:
        parts = tuple(
            replace(p, own=withheld(p.own), losses={k: withheld(v) for k, v in p.losses.items()}) for p in parts
        )
    return InferStudy(
        title=title or network.title,
        network=name,
        sweeps=tuple(s.words for s in read),
        prior=prior,
        parts=parts,
        test=test,
        residual=left_over(found),
        numbers_given=given,
        measurement=measured,
        confusions=confusions,
        next_sweeps=further,
        rivals=rivals,
        tried=tried,
        headline=headline(parts, test, given),
        sentences=tuple(sentences),
        warnings=(
            *(w for s in read for w in s.warnings),
            *measurement_warnings(measured, test),
            *_cautions(found, jig, prior, network),
        ),
        netlist=netlist,
    )


def spread_factor(found: SweepFit) -> float:
    """How much wider the residuals are than the noise that was reckoned with; never below 1."""
    freedom = max(1.0, found.whitened.size - found.effective_parameters)
    test = judge_topology(found)
    return max(1.0, math.sqrt(found.chi_square / freedom), test.noise_factor * math.sqrt(test.smooth_ratio))


def _seen(found: SweepFit, scale: float) -> list[bool]:
    """For each unknown of the network."""
    return seen(found, scale)[: len(found.problem.sought)]


def _parts(network: Network, found: SweepFit, scale: float) -> tuple[InferredPart, ...]:
    deviation = np.sqrt(np.diag(covariance(found, scale)))
    numbers: dict[str, Inferred] = {}
    for unknown, at, error, shows in zip(found.problem.sought, found.at, deviation, _seen(found, scale), strict=False):
        low, high = float(at - NORMAL_95 * error), float(at + NORMAL_95 * error)
        if unknown.logarithmic:
            low, high = (math.exp(low), math.exp(high)) if error < _UNBOUNDED else (0.0, math.inf)
        marked = unknown.marked if unknown.marked > 0 else math.nan
        value = float(unknown.number(at))
        numbers[unknown.name] = Inferred(unknown.kind, value, max(low, 0.0), high, marked, shows)
    losses = {
        part.name: {
            _LOSSES[u.kind]: numbers[u.name] for u in found.problem.sought if u.part == part.name and u.kind in _LOSSES
        }
        for part in network.parts
    }
    return tuple(
        InferredPart(part.name, kind_of(part), numbers[part.name], losses[part.name])
        for part in network.parts
        if part.name in numbers
    )


def _measurement(found: SweepFit, sweep: Sweep, scale: float, jig: Jig) -> Measurement:
    problem = found.problem
    deviation = np.sqrt(np.diag(covariance(found, scale)))
    first = len(problem.sought)
    place = {u.name: first + i for i, u in enumerate(problem.nuisances)}
    gain = place.get("gain")
    lead = place.get("lead")
    rows = problem.sweeps[0]
    f = rows.sweep.frequency_hz
    stated = None if sweep.curve.stated is None else sweep.curve.stated.worst(float(f[0]), float(f[-1]))
    apart = tuple(float(hz) for hz in f[found.weights.row_weight[0] < _APART])
    return Measurement(
        noise=rows.sweep.noise,
        driver_noise=problem.driver_noise,
        gain=math.nan if gain is None else math.exp(float(found.at[gain])),
        gain_error=math.nan if gain is None else float(deviation[gain]),
        lead_ohm=(jig.lead_ohm or 0.0) if lead is None else float(found.at[lead]),
        lead_error_ohm=0.0 if lead is None else float(deviation[lead]),
        rows=int(f.size),
        band_hz=(float(f[0]), float(f[-1])),
        outliers_hz=apart,
        causality=check_causality(sweep.curve, rows.sweep.noise.either),
        bounded_rows=int((rows.doubt > 0).sum()),
        moved={
            u.name: (math.expm1(float(found.at[first + i] - u.centre)), float(deviation[first + i]))
            for i, u in enumerate(problem.nuisances)
            if is_drift(u.name) and deviation[first + i] < _SHARPER * u.spread
        },
        stated_share=math.nan if stated is None else stated[0],
    )


def _cautions(found: SweepFit, jig: Jig, prior: Prior, network: Network) -> list[str]:
    out: list[str] = []
    if prior is Prior.NONE:
        out.append(
            "without a prior, parts that trade with one that is not seen may lie outside of their intervals: these "
            "reckon with straight lines, and a value that nothing bounds goes far beyond"
        )
    if jig.scale_sd == 0:
        words = (
            "an error that this sweep and those of the drivers share does not show: all ohms and henries go with it, "
            "farads against it; a scale error of 1 % puts it into the intervals"
        )
        out.append(Remark(words, About.METHOD))
    if not found.problem.sweeps[0].sweep.curve.has_phase:
        out.append("the sweep has no phase: less is seen than could be")
    if pulled := _pulled(found, prior, network):
        out.append(
            f"{and_words(pulled)} lies far beyond what is usual, so that the prior pulls all values: "
            "use the prior 'any'"
        )
    far = [
        u.name
        for u, at in zip(found.problem.nuisances, found.at[len(found.problem.sought) :], strict=True)
        if is_drift(u.name) and abs(at - u.centre) > _PULLED * u.spread
    ]
    if far:
        out.append(
            f"{and_words(far)} would have moved further since the driver's sweep than is plausible: measure it again, "
            "or see whether another driver is in its place"
        )
    guessed = sorted(n for n, s in found.problem.driver_noise.items() if s >= 0.015)
    if guessed:
        out.append(f"the impedance of {and_words(guessed)} is noisy or not measured: intervals allow for that")
    return out


def _pulled(found: SweepFit, prior: Prior, network: Network) -> list[str]:
    """Parts that lie far beyond what is usual for their kind where they are given more room."""
    if prior is not Prior.USUAL:
        return []
    free = fit(replace(found.problem, sought=unknowns(network, Prior.ANY)), found.at)
    return [
        u.name
        for u, at, own in zip(found.problem.sought, free.at, free.deviation, strict=False)
        if u.is_value and abs(at - u.centre) > _PULLED * math.hypot(u.spread, float(own))
    ]


def inferred_netlist(
    network: Network, found: SweepFit, seen: Sequence[bool], scale: float, title: str, note: str
) -> str:
    """Netlist text.

    What the sweeps do not show is left as marked, and the rest fitted again to go with it; where the sweeps speak
    against that, everything has its most plausible value.

    Parameters
    ----------
    seen : for each unknown of the network. scale : of the residuals' standard deviation.
    """
    at, held = _as_marked(found, seen, scale)
    sought = found.problem.sought
    evidence = {
        u.name: "inferred" if shows else "marked" if u.name in held else "assumed"
        for u, shows in zip(sought, seen, strict=True)
        if u.is_value
    }
    renewed = with_values(network, sought, at)
    parts = tuple(_said(part, evidence[part.name]) if part.name in evidence else part for part in renewed.parts)
    couplings = tuple(replace(c, k=round(c.k, _COUPLING_PLACES)) for c in renewed.couplings)
    return netlist_text(replace(renewed, title=title, parts=parts, couplings=couplings), [note, *NOTES])


def _as_marked(found: SweepFit, seen: Sequence[bool], scale: float) -> tuple[Float, frozenset[str]]:
    """(u,) coordinates, and the names of what was left as marked."""
    problem = found.problem
    count = len(problem.sought)
    marks = [math.log(u.marked) if u.logarithmic and u.marked > 0 else u.marked for u in problem.sought]
    near = np.abs(found.at[:count] - marks) <= NORMAL_95 * np.sqrt(np.diag(covariance(found, scale)))[:count]
    kept = frozenset(
        u.name for u, shows, goes in zip(problem.sought, seen, near, strict=True) if goes and not shows and u.marked > 0
    )
    # A netlist holds capacitances constant, and knows no core: the other numbers make up for it.
    falls = frozenset(u.name for u in problem.sought if u.kind in HIDDEN_LAWS)
    if kept and (again := _held(found, kept | falls)) is not None:
        # By chance, left where they truly are, so many would cost about their number; 95 % by the normal law.
        many = len(kept) + len(falls)
        if (again.chi_square - found.chi_square) / scale**2 <= many + 1.645 * np.sqrt(2.0 * many):
            return again.at[:count], kept
    again = _held(found, falls) if falls else None
    return (found if again is None else again).at[:count], frozenset()


def _held(found: SweepFit, names: frozenset[str]) -> SweepFit | None:
    """The fit with some numbers held at what is marked; None where that cannot be."""
    problem = found.problem
    start = found.at.copy()
    sought = list(problem.sought)
    for place, unknown in enumerate(problem.sought):
        if unknown.name in names:
            mark = float(np.log(unknown.marked)) if unknown.logarithmic else unknown.marked
            start[place] = mark
            sought[place] = replace(unknown, centre=mark, spread=_HELD * (1.0 if unknown.logarithmic else mark or 1.0))
    try:
        return fit(replace(problem, sought=tuple(sought)), start, rounds=1, row_weight=list(found.weights.row_weight))
    except (NoSolutionError, np.linalg.LinAlgError):
        return None


def _said(part: Part, evidence: str) -> Part:
    """Rounded, and without the tolerance that it had when it was new."""
    names = ("ohm", "henry", "farad", "dcr_ohm", "esr_ohm", "dissipation_factor")
    values: dict[str, Any] = {n: float(f"{getattr(part, n):.{_DIGITS}g}") for n in names if hasattr(part, n)}
    return replace(part, tolerance=None, evidence=evidence, **values)
