"""Values as people write them, and back: "4.7uF" <-> 4.7e-6.

Three spellings are read. SPICE scale factors (case-insensitive: M is milli, MEG is 1e6), IEC 60062
codes with the letter in place of the decimal point (4u7, 2R2), and a decimal comma (4,7uF). A
spelling that a person and a simulator would read differently is refused with the plain spelling.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal
from enum import Enum
from typing import Final, NoReturn

from xover.errors import InputError


class QuantityKind(Enum):
    """What a value is, with the unit's own spellings (lower case) and the unit that is written back."""

    RESISTANCE = ("resistance", "ohm", ("ohm", "ohms", "o", "r", "Ω", "ω"))
    CAPACITANCE = ("capacitance", "F", ("f", "fd", "farad", "farads"))
    INDUCTANCE = ("inductance", "H", ("h", "hy", "henry", "henries", "henrys"))
    FREQUENCY = ("frequency", "Hz", ("hz", "hertz", "c/s"))
    VOLTAGE = ("voltage", "V", ("v", "volt", "volts"))
    POWER = ("power", "W", ("w", "watt", "watts"))
    LENGTH = ("length", "m", ("m", "metre", "metres", "meter", "meters"))
    PLAIN = ("number", "", ())

    def __init__(self, word: str, unit: str, spellings: tuple[str, ...]) -> None:
        self.word = word
        self.unit = unit
        self.spellings = spellings

    @property
    def a_word(self) -> str:
        """The word with its article."""
        return ("an " if self.word[0] in "aeiou" else "a ") + self.word


RANGES = {
    QuantityKind.RESISTANCE: (1e-12, 1e9),
    QuantityKind.CAPACITANCE: (1e-12, 1.0),
    QuantityKind.INDUCTANCE: (1e-9, 100.0),
    QuantityKind.FREQUENCY: (0.1, 1e6),
    QuantityKind.VOLTAGE: (1e-6, 1e5),
    QuantityKind.POWER: (1e-6, 1e6),
    QuantityKind.LENGTH: (1e-6, 1e3),
    QuantityKind.PLAIN: (1e-30, 1e30),
}
"""Least and most of what is read, in size; 0 is read too. Far beyond any loudspeaker (an insulation of 1 Gohm, a
straight wire of 1 nH; a fit may leave 1 pohm of a loss), and so that what is worked out of several stays finite."""
# What crossovers are built of (the blueprint's ranges): a value outside is a slip of the pen.
PART_RANGES = {
    QuantityKind.RESISTANCE: (0.0, 100e3),
    QuantityKind.INDUCTANCE: (1e-6, 1.0),
    QuantityKind.CAPACITANCE: (1e-9, 10e-3),
}
LONGEST_VALUE = 64
"""Letters of a value with its unit."""
USUAL_MOST = {
    QuantityKind.RESISTANCE: 1e3,
    QuantityKind.INDUCTANCE: 30e-3,
    QuantityKind.CAPACITANCE: 1e-3,
}
"""A part of a crossover with more than this is asked about. Common practice, no published source."""
_BARE = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")
# Powers of ten. MEG stands first: it must be tried before M.
SCALE = {"meg": 6, "t": 12, "g": 9, "k": 3, "m": -3, "u": -6, "n": -9, "p": -12, "f": -15}
# In an IEC 60062 code the letter stands at the decimal point; R is ohm itself.
CODE_SCALE = {"r": 0, "k": 3, "m": -3, "u": -6, "n": -9, "p": -12, "h": 0, "f": 0}

_NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_CODE = re.compile(r"([+-]?)([0-9]*)([a-zA-Z])([0-9]+)\s*(.*)")
_PLAIN = re.compile(rf"({_NUMBER})\s*(.*)")
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}(?![0-9])")


def _letters(text: str) -> str:
    """One spelling for the micro and ohm signs that Unicode holds twice."""
    return text.replace("\u00b5", "u").replace("\u03bc", "u").replace("\u2126", "Ω")


def _refuse(text: str, why: str, remedy: str) -> NoReturn:
    shown = text if len(text) <= 40 else text[:37] + "..."
    raise InputError(f"'{shown}' {why}", remedy)


