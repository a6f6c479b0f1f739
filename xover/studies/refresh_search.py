"""Choose what fills every place, all together: the cheapest that stays within a tolerance, else the nearest."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

import numpy as np

from xover.acoustic.decibel import level_db
from xover.curve import Complex, Float
from xover.network import Network, find_sections, solve
from xover.studies.refresh_choice import Choice

_KEPT: Final = 40
"""Partial sets that are carried on for being near, and as many for being cheap."""
_ROUNDS: Final = 12
_HARDLY: Final = 1.1
"""Where the tolerance cannot be kept: no good part is thrown out for less than this gain."""
_MILDEST: Final = 24
"""Choices at a place that are tried together with those of another."""
_BATCH: Final = 4000
"""Candidates solved together: bounds the memory."""


@dataclass(frozen=True, eq=False)
class Job:
    """What a set of choices is judged by.

    Attributes
    ----------
    reference_db : (n,) level of each driver in the reference, by key.
    driver_ohm : (n,) by driver's name. band : (n,) where the difference counts.
    tolerance_db : a set within it is good, and the cheapest good one is best.
    """

    network: Network
    frequency_hz: Float
    driver_ohm: Mapping[str, Complex]
    reference_db: Mapping[str, Float]
    band: np.ndarray
    tolerance_db: float
    options: Mapping[str, Sequence[Choice]]

    def worst_db(self, sets: Sequence[Mapping[str, Choice]]) -> Float:
        """(k,) largest difference of any driver's level in the band; parts without a choice stay at the reference."""
        out = np.zeros(len(sets))
        for start in range(0, len(sets), _BATCH):
            some = sets[start : start + _BATCH]
            names = sorted({name for one in some for name in one})
            ohm = {name: _stacked([one[name] for one in some]) for name in names}
            solution = solve(self.network, self.frequency_hz, self.driver_ohm, impedance_ohm=ohm)
            for key, level in self.reference_db.items():
                drive = solution.drive[key].reshape(-1, self.frequency_hz.size)
                with np.errstate(invalid="ignore"):
                    change = np.abs(level_db(drive) - level)[:, self.band]
                out[start : start + len(some)] = np.fmax(out[start : start + len(some)], np.fmax.reduce(change, axis=1))
        return out

    def key(self, worst_db: float, chosen: Mapping[str, Choice]) -> tuple[float, ...]:
        """Sets in the order of merit: good ones by price, parts, difference; then the others by difference."""
        price = round(sum(c.price for c in chosen.values()), 6)
        count = sum(c.new_parts for c in chosen.values())
        if worst_db <= self.tolerance_db:
            return (0.0, price, count, worst_db)
        return (1.0, worst_db, price, count)


@dataclass(frozen=True, eq=False)
class Found:
    """The best set and what it attains on the grid of the search."""

    chosen: Mapping[str, Choice]
    worst_db: float


def search(job: Job) -> Found:
    """Fill all places; sections do not touch each other's drivers, so each is searched by itself.

    A section that cannot keep the tolerance gets the cheapest set that is hardly farther off than its nearest.

    The result is a local optimum: no exchange of one choice betters it, nor one of two within a section among
    those that do the least harm by themselves.
    """
    chosen: dict[str, Choice] = {}
    worst = 0.0
    for section in find_sections(job.network):
        places = sorted((n for n in job.options if n in section.elements), key=lambda n: len(job.options[n]))
        if places:
            found = _search_section(job, places)
            if found.worst_db > job.tolerance_db:
                found = _search_section(replace(job, tolerance_db=found.worst_db * _HARDLY), places)
            chosen |= found.chosen
            worst = max(worst, found.worst_db)
    return Found(chosen, worst)


def _search_section(job: Job, places: Sequence[str]) -> Found:
    """Carry the best partial sets from part to part, then exchange until nothing improves."""
    sets: list[dict[str, Choice]] = [{}]
    worst = np.zeros(1)
    for name in places:
        grown = [one | {name: choice} for one in sets for choice in job.options[name]]
        worst = job.worst_db(grown)
        carried = _carried(job, grown, worst)
        sets, worst = [grown[i] for i in carried], worst[carried]
    best = min(range(len(sets)), key=lambda i: job.key(float(worst[i]), sets[i]))
    return _exchange(job, places, sets[best], float(worst[best]))


