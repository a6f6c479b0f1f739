"""What a typed value is a value of: its unit tells, or the person does."""

from __future__ import annotations

import re
from typing import Final

from xover.errors import InputError, OptionError, nearest_word
from xover.files.stock import QUANTITIES, RANGES
from xover.quantity import format_quantity, parse_quantity

_EXAMPLES: Final = "4.73uF, 1.8mH or 6.8ohm"


def parse_target(text: str, kind: str | None = None) -> tuple[float, str]:
    """The value in SI units, and "resistor", "inductor" or "capacitor".

    Parameters
    ----------
    kind : one of these words, or "coil", where the unit does not tell.

    Raises
    ------
    OptionError : no value, no such kind, or a value that no crossover has.
    """
    word = _unit(text) if kind is None else _kind(kind)
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


def _unit(text: str) -> str:
    """What the unit at the end of a value tells, or an R in the place of its decimal point."""
    if re.fullmatch(r"\d*[rR]\d+", text.strip()):
        return "resistor"
    letters = re.sub(r".*[\d.,\s]", "", text.strip()).lower()
    for word, quantity in QUANTITIES.items():
        if letters.endswith(quantity.spellings):
            return word
    raise OptionError(f"'{text[:40]}' has no unit of a part", f"add it, as in {_EXAMPLES}, or give --kind")


def _kind(text: str) -> str:
    word = one_of(text, (*QUANTITIES, "coil"), "--kind")
    return "inductor" if word == "coil" else word


def one_of(text: str, known: tuple[str, ...], option: str) -> str:
    """The word in lower case. Raises OptionError that names the nearest of those known."""
    if text.lower() in known:
        return text.lower()
    near = nearest_word(text, known)
    raise OptionError(f"{option} is '{text[:40]}'", f"did you mean {near}?" if near else "give " + " or ".join(known))
