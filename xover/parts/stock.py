"""A stock list: which parts fit what is asked for, and whether there are enough of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from xover.files.stock import ItemKind, StockItem, read_stock


class Fit(StrEnum):
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

    def judge(self, item: StockItem) -> Fit:
        """Say whether a part will do; what the list does not tell is never taken for granted."""
        same = ((self.dielectric, item.dielectric), (self.core, item.core))
        least = ((self.least_volts, item.volts), (self.least_watts, item.watts))
        if item.kind is not self.kind or any(None not in pair and pair[0] != pair[1] for pair in same):
            return Fit.NO
        if any(limit is not None and rating is not None and rating < limit for limit, rating in least):
            return Fit.NO
        if any(asked is not None and told is None for asked, told in (*same, *least)):
            return Fit.NOT_STATED
        return Fit.YES if item.quantity is None or item.quantity >= self.needed else Fit.NOT_ENOUGH


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
        return self.judged(wanted, Fit.YES)

    def judged(self, wanted: Wanted, fit: Fit) -> tuple[StockItem, ...]:
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
