"""How the bench pages join names and write readings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from xover.quantity import QuantityKind, format_quantity, ohms


def and_words(names: Iterable[str]) -> str:
    """Names in a sentence: "L1", "L1 and L2", "L1, L2 and L3"."""
    given = list(names)
    return " and ".join([", ".join(given[:-1]), given[-1]]) if len(given) > 1 else "".join(given)


def is_or_are(names: Sequence[str]) -> str:
    """The verb for as many names."""
    return "is" if len(names) == 1 else "are"


def number(value: float, digits: int = 2) -> str:
    """A figure without its unit, no exponent: 0.24, 5.6, 12."""
    return format_quantity(value, QuantityKind.PLAIN, digits)


def ohm_range(value: float, low: float, high: float) -> str:
    """A resistance with what it may be: "0.38 ohm (0.24 to 0.52)". Not known where the value is NaN."""
    if math.isnan(value):
        return "not known"
    if math.isnan(low) or math.isnan(high):
        return ohms(value)
    return f"{ohms(value)} ({_rounded(low)} to {_rounded(high)})"


def _rounded(resistance_ohm: float) -> str:
    """Two digits, but nothing finer than 10 mohm."""
    return number(round(resistance_ohm, 2))


def watts(value: float) -> str:
    """A power for a sentence: 0.4 W, 12 W."""
    return f"{number(value)} W"


def millimetres(metres: float) -> str:
    """A distance, rounded up to whole millimetres."""
    return f"{math.ceil(1e3 * metres - 1e-6):d} mm"


def capital(text: str) -> str:
    """The text with its first letter large, all else as it is."""
    return text[:1].upper() + text[1:]


def sentence(words: str) -> str:
    """A sentence part made a sentence: a capital first, a full stop last."""
    words = words.strip()
    return capital(words) + ("" if not words or words[-1] in ".!?" else ".")
