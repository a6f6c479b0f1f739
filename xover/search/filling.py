"""What fills every place of a network, all together: for each number of bought parts the set that comes nearest.

A set is a row of numbers, one for each place: which of its choices fills it. All choices of one place are tried in one
closed form of the network in that place's impedance (network/open_impedance.py), so that a set costs a few operations
at each frequency.

Two speakers that are to be built alike are searched as one: a set is as far off as the worse of both.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
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
"""Partial sets that are carried on for each number of bought parts."""
_ROUNDS: Final = 12
_HARDLY: Final = 1.1
_HARDLY_DB: Final = 0.01
"""Of sets that are hardly farther off than the nearest, by this factor or by so many dB, the cheapest is taken."""
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
    driver_ohm : (n,) by driver's name.
    options : by part's name. Of speakers that are built alike, the same choice stands at the same place of each list.
    """

    network: Network
    frequency_hz: Float
    driver_ohm: Mapping[str, Complex]
    reference_db: Mapping[str, Float]
    options: Mapping[str, Sequence[Some]]


@dataclass(frozen=True, eq=False)
class Found(Generic[Some]):
    """The nearest set of so many bought parts, for each speaker, and what it attains on the grid of the search."""

    parts: int
    worst_db: float
    chosen: tuple[Mapping[str, Some], ...]


@dataclass(frozen=True, eq=False)
class _Best:
    """The nearest set of one number of parts: rows by place's name."""

    worst_db: float
    price: float
    rows: Mapping[str, int]


def frontier(jobs: Sequence[Job[Some]], most_parts: int) -> Iterator[Found[Some]]:
    """Fill all places with each number of bought parts, as far as one more part comes nearer; the fewest first.

    Sections do not touch each other's drivers, so each is searched by itself.

    Each is a local optimum: no exchange of one choice betters it, nor one of two within a section among those that do
    the least harm by themselves.
    """
    total: dict[int, _Best] = {0: _Best(0.0, 0.0, {})}
    for section in find_sections(jobs[0].network):
        options = jobs[0].options
        names = sorted((n for n in options if n in section.elements), key=lambda n: len(options[n]))
        if names:
            places = _Alike([_places(job, section, names) for job in jobs])
            total = _joined(total, _search_section(places, most_parts), most_parts)
    nearest = np.inf
    for count in sorted(total):
        best = total[count]
        if best.worst_db < nearest:
            nearest = best.worst_db
            chosen = tuple({n: job.options[n][i] for n, i in best.rows.items()} for job in jobs)
            yield Found(count, best.worst_db, chosen)


