"""Results in few words: what a shell or a notebook shows of an object that holds thousands of numbers."""

from __future__ import annotations

import dataclasses
import html
import math
from collections.abc import Mapping, Sequence, Set
from enum import Enum
from typing import Any, Final

import numpy as np

from xover.declare import figure
from xover.quantity import QuantityKind, format_quantity
from xover.units import TEXT

MOST_ROWS: Final = 12
MOST_FIGURES: Final = 3
MOST_LETTERS: Final = 96
MOST_NAMES: Final = 8
# A text behind one of these is the answer of a result, or begins it.
_ANSWERS: Final = ("headline", "answer", "verdict", "conclusion", "sentence")
_NAMES: Final = ("title", "name")
_KINDS: Final = {
    "ohm": QuantityKind.RESISTANCE,
    "hz": QuantityKind.FREQUENCY,
    "f": QuantityKind.CAPACITANCE,
    "h": QuantityKind.INDUCTANCE,
    "v": QuantityKind.VOLTAGE,
    "w": QuantityKind.POWER,
    "m": QuantityKind.LENGTH,
}
_UNITS: Final = {
    "db": "dB",
    "deg": "degrees",
    "s": "s",
    "a": "A",
    "kg": "kg",
    "mm": "mm",
    "k": "K",
}


class Readable:
    """Base of results: a short `repr` in a shell, a small table in a notebook. It has no fields of its own.

    Written as `@dataclass(frozen=True, repr=False) class Result(Readable)`: a dataclass would write its own repr over
    this one. What comes from a file appears as text only.
    """

    __slots__ = ()

    def __repr__(self) -> str:
        head, rows = _told(self)
        width = max((len(name) for name, _ in rows), default=0)
        return "\n".join([_cut(head), *(f"  {name:<{width}}  {_cut(words)}" for name, words in rows)])

    def _repr_html_(self) -> str:
        head, rows = _told(self)
        lines = [
            f"<tr><th style='text-align:left'>{_escaped(name)}</th>"
            f"<td style='text-align:left'>{_escaped(words)}</td></tr>"
            for name, words in rows
        ]
        return f"<table><caption style='text-align:left'>{_escaped(head)}</caption>{''.join(lines)}</table>"


@dataclasses.dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Warned(Readable):
    """A result that reads one network, with what forbids to switch that on: each face tells it above the answer.

    Attributes
    ----------
    unsafe : findings of the judge, `stops` in JSON; empty where there are none, or `judge.safety.warned` was not asked.
    """

    unsafe: tuple[Any, ...] = figure("what forbids switching on", TEXT, "stops", default=(), repr=False)


def _told(result: object) -> tuple[str, list[tuple[str, str]]]:
    """The heading, and a few rows of attribute and words.

    Answers come first, then figures, then what has attributes of its own; last, by name alone, what there was no room
    for and what is empty.
    """
    values = {f.name: getattr(result, f.name) for f in dataclasses.fields(result) if f.repr}  # type: ignore[arg-type]
    answers = {name: text for name in _ANSWERS if isinstance(text := getattr(result, name, None), str) and text}
    title = _name_of(result)
    values = {n: v for n, v in values.items() if n not in answers and not (n in _NAMES and v == title)}
    full = {name: value for name, value in values.items() if not _is_empty(value)}
    ranked = sorted(full, key=lambda name: _rank(full[name]))
    rows = [*answers.items(), *((name, _words(full[name], _unit(name))) for name in ranked)]
    more = [name for name, _ in rows[MOST_ROWS:]]
    listed = {"and": more, "none": [name for name in values if name not in full]}
    rows = rows[:MOST_ROWS] + [(name, ", ".join(names)) for name, names in listed.items() if names]
    return type(result).__name__ + (f": {title}" if title else ""), rows


def _is_plain(value: object) -> bool:
    return isinstance(value, str | bool | int | float | Enum | np.generic)


def _is_empty(value: object) -> bool:
    return value is None or (isinstance(value, str | Mapping | Sequence | Set) and not value)


def _is_result(value: object) -> bool:
    return dataclasses.is_dataclass(value) and not isinstance(value, type)


def _rank(value: object) -> int:
    """Plain figures and words, other results, arrays, then what is listed."""
    if _is_plain(value):
        return 1 if isinstance(value, str) and "\n" in value else 0
    if _is_result(value):
        return 2
    return 3 if isinstance(value, np.ndarray) else 4


