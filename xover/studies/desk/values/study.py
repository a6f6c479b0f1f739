"""Which values that exist come near to the one that is wanted: alone, or two together."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

import numpy as np

from xover.errors import InputError
from xover.files.stock import RANGES
from xover.parts.pairs import Pair, best_pairs
from xover.parts.preferred import neighbours, series_name, series_values
from xover.parts.stock import Fit, Stock, Wanted
from xover.parts.stock_item import ItemKind, StockItem
from xover.quantity import Kind, format_quantity
from xover.readable import Readable

QUANTITY: Final[Mapping[ItemKind, Kind]] = MappingProxyType(
    {
        ItemKind.RESISTOR: Kind.RESISTANCE,
        ItemKind.INDUCTOR: Kind.INDUCTANCE,
        ItemKind.CAPACITOR: Kind.CAPACITANCE,
    }
)
SPAN: Final = 100.0
"""Partners from a series lie within this ratio of the target: a smaller share is below any tolerance."""
EXACT: Final = 1e-9
"""An error below this is that of the last digits of a float."""
# Of one value at most two lines of a list are looked at, so at most four pairs of lines are one pair of values.
_ALIKE: Final = 4


@dataclass(frozen=True)
class Choice:
    """One value that exists.

    Attributes
    ----------
    value : ohm, henry or farad. error : value over target, minus 1.
    tolerance : fraction, with worst_low and worst_high the ends that it gives; None where it is not known.
    item : the line of the stock list; None from a series.
    """

    value: float
    error: float
    tolerance: float | None = None
    item: StockItem | None = None

    def plain(self) -> dict[str, Any]:
        """The blueprint's keys, and what else is known."""
        t = self.tolerance
        ends = {} if t is None else {"worst_low": self.value * (1 - t), "worst_high": self.value * (1 + t)}
        item = {} if self.item is None else {"item": self.item}
        return {"value": self.value, "error": self.error, "tolerance": t, **ends, **item}


@dataclass(frozen=True)
class PairChoice:
    """Two values together, and the lines of the stock list where they come from one."""

    pair: Pair
    items: tuple[StockItem, StockItem] | None = None

    @property
    def price(self) -> float | None:
        """Of both parts; None where the list does not tell."""
        prices = [item.price for item in self.items or ()]
        return None if not prices or None in prices else math.fsum(p for p in prices if p is not None)

    def plain(self) -> dict[str, Any]:
        """The blueprint's keys, and what else is known."""
        pair = {k: v for k, v in vars(self.pair).items() if k != "at"}
        return pair if self.items is None else {**pair, "price": self.price, "items": self.items}


@dataclass(frozen=True, repr=False)
class ValuesStudy(Readable):
    """What comes nearest to a target.

    Attributes
    ----------
    series : of preferred numbers; None where a stock list is the source.
    below, above : nearest on either side; None where the list ends.
    max_error : the limit that the user set, a fraction; met : whether what was asked for keeps it.
    notes : sentences on what was left out, and on the limit.
    """

    target: float
    kind: ItemKind
    series: str | None
    stock: Path | None
    needed: int
    nearest: Choice
    below: Choice | None
    above: Choice | None
    pairs: tuple[PairChoice, ...]
    max_error: float | None
    met: bool | None
    notes: tuple[str, ...] = ()


def study_values(
    target: float,
    kind: ItemKind,
    series: str = "E12",
    *,
    tolerance: float | None = None,
    most: int = 5,
    max_error: float | None = None,
    with_pairs: bool = False,
) -> ValuesStudy:
    """Look a target up in a series of preferred numbers.

    Parameters
    ----------
    target : ohm, henry or farad.
    tolerance : of the parts, a fraction.
    most : pairs at most.
    max_error : limit on |value / target - 1|; tolerances come on top.
    with_pairs : whether a pair may keep the limit; else one value must.

    Raises
    ------
    OptionError
        No such series.
    """
    name = series_name(series)
    low, high = RANGES[kind.value]
    below, above = (Choice(v, v / target - 1, tolerance) for v in neighbours(target, name))
    values = series_values(name, max(low, target / SPAN), min(high, target * SPAN))
    found = best_pairs(target, values, kind, most=most, tolerance=tolerance)
    return _answer(
        ValuesStudy(
            target,
            kind,
            name,
            None,
            1,
            _nearer(below, above),
            below,
            above,
            tuple(map(PairChoice, found)),
            max_error,
            None,
        ),
        with_pairs,
    )


