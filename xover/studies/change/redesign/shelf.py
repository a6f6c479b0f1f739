"""The parts that each place may have in the end, and a design that is built of them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from xover.curve import Float
from xover.errors import OptionError, named
from xover.files.stock import ItemKind, StockItem
from xover.network import Capacitor, Inductor, Network, Part, Resistor, value_of
from xover.parts.catalogue import Catalogue
from xover.parts.kinds import FACTS, PartKind
from xover.search.descent import Chosen, Places
from xover.studies.change.redesign.design import Design, Topology, bounds
from xover.studies.change.redesign.goal import least_score, score
from xover.studies.change.refresh.choice import new_part
from xover.studies.change.refresh.places import Needed, strong_enough

# Without a stock list, coils are wound of this wire.
WIRE_MM: Final = 1.0
AS_FITTED: Final = "as fitted"
_LIGHTER: Final = 0.7
MOST_LISTED: Final = 100
"""Entries of one part's list: all pairs of two parts' entries are tried, at once."""


@dataclass(frozen=True, eq=False)
class PartList:
    """What one part may become; arrays (m,), rising in value.

    Attributes
    ----------
    losses : by suffix (`_dcr`, `_esr`, `_df`), what `solve` takes.
    price : NaN where the list has none.
    """

    name: str
    value: Float
    losses: Mapping[str, Float]
    price: Float
    items: tuple[StockItem, ...]

    def nearest(self, value: float) -> int:
        """Index of the item nearest in value; of equals the cheapest."""
        miss = np.abs(np.log(self.value / value))
        return int(np.lexsort((np.nan_to_num(self.price), miss))[0])

    def stronger(self, at: int) -> PartList | None:
        """Only what is rated for more than one of the items; None where nothing is."""
        rating = _rating(self.items[at])
        return self._only([i for i, x in enumerate(self.items) if x.maker_code != AS_FITTED and _rating(x) > rating])

    def lighter(self, at: int) -> PartList | None:
        """Only coils of clearly less resistance than one of the items; None where nothing is."""
        ohm = self.losses.get("_dcr", np.zeros(self.value.size))
        return self._only([i for i in range(self.value.size) if ohm[i] <= _LIGHTER * ohm[at] < ohm[at]])

    def _only(self, kept: list[int]) -> PartList | None:
        if not kept:
            return None
        losses: dict[str, Float] = {suffix: loss[kept] for suffix, loss in self.losses.items()}
        items = tuple(self.items[i] for i in kept)
        return replace(self, value=self.value[kept], losses=losses, price=self.price[kept], items=items)


def _rating(item: StockItem) -> float:
    """Volts of a capacitor, watts of a resistor: unstated it counts as enough, of what is fitted as too weak."""
    stated = item.volts if item.kind is ItemKind.CAPACITOR else item.watts
    if item.maker_code == AS_FITTED:
        return 0.0
    return math.inf if stated is None else stated


def part_lists(
    network: Network,
    names: tuple[str, ...],
    catalogue: Catalogue,
    needed: Mapping[str, Needed],
    largest_coil_h: float | None,
    wanted: Mapping[str, float] | None = None,
) -> dict[str, PartList]:
    """A list for each open part.

    wanted : values near which nothing is left out of a long list; None: the network's own.

    Raises
    ------
    OptionError : the list has no part for one of them; names it.
    """
    out = {}
    for name in names:
        part = network.part(name)
        items = _items(part, catalogue, largest_coil_h)
        low, high = (float(edge[0]) for edge in bounds([part]))
        fitting = [i for i in strong_enough(items, needed.get(name)) if low <= i.value <= high]
        kept = _few(_cheapest_of_each(fitting, part), (wanted or {}).get(name) or value_of(part))
        if not kept:
            raise OptionError(
                f"there is nothing for {name} in {catalogue.source}",
                f"add parts of its kind, ratings and size to the list, or leave {named('stock')} out",
            )
        out[name] = PartList(
            name,
            np.array([i.value for i in kept]),
            _losses(part, kept),
            np.array([math.nan if i.price is None else i.price for i in kept]),
            tuple(kept),
        )
    return out


def _items(part: Part, catalogue: Catalogue, largest_coil_h: float | None) -> tuple[StockItem, ...]:
    if isinstance(part, Capacitor):
        return catalogue.capacitors()
    if not isinstance(part, Inductor):
        return catalogue.resistors()
    items = catalogue.coils(part.henry, cores=True) if catalogue.stock is not None else catalogue.wound(WIRE_MM)
    return tuple(i for i in items if largest_coil_h is None or i.value <= largest_coil_h)


def _cheapest_of_each(items: list[StockItem], part: Part) -> list[StockItem]:
    """One item of each value; of coils one of each value and resistance."""
    best: dict[tuple[float, float], StockItem] = {}
    for item in items:
        key = (item.value, round(item.dcr_ohm or 0.0, 4) if isinstance(part, Inductor) else 0.0)
        old = best.get(key)
        if old is None or (item.price or 0.0, item.line or 0) < (old.price or 0.0, old.line or 0):
            best[key] = item
    return [best[key] for key in sorted(best)]


def _few(items: list[StockItem], wanted: float) -> list[StockItem]:
    """Of a long list, rising: half of what is kept lies nearest to a value, the rest is spread over all others.

    So a value is met as by the whole list, and one far off within the spacing of what is left there: 80 entries over
    three decades are 9 % apart.
    """
    if len(items) <= MOST_LISTED:
        return items
    miss = np.abs(np.log(np.array([i.value for i in items]) / wanted))
    order = np.argsort(miss, kind="stable")
    near, far = order[: MOST_LISTED // 2], np.sort(order[MOST_LISTED // 2 :])
    spread = far[np.linspace(0, far.size - 1, MOST_LISTED - near.size).round().astype(int)]
    return [items[i] for i in sorted({*near.tolist(), *spread.tolist()})]


def _losses(part: Part, items: list[StockItem]) -> dict[str, Float]:
    if isinstance(part, Inductor):
        return {"_dcr": np.array([i.dcr_ohm or 0.0 for i in items])}
    if not isinstance(part, Capacitor):
        return {}
    film = FACTS[PartKind.FILM].new_dissipation_factor or 0.0
    return {
        "_esr": np.array([i.esr_ohm or 0.0 for i in items]),
        "_df": np.array([film if i.dissipation_factor is None else i.dissipation_factor for i in items]),
    }


def fixed_item(part: Part, price: float | None = 0.0) -> StockItem:
    """The part that is there already, as an item: it costs nothing."""
    if isinstance(part, Capacitor):
        return StockItem(
            ItemKind.CAPACITOR,
            part.farad,
            price=price,
            esr_ohm=part.esr_ohm,
            dissipation_factor=part.dissipation_factor,
            maker_code=AS_FITTED,
        )
    if isinstance(part, Inductor):
        return StockItem(ItemKind.INDUCTOR, part.henry, price=price, dcr_ohm=part.dcr_ohm, maker_code=AS_FITTED)
    return StockItem(ItemKind.RESISTOR, part.ohm, price=price, maker_code=AS_FITTED)


def _with_fitted(listed: PartList, part: Part) -> PartList:
    item = fixed_item(part)
    fitted = {"_dcr": item.dcr_ohm, "_esr": item.esr_ohm, "_df": item.dissipation_factor}
    losses: dict[str, Float] = {s: np.append(loss, fitted[s] or 0.0) for s, loss in listed.losses.items()}
    return replace(
        listed,
        value=np.append(listed.value, value_of(part)),
        losses=losses,
        price=np.append(listed.price, 0.0),
        items=(*listed.items, item),
    )


@dataclass(frozen=True, eq=False)
class Shelf:
    """A design and the lists of its parts.

    Attributes
    ----------
    price_weight : merit for each unit of money.
    """

    design: Design
    lists: Mapping[str, PartList]
    price_weight: float = 0.0

    @property
    def sizes(self) -> dict[str, int]:
        """Entries of each list."""
        return {name: listed.value.size for name, listed in self.lists.items()}

    def with_fitted(self, present: Network) -> Shelf:
        """With what is fitted now as the last of each list; it costs nothing."""
        return replace(self, lists={n: _with_fitted(listed, present.part(n)) for n, listed in self.lists.items()})

    @property
    def fitted(self) -> dict[str, int]:
        """The last of each list."""
        return {name: size - 1 for name, size in self.sizes.items()}

    def network(self, index: Mapping[str, int]) -> Network:
        """The design with the chosen parts in it."""
        return replace(
            self.design.network,
            parts=tuple(self._fitted(p, index) if p.name in index else p for p in self.design.network.parts),
        )

    def _fitted(self, part: Part, index: Mapping[str, int]) -> Part:
        listed, at = self.lists[part.name], index[part.name]
        loss = {suffix: float(ohm[at]) for suffix, ohm in listed.losses.items()}
        item, value = listed.items[at], float(listed.value[at])
        fitted = part if item.maker_code == AS_FITTED else replace(new_part(item), name=part.name, a=part.a, b=part.b)
        if isinstance(fitted, Resistor):
            return replace(fitted, ohm=value)
        if isinstance(fitted, Inductor):
            return replace(fitted, henry=value, dcr_ohm=loss.get("_dcr", 0.0))
        return replace(fitted, farad=value, esr_ohm=loss.get("_esr", 0.0), dissipation_factor=loss.get("_df", 0.0))

    def price(self, index: Mapping[str, int]) -> float:
        """Of all parts that have a price."""
        return float(sum(np.nan_to_num(self.lists[n].price[i]) for n, i in index.items()))

    def merits(self, index: Mapping[str, int], varied: Mapping[str, Places], below: float = np.inf) -> Float:
        """(k,) merit of the chosen set with some parts exchanged.

        Parameters
        ----------
        varied : (k,) places in the lists of the parts exchanged.
        below : what does not get below this is told as infinite, once a part of its score shows it.
        """
        values: dict[str, Float] = {}
        price = np.full(next(iter(varied.values())).shape, self.price(index))
        for name, places in varied.items():
            listed = self.lists[name]
            values[name] = listed.value[places]
            for suffix, loss in listed.losses.items():
                if np.ptp(loss) > 0 or loss[0] != 0:
                    values[f"{name}{suffix}"] = loss[places]
            price = price + np.nan_to_num(listed.price[places]) - np.nan_to_num(listed.price[index[name]])
        variants = self.design.variants(self.network(index), values)
        cost = self.price_weight * price
        merit = np.full(cost.shape, np.inf)
        some = np.flatnonzero(least_score(self.design.goal, variants.drive) + cost < below)
        if some.size:
            merit[some] = score(self.design.goal, variants.drive[some], variants.load(some)) + cost[some]
        return merit


@dataclass(frozen=True, eq=False)
class Best:
    """A local optimum of one circuit: values (p,) of its open parts, and its score.

    Attributes
    ----------
    free : the design that was searched. design : the same with the corners that were found.
    """

    topology: Topology
    free: Design
    design: Design
    values: Float
    score: float

    @property
    def network(self) -> Network:
        """With those values."""
        return self.design.network_with(self.values)


@dataclass(frozen=True, eq=False)
class Answer:
    """The same in parts that exist."""

    best: Best
    shelf: Shelf
    chosen: Chosen

    @property
    def network(self) -> Network:
        return self.shelf.network(self.chosen.index)