def _decimal_point(text: str) -> str:
    """Turn a decimal comma into a point; refuse what could be a thousands separator."""
    if "," not in text:
        return text
    if "." in text or text.count(",") > 1:
        _refuse(text, "mixes commas and points", "write the number with one decimal point and no thousands separator")
    if _THOUSANDS.match(text):
        plain = text.replace(",", "")
        _refuse(text, "may be a thousand or a decimal comma", f"write {plain} or {text.replace(',', '.')}")
    return text.replace(",", ".")


def parse_quantity(text: str, kind: QuantityKind) -> float:
    """Read a value with its scale and unit.

    Parameters
    ----------
    text : such as "4.7uF", "4u7", "0,33 mH", "2R2", "1k", "1.8m", "50".
    kind : what the value must be; a unit of another kind is an error.

    Returns
    -------
    The value in SI units.

    Raises
    ------
    InputError
        Not a number, one beyond the range of its kind, a unit that contradicts the kind, or a trap: `10mF` and `10MFD`
        (old marks for microfarad), `10F` on a capacitor (SPICE reads femto), `1MHz`, `1Mohm` and `2M2` (SPICE reads
        milli).

    Sources: SPICE3 scale factors; IEC 60062 letter codes.
    """
    stripped = _letters(text.strip())
    if not stripped:
        _refuse(text, f"is empty where {kind.a_word} belongs", "write a value such as " + _example(kind))
    if len(stripped) > LONGEST_VALUE:
        _refuse(stripped, f"is too long for {kind.a_word}", "write a value such as " + _example(kind))
    number, rest, code = _split(stripped, text, kind)
    power = _read_scale(text, number, rest, kind) if code is None else _read_code(text, number, code, rest, kind)
    value = _scaled(number, power)
    if not in_range(value, kind):
        usual = {QuantityKind.CAPACITANCE: (-6, "uF", ""), QuantityKind.INDUCTANCE: (-3, "mH", "")}.get(kind)
        if usual and is_bare(text):
            _refuse(text, f"without a unit is read as {value:g} {kind.unit}", _offer(number, kind, usual))
        _refuse(text, f"is no {kind.word} that can be read", range_words(kind))
    return value + 0.0  # -0 is 0


def in_range(value: float, kind: QuantityKind) -> bool:
    """Whether a value is 0, or of a size that is read."""
    least, most = RANGES[kind]
    return value == 0 or least <= abs(value) <= most


def range_words(kind: QuantityKind) -> str:
    """What may be given: "give 0, or 1 pohm to 1 Gohm"."""
    zero = "" if kind is QuantityKind.FREQUENCY else "0, or "
    return f"give {zero}" + " to ".join(_sized(value, kind.unit) for value in RANGES[kind])


def _sized(value: float, unit: str) -> str:
    """A power of ten with the letter that stands for it."""
    if not unit:
        return f"{value:g}"
    sizes = ((1e9, "G"), (1e6, "M"), (1e3, "k"), (0.1, ""), (1e-6, "u"), (1e-9, "n"), (1e-12, "p"))
    size, letter = next((size, letter) for size, letter in sizes if value >= size)
    return f"{value / size if letter else value:g} {letter}{unit}"


def is_bare(text: str) -> bool:
    """Whether a value is a plain number: no unit, no scale, no power of ten."""
    return _BARE.fullmatch(text.strip()) is not None


def computed_value(value: float) -> str:
    """A computed number, to the last bit, so that nobody takes it for a bare one that was typed."""
    return f"{Decimal(repr(float(value))):e}"


def _scaled(number: float, power: int) -> float:
    """Shift the decimal point without a rounding error: 2.2n is 2.2e-9 to the last bit."""
    return float(Decimal(repr(number)).scaleb(power))


def _split(stripped: str, text: str, kind: QuantityKind) -> tuple[float, str, str | None]:
    """Split into number, letters after it, and the code letter when it stands for the point."""
    code = _CODE.fullmatch(stripped)
    if code and (code[2] or code[3].lower() in "rm") and not (code[3].lower() == "e" and code[2]):
        return float(f"{code[1]}{code[2] or '0'}.{code[4]}"), code[5].strip(), code[3]
    plain = _PLAIN.fullmatch(_decimal_point(stripped))
    if plain is None:
        _refuse(text, f"is not {kind.a_word}", "write a number with its unit, such as " + _example(kind))
    number = float(plain[1])
    if number in (float("inf"), float("-inf")):
        _refuse(text, "is too large for a number", "write a value such as " + _example(kind))
    return number, plain[2].strip(), None