def _unit(name: str) -> str:
    """The unit that ends a field's name."""
    if name.endswith("_db_per_octave"):
        return "dB per octave"
    stem, _, unit = name.rpartition("_")
    return unit if stem and (unit in _KINDS or unit in _UNITS) else ""


def _words(value: object, unit: str) -> str:
    if isinstance(value, Enum):
        return str(value.value)
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, int | float | np.integer | np.floating):
        return _number(float(value), unit)
    if isinstance(value, complex | np.complexfloating):
        return f"{complex(value):.4g} {_UNITS.get(unit, unit)}".rstrip()
    if isinstance(value, str):
        return value if "\n" not in value.strip() else f"{len(value.splitlines())} lines of text"
    if isinstance(value, np.ndarray):
        return _array(value, unit)
    if isinstance(value, Mapping):
        return _mapping(value, unit)
    if isinstance(value, Sequence | Set):
        return _several(list(value), unit)
    return _inside(value) if _is_result(value) else str(value)


def _number(value: float, unit: str) -> str:
    if math.isnan(value):
        return "not known"
    if unit in _KINDS and math.isfinite(value):
        return format_quantity(value, _KINDS[unit])
    return f"{value:.4g} {_UNITS.get(unit, unit)}".rstrip()


def _array(value: np.ndarray[Any, Any], unit: str) -> str:
    """How many values, from the lowest to the highest that is known."""
    count = " x ".join(str(n) for n in value.shape)
    if value.dtype.kind not in "fiuc":
        return f"{count} values"
    if value.dtype.kind == "c":
        value = np.abs(value)
        count += " complex"
    known = value[np.isfinite(value)]
    if not known.size:
        return f"{count} values, none known"
    gaps = value.size - known.size
    said = f", {gaps} not known" if gaps else ""
    return f"{count} values from {_number(float(known.min()), unit)} to {_number(float(known.max()), unit)}{said}"


def _mapping(value: Mapping[Any, Any], unit: str) -> str:
    if all(_is_plain(v) for v in value.values()):
        return _listed([f"{_words(k, '')} {_words(v, unit)}" for k, v in value.items()])
    first = next(iter(value.values()))
    each = f": {first.size} values each" if isinstance(first, np.ndarray) else ""
    return _listed([_words(k, "") for k in value]) + each


def _several(value: list[Any], unit: str) -> str:
    if all(isinstance(v, str) and not isinstance(v, Enum) for v in value):
        return value[0] if len(value) == 1 else f"{len(value)}: {_listed(value)}"
    if all(_is_plain(v) for v in value):
        return _listed([_words(v, unit) for v in value])
    kinds = {type(v).__name__ for v in value}
    kind = " or ".join(sorted(kinds)[:3])
    names = [n for v in value if (n := _name_of(v) or str(getattr(v, "key", "")))]
    return f"{len(value)} {kind}" + (f": {_listed(names)}" if names else "")


def _listed(words: list[str]) -> str:
    more = len(words) - MOST_NAMES
    return ", ".join(words[:MOST_NAMES]) + (f" and {more} more" if more > 0 else "")


def _inside(value: object) -> str:
    """Another result: its kind, what it is called, and its first figures."""
    title = _name_of(value)
    inner = {f.name: getattr(value, f.name) for f in dataclasses.fields(value) if f.repr}  # type: ignore[arg-type]
    plain = [n for n, v in inner.items() if _is_plain(v) and v not in ("", title)][:MOST_FIGURES]
    figures = ", ".join(f"{name} {_words(inner[name], _unit(name))}" for name in plain)
    return f"{type(value).__name__} {title}".rstrip() + (f": {figures}" if figures else "")


def _name_of(value: object) -> str:
    return next((n for a in _NAMES if isinstance(n := getattr(value, a, None), str) and n), "")


def _cut(text: str) -> str:
    """One line that fits on a screen; control characters must not reach the terminal."""
    flat = " ".join("".join(c if c.isprintable() else " " for c in text[: 4 * MOST_LETTERS]).split())
    return flat if len(flat) <= MOST_LETTERS else flat[: MOST_LETTERS - 3].rstrip() + "..."


def _escaped(text: str) -> str:
    return html.escape(_cut(text))
