"""The bill of materials: what to buy for one speaker, and for the pair."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from xover.files.stock import QUANTITIES, ItemKind, StockItem
from xover.quantity import Kind, format_quantity
from xover.readable import Readable


@dataclass(frozen=True)
class BillLine:
    """One kind of part to buy.

    Attributes
    ----------
    names : the parts of the netlist that it becomes.
    what : in words, with value and ratings. value : SI.
    rating : volts of a capacitor, watts of a resistor; None where the list tells none, and for coils.
    quantity, quantity_for_pair : pieces for one speaker and for two alike.
    price : of one piece; None where the list has none.
    at_hand : pieces in the list; None: as many as wanted.
    line : in the stock list.
    """

    names: tuple[str, ...]
    kind: ItemKind
    value: float
    what: str
    rating: float | None
    quantity: int
    quantity_for_pair: int
    price: float | None
    maker_code: str
    at_hand: int | None
    line: int | None


@dataclass(frozen=True, repr=False)
class Bill(Readable):
    """All lines and what they cost; the cost counts only parts that have a price.

    Attributes
    ----------
    cost, cost_for_pair : None where nothing has a price.
    without_price : parts that the cost leaves out.
    """

    lines: tuple[BillLine, ...]
    cost: float | None
    cost_for_pair: float | None
    without_price: int


def make_bill(bought: Iterable[tuple[str, StockItem]]) -> Bill:
    """Gather the same items on one line.

    Parameters
    ----------
    bought : name in the netlist and item, one of each for every part of one speaker.
    """
    names: dict[StockItem, list[str]] = {}
    for name, item in bought:
        names.setdefault(item, []).append(name)
    lines = tuple(
        BillLine(
            tuple(used),
            item.kind,
            item.value,
            item_words(item),
            item.volts if item.kind is ItemKind.CAPACITOR else item.watts,
            len(used),
            2 * len(used),
            item.price,
            item.maker_code,
            item.quantity,
            item.line,
        )
        for item, used in sorted(names.items(), key=lambda pair: (list(ItemKind).index(pair[0].kind), pair[0].value))
    )
    priced = [line for line in lines if line.price is not None]
    cost = sum(line.quantity * (line.price or 0.0) for line in priced)
    if not priced and lines:
        return Bill(lines, None, None, len(lines))
    return Bill(lines, cost, 2.0 * cost, len(lines) - len(priced))


def item_words(item: StockItem) -> str:
    """An item as one asks for it in a shop."""
    said = [format_quantity(item.value, QUANTITIES[item.kind])]
    if item.kind is ItemKind.CAPACITOR:
        said.append(item.dielectric or "film")
    elif item.kind is ItemKind.INDUCTOR:
        said.append(f"{item.core or 'air'} core")
    if item.dcr_ohm is not None:
        said.append(f"{format_quantity(item.dcr_ohm, Kind.RESISTANCE, 2)} DCR")
    if item.tolerance is not None:
        said.append(f"{item.tolerance * 100:g} %")
    if item.volts is not None:
        said.append(f"{item.volts:g} V")
    if item.watts is not None:
        said.append(f"{item.watts:g} W")
    return ", ".join(said)
