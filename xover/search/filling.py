"""What fills every place of a network, all together: the cheapest that stays within a tolerance, else the nearest.

A set is a row of numbers, one for each place: which of its choices fills it. All choices of one place are tried in one
closed form of the network in that place's impedance (network/open_impedance.py), so that a set costs a few operations
at each frequency.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any, Final, Generic, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Float
from xover.network import Network, find_sections, solve
from xover.network.network import Section
from xover.network.open_impedance import open_part

_KEPT: Final = 40
"""Partial sets that are carried on for being near, and as many for being cheap."""
_ROUNDS: Final = 12
_HARDLY: Final = 1.1
"""Where the tolerance cannot be kept: no good part is thrown out for less than this gain."""
_MILDEST: Final = 24
"""Choices at a place that are tried together with those of another."""
_BATCH: Final = 60_000
"""Levels worked out together: they stay in the processor's cache."""
_DIGITS: Final = 9
"""Differences in dB are told to so many decimals: rounding is not to decide."""

Rows = NDArray[np.integer[Any]]


class Filling(Protocol):
    """One way to fill a place: (n,) its impedance, what it costs, and how many parts are bought for it."""

    @property
    def impedance_ohm(self) -> Complex: ...
    @property
    def price(self) -> float: ...
    @property
    def new_parts(self) -> int: ...


Some = TypeVar("Some", bound=Filling)


@dataclass(frozen=True, eq=False)
class Job(Generic[Some]):
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
    options: Mapping[str, Sequence[Some]]


@dataclass(frozen=True, eq=False)
class Found(Generic[Some]):
    """The best set and what it attains on the grid of the search."""

    chosen: Mapping[str, Some]
    worst_db: float


def fill(job: Job[Some]) -> Found[Some]:
    """Fill all places; sections do not touch each other's drivers, so each is searched by itself.

    A section that cannot keep the tolerance gets the cheapest set that is hardly farther off than its nearest.

    The result is a local optimum: no exchange of one choice betters it, nor one of two within a section among
    those that do the least harm by themselves.
    """
    chosen: dict[str, Some] = {}
    worst = 0.0
    for section in find_sections(job.network):
        names = sorted((n for n in job.options if n in section.elements), key=lambda n: len(job.options[n]))
        if names:
            places = _places(job, section, names)
            best, worst_db = _search_section(places, job.tolerance_db)
            if worst_db > job.tolerance_db:
                best, worst_db = _search_section(places, worst_db * _HARDLY)
            chosen |= {name: job.options[name][i] for name, i in zip(names, best, strict=True)}
            worst = max(worst, worst_db)
    return Found(chosen, worst)


@dataclass(frozen=True, eq=False)
class _Merits:
    """Sets judged, (s,) each: what they cost, how many parts are bought, their largest difference."""

    price: Float
    count: Rows
    worst_db: Float

    def order(self, tolerance_db: float) -> Rows:
        """Sets in the order of merit: good ones by price, parts, difference; then the others by difference."""
        bad = self.worst_db > tolerance_db
        price = np.round(self.price, 6)
        first = np.where(bad, self.worst_db, price)
        second = np.where(bad, price, self.count)
        third = np.where(bad, self.count, self.worst_db)
        return np.lexsort((third, second, first, bad))

    def of(self, rows: Rows | list[int]) -> _Merits:
        """Some of them."""
        return _Merits(self.price[rows], self.count[rows], self.worst_db[rows])

    def and_(self, other: _Merits) -> _Merits:
        """Those of another after these."""
        return _Merits(
            np.concatenate([self.price, other.price]),
            np.concatenate([self.count, other.count]),
            np.concatenate([self.worst_db, other.worst_db]),
        )


