"""A price list or parts bin as a CSV file: one part a line.

    kind,value,tolerance,price,watts,volts,dcr_ohm,esr_ohm,df,core,maker_code,quantity
    film,4.7uF,5%,5.10,,250,,0.008,0.0005,,film 4.7uF 250V,

Columns may come in any order; all but kind and value may be missing. The header tells the separator, comma or
semicolon; with semicolons, numbers may have a decimal comma. A line that begins with # is a comment.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from types import MappingProxyType
from typing import Final

from xover.errors import InputError, nearest_word
from xover.files.atomic import read_text
from xover.files.budget import MOST_STOCK_ROWS, STOCK_FILE
from xover.files.faults import combined
from xover.quantity import PART_RANGES, QuantityKind, format_quantity, parse_fraction, parse_quantity


class ItemKind(StrEnum):
    """What can be bought."""

    RESISTOR = "resistor"
    INDUCTOR = "inductor"
    CAPACITOR = "capacitor"


@dataclass(frozen=True)
class StockItem:
    """A part that exists; None where the list leaves a column empty.

    Attributes
    ----------
    value : ohm, henry or farad.
    tolerance, dissipation_factor : fractions, such as 0.05.
    price : of one piece, in the list's own money.
    dielectric : of a capacitor where its kind was given as that: "film" or "electrolytic".
    core : of a coil: "air", "iron", "ferrite".
    quantity : pieces at hand; None: as many as wanted.
    line : in the list, from 1.
    """

    kind: ItemKind
    value: float
    tolerance: float | None = None
    price: float | None = None
    watts: float | None = None
    volts: float | None = None
    dcr_ohm: float | None = None
    esr_ohm: float | None = None
    dissipation_factor: float | None = None
    core: str | None = None
    dielectric: str | None = None
    maker_code: str = ""
    quantity: int | None = None
    line: int | None = None


COLUMNS: Final = (
    "kind",
    "value",
    "tolerance",
    "price",
    "watts",
    "volts",
    "dcr_ohm",
    "esr_ohm",
    "df",
    "core",
    "maker_code",
    "quantity",
)
REQUIRED: Final = ("kind", "value")
CORES: Final = ("air", "iron", "ferrite")

# Word in the file: the part, and its dielectric where the word tells it.
KIND_WORDS: Final[Mapping[str, tuple[ItemKind, str | None]]] = MappingProxyType(
    {
        "resistor": (ItemKind.RESISTOR, None),
        "r": (ItemKind.RESISTOR, None),
        "inductor": (ItemKind.INDUCTOR, None),
        "coil": (ItemKind.INDUCTOR, None),
        "l": (ItemKind.INDUCTOR, None),
        "capacitor": (ItemKind.CAPACITOR, None),
        "c": (ItemKind.CAPACITOR, None),
        "film": (ItemKind.CAPACITOR, "film"),
        "electrolytic": (ItemKind.CAPACITOR, "electrolytic"),
    }
)
QUANTITIES: Final[Mapping[ItemKind, QuantityKind]] = MappingProxyType(
    {
        ItemKind.RESISTOR: QuantityKind.RESISTANCE,
        ItemKind.INDUCTOR: QuantityKind.INDUCTANCE,
        ItemKind.CAPACITOR: QuantityKind.CAPACITANCE,
    }
)
# The ranges of a netlist (the blueprint's), but no part of 0 ohm: a link is not bought as a value.
RANGES: Final[Mapping[ItemKind, tuple[float, float]]] = MappingProxyType(
    {word: (PART_RANGES[kind][0] or 1e-3, PART_RANGES[kind][1]) for word, kind in QUANTITIES.items()}
)
# The unit that a bare number most likely left out, for the remedy.
_USUAL_UNIT: Final = {
    ItemKind.RESISTOR: (1.0, "ohm"),
    ItemKind.INDUCTOR: (1e-3, "mH"),
    ItemKind.CAPACITOR: (1e-6, "uF"),
}
# Nobody stocks a crossover coil of this many henries: a bare number above it has lost its mH.
_LARGEST_BARE_HENRY: Final = 0.1
# A value here on a line of another kind means that the columns have slipped.
_OWN_COLUMNS: Final = {
    "dcr_ohm": ItemKind.INDUCTOR,
    "core": ItemKind.INDUCTOR,
    "esr_ohm": ItemKind.CAPACITOR,
    "df": ItemKind.CAPACITOR,
}
_BARE: Final = re.compile(r"[0-9.,\s]+")
_WHOLE: Final = re.compile(r"[0-9]{1,9}")


def read_stock(path: Path | str) -> tuple[StockItem, ...]:
    """Read a stock list in whatever common encoding it has.

    Raises InputError: with file and line, every faulty line at once: an unknown or missing column, a line of other
    length than the header, a value outside of the ranges of a netlist, a number that is none, no part at all.
    """
    return parse_stock(read_text(path, STOCK_FILE), Path(path))


def parse_stock(text: str, path: Path) -> tuple[StockItem, ...]:
    """Read the text of a stock list; `path` serves messages only."""
    rows: list[StockItem] = []
    faults: list[InputError] = []
    try:
        lines = _cells(text)
        first, header = next(lines, (0, []))
        columns = _columns(header, first)
        for count, (number, cells) in enumerate(lines):
            if count == MOST_STOCK_ROWS:
                remedy = "keep what you would buy"
                raise InputError(f"the list has more than {MOST_STOCK_ROWS} parts", remedy, line=number)
            try:
                rows.append(_row(dict(zip(columns, _fitted(cells, columns), strict=True)), number))
            except InputError as error:
                faults.append(error.at(path, number))
    except InputError as error:
        faults.append(error.at(path, None))
    if faults:
        raise combined(faults)
    if not rows:
        raise InputError("the list holds no part", "add a line such as film,4.7uF below the header", path)
    return tuple(rows)


def _cells(text: str) -> Iterator[tuple[int, list[str]]]:
    """Number and cells of every line that is neither empty nor a comment, the header first."""
    separator = ""
    for number, line in enumerate(text.split("\n"), start=1):
        if not line.strip() or line.lstrip(' "').startswith("#"):
            continue
        separator = separator or (";" if ";" in line else ",")
        try:
            cells = next(csv.reader([line], delimiter=separator, skipinitialspace=True, strict=True))
        except csv.Error:
            raise InputError(
                "has a quotation mark that does not pair up", "remove it, or double it", line=number
            ) from None
        cells = [cell.strip() for cell in cells]
        if any(cells):
            yield number, cells


def _columns(header: Sequence[str], line: int) -> list[str]:
    if not header:
        raise InputError("the list is empty", "begin it with the line " + ",".join(COLUMNS))
    names = [name.lower() for name in header]
    while not names[-1]:
        names.pop()
    for name in names:
        if name not in COLUMNS:
            near = nearest_word(name, COLUMNS)
            remedy = f"did you mean '{near}'?" if near else "the columns are " + ", ".join(COLUMNS)
            if "\t" in name:
                remedy = "separate the columns by commas or semicolons"
            raise InputError(f"has the unknown column '{name[:40]}'", remedy, line=line)
        if names.count(name) > 1:
            raise InputError(f"has the column '{name}' twice", "keep one of them", line=line)
    for name in REQUIRED:
        if name not in names:
            raise InputError(f"has no column '{name}'", "begin the list with " + ",".join(COLUMNS), line=line)
    return names


def _fitted(cells: list[str], columns: Sequence[str]) -> list[str]:
    """The cells of a line, empty ones behind the last column left off."""
    while len(cells) > len(columns) and not cells[-1]:
        cells = cells[:-1]
    if len(cells) != len(columns):
        raise InputError(
            f"has {len(cells)} cells where the header has {len(columns)}",
            "leave unknown cells empty but keep their separators; decimal commas need semicolons as separators",
        )
    return cells


def _row(cells: Mapping[str, str], line: int) -> StockItem:
    kind, dielectric = _kind(cells["kind"])
    for column, owner in _OWN_COLUMNS.items():
        if cells.get(column) and kind is not owner:
            a_kind = f"an {owner}" if owner[0] in "aeiou" else f"a {owner}"
            raise InputError(f"a {kind} has {column}", f"{column} belongs to {a_kind}; check the columns")
    return StockItem(
        kind=kind,
        value=_value(cells["value"], kind),
        tolerance=_fraction(cells, "tolerance", 1.0, "write 5 % as 5% or 0.05"),
        price=_number(cells, "price", QuantityKind.PLAIN, least_included=True),
        watts=_number(cells, "watts", QuantityKind.POWER),
        volts=_number(cells, "volts", QuantityKind.VOLTAGE),
        dcr_ohm=_number(cells, "dcr_ohm", QuantityKind.RESISTANCE, least_included=True),
        esr_ohm=_number(cells, "esr_ohm", QuantityKind.RESISTANCE, least_included=True),
        dissipation_factor=_fraction(cells, "df", 2.0, "write 6 % as 6% or 0.06"),
        core=_core(cells.get("core", "")),
        dielectric=dielectric,
        maker_code=cells.get("maker_code", ""),
        quantity=_quantity(cells.get("quantity", "")),
        line=line,
    )


def _kind(text: str) -> tuple[ItemKind, str | None]:
    found = KIND_WORDS.get(text.lower())
    if found is None:
        near = nearest_word(text, KIND_WORDS) if len(text) > 1 else None
        raise InputError(
            f"the kind is '{text[:40]}'" if text else "the kind is empty",
            f"did you mean {near}?" if near else "write resistor, coil, capacitor, film or electrolytic",
        )
    return found


def _value(text: str, kind: ItemKind) -> float:
    quantity, (low, high) = QUANTITIES[kind], RANGES[kind]
    value = _parsed("value", text, quantity)
    bare = _BARE.fullmatch(text) is not None
    if low <= value <= high and not (bare and kind is ItemKind.INDUCTOR and value >= _LARGEST_BARE_HENRY):
        return value
    scale, unit = _USUAL_UNIT[kind]
    if bare and low <= value * scale <= high:
        remedy = f"write {text}{unit} if that is meant"
    else:
        remedy = f"it must lie from {format_quantity(low, quantity)} to {format_quantity(high, quantity)}"
    shown = f"{value:g} {quantity.unit}" if bare else text[:40]
    raise InputError(f"a {quantity.word} of {shown} is in no crossover", remedy)


def _parsed(column: str, text: str, kind: QuantityKind) -> float:
    try:
        value = parse_quantity(text, kind)
    except InputError as error:
        raise InputError(f"{column}: {error.problem}", error.remedy) from None
    if not math.isfinite(value):
        raise InputError(f"{column}: '{text[:40]}' is too large for a number", "correct it")
    return value


def _number(cells: Mapping[str, str], column: str, kind: QuantityKind, least_included: bool = False) -> float | None:
    """A cell's number, which is above zero, or zero too where `least_included`."""
    text = cells.get(column, "")
    if not text:
        return None
    value = _parsed(column, text, kind)
    if value < 0 or (value == 0 and not least_included):
        limit = "zero or more" if least_included else "above zero"
        raise InputError(f"{column} is {text[:40]}", f"it is {limit}; leave the cell empty where it is not known")
    return value


def _fraction(cells: Mapping[str, str], column: str, highest: float, remedy: str) -> float | None:
    text = cells.get(column, "")
    if not text:
        return None
    try:
        value = parse_fraction(text.lstrip("±"))
    except InputError as error:
        raise InputError(f"{column}: {error.problem}", remedy) from None
    if not 0 <= value <= highest:
        raise InputError(f"{column} is {text[:40]}, outside 0 to {100 * highest:g} %", remedy)
    return value


def _core(text: str) -> str | None:
    low = text.lower()
    if low and low not in CORES:
        near = nearest_word(low, CORES)
        raise InputError(f"core is '{text[:40]}'", f"did you mean {near}?" if near else "write " + ", ".join(CORES))
    return low or None


def _quantity(text: str) -> int | None:
    if not text:
        return None
    if not _WHOLE.fullmatch(text):
        raise InputError(
            f"quantity is {text[:40]}", "write a whole number of pieces, or leave it empty for as many as wanted"
        )
    return int(text)
