"""What new parts can be had: from a stock list alone, or from preferred values and coils wound to measure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from xover.files.stock import ItemKind, StockItem
from xover.parts.coil_design import dcr_of_air_coil
from xover.parts.kinds import FACTS, PartKind
from xover.parts.preferred import series_values
from xover.parts.stock import Stock
from xover.parts.wire import USUAL_MM

CAPACITOR_SERIES: Final = "E12"
RESISTOR_SERIES: Final = "E24"
# What crossovers are built of.
_FARAD: Final = (0.1e-6, 330e-6)
_OHM: Final = (0.1, 1000.0)
_HENRY: Final = (0.05e-3, 15e-3)
# Wires that a person winds a coil with by hand.
_WIRES_M: Final = tuple(d * 1e-3 for d in USUAL_MM if 0.5 <= d <= 2.0)
# No film capacitor loses more.
_FILM_DF: Final = 0.02


@dataclass(frozen=True)
class Catalogue:
    """New parts to choose from.

    Attributes
    ----------
    stock : the only source where it is given; else values come from `capacitor_series` and `resistor_series`, and
        coils are wound to the inductance wanted.
    needed : pieces of a part that must be at hand: two for a pair.
    electrolytics : whether new electrolytics of a list may be taken: they lose what the old ones lost when new, and
        they age.
    """

    stock: Stock | None = None
    capacitor_series: str = CAPACITOR_SERIES
    resistor_series: str = RESISTOR_SERIES
    needed: int = 2
    electrolytics: bool = False

    @property
    def source(self) -> str:
        """Where the parts come from, in words."""
        if self.stock is not None:
            path = self.stock.path  # its folder is nobody else's business
            return f"the list {path.name}" if path is not None else "the list"
        return f"capacitors of {self.capacitor_series}, resistors of {self.resistor_series}, coils wound to measure"

    @property
    def priced(self) -> bool:
        """Whether every part has a price, so that costs can be compared."""
        return self.stock is not None and all(item.price is not None for item in self.stock.items)

    def capacitors(self) -> tuple[StockItem, ...]:
        """Capacitors, by rising value. Those of a list that tell neither dielectric nor df are taken for film."""
        if self.stock is None:
            return _preferred(ItemKind.CAPACITOR, self.capacitor_series)
        items = self._of(ItemKind.CAPACITOR)
        if self.electrolytics:
            return items
        return tuple(i for i in items if i.dielectric != "electrolytic" and _loses_little(i))

    def resistors(self) -> tuple[StockItem, ...]:
        """Resistors, by rising value."""
        if self.stock is None:
            return _preferred(ItemKind.RESISTOR, self.resistor_series)
        return self._of(ItemKind.RESISTOR)

    def coils(self, inductance_h: float, cores: bool = False) -> tuple[StockItem, ...]:
        """Coils with a known DC resistance: those of the list, or one to wind of each usual wire.

        cores : whether coils with a core may be among those of a list.
        """
        if self.stock is None:
            return _wound(inductance_h)
        return tuple(
            i
            for i in self._of(ItemKind.INDUCTOR)
            if i.dcr_ohm is not None and (cores or (i.core or "air").lower() == "air")
        )

    def wound(self, wire_mm: float, series: str = "E12") -> tuple[StockItem, ...]:
        """Air coils of preferred inductances, all of one wire."""
        return _wound_series(wire_mm, series)

    def _of(self, kind: ItemKind) -> tuple[StockItem, ...]:
        assert self.stock is not None
        at_hand = (i for i in self.stock.items if i.kind is kind and (i.quantity is None or i.quantity >= self.needed))
        return tuple(sorted(at_hand, key=lambda i: (i.value, i.price or 0.0, i.line or 0)))


def _loses_little(item: StockItem) -> bool:
    return item.dissipation_factor is None or item.dissipation_factor <= _FILM_DF


@lru_cache
def _preferred(kind: ItemKind, series: str) -> tuple[StockItem, ...]:
    if kind is ItemKind.RESISTOR:
        facts = FACTS[PartKind.RESISTOR]
        return tuple(
            StockItem(kind, float(v), tolerance=facts.tolerance, maker_code=f"{series} resistor")
            for v in series_values(series, *_OHM)
        )
    facts = FACTS[PartKind.FILM]
    return tuple(
        StockItem(
            kind,
            float(v),
            tolerance=facts.tolerance,
            dissipation_factor=facts.new_dissipation_factor,
            dielectric="film",
            maker_code=f"{series} film capacitor",
        )
        for v in series_values(series, *_FARAD)
    )


@lru_cache
def _wound_series(wire_mm: float, series: str) -> tuple[StockItem, ...]:
    return tuple(
        StockItem(
            ItemKind.INDUCTOR,
            float(henry),
            tolerance=FACTS[PartKind.AIR_COIL].tolerance,
            dcr_ohm=dcr_of_air_coil(float(henry), wire_mm * 1e-3),
            core="air",
            maker_code=f"air coil, wound of {wire_mm:g} mm wire",
        )
        for henry in series_values(series, *_HENRY)
    )


@lru_cache
def _wound(inductance_h: float) -> tuple[StockItem, ...]:
    return tuple(
        StockItem(
            ItemKind.INDUCTOR,
            inductance_h,
            tolerance=0.01,
            dcr_ohm=dcr_of_air_coil(inductance_h, d),
            core="air",
            maker_code=f"air coil, wound of {d * 1e3:g} mm wire",
        )
        for d in _WIRES_M
    )


def thinned(items: Sequence[StockItem], most: int) -> list[StockItem]:
    """At most so many, one of each value (the cheapest), spread evenly."""
    cheapest: dict[float, StockItem] = {}
    for item in items:
        held = cheapest.get(item.value)
        if held is None or (item.price or 0.0) < (held.price or 0.0):
            cheapest[item.value] = item
    kept = list(cheapest.values())
    return kept if len(kept) <= most else [kept[round(i)] for i in np.linspace(0, len(kept) - 1, most)]