def _stacked(choices: Sequence[Choice]) -> Complex:
    """(k, n) impedances, or (n,) where all are the same choice."""
    if all(c is choices[0] for c in choices):
        return choices[0].impedance_ohm
    return np.stack([c.impedance_ohm for c in choices])


def _carried(job: Job, sets: Sequence[Mapping[str, Choice]], worst: Float) -> list[int]:
    """The nearest, the best by merit, and for each step of the difference the cheapest."""
    price = np.array([sum(c.price for c in one.values()) for one in sets])
    count = np.array([sum(c.new_parts for c in one.values()) for one in sets])
    near = np.argsort(worst, kind="stable")[:_KEPT]
    # Choices of later parts make up for some of the difference: twice the tolerance is not lost yet.
    cheap = np.lexsort((worst, count, price, worst > 2.0 * job.tolerance_db))[:_KEPT]
    good = np.lexsort((worst, count, price, worst > job.tolerance_db))[:_KEPT]
    front: list[int] = []
    lowest = np.inf
    for i in np.lexsort((price, worst)):
        if price[i] < lowest:
            front.append(int(i))
            lowest = price[i]
    return list(dict.fromkeys(int(i) for i in [*near, *good, *cheap, *front[:_KEPT]]))


def _exchange(job: Job, places: Sequence[str], chosen: dict[str, Choice], worst_db: float) -> Found:
    """Exchange one choice, then two, as long as that betters the set."""
    for _ in range(_ROUNDS):
        trials = [chosen | {name: c} for name in places for c in job.options[name]]
        singles = job.worst_db(trials)
        better = _best_of(job, trials, singles, chosen, worst_db)
        if better is None:
            trials = list(_exchanged_pairs(job, places, chosen, worst_db, singles))
            better = _best_of(job, trials, job.worst_db(trials), chosen, worst_db) if trials else None
        if better is None:
            break
        chosen, worst_db = better
    return Found(chosen, worst_db)


def _exchanged_pairs(
    job: Job, places: Sequence[str], chosen: Mapping[str, Choice], worst_db: float, singles: Float
) -> Iterator[dict[str, Choice]]:
    """The chosen set with two choices exchanged: at each place those that by themselves do the least harm."""
    mild: dict[str, list[Choice]] = {}
    at = 0
    for name in places:
        options = job.options[name]
        order = np.argsort(singles[at : at + len(options)], kind="stable")[:_MILDEST]
        mild[name] = [options[i] for i in order if options[i] is not chosen[name]]
        at += len(options)
    for one, other in combinations(places, 2):
        for c in mild[one]:
            for d in mild[other]:
                if _may_pay(job, chosen, worst_db, one, c, other, d):
                    yield {**chosen, one: c, other: d}


def _may_pay(
    job: Job, chosen: Mapping[str, Choice], worst_db: float, one: str, c: Choice, other: str, d: Choice
) -> bool:
    """Once the set is good, only an exchange that is not dearer can better it."""
    if worst_db > job.tolerance_db:
        return True
    before = (chosen[one].price + chosen[other].price, chosen[one].new_parts + chosen[other].new_parts)
    return (round(c.price + d.price - before[0], 6), c.new_parts + d.new_parts - before[1]) <= (0.0, 0)


def _best_of(
    job: Job, trials: list[dict[str, Choice]], worst: Float, chosen: Mapping[str, Choice], worst_db: float
) -> tuple[dict[str, Choice], float] | None:
    """The best of the trials where it betters what is chosen."""
    best = min(range(len(trials)), key=lambda i: job.key(float(worst[i]), trials[i]))
    if job.key(float(worst[best]), trials[best]) < job.key(worst_db, chosen):
        return trials[best], float(worst[best])
    return None