def study_stock(
    target: float,
    wanted: Wanted,
    stock: Stock,
    *,
    tolerance: float | None = None,
    most: int = 5,
    max_error: float | None = None,
    with_pairs: bool = False,
) -> ValuesStudy:
    """Look a target up in a stock list, and in nothing else.

    Parameters
    ----------
    wanted : kind, ratings and pieces. In a pair each part is held to the whole rating; a pair of one line's parts takes
        twice the pieces.
    tolerance : of parts whose line states none.

    Raises
    ------
    InputError
        No part fits; the remedy names the nearest that does not.
    """
    fits = stock.judged(wanted, Fit.YES)
    if not fits:
        raise _nothing(target, wanted, stock)
    items = _cheapest(fits, wanted.needed)
    choices = [_choice(target, item, tolerance) for item in items]
    below = max((c for c in choices if c.error <= 0), key=lambda c: c.value, default=None)
    above = min((c for c in choices if c.error >= 0), key=lambda c: c.value, default=None)
    found = best_pairs(
        target,
        [c.value for c in choices],
        wanted.kind,
        most=_ALIKE * most,
        tolerance=[c.tolerance for c in choices],
        single=[item.quantity is not None and item.quantity < 2 * wanted.needed for item in items],
    )
    nearest = _nearer(below, above)
    return _answer(
        ValuesStudy(
            target,
            wanted.kind,
            None,
            stock.path,
            wanted.needed,
            nearest,
            below,
            above,
            _distinct(found, items)[:most],
            max_error,
            None,
            _left_out(target, wanted, stock, nearest),
        ),
        with_pairs,
    )


def _answer(study: ValuesStudy, with_pairs: bool) -> ValuesStudy:
    """Hold the answer against the limit."""
    if study.max_error is None:
        return study
    met, note = _limit(study, study.max_error, with_pairs)
    return replace(study, met=met, notes=(*study.notes, note))


def _limit(study: ValuesStudy, limit: float, with_pairs: bool) -> tuple[bool, str]:
    # The last bit of a quotient must not break a limit that is met exactly.
    within = limit * (1 + 1e-9) + 1e-12
    quantity, words = QUANTITY[study.kind], f"{100 * limit:g} %"
    single = f"{format_quantity(study.nearest.value, quantity, 4)} ({_percent(study.nearest.error)})"
    if abs(study.nearest.error) <= within:
        return True, f"{single} is within {words}"
    source = study.series or "the list"
    start = f"no single value of {source} is within {words}, the nearest is {single}"
    if not study.pairs:
        return False, start
    pair = study.pairs[0].pair
    best = f"{pair_words(pair, study.kind)} ({_percent(pair.error)})"
    if abs(pair.error) > within:
        return False, f"{start}; no pair either, the nearest is {best}"
    return with_pairs, f"{start}; the pair {best} is" + ("" if with_pairs else ": ask for it by --pairs")


def pair_words(pair: Pair, kind: ItemKind) -> str:
    """Both values and how they are joined."""
    first, second = (format_quantity(v, QUANTITY[kind], 4) for v in pair.values)
    return f"{first} + {second} in {pair.how}"


def _percent(error: float) -> str:
    return "exact" if abs(error) < EXACT else f"{100 * error:+.2g} %"


