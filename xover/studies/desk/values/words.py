"""The nearest values in words: alone, two together, and what is to be known of pairs."""

from __future__ import annotations

import math
from collections.abc import Iterator

from xover.blocks import Block, Head, Table, Text, fact, plain_table
from xover.figures import db
from xover.files.stock import QUANTITIES, ItemKind
from xover.parts.stock import Wanted
from xover.quantity import QuantityKind, format_quantity
from xover.studies.desk.values.study import EXACT, Choice, PairChoice, ValuesStudy


def tell(study: ValuesStudy) -> Iterator[Block]:
    """Both neighbours, the nearest, and pairs where they were asked for."""
    quantity = QUANTITIES[study.kind]
    source = f"preferred values of {study.series}" if study.series else f"what {study.stock} holds"
    yield Head(f"{format_quantity(study.target, quantity, 5)} {study.kind}: {source}")
    rows = [
        [label, *_single(choice, quantity)]
        for label, choice in (("below", study.below), ("above", study.above), ("nearest", study.nearest))
        if choice is not None and (label == "nearest" or study.nearest.value != study.target)
    ]
    header = ["", "value", "error %", "low %", "high %", *(["price", "at hand", "line"] if study.stock else [])]
    yield _without_empty(header, rows)
    if study.nearest.item is not None and study.nearest.item.maker_code:
        yield fact("nearest is", study.nearest.item.maker_code, 10)
    if study.paired:
        yield from _pairs(study, quantity)
    if study.wanted is not None:
        words = "Of lines of one value the cheapest that fits is shown; prices are of one piece each."
        yield Text(words + _asked(study.wanted), apart=True)


def _asked(wanted: Wanted) -> str:
    asked = [
        f"{wanted.needed} of each" if wanted.needed > 1 else "",
        f"{wanted.least_volts:g} V or more" if wanted.least_volts is not None else "",
        f"{wanted.least_watts:g} W or more" if wanted.least_watts is not None else "",
        wanted.dielectric or "",
        f"{wanted.core} core" if wanted.core else "",
    ]
    words = ", ".join(filter(None, asked))
    return f" Asked for: {words}; in a pair each part is held to it." if words else ""


def _single(choice: Choice, quantity: QuantityKind) -> list[str]:
    t, item = choice.tolerance, choice.item
    ends = ["", ""] if t is None else [_percent((1 + choice.error) * (1 + sign * t) - 1, 1) for sign in (-1, 1)]
    row = [format_quantity(choice.value, quantity, 4), _percent(choice.error), *ends]
    if item is None:
        return row
    at_hand = "any" if item.quantity is None else str(item.quantity)
    return [*row, "" if item.price is None else f"{item.price:.2f}", at_hand, str(item.line)]


def _pairs(study: ValuesStudy, quantity: QuantityKind) -> Iterator[Block]:
    yield Head("Two together")
    if not study.pairs:
        yield Text("No pair can be made.")
        return
    header = ["values", "in", "value", "error %", "low %", "high %", "+- %", "share %", "price", "lines"]
    yield _without_empty(header, [_pair(choice, study, quantity) for choice in study.pairs])
    if any(math.isfinite(choice.pair.rss) for choice in study.pairs):
        yield Text(
            "low, high: off the target with both parts at one end of their tolerance; +-: spread of the pair's value, "
            "the parts off independently. Below that an error is luck, unless you measure the parts."
        )
    if study.kind is ItemKind.RESISTOR:
        yield Text("share: of the power, the first part's and the second's.")
    if study.kind is ItemKind.INDUCTOR:
        yield Text(
            "Two coils make these values only where they are not coupled: mount them well apart, one axis at a right "
            "angle to the other and aimed at its middle."
        )
    if study.kind is ItemKind.CAPACITOR and any(choice.pair.how == "series" for choice in study.pairs):
        yield Text(
            "share: of an alternating voltage, by 1/C: the smaller takes more. A steady voltage is shared by the "
            "leakage, which nobody marks."
        )


def _pair(choice: PairChoice, study: ValuesStudy, quantity: QuantityKind) -> list[str]:
    pair = choice.pair
    known = math.isfinite(pair.rss)
    ends = [_percent(end / study.target - 1, 1) if known else "" for end in (pair.worst_low, pair.worst_high)]
    shared = study.kind is ItemKind.RESISTOR or (study.kind is ItemKind.CAPACITOR and pair.how == "series")
    return [
        " + ".join(format_quantity(v, quantity, 4) for v in pair.values),
        pair.how,
        format_quantity(pair.value, quantity, 4),
        _percent(pair.error),
        *ends,
        f"{100 * pair.rss:.1f}" if known else "",
        f"{100 * pair.shares[0]:.0f}/{100 * pair.shares[1]:.0f}" if shared else "",
        "" if choice.price is None else f"{choice.price:.2f}",
        "" if choice.items is None else ", ".join(str(item.line) for item in choice.items),
    ]


def _percent(error: float, digits: int = 2) -> str:
    return "0" if abs(error) < EXACT else db(100 * error, digits, True)


def _without_empty(header: list[str], rows: list[list[str]]) -> Table:
    """Leave out the columns that hold nothing."""
    kept = [i for i in range(len(header)) if i == 0 or any(row[i] for row in rows)]
    return plain_table([header[i] for i in kept], [[row[i] for i in kept] for row in rows])