def _read_code(text: str, number: float, letter: str, unit: str, kind: QuantityKind) -> int:
    low = letter.lower()
    if low not in CODE_SCALE:
        _refuse(text, f"has the unknown code letter '{letter}'", "write it with a point, such as " + _example(kind))
    if low == "r" and kind is not QuantityKind.RESISTANCE:
        _refuse(text, f"is a resistance where {kind.a_word} belongs", "write a value such as " + _example(kind))
    if low in "hf" and low not in kind.spellings:
        _refuse(text, f"does not fit {kind.a_word}", "write a value such as " + _example(kind))
    if unit and unit.lower() not in kind.spellings:
        _refuse(text, f"has the unit '{unit}' where {kind.a_word} belongs", "write a value such as " + _example(kind))
    if kind is QuantityKind.CAPACITANCE and low == "m":
        _microfarad_trap(text, number)
    if kind is QuantityKind.CAPACITANCE and low == "f":
        _farad_trap(text, number)
    if letter == "M":
        remedy = _offer(number, kind, (6, "MEG", ""), (-3, "m", "if it is that small"))
        _refuse(text, "has an M: 1e6 in the IEC code, 1e-3 in SPICE", remedy)
    return CODE_SCALE[low]


def _read_scale(text: str, number: float, rest: str, kind: QuantityKind) -> int:
    low = rest.lower()
    if kind is QuantityKind.CAPACITANCE:
        if low in ("mf", "mfd", "m", "mfarad") or low.startswith("mfd"):
            _microfarad_trap(text, number)
        if low in kind.spellings and number != 0:
            _farad_trap(text, number)
        if low in ("mmf", "mmfd", "uuf", "uufd"):
            _refuse(text, "is an old mark for picofarad", _offer(number, kind, (-12, "pF", "")))
    if low.startswith("m") and low[1:] in ("", *kind.spellings):
        if kind is QuantityKind.FREQUENCY:
            _refuse(text, "is milli in SPICE", _offer(number, kind, (6, "MEG", ""), (6, "k", "")))
        if kind is QuantityKind.RESISTANCE and low != "m" and rest[0] == "M":
            _refuse(
                text, "is milliohm in SPICE", _offer(number, kind, (6, "MEG", ""), (-3, "m", "if it is that small"))
            )
    if low == "" or low in kind.spellings:
        return 0
    for suffix in SCALE:
        if low.startswith(suffix) and (low[len(suffix) :].strip() in ("", *kind.spellings)):
            return SCALE[suffix]
    other = next((k for k in QuantityKind if k is not kind and {low, _unit_of(low)} & set(k.spellings)), None)
    if other is not None:
        _refuse(text, f"is {other.a_word} where {kind.a_word} belongs", "write a value such as " + _example(kind))
    _refuse(text, f"has the unknown unit '{rest}'", "write a value such as " + _example(kind))


def _microfarad_trap(text: str, number: float) -> NoReturn:
    meant = _offer(number, QuantityKind.CAPACITANCE, (-6, "uF", ""), (-3, "uF", "if it truly is that large"))
    _refuse(text, "reads as millifarad; old parts are marked MF and MFD for microfarad", meant)


def _farad_trap(text: str, number: float) -> NoReturn:
    """10F is meant as 10 uF, and 4.7e-6F as 4.7 uF: what a crossover could have; between, it may be either."""
    kind = QuantityKind.CAPACITANCE
    meant = _offer(number, kind, (-6, "uF", ""), (0, "uF", "if it is in farad"), within=PART_RANGES[kind])
    _refuse(text, "would be femtofarad in SPICE, and no crossover holds farads", meant)


def _offer(
    number: float, kind: QuantityKind, *meanings: tuple[int, str, str], within: tuple[float, float] | None = None
) -> str:
    """The spellings of what may be meant, as far as it can be; where none can, one of another value.

    Parameters
    ----------
    meanings : power of ten that makes it SI, the letters to write, and when that is meant.
    """
    low, high = within or RANGES[kind]
    said: list[str] = []
    for power, letters, when in meanings:
        if low <= abs(_scaled(number, power)) <= high:
            shown = f"{Decimal(repr(number)).scaleb(power - _POWERS[letters]):f}"
            shown = (shown.rstrip("0").rstrip(".") if "." in shown else shown) + letters
            said.append(f"(or {shown} {when})" if said and when else f"or {shown}" if said else shown)
    return "write " + " ".join(said) if said else "write a value such as " + _example(kind)