@dataclass(frozen=True, eq=False)
class _Places:
    """The places of one section, and what each choice is.

    Attributes
    ----------
    network : of that section alone where it can be. per_reference : (n,) 1/|drive|^2 in the reference, by key.
    ohm : (c, n) impedance, price : (c,), count : (c,) number of new parts, of the choices of each place.
    """

    network: Network
    frequency_hz: Float
    driver_ohm: Mapping[str, Complex]
    per_reference: Mapping[str, Float]
    band: np.ndarray
    names: Sequence[str]
    ohm: Sequence[Complex]
    price: Sequence[Float]
    count: Sequence[Rows]

    def worst_db(self, sets: Rows, at: int, only: Rows | None = None) -> Float:
        """(s, c) largest difference of any driver's level in the band, for each choice of one place.

        Parameters
        ----------
        sets : (s, p) of the first p places; what they say of place `at` does not count. Places beyond p stay at the
            reference.
        only : rows of the choices that are looked at; the others come out infinite.
        """
        others = [i for i in range(sets.shape[1]) if i != at]
        stand_in = {self.names[i]: self.ohm[i][sets[:, i]] for i in others}
        solution = solve(self.network, self.frequency_hz, self.driver_ohm, impedance_ohm=stand_in)
        opened = open_part(solution, self.names[at])
        table = self.ohm[at] if only is None else self.ohm[at][only]
        high = np.zeros((sets.shape[0], table.shape[0]))
        low = np.zeros(high.shape)
        step = max(1, _BATCH // table.size)
        with np.errstate(divide="ignore", invalid="ignore"):
            for start in range(0, high.shape[0], step):
                some = slice(start, start + step)
                for key, power in opened.power(table, some).items():
                    ratio = (power * self.per_reference[key])[:, :, self.band]
                    # What is not known anywhere counts for nothing.
                    high[some] = np.fmax(high[some], 10.0 * np.log10(np.fmax.reduce(ratio, axis=2)))
                    low[some] = np.fmin(low[some], 10.0 * np.log10(np.fmin.reduce(ratio, axis=2)))
        out = np.full((sets.shape[0], self.price[at].size), np.inf)
        out[:, slice(None) if only is None else only] = np.round(np.maximum(high, -low), _DIGITS)
        return out

    def merits(self, sets: Rows, worst_db: Float) -> _Merits:
        """Sets (s, p) of all places, or the first p, with their differences (s,)."""
        price, count = np.zeros(sets.shape[0]), np.zeros(sets.shape[0], dtype=int)
        for i in range(sets.shape[1]):
            price, count = price + self.price[i][sets[:, i]], count + self.count[i][sets[:, i]]
        return _Merits(price, count, worst_db)

    def exchanged(self, chosen: Rows, at: int) -> Rows:
        """(c, p) the chosen set with every choice of one place."""
        sets = np.repeat(chosen[None], self.price[at].size, axis=0)
        sets[:, at] = np.arange(self.price[at].size)
        return sets


def _places(job: Job[Some], section: Section, names: Sequence[str]) -> _Places:
    network = job.network
    if len(network.channels) == 1:  # what hangs on the one channel beside this section changes nothing in it
        inside = {n.lower() for n in section.elements}
        network = replace(
            network,
            parts=tuple(p for p in network.parts if p.name.lower() in inside),
            drivers=tuple(d for d in network.drivers if d.name.lower() in inside),
            couplings=tuple(c for c in network.couplings if c.first.lower() in inside),
        )
    options = [job.options[name] for name in names]
    return _Places(
        network,
        job.frequency_hz,
        job.driver_ohm,
        {key: 10.0 ** (-level / 10.0) for key, level in job.reference_db.items()},
        job.band,
        names,
        [np.stack([c.impedance_ohm for c in some]) for some in options],
        [np.array([c.price for c in some]) for some in options],
        [np.array([c.new_parts for c in some]) for some in options],
    )


def _search_section(places: _Places, tolerance_db: float) -> tuple[Rows, float]:
    """Carry the best partial sets from place to place, then exchange until nothing improves."""
    sets = np.zeros((1, 0), dtype=int)
    merits = places.merits(sets, np.zeros(1))
    for at, size in enumerate(p.size for p in places.price):
        worst = places.worst_db(sets, at).ravel()
        sets = np.column_stack([np.repeat(sets, size, axis=0), np.tile(np.arange(size), sets.shape[0])])
        merits = places.merits(sets, worst)
        carried = _carried(merits, tolerance_db)
        sets, merits = sets[carried], merits.of(carried)
    best = merits.order(tolerance_db)[0]
    return _exchange(places, tolerance_db, sets[best], merits.of([best]))


def _carried(merits: _Merits, tolerance_db: float) -> list[int]:
    """The nearest, the best by merit, and for each step of the difference the cheapest."""
    price, count, worst = merits.price, merits.count, merits.worst_db
    near = np.argsort(worst, kind="stable")[:_KEPT]
    # Choices of later parts make up for some of the difference: twice the tolerance is not lost yet.
    cheap = np.lexsort((worst, count, price, worst > 2.0 * tolerance_db))[:_KEPT]
    good = np.lexsort((worst, count, price, worst > tolerance_db))[:_KEPT]
    rising = np.lexsort((price, worst))
    lowest = np.minimum.accumulate(price[rising])
    front = rising[np.concatenate([[True], lowest[1:] < lowest[:-1]])]
    return list(dict.fromkeys(int(i) for i in [*near, *good, *cheap, *front[:_KEPT]]))


def _exchange(places: _Places, tolerance_db: float, chosen: Rows, merit: _Merits) -> tuple[Rows, float]:
    """Exchange one choice, then two, as long as that betters the set."""
    for _ in range(_ROUNDS):
        sets = [places.exchanged(chosen, at) for at in range(chosen.size)]
        singles = [places.worst_db(chosen[None], at)[0] for at in range(chosen.size)]
        tried, judged = np.concatenate(sets), np.concatenate(singles)
        better = _best_of(places, tolerance_db, tried, judged, merit)
        if better is None:
            tried, judged = _exchanged_pairs(places, tolerance_db, chosen, merit, singles)
            better = _best_of(places, tolerance_db, tried, judged, merit)
        if better is None:
            break
        chosen, merit = better
    return chosen, float(merit.worst_db[0])


def _exchanged_pairs(
    places: _Places, tolerance_db: float, chosen: Rows, merit: _Merits, singles: Sequence[Float]
) -> tuple[Rows, Float]:
    """The chosen set with two choices exchanged: at each place those that by themselves do the least harm.

    Once the set is good, only an exchange that is not dearer can better it.
    """
    mild = [np.argsort(worst, kind="stable")[:_MILDEST] for worst in singles]
    mild = [m[m != at] for m, at in zip(mild, chosen, strict=True)]
    sets, judged = [np.zeros((0, chosen.size), dtype=int)], [np.zeros(0)]
    for one, other in combinations(range(chosen.size), 2):
        first, second = (a.ravel() for a in np.meshgrid(mild[one], mild[other], indexing="ij"))
        pairs = np.repeat(chosen[None], first.size, axis=0)
        pairs[:, one], pairs[:, other] = first, second
        if merit.worst_db[0] <= tolerance_db:
            change = [
                sum(table[i][new] - table[i][chosen[i]] for i, new in ((one, first), (other, second)))
                for table in (places.price, places.count)
            ]
            dearer = np.round(change[0], 6)
            pairs = pairs[(dearer < 0.0) | ((dearer == 0.0) & (change[1] <= 0))]
        if not pairs.size:
            continue
        firsts, row = np.unique(pairs[:, one], return_inverse=True)
        bases = np.repeat(chosen[None], firsts.size, axis=0)
        bases[:, one] = firsts
        sets.append(pairs)
        judged.append(places.worst_db(bases, other, np.unique(pairs[:, other]))[row, pairs[:, other]])
    return np.concatenate(sets), np.concatenate(judged)


def _best_of(
    places: _Places, tolerance_db: float, tried: Rows, worst_db: Float, merit: _Merits
) -> tuple[Rows, _Merits] | None:
    """The best of the sets tried where it betters what is chosen."""
    both = merit.and_(places.merits(tried, worst_db))
    best = both.order(tolerance_db)[0]
    return None if best == 0 else (tried[best - 1], both.of([best]))
