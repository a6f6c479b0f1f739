"""Plain arithmetic for `.param` lines and {braces}: + - * / ( ) on numbers and parameter names.

A parser of our own on purpose: nothing typed by a user is ever evaluated as code.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable

from xover.errors import InputError
from xover.quantity import Kind, parse_quantity

_PIECE = re.compile(r"\s*(?:(\d[\w.]*(?:(?<=[eE])[+-]\d+)?|\.\d[\w.]*(?:(?<=[eE])[+-]\d+)?)|([A-Za-z_]\w*)|([-+*/()]))")
_DEEPEST = 40


def compute(text: str, look_up: Callable[[str], float]) -> float:
    """Compute an expression.

    Parameters
    ----------
    text : such as "8/(2*pi*f0)"; numbers may carry SPICE scale factors; `pi` is known.
    look_up : gives the value of a parameter name, or raises InputError.

    Raises
    ------
    InputError
        For anything but plain arithmetic, a division by zero, or a result that is not finite.
    """
    tokens = _pieces(text)
    value, rest = _sum(tokens, 0, look_up, 0, text)
    if rest != len(tokens):
        raise _fault(text, f"cannot use '{tokens[rest]}' there")
    if not math.isfinite(value):
        raise _fault(text, "gives a number that is not finite")
    return value


def _fault(text: str, what: str) -> InputError:
    shown = text.strip() if len(text) <= 40 else text.strip()[:37] + "..."
    return InputError(f"'{shown}' {what}", "use only numbers, parameter names, + - * / and round brackets")


def _pieces(text: str) -> list[str]:
    tokens: list[str] = []
    position = 0
    stripped = text.rstrip()
    while position < len(stripped):
        match = _PIECE.match(stripped, position)
        if match is None:
            raise _fault(text, f"has the character '{stripped[position]}'")
        tokens.append(match[0].strip())
        position = match.end()
    if not tokens:
        raise _fault(text, "is empty")
    return tokens


def _sum(tokens: list[str], at: int, look_up: Callable[[str], float], depth: int, text: str) -> tuple[float, int]:
    value, at = _product(tokens, at, look_up, depth, text)
    while at < len(tokens) and tokens[at] in "+-":
        right, after = _product(tokens, at + 1, look_up, depth, text)
        value = value + right if tokens[at] == "+" else value - right
        at = after
    return value, at


def _product(tokens: list[str], at: int, look_up: Callable[[str], float], depth: int, text: str) -> tuple[float, int]:
    value, at = _factor(tokens, at, look_up, depth, text)
    while at < len(tokens) and tokens[at] in "*/":
        right, after = _factor(tokens, at + 1, look_up, depth, text)
        if tokens[at] == "/" and right == 0:
            raise _fault(text, "divides by zero")
        value = value * right if tokens[at] == "*" else value / right
        at = after
    return value, at


def _factor(tokens: list[str], at: int, look_up: Callable[[str], float], depth: int, text: str) -> tuple[float, int]:
    if depth > _DEEPEST:
        raise _fault(text, "is nested too deeply")
    if at >= len(tokens):
        raise _fault(text, "ends too early")
    token = tokens[at]
    if token in "+-":
        value, at = _factor(tokens, at + 1, look_up, depth + 1, text)
        return (value if token == "+" else -value), at
    if token == "(":
        value, at = _sum(tokens, at + 1, look_up, depth + 1, text)
        if at >= len(tokens) or tokens[at] != ")":
            raise _fault(text, "has a bracket that is not closed")
        return value, at + 1
    if token[0].isdigit() or token[0] == ".":
        return parse_quantity(token, Kind.PLAIN), at + 1
    if token[0].isalpha() or token[0] == "_":
        return (math.pi if token.lower() == "pi" else look_up(token)), at + 1
    raise _fault(text, f"cannot use '{token}' there")