def _nearer(below: Choice | None, above: Choice | None) -> Choice:
    """The nearer one by ratio, the lower of two that are as near."""
    if below is None or above is None:
        only = below or above
        assert only is not None
        return only
    return above if (1 + above.error) * (1 + below.error) < 1 else below


def _choice(target: float, item: StockItem, tolerance: float | None) -> Choice:
    return Choice(item.value, item.value / target - 1, tolerance if item.tolerance is None else item.tolerance, item)


def _cheapest(fits: Sequence[StockItem], needed: int) -> list[StockItem]:
    """Of each value the cheapest line, unpriced ones last; and the next where the first is no pair by itself."""
    by_value: dict[float, list[StockItem]] = {}
    for item in sorted(fits, key=lambda i: (math.inf if i.price is None else i.price, i.line or 0)):
        by_value.setdefault(item.value, []).append(item)
    return [
        item
        for alike in by_value.values()
        for item in alike[: 1 if alike[0].quantity is None or alike[0].quantity >= 2 * needed else 2]
    ]


def _distinct(found: Sequence[Pair], items: Sequence[StockItem]) -> tuple[PairChoice, ...]:
    """One pair for each two values and way, the cheapest."""
    kept: dict[tuple[tuple[float, float], str], PairChoice] = {}
    for pair in found:
        choice = PairChoice(pair, (items[pair.at[0]], items[pair.at[1]]))
        old = kept.setdefault((pair.values, pair.how), choice)
        if (choice.price or math.inf) < (old.price or math.inf):
            kept[pair.values, pair.how] = choice
    return tuple(kept.values())


def _distance(target: float, item: StockItem) -> float:
    return float(abs(np.log(item.value / target)))


def _left_out(target: float, wanted: Wanted, stock: Stock, nearest: Choice) -> tuple[str, ...]:
    """What is nearer than the answer, and may not be it."""
    notes = []
    for fit in (Fit.NOT_STATED, Fit.NOT_ENOUGH):
        nearer = [
            item
            for item in stock.judged(wanted, fit)
            if _distance(target, item) < _distance(target, StockItem(wanted.kind, nearest.value)) - 1e-12
        ]
        if nearer:
            notes.append(f"nearer, but left out: {_why(min(nearer, key=lambda i: _distance(target, i)), wanted, fit)}")
    return tuple(notes)


def _why(item: StockItem, wanted: Wanted, fit: Fit) -> str:
    """Name an item and the reason that it does not fit."""
    name = f"{format_quantity(item.value, QUANTITY[item.kind], 4)} on line {item.line}"
    if fit is Fit.NOT_ENOUGH:
        return f"{name}, of which {item.quantity} are at hand and {wanted.needed} wanted"
    words = (("dielectric", wanted.dielectric, item.dielectric), ("core", wanted.core, item.core))
    ratings = (("voltage", "V", wanted.least_volts, item.volts), ("power", "W", wanted.least_watts, item.watts))
    reasons = [f"its {word} is {told or 'not stated'}" for word, asked, told in words if asked not in (None, told)]
    for word, unit, least, rating in ratings:
        if least is not None and (rating is None or rating < least):
            reasons.append(f"its {word} rating is not stated" if rating is None else f"it is for {rating:g} {unit}")
    return f"{name}: {', '.join(reasons)}"


def _nothing(target: float, wanted: Wanted, stock: Stock) -> InputError:
    """Say that no part fits, and which comes nearest."""
    of_kind = [item for item in stock.items if item.kind is wanted.kind]
    if not of_kind:
        others = sorted({f"{item.kind.value}s" for item in stock.items})
        return InputError(f"the list holds no {wanted.kind}, only {' and '.join(others)}", "add some", stock.path)
    nearest = min(of_kind, key=lambda item: _distance(target, item))
    return InputError(
        f"no {wanted.kind} of the list fits what is asked for",
        f"ask for less, or add one; the nearest value is {_why(nearest, wanted, wanted.judge(nearest))}",
        stock.path,
    )
