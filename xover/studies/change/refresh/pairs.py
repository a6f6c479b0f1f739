"""Single pieces of a parts bin, sorted by their value into pairs: one for each speaker."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace

from xover.files.stock import StockItem
from xover.parts.catalogue import Catalogue
from xover.parts.stock import Stock
from xover.rules.likeness import MATCH

Pairs = Mapping[StockItem, tuple[StockItem, StockItem]]
"""What stands for a pair, of the mean value, and its two pieces."""


def in_pairs(catalogue: Catalogue) -> tuple[Catalogue, Pairs]:
    """The catalogue with pairs of single pieces whose values agree within 1 %, and which pieces those are.

    A bin whose pieces were measured has one line for each. A pair is as strong as the weaker piece; its price is the
    mean. Without a list there is nothing to sort.
    """
    if catalogue.stock is None:
        return catalogue, {}
    alike: dict[tuple[object, ...], list[StockItem]] = defaultdict(list)
    for item in catalogue.stock.items:
        if item.quantity == 1:
            alike[item.kind, item.dielectric, item.core].append(item)
    pairs: dict[StockItem, tuple[StockItem, StockItem]] = {}
    for items in alike.values():
        single: StockItem | None = None
        for item in sorted(items, key=lambda i: (i.value, i.line or 0)):
            if single is None or item.value > single.value * (1.0 + MATCH):
                single = item
            else:
                pairs[_pair(single, item)] = (single, item)
                single = None
    stock = Stock((*catalogue.stock.items, *pairs), catalogue.stock.path)
    return replace(catalogue, stock=stock), pairs


def _pair(one: StockItem, other: StockItem) -> StockItem:
    def known(name: str) -> list[float]:
        return [v for v in (getattr(one, name), getattr(other, name)) if v is not None]

    def mean(name: str) -> float | None:
        return sum(both) / 2.0 if len(both := known(name)) == 2 else None

    return replace(
        one,
        value=(one.value + other.value) / 2.0,
        tolerance=max(known("tolerance"), default=None),
        volts=min(both) if len(both := known("volts")) == 2 else None,
        watts=min(both) if len(both := known("watts")) == 2 else None,
        dcr_ohm=mean("dcr_ohm"),
        esr_ohm=mean("esr_ohm"),
        dissipation_factor=mean("dissipation_factor"),
        price=mean("price"),
        quantity=2,
    )
