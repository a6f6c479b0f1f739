"""A stock list: which parts fit what is asked for, and whether there are enough of them.

The bill of materials: what to buy for one speaker, and for the pair.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path

from xover.files.stock import QUANTITIES, ItemKind, StockItem, read_stock
from xover.quantity import QuantityKind, format_quantity
from xover.readable import Readable


class StockFit(StrEnum):
    """How a part stands to what is asked for."""

    YES = "fits"
    NOT_STATED = "rating not stated"
    NOT_ENOUGH = "not enough at hand"
    NO = "does not fit"


@dataclass(frozen=True)
class Wanted:
    """What is asked of a part; None: anything.

    Attributes
    ----------
    dielectric : "film" or "electrolytic". core : "air", "iron" or "ferrite".
    least_volts, least_watts : lowest rating that will do.
    needed : pieces.
    """

    kind: ItemKind
    dielectric: str | None = None
    core: str | None = None
    least_volts: float | None = None
    least_watts: float | None = None
    needed: int = 1

    def judge(self, item: StockItem) -> StockFit:
        """Say whether a part will do; what the list does not tell is never taken for granted."""
        same = ((self.dielectric, item.dielectric), (self.core, item.core))
        least = ((self.least_volts, item.volts), (self.least_watts, item.watts))
        if item.kind is not self.kind or any(None not in pair and pair[0] != pair[1] for pair in same):
            return StockFit.NO
        if any(limit is not None and rating is not None and rating < limit for limit, rating in least):
            return StockFit.NO
        if any(asked is not None and told is None for asked, told in (*same, *least)):
            return StockFit.NOT_STATED
        return StockFit.YES if item.quantity is None or item.quantity >= self.needed else StockFit.NOT_ENOUGH


@dataclass(frozen=True)
class Stock:
    """The parts of a list, in its order, and the file it came from."""

    items: tuple[StockItem, ...]
    path: Path | None = None

    def of(
        self,
        kind: ItemKind,
        *,
        dielectric: str | None = None,
        core: str | None = None,
        least_volts: float | None = None,
        least_watts: float | None = None,
        needed: int = 1,
    ) -> tuple[StockItem, ...]:
        """Every part that fits, in the order of the list. A part whose rating is not stated does not fit."""
        wanted = Wanted(kind, dielectric, core, least_volts, least_watts, needed)
        return self.judged(wanted, StockFit.YES)

    def judged(self, wanted: Wanted, fit: StockFit) -> tuple[StockItem, ...]:
        """Every part of the kind that stands so to what is asked, such as all whose rating is not stated."""
        return tuple(item for item in self.items if item.kind is wanted.kind and wanted.judge(item) is fit)


@dataclass(frozen=True)
class Shortage:
    """A part of which a bill needs more than there are."""

    item: StockItem
    needed: int
    at_hand: int


def open_stock(path: Path | str) -> Stock:
    """Read a stock list. Raises InputError with file and line, as xover.files.stock.read_stock."""
    return Stock(read_stock(path), Path(path))


def enough(chosen: Mapping[StockItem, int] | Iterable[StockItem], pairs: int = 2) -> list[Shortage]:
    """Say of which parts a whole bill uses more than there are; nothing where all is at hand.

    Parameters
    ----------
    chosen : the parts of one speaker; one that is used several times stands several times, or with its count.
    pairs : speakers that are built alike: 2 for a stereo pair.
    """
    return [
        Shortage(item, count * pairs, item.quantity)
        for item, count in Counter(chosen).items()
        if item.quantity is not None and count * pairs > item.quantity
    ]


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
    return _added_up(lines)


def joined(bill: Bill, more: Bill) -> Bill:
    """Both bills in one; what `more` has by a name takes the place of what the first has by it."""
    new = {name for line in more.lines for name in line.names}
    left = []
    for line in bill.lines:
        names = tuple(n for n in line.names if n not in new)
        if names:
            left.append(replace(line, names=names, quantity=len(names), quantity_for_pair=2 * len(names)))
    return _added_up((*left, *more.lines))


def _added_up(lines: tuple[BillLine, ...]) -> Bill:
    """With what they cost."""
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
        said.append(f"{format_quantity(item.dcr_ohm, QuantityKind.RESISTANCE, 2)} DCR")
    if item.tolerance is not None:
        said.append(f"{item.tolerance * 100:g} %")
    if item.volts is not None:
        said.append(f"{item.volts:g} V")
    if item.watts is not None:
        said.append(f"{item.watts:g} W")
    return ", ".join(said)
