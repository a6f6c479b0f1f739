"""What may stand in the place of an old part: itself, or new parts in legs, and which of them are worth trying."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property
from itertools import product
from typing import Final

import numpy as np

from xover.curve import Complex, Float
from xover.files.stock import ItemKind, StockItem
from xover.network import Capacitor, Inductor, Part, Resistor, value_of
from xover.network.parts import shown_value
from xover.parts.catalogue import thinned
from xover.parts.kinds import FACTS, PartKind
from xover.parts.preferred import How, near_pairs, ways


class Shape(StrEnum):
    """How a choice is built."""

    KEEP = "the old part"
    SINGLE = "one part"
    PAIR = "two parts"
    WITH_RESISTOR = "one part and a series resistor"
    TWO_LEGS = "two legs"
    """A capacitor, or two, parallel to a small one that has a resistor in series: loses as an electrolytic does."""


@dataclass(frozen=True, eq=False)
class Choice:
    """One way to fill the place of an old part.

    Attributes
    ----------
    part : the old part's name.
    legs : parallel legs of parts in series; nodes are filled in by `placed`.
    items : what is bought, in the order of the legs; an old part that stays is none.
    impedance_ohm : (n,) of the whole.
    """

    part: str
    shape: Shape
    legs: tuple[tuple[Part, ...], ...]
    items: tuple[StockItem, ...]
    impedance_ohm: Complex

    @property
    def keeps(self) -> bool:
        """Whether the old part stays."""
        return self.shape is Shape.KEEP

    @cached_property
    def price(self) -> float:
        """Of the new parts; those without a price count as nothing."""
        return sum(item.price or 0.0 for item in self.items)

    @property
    def new_parts(self) -> int:
        """How many parts are bought and soldered in."""
        return len(self.items)

    @property
    def words(self) -> str:
        """What is fitted, such as "4.7 uF + 0.22 ohm in series"."""
        if not self.items:
            return "the old part stays"
        legs = [" + ".join(shown_value(p) for p in leg) for leg in self.legs]
        text = " parallel to ".join(f"({leg})" if " + " in leg and len(legs) > 1 else leg for leg in legs)
        return f"{text} in series" if len(legs) == 1 and len(self.legs[0]) > 1 else text


def new_part(item: StockItem) -> Part:
    """The item as a part of a netlist, its name and nodes still to come."""
    tolerance = item.tolerance
    if item.kind is ItemKind.RESISTOR:
        return Resistor("R", "", "", item.value, tolerance=tolerance, watts=item.watts)
    if item.kind is ItemKind.INDUCTOR:
        return Inductor("L", "", "", item.value, item.dcr_ohm or 0.0, tolerance=tolerance, core=item.core or "air")
    kind = PartKind.ELECTROLYTIC if item.dielectric == "electrolytic" else PartKind.FILM
    loss = item.dissipation_factor
    if loss is None and item.esr_ohm is None:
        loss = FACTS[kind].new_dissipation_factor
    losses = (item.esr_ohm or 0.0, loss or 0.0)
    return Capacitor("C", "", "", item.value, *losses, tolerance=tolerance, volts=item.volts, kind=str(kind))


def legs_impedance_ohm(legs: Iterable[Iterable[Part]], omega: Float) -> Complex:
    """(n,) impedance of parallel legs of parts in series."""
    admittance: Complex = np.zeros(omega.shape, dtype=complex)
    for leg in legs:
        series: Complex = np.zeros(omega.shape, dtype=complex)
        for part in leg:
            series = series + part.impedance_ohm(omega)
        admittance = admittance + 1.0 / series
    return np.asarray(1.0 / admittance, dtype=complex)


def keep(old: Part, omega: Float) -> Choice:
    """The old part stays."""
    return Choice(old.name, Shape.KEEP, ((old,),), (), old.impedance_ohm(omega))


def build(name: str, shape: Shape, legs: tuple[tuple[StockItem, ...], ...], omega: Float) -> Choice:
    """A choice of new parts."""
    parts = tuple(tuple(new_part(item) for item in leg) for leg in legs)
    return Choice(name, shape, parts, tuple(i for leg in legs for i in leg), legs_impedance_ohm(parts, omega))


def placed(choice: Choice, old: Part, fresh: Callable[[str], str]) -> tuple[Part, ...]:
    """The parts of a choice with names and nodes, between the old part's nodes.

    The first of each kind that the old part was keeps its name; a resistor in series with C1 is RC1, a second
    capacitor C1b. In a leg the resistor comes last: on the ground side of a shunt.

    Parameters
    ----------
    fresh : gives a name or node that is not in the network yet, near to the one wanted.
    """
    if choice.shape is Shape.KEEP:
        return (replace(choice.legs[0][0], name=old.name, a=old.a, b=old.b),)
    out: list[Part] = []
    for leg in choice.legs:
        at = old.a
        for index, part in enumerate(leg):
            last = index == len(leg) - 1
            following = old.b if last else fresh(f"{old.name.lower()}x")
            out.append(replace(part, name=_name(part, old, out, fresh), a=at, b=following))
            at = following
    return tuple(out)


def _name(part: Part, old: Part, before: list[Part], fresh: Callable[[str], str]) -> str:
    same_kind = type(part) is type(old)
    first = not any(type(p) is type(part) for p in before)
    if same_kind:
        return old.name if first else fresh(f"{old.name}b")
    return fresh(f"{part.name}{old.name}" if first else f"{part.name}{old.name}b")


NEAR: Final = 0.08
"""Values farther away than this are tried only where none is nearer."""
_STILL_LIKE: Final = 1.5
"""A part whose value is off by a larger factor is not bought in place of another. Common practice, no source."""
_MOST_TOTALS: Final = 24
_MOST_OF_A_SHAPE: Final = 14
_MOST_TWO_LEGS: Final = 30
# The small leg of two: its share of the capacitance, and where its resistor takes over.
_SMALL_LEG: Final = (0.03, 0.45)
_SMALL_LEG_HZ: Final = (150.0, 20_000.0)
_MOST_SERIES_OHM: Final = 4.0
_MOST_HALVES: Final = 120
"""Values that the two capacitors of a large leg are of: more do not make its total finer than the 2 % that it needs."""
_COARSE: Final = 8
"""Every so many rows of the grid are looked at first where there are many choices."""


class Sieve:
    """Judges choices one at a time, to the first order, so that only good ones reach the exact search.

    Parameters
    ----------
    reference_ohm : (n,) impedance of the part in the reference network.
    slope : (d, n) d ln(drive) / d ln(impedance) of each driver there.
    """

    def __init__(self, reference_ohm: Complex, slope: Complex) -> None:
        self._reference_ohm = reference_ohm
        self._slope = slope

    def worst_db(self, impedance_ohm: Complex, rows: slice = slice(None)) -> Float:
        """(k,) largest change of any driver's level, for impedances (k, m) at every so many rows; to the first order.

        NaN where nothing is known.
        """
        ratio = impedance_ohm / self._reference_ohm[rows]
        neper, radian = 0.5 * np.log(ratio.real**2 + ratio.imag**2), np.arctan2(ratio.imag, ratio.real)
        worst: Float = np.full(ratio.shape[0], np.nan)
        for slope in self._slope[:, rows]:
            level = np.abs(slope.real * neper - slope.imag * radian) * (20.0 / np.log(10.0))
            with np.errstate(invalid="ignore"):
                worst = np.fmax(worst, np.fmax.reduce(level, axis=1))
        return worst

    def best(self, choices: Sequence[Choice], most: int = _MOST_OF_A_SHAPE) -> list[Choice]:
        """The nearest ones, and the cheapest of those that are not far."""
        if not choices:
            return []
        ranked = self.rank(np.stack([c.impedance_ohm for c in choices]), [c.price for c in choices], most)
        return [choices[i] for i in ranked]

    def rank(self, impedance_ohm: Complex, price: Sequence[float] | Float, most: int = _MOST_OF_A_SHAPE) -> list[int]:
        """The same for bare impedances (k, n): their indices."""
        return _ranked(self.worst_db(impedance_ohm), price, most)

    def rank_parallel(self, one: Complex, other: Complex, price: Sequence[float] | Float, most: int) -> list[int]:
        """The same for each of (i, n) admittances parallel to each of (j, n): indices i * j' + j.

        A few rows of the grid tell what the difference is at least, and most pairs need no more than that.
        """
        few = slice(_COARSE // 2, None, _COARSE) if self._reference_ohm.size > 2 * _COARSE else slice(None)
        least = self.worst_db(1.0 / (one[:, None, few] + other[None, :, few]).reshape(-1, one[0, few].size), few)
        least = np.nan_to_num(least, nan=0.0)
        worst = np.full(least.size, np.inf)
        limit, done = -np.inf, np.zeros(least.size, dtype=bool)
        for enough in (np.partition(least, min(4 * most, least.size) - 1)[min(4 * most, least.size) - 1], None):
            # Beyond the limit no pair is among the nearest, nor near enough to be taken for its price.
            some = np.flatnonzero(~done & (least <= (limit if enough is None else enough)))
            i, j = np.divmod(some, other.shape[0])
            worst[some] = np.nan_to_num(self.worst_db(1.0 / (one[i] + other[j])), nan=np.inf)
            done[some] = True
            known = np.sort(worst[done])
            limit = max(_fair_db(known[0]), known[min(most, known.size) - 1])
        return _ranked(worst, price, most)


def _fair_db(nearest_db: float) -> float:
    """What is not far, where the nearest is so far."""
    return max(2.0 * nearest_db, 0.15)


def _ranked(worst_db: Float, price: Sequence[float] | Float, most: int) -> list[int]:
    order = np.argsort(worst_db, kind="stable")
    fair = order[worst_db[order] <= _fair_db(float(worst_db[order[0]]))]
    cheap = fair[np.lexsort((worst_db[fair], np.asarray(price)[fair]))][: most // 2]
    return list(dict.fromkeys([*order[:most].tolist(), *cheap.tolist()]))


def capacitor_choices(
    old: Capacitor,
    films: Sequence[StockItem],
    resistors: Sequence[StockItem],
    leg_resistors: Sequence[StockItem],
    omega: Float,
    sieve: Sieve,
) -> list[Choice]:
    """One or two capacitors in parallel, plain, with a series resistor, or with a lossy leg beside.

    resistors, leg_resistors : strong enough for the whole current, and for the whole voltage.
    """
    totals = _totals(films, old.farad)
    plain = [build(old.name, _shape(items), tuple((i,) for i in items), omega) for items in totals]
    out = sieve.best([c for c in plain if c.shape is Shape.SINGLE]) + sieve.best(
        [c for c in plain if c.shape is Shape.PAIR]
    )
    lossy = old.dissipation_factor > 0.002 or old.esr_ohm > 0.0
    if not lossy:
        return out
    small = [r for r in resistors if r.value <= _MOST_SERIES_OHM]
    singles = [items[0] for items in totals if len(items) == 1]
    out += sieve.best(
        [build(old.name, Shape.WITH_RESISTOR, ((c, r),), omega) for c, r in product(singles, thinned(small, 30))]
    )
    return out + _two_legs(old, films, resistors, leg_resistors, omega, sieve)


def _two_legs(
    old: Capacitor,
    films: Sequence[StockItem],
    resistors: Sequence[StockItem],
    leg_resistors: Sequence[StockItem],
    omega: Float,
    sieve: Sieve,
) -> list[Choice]:
    """C parallel to (C + R), the first with a small resistor or made of two: a loss angle that stays the same."""
    main = [c for c in films if 0.75 * old.farad <= c.value <= 1.02 * old.farad]
    low, high = (share * old.farad for share in _SMALL_LEG)
    side = [c for c in films if low <= c.value <= high]
    series = [None, *thinned([r for r in resistors if r.value <= 0.5], 6)]
    wide = thinned([r for r in leg_resistors if 5.0 <= r.value <= 1000.0], 48)
    mains: list[tuple[tuple[StockItem, ...], ...]] = [
        ((c,),) if r is None else ((c, r),) for c, r in product(thinned(main, 8), series)
    ]
    mains += [((c,), (d,)) for c, d in _thinned_pairs(films, old.farad)]
    sides = [
        (c, r)
        for c, r in product(thinned(side, 14), wide)
        if _SMALL_LEG_HZ[0] <= 1.0 / (2.0 * np.pi * c.value * r.value) <= _SMALL_LEG_HZ[1]
    ]
    if not mains or not sides:
        return []
    main_siemens = np.stack([_siemens(legs, omega) for legs in mains])
    side_siemens = np.stack([_siemens((leg,), omega) for leg in sides])
    main_price = np.array([sum(_cost(i) for leg in legs for i in leg) for legs in mains])
    side_price = np.array([sum(_cost(i) for i in leg) for leg in sides])
    price = np.add.outer(main_price, side_price).ravel()
    ranked = sieve.rank_parallel(main_siemens, side_siemens, price, _MOST_TWO_LEGS)
    pairs = [divmod(i, len(sides)) for i in ranked]
    return [build(old.name, Shape.TWO_LEGS, (*mains[i], sides[j]), omega) for i, j in pairs]


def _siemens(legs: Sequence[Sequence[StockItem]], omega: Float) -> Complex:
    """(n,) admittance of parallel legs."""
    return np.asarray(1.0 / legs_impedance_ohm([[new_part(item) for item in leg] for leg in legs], omega))


def coil_choices(
    old: Inductor, coils: Sequence[StockItem], resistors: Sequence[StockItem], omega: Float, sieve: Sieve
) -> list[Choice]:
    """One coil, plain or with the resistor that makes up for a lower DC resistance."""
    near = _nearest(coils, old.henry, 40)
    plain = [build(old.name, Shape.SINGLE, ((c,),), omega) for c in near]
    small = thinned([r for r in resistors if r.value <= max(2.0 * old.dcr_ohm, 0.2)], 24)
    made_up = [
        build(old.name, Shape.WITH_RESISTOR, ((c, r),), omega)
        for c, r in product(near, small)
        if (c.dcr_ohm or 0.0) + r.value <= 1.5 * old.dcr_ohm + 0.05
    ]
    return sieve.best(plain) + sieve.best(made_up)


def resistor_choices(old: Resistor, resistors: Sequence[StockItem], omega: Float, sieve: Sieve) -> list[Choice]:
    """One resistor, two in series or two in parallel."""
    near = _nearest(resistors, old.ohm, 10)
    out = [build(old.name, Shape.SINGLE, ((r,),), omega) for r in near]
    if old.ohm <= 0.0:
        return sieve.best(out)
    pairs: list[Choice] = []
    for how in ways(ItemKind.RESISTOR):
        for one, other in _near_pairs(resistors, old.ohm, how, 12):
            legs = ((one, other),) if how == "series" else ((one,), (other,))
            pairs.append(build(old.name, Shape.PAIR, legs, omega))
    return sieve.best(out, 6) + sieve.best(pairs, 6)


def nearest_single(old: Part, items: Sequence[StockItem], omega: Float) -> Choice | None:
    """The one item whose value is nearest by ratio; of equals the cheapest, of coils the one of least copper.

    None where nobody would take it for the old part.
    """
    value = value_of(old)
    near = [i for i in items if value / _STILL_LIKE <= i.value <= value * _STILL_LIKE]
    if not near or value <= 0:
        return None
    best = min(near, key=lambda i: (abs(np.log(i.value / value)), _cost(i), -(i.dcr_ohm or 0.0)))
    return build(old.name, Shape.SINGLE, ((best,),), omega)


def _cost(item: StockItem) -> float:
    return item.price if item.price is not None else 0.0


def _shape(items: tuple[StockItem, ...]) -> Shape:
    return Shape.SINGLE if len(items) == 1 else Shape.PAIR


def _nearest(items: Sequence[StockItem], value: float, most: int) -> list[StockItem]:
    """Items within reach of a value; where none is, the nearest of all."""
    if value <= 0:
        return [i for i in items if i.value == 0][:most]
    miss = {id(i): abs(float(np.log(i.value / value))) for i in items if i.value > 0}
    known = sorted((i for i in items if id(i) in miss), key=lambda i: (miss[id(i)], _cost(i)))
    near = [i for i in known if miss[id(i)] <= NEAR]
    if near:
        return near[:most]
    return [i for i in known if miss[id(i)] <= miss[id(known[0])] * (1 + 1e-9)] if known else []


def _totals(items: Sequence[StockItem], target: float) -> list[tuple[StockItem, ...]]:
    """Single items and parallel pairs whose total is near the target, the nearest first."""
    singles = _nearest(items, target, _MOST_TOTALS)
    # A pair whose second part is a splinter is a pair in name only.
    large = [i for i in items if i.value >= 0.05 * target]
    pairs: list[tuple[StockItem, ...]] = [(b, a) for a, b in _near_pairs(large, target, "parallel", 3 * _MOST_TOTALS)]
    return [(i,) for i in singles] + pairs


def _near_pairs(items: Sequence[StockItem], target: float, how: How, most: int) -> list[tuple[StockItem, StockItem]]:
    """Pairs of one kind, by rising value, that are near the target, the nearest first."""
    if not items:
        return []
    found = near_pairs(target, np.array([i.value for i in items]), how, items[0].kind, most)
    return [(items[i], items[j]) for miss, _, i, j in found if miss <= NEAR]


def _thinned_pairs(items: Sequence[StockItem], target: float) -> list[tuple[StockItem, StockItem]]:
    """Two capacitors for the large leg: totals a little below the target, one pair for each step of 2 %."""
    kept = thinned([i for i in items if 0.1 * target <= i.value <= target], _MOST_HALVES)
    pairs: dict[int, tuple[StockItem, StockItem]] = {}
    for at, one in enumerate(kept):
        for other in kept[at:]:
            total = (one.value + other.value) / target
            if 0.8 <= total <= 1.02:
                old = pairs.get(round(total * 50))
                if old is None or _cost(one) + _cost(other) < _cost(old[0]) + _cost(old[1]):
                    pairs[round(total * 50)] = (other, one)
    return list(pairs.values())
