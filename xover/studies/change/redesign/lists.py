"""The values that each part may take in the end: preferred values or the parts of a stock list."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from xover.curve import Float
from xover.errors import OptionError, named
from xover.network import Capacitor, Inductor, Network, Part
from xover.parts.catalogue import Catalogue
from xover.parts.kinds import FACTS, PartKind
from xover.parts.stock_item import ItemKind, StockItem
from xover.studies.change.redesign.design import bounds
from xover.studies.change.refresh.ratings import Needed, strong_enough

# Without a stock list, coils are wound of this wire.
WIRE_MM = 1.0
AS_FITTED = "as fitted"


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


def part_lists(
    network: Network,
    names: tuple[str, ...],
    catalogue: Catalogue,
    needed: Mapping[str, Needed],
    largest_coil_h: float | None,
) -> dict[str, PartList]:
    """A list for each open part.

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
        kept = _cheapest_of_each(fitting, part)
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
