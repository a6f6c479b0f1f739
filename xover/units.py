"""One reader for each kind of quantity that a person types: the same spellings and the same refusals everywhere."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

from xover.declare import Unit
from xover.errors import InputError, nearest_word
from xover.quantity import RANGES, QuantityKind, parse_fraction, parse_quantity

_BETWEEN: Final = re.compile(r"\.\.|[:\u2013]|(?<![eE])-")
"""With an en dash too, as word processors write it."""
_LENGTH: Final = re.compile(r"([0-9]{1,9}(?:[.,][0-9]{1,9})?|\.[0-9]{1,9})\s*(mm|cm|m|in|inch|inches|)")
_WHOLE: Final = re.compile(r"[+-]?[0-9]{1,19}")
_METRES: Final = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": 0.0254, "inch": 0.0254, "inches": 0.0254}


def _shown(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."


def _number(text: str, example: str = "0.05", *spellings: str) -> float:
    """A number, with or without its unit behind it."""
    bare = text.strip()
    for spelling in spellings:
        if bare.lower().endswith(spelling):
            bare = bare[: -len(spelling)].rstrip()
            break
    try:
        return parse_quantity(bare, QuantityKind.PLAIN)
    except InputError as error:
        raise InputError(error.problem, f"write a number such as {example}") from None


def _of(kind: QuantityKind, metavar: str, unit: str = "") -> Unit:
    least, most = RANGES[kind]
    return Unit(metavar, lambda text: parse_quantity(text, kind), _general, unit or kind.unit, least=least, most=most)


def _hertz(text: str) -> float:
    value = parse_quantity(text, QuantityKind.FREQUENCY)
    if value <= 0:
        raise InputError(f"'{_shown(text)}' is no frequency", "give one from 0.1 to 1000000 Hz")
    return value


def _band(text: str) -> tuple[float, float]:
    """Two rising frequencies: 200:18k, 200..18k or 200-18k."""
    written = text.strip()
    between = _BETWEEN.search(written, 1)
    first, second = (written[: between.start()], written[between.end() :]) if between else (written, "")
    if not second or ":" in second or "\u2013" in second:
        raise InputError(f"'{_shown(text)}' is no band", "write two frequencies, such as 200..18k")
    low, high = _hertz(first), _hertz(second)
    if not low < high:
        raise InputError(f"'{_shown(text)}' does not rise", "write the lower frequency first")
    return low, high


def _count(text: str) -> int:
    if not _WHOLE.fullmatch(text.strip()):
        raise InputError(f"'{_shown(text)}' is no whole number", "write it in digits, such as 4")
    return int(text)


def metres(text: str, what: str, remedy: str) -> float:
    """A length with its unit, such as "25mm", "2,5 cm" or "1in"; `what` names it in the refusal. Raises InputError."""
    found = _LENGTH.fullmatch(text.strip().lower())
    if found is None:
        raise InputError(f"'{_shown(text)}' is not {what}", remedy)
    if not found[2]:
        bare = _shown(text).strip()
        raise InputError(f"'{_shown(text)}' is {what} without a unit", f"write {bare}mm, {bare}cm or {bare}m")
    # Divided, not multiplied: 25 mm is then 0.025 to the last bit.
    number = float(found[1].replace(",", "."))
    return number / round(1 / _METRES[found[2]]) if found[2] in ("mm", "cm") else number * _METRES[found[2]]


def _general(value: float) -> str:
    return f"{value:g}"


def _band_text(value: tuple[float, float]) -> str:
    return "..".join(f"{v / 1000:g}k" if v >= 1000 else f"{v:g}" for v in value)


def _plain(metavar: str, example: str, unit: str, most: float, least: float = 1e-9, *spellings: str) -> Unit:
    """A number with no quantity of its own."""
    return Unit(metavar, lambda text: _number(text, example, *spellings), _general, unit, least=least, most=most)


DB: Final = _plain("DB", "0.5 dB", "dB", 200.0, 1e-6, "db")
DEGREES: Final = _plain("DEG", "15 deg", "degrees", 360.0, 1e-6, "degrees", "deg", "°")
HZ: Final = replace(
    _of(QuantityKind.FREQUENCY, "HZ"),
    read=_hertz,
    show=lambda v: f"{v / 1000:g}k" if v >= 1000 else f"{v:g}",
    above=0.0,
)
BAND: Final = Unit("HZ..HZ", _band, _band_text, of=(HZ, HZ))
# Nobody types less than a microhm; only what a fit has left in a netlist is.
OHM: Final = replace(_of(QuantityKind.RESISTANCE, "OHM"), least=1e-6)
FARAD: Final = _of(QuantityKind.CAPACITANCE, "FARAD")
HENRY: Final = _of(QuantityKind.INDUCTANCE, "H")
VOLT: Final = _of(QuantityKind.VOLTAGE, "V")
WATT: Final = _of(QuantityKind.POWER, "W")
LENGTH: Final = replace(
    _of(QuantityKind.LENGTH, "LENGTH"),
    read=lambda text: metres(text, "a length", "give it with its unit, such as 25mm"),
)
SHARE: Final = Unit("SHARE", parse_fraction, lambda v: f"{100 * v:g}%", least=1e-9, most=100.0)
COUNT: Final = Unit("N", _count, lambda v: f"{v:g}", least=1.0, most=1e18)
NUMBER: Final = _plain("N", "0.05", "", 1e9)
MONEY: Final = _plain("MONEY", "0.05", "", 1e9)
TEXT: Final = Unit("NAME", str, exact=True)
NETWORK: Final = Unit("NAME", str, offers="networks", exact=True)
DRIVER: Final = Unit("DRIVER", str, offers="drivers", exact=True)
CIRCUIT: Final = Unit("NAME", str, offers="circuits", exact=True)
SLOPE: Final = Unit("NAME", str, offers="slopes", exact=True)
FILE: Final = Unit("FILE", Path)
TARGET: Final = Unit("SPEAKER|CIRCUIT", str, exact=True)
FOLDER: Final = Unit("SPEAKER", Path)
YES: Final = Unit("", bool)
"""A switch: there or not."""


def one_of(*words: str, metavar: str = "WHAT") -> Unit:
    """One of a few words; what is typed nearly right is told so."""

    def read(text: str) -> str:
        known = {w.lower(): w for w in words}
        if text.strip().lower() in known:
            return known[text.strip().lower()]
        near = nearest_word(text, words)
        listed = ", ".join(words[:-1]) + f" or {words[-1]}"
        raise InputError(f"'{_shown(text)}' is not known", f"did you mean {near}?" if near else f"give {listed}")

    return Unit(metavar, read, words=words)


def listed(unit: Unit, metavar: str = "") -> Unit:
    """Several of a kind behind each other, with commas: a tuple."""

    def read(text: str) -> tuple[Any, ...]:
        return tuple(unit.take(part) for part in text.split(","))

    def show(value: tuple[Any, ...]) -> str:
        return ",".join(unit.show(v) for v in value)

    words = metavar or f"{unit.metavar},.."
    return Unit(words, read, show, unit.unit, unit.words, unit.offers, several=True, of=(unit,))


def rising(unit: Unit, metavar: str = "") -> Unit:
    """As `listed`, each above the one before."""
    several = listed(unit, metavar or f"{unit.metavar}[,{unit.metavar}]")

    def read(text: str) -> tuple[Any, ...]:
        values: tuple[Any, ...] = several.read(text)
        if any(b <= a for a, b in pairwise(values)):
            raise InputError(f"'{_shown(text)}' does not rise", "write the lowest first")
        return values

    return Unit(several.metavar, read, several.show, unit.unit, of=(unit,))


def or_none(unit: Unit) -> Unit:
    """A value, or the word none."""

    def read(text: str) -> Any:
        return None if text.strip().lower() == "none" else unit.take(text)

    return replace(unit, read=read, exact=False)


def by_name(unit: Unit, key: str = "NAME", metavar: str = "") -> Unit:
    """NAME=VALUE: a pair; given many times, they become a mapping."""

    def read(text: str) -> tuple[str, Any]:
        name, equals, value = (part.strip() for part in text.rpartition("="))
        if not (name and equals and value):
            raise InputError(f"'{_shown(text)}' is no {words}", f"write it as {words}")
        return name, unit.take(value)

    words = metavar or f"{key}={unit.metavar}"
    return Unit(words, read, lambda v: f"{v[0]}={unit.show(v[1])}", of=(None, unit))


def at(unit: Unit, place: Unit, metavar: str = "") -> Unit:
    """VALUE@PLACE, such as 1.7@1kHz or 60W@8: a pair."""

    def read(text: str) -> tuple[Any, Any]:
        value, sign, where = (part.strip() for part in text.partition("@"))
        if not (value and sign and where):
            words = f"{unit.metavar}@{place.metavar}"
            raise InputError(f"'{_shown(text)}' is no {words}", f"write it as {words}")
        return unit.take(value), place.take(where)

    words = metavar or f"{unit.metavar}@{place.metavar}"
    return Unit(words, read, lambda v: f"{unit.show(v[0])}@{place.show(v[1])}", of=(unit, place), key_last=True)


def _rating(text: str) -> tuple[float, float | None]:
    """Watts, and the ohm that they are rated into; None where that is not said."""
    watts, sign, ohms = (part.strip() for part in text.partition("@"))
    power = parse_quantity(watts, QuantityKind.POWER)
    if not 1e-3 <= power <= 1e5:
        raise InputError(f"'{_shown(text)}' is no rating", "give 0.001 to 100000 W, such as 60W@8")
    if not sign:
        return power, None
    load = parse_quantity(ohms, QuantityKind.RESISTANCE)
    if not 0.1 <= load <= 1e4:
        raise InputError(f"'{_shown(text)}' is no rating", "give 0.1 to 10000 ohm behind the @, such as 60W@8")
    return power, load


RATING: Final = Unit("W@OHM", _rating, of=(WATT, OHM))
"""An amplifier's rating: (watts, ohm or None)."""