def _joined(one: Mapping[int, _Best], other: Mapping[int, _Best], most_parts: int) -> dict[int, _Best]:
    """The best of two sections together, for each number of parts."""
    out: dict[int, _Best] = {}
    for a, first in one.items():
        for b, second in other.items():
            both = _Best(
                max(first.worst_db, second.worst_db), first.price + second.price, {**first.rows, **second.rows}
            )
            old = out.get(a + b)
            if old is None or (both.worst_db, both.price) < (old.worst_db, old.price):
                out[a + b] = both
    least = min(out)
    return {n: best for n, best in out.items() if n <= max(least, most_parts)}


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
    names: Sequence[str]
    ohm: Sequence[Complex]
    price: Sequence[Float]
    count: Sequence[Rows]

    def worst_db(self, sets: Rows, at: int, only: Rows | None = None) -> Float:
        """(s, c) largest difference of any driver's level, for each choice of one place.

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
                    ratio = power * self.per_reference[key]
                    # What is not known anywhere counts for nothing.
                    high[some] = np.fmax(high[some], 10.0 * np.log10(np.fmax.reduce(ratio, axis=2)))
                    low[some] = np.fmin(low[some], 10.0 * np.log10(np.fmin.reduce(ratio, axis=2)))
        out = np.full((sets.shape[0], self.price[at].size), np.inf)
        out[:, slice(None) if only is None else only] = np.round(np.maximum(high, -low), _DIGITS)
        return out


@dataclass(frozen=True, eq=False)
class _Alike:
    """The same places of one or two speakers; a set is as far off as the worse of them."""

    each: Sequence[_Places]

    @property
    def sizes(self) -> list[int]:
        """Choices of each place."""
        return [p.size for p in self.each[0].price]

    def worst_db(self, sets: Rows, at: int, only: Rows | None = None) -> Float:
        """(s, c) as of one."""
        return np.asarray(np.max([p.worst_db(sets, at, only) for p in self.each], axis=0))

    def count(self, sets: Rows) -> Rows:
        """(s,) parts that are bought for sets (s, p)."""
        table = self.each[0].count
        return np.asarray(sum((table[i][sets[:, i]] for i in range(sets.shape[1])), np.zeros(sets.shape[0], dtype=int)))

    def price(self, sets: Rows) -> Float:
        """(s,) what they cost."""
        table = self.each[0].price
        total = sum((table[i][sets[:, i]] for i in range(sets.shape[1])), np.zeros(sets.shape[0]))
        return np.round(total, 6)

    def exchanged(self, chosen: Rows, at: int) -> Rows:
        """(c, p) the chosen set with every choice of one place."""
        sets = np.repeat(chosen[None], self.sizes[at], axis=0)
        sets[:, at] = np.arange(self.sizes[at])
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
        names,
        [np.stack([c.impedance_ohm for c in some]) for some in options],
        [np.array([c.price for c in some]) for some in options],
        [np.array([c.new_parts for c in some]) for some in options],
    )


def _search_section(places: _Alike, most_parts: int) -> dict[int, _Best]:
    """Carry the nearest partial sets of each number of parts from place to place, then exchange."""
    sets = np.zeros((1, 0), dtype=int)
    worst = np.zeros(1)
    last = len(places.sizes) - 1
    for at, size in enumerate(places.sizes):
        if size == 1 and at < last:  # nothing to choose
            sets = np.column_stack([sets, np.zeros(sets.shape[0], dtype=int)])
            continue
        worst = places.worst_db(sets, at).ravel()
        sets = np.column_stack([np.repeat(sets, size, axis=0), np.tile(np.arange(size), sets.shape[0])])
        carried = _carried(places.count(sets), worst, places.price(sets), most_parts)
        sets, worst = sets[carried], worst[carried]
    counts, price = places.count(sets), places.price(sets)
    out: dict[int, _Best] = {}
    for count in np.unique(counts):
        same = np.flatnonzero(counts == count)
        start = sets[same[_cheapest(worst[same], price[same])]]
        chosen, worst_db = _exchange(places, int(count), start)
        true = int(places.count(chosen[None])[0])
        if true not in out or worst_db < out[true].worst_db:
            rows = dict(zip(places.each[0].names, chosen.tolist(), strict=True))
            out[true] = _Best(worst_db, float(places.price(chosen[None])[0]), rows)
    return out


def _carried(count: Rows, worst_db: Float, price: Float, most_parts: int) -> Rows:
    """The nearest of each number of parts."""
    kept = []
    least = int(count.min())
    for number in np.unique(count):
        if number <= max(most_parts, least):
            same = np.flatnonzero(count == number)
            kept.append(same[np.lexsort((price[same], worst_db[same]))][:_KEPT])
    return np.concatenate(kept)


def _cheapest(worst_db: Float, price: Float) -> int:
    """Of the nearest and those that are hardly farther off, the cheapest."""
    limit = max(float(worst_db.min()) * _HARDLY, float(worst_db.min()) + _HARDLY_DB)
    fair = np.flatnonzero(worst_db <= limit)
    return int(fair[np.lexsort((worst_db[fair], price[fair]))[0]])


def _exchange(places: _Alike, most: int, chosen: Rows) -> tuple[Rows, float]:
    """Exchange one choice, then two, as long as that comes nearer without more parts than so many."""
    open_places = [at for at, size in enumerate(places.sizes) if size > 1] or [0]
    for _ in range(_ROUNDS):
        singles = {at: places.worst_db(chosen[None], at)[0] for at in open_places}
        now = float(singles[open_places[0]][chosen[open_places[0]]])
        tried = np.concatenate([places.exchanged(chosen, at) for at in open_places])
        better = _nearer(places, most, tried, np.concatenate(list(singles.values())), now)
        if better is None:
            better = _nearer(places, most, *_exchanged_pairs(places, chosen, singles), now)
        if better is None:
            return chosen, now
        chosen, now = better
    return chosen, now


def _nearer(places: _Alike, most: int, tried: Rows, worst_db: Float, now: float) -> tuple[Rows, float] | None:
    """The best of the sets tried where it is clearly nearer."""
    fair = np.flatnonzero((places.count(tried) <= most) & (worst_db < now / _HARDLY))
    if not fair.size:
        return None
    best = fair[_cheapest(worst_db[fair], places.price(tried[fair]))]
    return tried[best], float(worst_db[best])


def _exchanged_pairs(places: _Alike, chosen: Rows, singles: Mapping[int, Float]) -> tuple[Rows, Float]:
    """The chosen set with two choices exchanged: at each place those that by themselves do the least harm."""
    mild = {at: np.argsort(worst, kind="stable")[:_MILDEST] for at, worst in singles.items()}
    mild = {at: rows[rows != chosen[at]] for at, rows in mild.items()}
    sets, judged = [np.zeros((0, chosen.size), dtype=int)], [np.zeros(0)]
    for one, other in combinations(mild, 2):
        first, second = (a.ravel() for a in np.meshgrid(mild[one], mild[other], indexing="ij"))
        if not first.size:
            continue
        pairs = np.repeat(chosen[None], first.size, axis=0)
        pairs[:, one], pairs[:, other] = first, second
        bases = np.repeat(chosen[None], mild[one].size, axis=0)
        bases[:, one] = mild[one]
        sets.append(pairs)
        judged.append(places.worst_db(bases, other, mild[other])[:, mild[other]].T.ravel())
    return np.concatenate(sets), np.concatenate(judged)
