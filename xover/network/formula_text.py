"""Write polynomials and ratios as plain text that a person and sympy both read.

Written straight from the polynomials' own terms: sorting and rebuilding thousands of terms as an
expression tree takes far longer than working them out.
"""

from __future__ import annotations

from typing import Any

from xover.network.rational import Rational
from xover.network.symbolic import Load
from xover.network.symbols import Kind, Quantity, SymbolTable


def ratio_text(rational: Rational) -> str:
    """A ratio as "(numerator)/(denominator)" in display names."""
    return f"({polynomial_text(rational, rational.numerator)})/({polynomial_text(rational, rational.denominator)})"


def load_text(load: Load) -> str:
    """A channel's impedance as "1/(Y1 + Y2 + ...)", one admittance for each section; "oo" without any."""
    if not load.admittance:
        return "oo"
    return "1/(" + " + ".join(ratio_text(y) for _, y in load.admittance) + ")"


def polynomial_text(rational: Rational, polynomial: Any) -> str:
    """A sum of products such as "s**2*L1*C1*Z_woofer + s*L1 + Z_woofer", highest power of s first."""
    if not polynomial:
        return "0"
    factors = [_factor(q, rational.table) for q in rational.quantities]
    text = ""
    for exponents, coefficient in sorted(polynomial.items(), key=lambda term: term[0], reverse=True):
        number = int(coefficient)
        product = [str(abs(number))] if abs(number) != 1 else []
        product += [f if e == 1 else f"{f}**{e}" for f, e in zip(factors, exponents, strict=True) if e]
        sign = (" - " if number < 0 else " + ") if text else ("-" if number < 0 else "")
        text += sign + ("*".join(product) or "1")
    return text


def count_terms(rational: Rational) -> int:
    """Terms of numerator and denominator together."""
    return len(rational.numerator) + len(rational.denominator)


def _factor(quantity: Quantity, table: SymbolTable) -> str:
    name = table.display[quantity]
    if quantity.kind is Kind.LOSS_ANGLE:
        return f"(1 + I*{name})"
    if quantity.kind is Kind.MUTUAL:
        one, other = (table.display[coil] for coil in table.coils[quantity.owner])
        return f"({name}*sqrt({one}*{other}))"
    return name
