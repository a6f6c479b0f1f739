"""Parts put back as the original has them."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from xover.files.stock import StockItem
from xover.judge.kinds import Fault
from xover.network import Capacitor, Inductor, Network, Part, Resistor, value_of
from xover.parts.catalogue import Catalogue

OF_PARTS: Final = (Fault.PART_SHORTED, Fault.PART_OPEN, Fault.PART_MISSING, Fault.LAMP_GONE)
"""Faults that a part mends."""


def with_part(network: Network, good: Part, design: Network) -> Network:
    """The network with a part as the design has it, in the place of what stands between its nodes and is not in it."""
    known = {p.name.lower() for p in design.parts}
    ends = {good.a, good.b}
    kept = [p for p in network.parts if p.name.lower() in known or {p.a, p.b} != ends]
    at = next((i for i, p in enumerate(kept) if p.name.lower() == good.name.lower()), len(kept))
    return replace(network, parts=(*kept[:at], good, *kept[at + 1 :]))


def nearest_item(part: Part, catalogue: Catalogue) -> tuple[StockItem, ...]:
    """The item on sale whose value is nearest to a part's, the cheapest of equals; empty for none, as for a lamp."""
    if isinstance(part, Resistor) and part.is_lamp:
        return ()
    if isinstance(part, Capacitor):
        items = catalogue.capacitors()
    else:
        items = catalogue.coils(part.henry, True) if isinstance(part, Inductor) else catalogue.resistors()
    known = [i for i in items if i.value > 0.0]
    key = min(known, key=lambda i: (abs(math.log(i.value / value_of(part))), i.price or 0.0), default=None)
    return () if key is None else (key,)
