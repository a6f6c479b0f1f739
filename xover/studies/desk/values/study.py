"""Which values that exist come near to the one that is wanted: alone, or two together."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from xover.declare import figure
from xover.errors import InputError, OptionError, named
from xover.files.stock import QUANTITIES, RANGES, ItemKind, StockItem
from xover.parts.preferred import Pair, best_pairs, neighbours, series_name, series_values
from xover.parts.stock import Stock, StockFit, Wanted
from xover.quantity import format_quantity, parse_quantity
from xover.readable import Readable
from xover.units import TEXT, YES

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
    notes : sentences on what was left out, and on the limit. wanted : of a list. paired : whether pairs were asked for.
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
    wanted: Wanted | None = figure("asked of a list", TEXT, None, default=None)
    paired: bool = figure("pairs asked for", YES, None, default=False)

    @property
    def kept(self) -> bool:
        """Whether no limit is broken."""
        return self.met is not False

    @property
    def warnings(self) -> tuple[str, ...]:
        """What a reader must know."""
        return self.notes


@dataclass(frozen=True)
class Limits:
    """What bounds an answer.

    Attributes
    ----------
    tolerance : fraction, of parts of a series, and of those whose line of a list states none. most : pairs at most.
    max_error : limit on |value / target - 1|; tolerances come on top. pairs : whether a pair may keep it; else one
        value must.
    """

    tolerance: float | None = None
    most: int = 5
    max_error: float | None = None
    pairs: bool = False


def parse_target(text: str, kind: str | None = None) -> tuple[float, ItemKind]:
    """The value in SI units, and what it is a value of: its unit tells, or `kind`, a word of `ItemKind` or "coil".

    Raises OptionError: no value, or one that no crossover has.
    """
    word = _unit(text) if kind is None else ItemKind.INDUCTOR if kind == "coil" else ItemKind(kind)
    quantity, (low, high) = QUANTITIES[word], RANGES[word]
    try:
        value = parse_quantity(text, quantity)
    except InputError as error:
        raise OptionError(error.problem, error.remedy) from None
    if not low <= value <= high:
        raise OptionError(
            f"'{text[:40]}' is not {quantity.a_word} of a crossover",
            f"give one from {format_quantity(low, quantity)} to {format_quantity(high, quantity)}",
        )
    return value, word


def _unit(text: str) -> ItemKind:
    """What the unit at the end of a value tells, or an R in the place of its decimal point."""
    if re.fullmatch(r"\d*[rR]\d+", text.strip()):
        return ItemKind.RESISTOR
    letters = re.split(r"[\d.,\s]", text.strip())[-1].lower()
    for word, quantity in QUANTITIES.items():
        if letters.endswith(quantity.spellings):
            return word
    raise OptionError(
        f"'{text[:40]}' has no unit of a part", f"add it, as in 4.73uF, 1.8mH or 6.8ohm, or give {named('kind')}"
    )


def check_wanted(wanted: Wanted, series: str | None, listed: bool) -> None:
    """Raises OptionError where something is asked that does not go with a series, a list or this kind of part."""
    for name, given, suits in (
        ("dielectric", wanted.dielectric, wanted.kind is ItemKind.CAPACITOR),
        ("core", wanted.core, wanted.kind is ItemKind.INDUCTOR),
    ):
        if given is not None and not suits:
            raise OptionError(f"{named(name)} does not belong to this kind of part", "leave it out")
    if listed and series is not None:
        raise OptionError(
            f"{named('series')} and {named('stock')} exclude each other", "with a list, its own values are offered"
        )
    if not listed and wanted != Wanted(wanted.kind):
        *names, last = map(named, ("needed", "least_v", "least_w", "dielectric", "core"))
        raise OptionError(f"{', '.join(names)} and {last} ask a list", f"name it by {named('stock')}")


def study_values(target: float, wanted: Wanted, series: str, limits: Limits) -> ValuesStudy:
    """Look a target (ohm, henry or farad) up in a series of preferred numbers. Raises OptionError: no such series."""
    kind, name = wanted.kind, series_name(series)
    low, high = RANGES[kind]
    below, above = (Choice(v, v / target - 1, limits.tolerance) for v in neighbours(target, name))
    values = series_values(name, max(low, target / SPAN), min(high, target * SPAN))
    found = best_pairs(target, values, kind, most=limits.most, tolerance=limits.tolerance)
    study = ValuesStudy(
        target=target,
        kind=kind,
        series=name,
        stock=None,
        needed=1,
        nearest=_nearer(below, above),
        below=below,
        above=above,
        pairs=tuple(map(PairChoice, found)),
        max_error=limits.max_error,
        met=None,
        paired=limits.pairs,
    )
    return _held(study, limits)


def study_stock(target: float, wanted: Wanted, stock: Stock, limits: Limits) -> ValuesStudy:
    """Look a target up in a stock list, and in nothing else.

    Parameters
    ----------
    wanted : kind, ratings and pieces. In a pair each part is held to the whole rating; a pair of one line's parts takes
        twice the pieces.

    Raises InputError: no part fits; the remedy names the nearest that does not.
    """
    fits = stock.judged(wanted, StockFit.YES)
    if not fits:
        raise _nothing(target, wanted, stock)
    items = _cheapest(fits, wanted.needed)
    choices = [_choice(target, item, limits.tolerance) for item in items]
    below = max((c for c in choices if c.error <= 0), key=lambda c: c.value, default=None)
    above = min((c for c in choices if c.error >= 0), key=lambda c: c.value, default=None)
    found = best_pairs(
        target,
        [c.value for c in choices],
        wanted.kind,
        most=_ALIKE * limits.most,
        tolerance=[c.tolerance for c in choices],
        single=[item.quantity is not None and item.quantity < 2 * wanted.needed for item in items],
    )
    nearest = _nearer(below, above)
    study = ValuesStudy(
        target=target,
        kind=wanted.kind,
        series=None,
        stock=stock.path,
        needed=wanted.needed,
        nearest=nearest,
        below=below,
        above=above,
        pairs=_distinct(found, items)[: limits.most],
        max_error=limits.max_error,
        met=None,
        notes=_left_out(target, wanted, stock, nearest),
        wanted=wanted,
        paired=limits.pairs,
    )
    return _held(study, limits)


def _held(study: ValuesStudy, limits: Limits) -> ValuesStudy:
    """Hold the answer against the limit."""
    if limits.max_error is None:
        return study
    met, note = _limit(study, limits.max_error, limits.pairs)
    return replace(study, met=met, notes=(*study.notes, note))


def _limit(study: ValuesStudy, limit: float, with_pairs: bool) -> tuple[bool, str]:
    # The last bit of a quotient must not break a limit that is met exactly.
    within = limit * (1 + 1e-9) + 1e-12
    quantity, words = QUANTITIES[study.kind], f"{100 * limit:g} %"
    single = f"{format_quantity(study.nearest.value, quantity, 4)} ({_percent(study.nearest.error)})"
    if abs(study.nearest.error) <= within:
        return True, f"{single} is within {words}"
    source = study.series or "the list"
    start = f"no single value of {source} is within {words}, the nearest is {single}"
    if not study.pairs:
        return False, start
    pair = study.pairs[0].pair
    first, second = (format_quantity(v, quantity, 4) for v in pair.values)
    best = f"{first} + {second} in {pair.how} ({_percent(pair.error)})"
    if abs(pair.error) > within:
        return False, f"{start}; no pair either, the nearest is {best}"
    return with_pairs, f"{start}; the pair {best} is" + ("" if with_pairs else ": ask for pairs")


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
    for fit in (StockFit.NOT_STATED, StockFit.NOT_ENOUGH):
        nearer = [
            item
            for item in stock.judged(wanted, fit)
            if _distance(target, item) < _distance(target, StockItem(wanted.kind, nearest.value)) - 1e-12
        ]
        if nearer:
            notes.append(f"nearer, but left out: {_why(min(nearer, key=lambda i: _distance(target, i)), wanted, fit)}")
    return tuple(notes)


def _why(item: StockItem, wanted: Wanted, fit: StockFit) -> str:
    """Name an item and the reason that it does not fit."""
    name = f"{format_quantity(item.value, QUANTITIES[item.kind], 4)} on line {item.line}"
    if fit is StockFit.NOT_ENOUGH:
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
