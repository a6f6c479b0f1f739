"""One reader for each kind of quantity that a person types: the same spellings and the same refusals everywhere."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

from xover.declare import Unit
from xover.errors import InputError, nearest_word
from xover.quantity import QuantityKind, parse_fraction, parse_quantity

LOWEST_HZ: Final = 0.1
HIGHEST_HZ: Final = 1e6
_BETWEEN: Final = re.compile(r"\.\.|[:\u2013]|(?<![eE])-")
"""With an en dash too, as word processors write it."""
_LENGTH: Final = re.compile(r"(\d{1,9}(?:[.,]\d{1,9})?|\.\d{1,9})\s*(mm|cm|m|in|inch|inches|)")
_METRES: Final = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": 0.0254, "inch": 0.0254, "inches": 0.0254}


def _shown(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."


def _number(text: str, example: str = "0.05", *spellings: str) -> float:
    """A finite number, with or without its unit behind it."""
    bare = text.strip()
    for spelling in spellings:
        if bare.lower().endswith(spelling):
            bare = bare[: -len(spelling)].rstrip()
            break
    try:
        value = parse_quantity(bare, QuantityKind.PLAIN)
    except InputError as error:
        raise InputError(error.problem, f"write a number such as {example}") from None
    if not math.isfinite(value):
        raise InputError(f"'{_shown(text)}' is no number", f"write a number such as {example}")
    return value


def _of(kind: QuantityKind) -> Callable[[str], float]:
    return lambda text: parse_quantity(text, kind)


def _hertz(text: str) -> float:
    value = parse_quantity(text, QuantityKind.FREQUENCY)
    if not LOWEST_HZ <= value <= HIGHEST_HZ:
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
    try:
        return int(text.strip())
    except ValueError:
        raise InputError(f"'{_shown(text)}' is no whole number", "write it in digits, such as 4") from None


def _share(text: str) -> float:
    value = parse_fraction(text)
    if not math.isfinite(value):
        raise InputError(f"'{_shown(text)}' is no share", "write 5 % as 5% or 0.05")
    return value


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


DB: Final = Unit("DB", lambda text: _number(text, "0.5 dB", "db"), _general, "dB")
DEGREES: Final = Unit("DEG", lambda text: _number(text, "15 deg", "degrees", "deg", "°"), _general, "degrees")
HZ: Final = Unit("HZ", _hertz, lambda v: f"{v / 1000:g}k" if v >= 1000 else f"{v:g}")
BAND: Final = Unit("HZ..HZ", _band, _band_text)
OHM: Final = Unit("OHM", _of(QuantityKind.RESISTANCE), _general, "ohm")
FARAD: Final = Unit("FARAD", _of(QuantityKind.CAPACITANCE), _general, "F")
HENRY: Final = Unit("H", _of(QuantityKind.INDUCTANCE), _general, "H")
VOLT: Final = Unit("V", _of(QuantityKind.VOLTAGE), _general, "V")
WATT: Final = Unit("W", _of(QuantityKind.POWER), _general, "W")
LENGTH: Final = Unit(
    "LENGTH", lambda text: metres(text, "a length", "give it with its unit, such as 25mm"), _general, "m"
)
SHARE: Final = Unit("SHARE", _share, lambda v: f"{100 * v:g}%")
COUNT: Final = Unit("N", _count, lambda v: f"{v:g}")
NUMBER: Final = Unit("N", _number, _general)
MONEY: Final = Unit("MONEY", _number, _general)
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
        return tuple(unit.read(part) for part in text.split(","))

    def show(value: tuple[Any, ...]) -> str:
        return ",".join(unit.show(v) for v in value)

    return Unit(metavar or f"{unit.metavar},..", read, show, unit.unit, unit.words, unit.offers, several=True)


def rising(unit: Unit, metavar: str = "") -> Unit:
    """As `listed`, each above the one before."""
    several = listed(unit, metavar or f"{unit.metavar}[,{unit.metavar}]")

    def read(text: str) -> tuple[Any, ...]:
        values: tuple[Any, ...] = several.read(text)
        if any(b <= a for a, b in pairwise(values)):
            raise InputError(f"'{_shown(text)}' does not rise", "write the lowest first")
        return values

    return Unit(several.metavar, read, several.show, unit.unit)


def or_none(unit: Unit) -> Unit:
    """A value, or the word none."""

    def read(text: str) -> Any:
        return None if text.strip().lower() == "none" else unit.read(text)

    return Unit(unit.metavar, read, unit.show, unit.unit, unit.words, unit.offers)


def by_name(unit: Unit, key: str = "NAME", metavar: str = "") -> Unit:
    """NAME=VALUE: a pair; given many times, they become a mapping."""

    def read(text: str) -> tuple[str, Any]:
        name, equals, value = (part.strip() for part in text.rpartition("="))
        if not (name and equals and value):
            raise InputError(f"'{_shown(text)}' is no {words}", f"write it as {words}")
        return name, unit.read(value)

    words = metavar or f"{key}={unit.metavar}"
    return Unit(words, read, lambda v: f"{v[0]}={unit.show(v[1])}")


def at(unit: Unit, place: Unit, metavar: str = "") -> Unit:
    """VALUE@PLACE, such as 1.7@1kHz or 60W@8: a pair."""

    def read(text: str) -> tuple[Any, Any]:
        value, sign, where = (part.strip() for part in text.partition("@"))
        if not (value and sign and where):
            words = f"{unit.metavar}@{place.metavar}"
            raise InputError(f"'{_shown(text)}' is no {words}", f"write it as {words}")
        return unit.read(value), place.read(where)

    return Unit(metavar or f"{unit.metavar}@{place.metavar}", read, lambda v: f"{unit.show(v[0])}@{place.show(v[1])}")


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


RATING: Final = Unit("W@OHM", _rating)
"""An amplifier's rating: (watts, ohm or None)."""