_POWERS: Final = {"MEG": 6, "k": 3, "m": -3, "mH": -3, "uF": -6, "pF": -12}


def _unit_of(low: str) -> str:
    """The unit that remains once a scale factor is taken off."""
    for suffix in ("meg", "t", "g", "k", "m", "u", "n", "p"):
        if low.startswith(suffix) and len(low) > len(suffix):
            return low[len(suffix) :].strip()
    return low


def _example(kind: QuantityKind) -> str:
    return {
        QuantityKind.RESISTANCE: "2.2 or 2R2",
        QuantityKind.CAPACITANCE: "4.7uF or 4u7",
        QuantityKind.INDUCTANCE: "0.33mH",
        QuantityKind.FREQUENCY: "3kHz",
        QuantityKind.VOLTAGE: "50V",
        QuantityKind.POWER: "10W",
        QuantityKind.LENGTH: "25mm",
        QuantityKind.PLAIN: "0.05",
    }[kind]


def parse_fraction(text: str) -> float:
    """Read a fraction given in per cent or plain: "10%" and "0.1" are both 0.1. Raises InputError."""
    stripped = text.strip()
    if stripped.endswith("%"):
        return parse_quantity(stripped[:-1], QuantityKind.PLAIN) / 100.0
    return parse_quantity(stripped, QuantityKind.PLAIN)


# The units a parts shop prints: largest first, each with the value from which it is used.
_SHOP_UNITS: dict[QuantityKind, tuple[tuple[float, float, str], ...]] = {
    QuantityKind.CAPACITANCE: ((1e-8, 1e-6, "uF"), (1e-9, 1e-9, "nF"), (0.0, 1e-12, "pF")),
    QuantityKind.INDUCTANCE: ((1e-5, 1e-3, "mH"), (0.0, 1e-6, "uH")),
    QuantityKind.RESISTANCE: ((1e6, 1e6, "Mohm"), (1e3, 1e3, "kohm"), (0.0, 1.0, "ohm")),
    QuantityKind.FREQUENCY: ((1e3, 1e3, "kHz"), (0.0, 1.0, "Hz")),
    QuantityKind.VOLTAGE: ((0.0, 1.0, "V"),),
    QuantityKind.POWER: ((0.0, 1.0, "W"),),
    QuantityKind.LENGTH: ((1.0, 1.0, "m"), (0.0, 1e-3, "mm")),
    QuantityKind.PLAIN: ((0.0, 1.0, ""),),
}


def format_quantity(value: float, kind: QuantityKind, digits: int = 3) -> str:
    """Write a value as a shop prints it: 4.7 uF, 0.33 mH, 2.2 ohm.

    Parameters
    ----------
    value : SI value; what is not finite is unknown.
    digits : significant digits; zeros at the end are dropped.
    """
    if not math.isfinite(value):
        return "unknown"
    rounded = abs(value) * (1 + 10.0**-digits / 2)
    unit, name = next((unit, name) for least, unit, name in _SHOP_UNITS[kind] if rounded >= least)
    number = f"{float(f'{value / unit:.{digits}g}'):.10f}".rstrip("0").rstrip(".")
    if number in ("0", "-0") and value != 0:
        number = f"{value / unit:.{digits}g}"
    return f"{number} {name}".rstrip()


def hertz(frequency_hz: float) -> str:
    """Write a finite frequency for a sentence: 252 Hz, 2.39 kHz."""
    return format_quantity(float(frequency_hz), QuantityKind.FREQUENCY)


def ohms(resistance_ohm: float) -> str:
    """Write a finite resistance for a sentence: 3.31 ohm."""
    return format_quantity(float(resistance_ohm), QuantityKind.RESISTANCE)


def spice_value(value: float) -> str:
    """Write a value so that any SPICE and `parse_quantity` read the same float back (no suffix)."""
    return repr(float(value))
