"""Rational functions as sympy expressions in the reader's names."""

from __future__ import annotations

from typing import Any

from xover.errors import OptionError
from xover.network.rational import Rational
from xover.network.symbols import Kind, Quantity, SymbolTable


def expression(rational: Rational, names: str = "display") -> Any:
    """The ratio as a sympy expression.

    Parameters
    ----------
    names : "display" for the reader's names, with (1 + I*df) and k*sqrt(L1*L2) written out; "generated"
        for the ring's own x0, x1, ....

    Nothing is expanded or simplified beyond what sympy does by itself.
    """
    return polynomial_expression(rational, rational.numerator, names) / polynomial_expression(
        rational, rational.denominator, names
    )


def polynomial_expression(rational: Rational, polynomial: Any, names: str = "display") -> Any:
    """One polynomial of a rational function as a sympy expression, as in `expression`."""
    if names == "generated":
        return polynomial.as_expr()
    if names != "display":
        raise OptionError(f"there are no names '{names}'", "choose display or generated")
    return polynomial.as_expr(*(display_expression(q, rational.table) for q in rational.quantities))


def display_expression(quantity: Quantity, table: SymbolTable) -> Any:
    """What one quantity is in the reader's names."""
    import sympy

    symbol = sympy.Symbol(table.display[quantity])
    if quantity.kind is Kind.LOSS_ANGLE:
        return 1 + sympy.I * symbol
    if quantity.kind is Kind.MUTUAL:
        one, other = (sympy.Symbol(table.display[coil]) for coil in table.coils[quantity.owner])
        return symbol * sympy.sqrt(one * other)
    return symbol


def powers_of_s(polynomial: Any) -> dict[int, Any]:
    """A polynomial's coefficients by power of s, highest first, in the same ring (free of s)."""
    found: dict[int, dict[tuple[int, ...], Any]] = {}
    for exponents, coefficient in polynomial.items():
        found.setdefault(exponents[0], {})[0, *exponents[1:]] = coefficient
    return {power: polynomial.ring.from_dict(found[power]) for power in sorted(found, reverse=True)}
