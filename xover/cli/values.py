"""xover values: the nearest values that exist, and pairs of them."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from xover.cli.complete import one_of, series_names
from xover.cli.options import Json, Strict
from xover.cli.show import db, show_heading, show_item, show_json, show_table, show_text, show_warnings
from xover.errors import InputError, OptionError
from xover.files.stock import CORES
from xover.quantity import Kind, format_quantity, parse_fraction, parse_quantity

if TYPE_CHECKING:
    from xover.parts.stock import Wanted
    from xover.studies.desk.values.study import Choice, PairChoice, ValuesStudy

MOST_PAIRS = 50
_DIELECTRICS = ("film", "electrolytic")


def values(
    target: Annotated[str, typer.Argument(metavar="TARGET", help="Value with its unit: 4.73uF, 1.8mH, 6.8ohm, 4R7.")],
    series: Annotated[
        str | None, typer.Option(metavar="NAME", help="E3 to E192 [default: E12].", autocompletion=series_names)
    ] = None,
    kind: Annotated[
        str | None,
        typer.Option(
            metavar="KIND",
            help="capacitor, resistor or inductor, where the unit does not tell.",
            autocompletion=one_of("capacitor", "resistor", "inductor"),
        ),
    ] = None,
    pairs: Annotated[bool, typer.Option("--pairs", help="Two parts together as well.")] = False,
    tolerance: Annotated[
        str | None, typer.Option(metavar="PERCENT", help="Of the parts, such as 5%, where the list does not tell.")
    ] = None,
    stock: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Price list or parts bin (.csv): nothing else is offered.")
    ] = None,
    needed: Annotated[int, typer.Option(metavar="N", help="Pieces of each: 2 for a pair of speakers.")] = 1,
    volts: Annotated[str | None, typer.Option(metavar="V", help="Lowest voltage rating, with --stock.")] = None,
    watts: Annotated[str | None, typer.Option(metavar="W", help="Lowest power rating, with --stock.")] = None,
    dielectric: Annotated[
        str | None,
        typer.Option(
            metavar="KIND", help="film or electrolytic, with --stock.", autocompletion=one_of("film", "electrolytic")
        ),
    ] = None,
    core: Annotated[
        str | None,
        typer.Option(
            metavar="KIND", help="air, iron or ferrite, with --stock.", autocompletion=one_of("air", "iron", "ferrite")
        ),
    ] = None,
    most: Annotated[int, typer.Option(metavar="N", help=f"Pairs to show, 1 to {MOST_PAIRS}.")] = 5,
    max_error: Annotated[
        str | None, typer.Option("--max-error", metavar="PERCENT", help="How far off it may be, such as 1%.")
    ] = None,
    strict: Strict = False,
    as_json: Json = False,
) -> int:
    """The nearest values that exist, alone or two together.

    Example: xover values 4.73uF --series E12 --pairs --tolerance 5%
    """
    from xover.parts.stock import Wanted, open_stock
    from xover.parts.stock_item import ItemKind
    from xover.studies.desk.values.study import study_stock, study_values
    from xover.studies.desk.values.target import parse_target

    value, word = parse_target(target, kind)
    part = ItemKind(word)
    each, limit = _percentage(tolerance, "--tolerance"), _percentage(max_error, "--max-error")
    if not 1 <= most <= MOST_PAIRS:
        raise OptionError(f"--most is {most}", f"give a number from 1 to {MOST_PAIRS}")
    if not 1 <= needed <= 10_000:
        raise OptionError(f"--needed is {needed}", "give a number from 1 to 10000")
    wanted = Wanted(
        part,
        _property(dielectric, _DIELECTRICS, "--dielectric", word == "capacitor"),
        _property(core, CORES, "--core", word == "inductor"),
        _rating(volts, Kind.VOLTAGE, "--volts"),
        _rating(watts, Kind.POWER, "--watts"),
        needed,
    )
    if stock is not None:
        if series is not None:
            raise OptionError("--series and --stock exclude each other", "with a list, its own values are offered")
        listed = open_stock(stock)
        study = study_stock(value, wanted, listed, tolerance=each, most=most, max_error=limit, with_pairs=pairs)
    else:
        if wanted != Wanted(part):
            raise OptionError("--needed, --volts, --watts, --dielectric and --core ask a list", "name it by --stock")
        name = "E12" if series is None else series
        study = study_values(value, part, name, tolerance=each, most=most, max_error=limit, with_pairs=pairs)
    if as_json:
        show_json(study)
    else:
        _show(study, wanted, pairs)
    return 1 if strict and study.met is False else 0


def _property(text: str | None, known: tuple[str, ...], option: str, suits: bool) -> str | None:
    """A property that only one kind of part has, or None where the option was not given."""
    if text is None:
        return None
    if not suits:
        raise OptionError(f"{option} does not belong to this kind of part", "leave it out")
    from xover.studies.desk.values.target import one_of

    return one_of(text, known, option)


def _percentage(text: str | None, option: str) -> float | None:
    if text is None:
        return None
    try:
        value = parse_fraction(text)
    except InputError as error:
        raise OptionError(f"{option}: {error.problem}", "write 5 % as 5% or 0.05") from None
    if not 0 <= value < 1:
        raise OptionError(f"{option} is {text[:40]}", "give 0 to below 100 %, writing 5 % as 5% or 0.05")
    return value


def _rating(text: str | None, kind: Kind, option: str) -> float | None:
    if text is None:
        return None
    try:
        value = parse_quantity(text, kind)
    except InputError as error:
        raise OptionError(f"{option}: {error.problem}", error.remedy) from None
    if not 0 < value < float("inf"):
        raise OptionError(f"{option} is {text[:40]}", "give a rating above 0")
    return value


def _show(study: ValuesStudy, wanted: Wanted, pairs: bool) -> None:
    from xover.studies.desk.values.study import QUANTITY

    quantity = QUANTITY[study.kind]
    source = f"preferred values of {study.series}" if study.series else f"what {study.stock} holds"
    show_heading(f"{format_quantity(study.target, quantity, 5)} {study.kind}: {source}")
    _show_singles(study, quantity)
    if pairs:
        _show_pairs(study, quantity)
    if study.stock is not None:
        typer.echo()
        show_text(
            "Of lines of one value the cheapest that fits is shown; prices are of one piece each." + _asked(wanted)
        )
    show_warnings(study.notes)


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


def _show_singles(study: ValuesStudy, quantity: Kind) -> None:
    rows = [
        [label, *_single(choice, quantity)]
        for label, choice in (("below", study.below), ("above", study.above), ("nearest", study.nearest))
        if choice is not None and (label == "nearest" or study.nearest.value != study.target)
    ]
    header = ["", "value", "error %", "low %", "high %", *(["price", "at hand", "line"] if study.stock else [])]
    show_table(*_without_empty(header, rows))
    if study.nearest.item is not None and study.nearest.item.maker_code:
        show_item("nearest is", study.nearest.item.maker_code, 10)


def _single(choice: Choice, quantity: Kind) -> list[str]:
    t, item = choice.tolerance, choice.item
    ends = ["", ""] if t is None else [_percent((1 + choice.error) * (1 + sign * t) - 1, 1) for sign in (-1, 1)]
    row = [format_quantity(choice.value, quantity, 4), _percent(choice.error), *ends]
    if item is None:
        return row
    at_hand = "any" if item.quantity is None else str(item.quantity)
    return [*row, "" if item.price is None else f"{item.price:.2f}", at_hand, str(item.line)]


def _show_pairs(study: ValuesStudy, quantity: Kind) -> None:
    show_heading("Two together")
    if not study.pairs:
        show_text("No pair can be made.")
        return
    header = ["values", "in", "value", "error %", "low %", "high %", "+- %", "share %", "price", "lines"]
    show_table(*_without_empty(header, [_pair(choice, study, quantity) for choice in study.pairs]))
    if any(math.isfinite(choice.pair.rss) for choice in study.pairs):
        show_text(
            "low, high: off the target with both parts at one end of their tolerance; +-: spread of the pair's value, "
            "the parts off independently. Below that an error is luck, unless you measure the parts."
        )
    if study.kind == "resistor":
        show_text("share: of the power, the first part's and the second's.")
    if study.kind == "inductor":
        show_text(
            "Two coils make these values only where they are not coupled: mount them well apart, one axis at a right "
            "angle to the other and aimed at its middle."
        )
    if study.kind == "capacitor" and any(choice.pair.how == "series" for choice in study.pairs):
        show_text(
            "share: of an alternating voltage, by 1/C: the smaller takes more. A steady voltage is shared by the "
            "leakage, which nobody marks."
        )


def _pair(choice: PairChoice, study: ValuesStudy, quantity: Kind) -> list[str]:
    pair = choice.pair
    known = math.isfinite(pair.rss)
    ends = [_percent(end / study.target - 1, 1) if known else "" for end in (pair.worst_low, pair.worst_high)]
    shared = study.kind == "resistor" or (study.kind == "capacitor" and pair.how == "series")
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
    from xover.studies.desk.values.study import EXACT

    return "0" if abs(error) < EXACT else db(100 * error, digits, True)


def _without_empty(header: list[str], rows: list[list[str]]) -> tuple[list[str], list[list[str]]]:
    """Leave out the columns that hold nothing."""
    kept = [i for i in range(len(header)) if i == 0 or any(row[i] for row in rows)]
    return [header[i] for i in kept], [[row[i] for i in kept] for row in rows]
