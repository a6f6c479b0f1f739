"""The exact rational function that a symbolic answer is, and what can be made of it.

Numerator and denominator are sympy polynomials with integer coefficients in generated symbols. Polynomials in s alone
are plain lists of fractions.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain
from operator import sub
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Complex
from xover.errors import OptionError
from xover.network.symbols import Quantity, SymbolKind, SymbolTable


def times(a: Sequence[Fraction], b: Sequence[Fraction]) -> list[Fraction]:
    """Product; both in the same order of powers, either one."""
    out = [Fraction(0)] * (len(a) + len(b) - 1)
    for i, x in enumerate(a):
        for j, y in enumerate(b):
            out[i + j] += x * y
    return out


def plus(a: Sequence[Fraction], b: Sequence[Fraction]) -> list[Fraction]:
    """Sum; both with the highest power first."""
    size = max(len(a), len(b))
    left, right = [Fraction(0)] * (size - len(a)) + list(a), [Fraction(0)] * (size - len(b)) + list(b)
    return [x + y for x, y in zip(left, right, strict=True)]


def to_power(base: Sequence[Fraction], exponent: int) -> list[Fraction]:
    """Power, exponent >= 0."""
    out = [Fraction(1)]
    for _ in range(exponent):
        out = times(out, base)
    return out


@dataclass(frozen=True, eq=False)
class Rational:
    """A ratio of two polynomials in s, parts, losses, couplings and driver impedances.

    Guaranteed: both have integer coefficients, their integer coefficients have no common divisor, no symbol
    divides both, and the denominator's first term (highest power of s first) is positive. Not guaranteed: that
    they have no common factor of several terms; see `cancelled`.

    Attributes
    ----------
    numerator, denominator : elements of one sympy polynomial ring over ZZ, its generators x0 (which is s), ...
    table : what the generators stand for.
    """

    numerator: Any
    denominator: Any
    table: SymbolTable

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """What the ring's generators stand for, in their order."""
        return tuple(self.table.quantity(str(g)) for g in self.numerator.ring.symbols)

    @property
    def names(self) -> tuple[str, ...]:
        """Display names of what really occurs, s first; a coupling brings the inductances of its coils."""
        used: dict[Quantity, None] = {}
        exponents = [max(column) for column in zip(*self.numerator, *self.denominator, strict=True)]
        for quantity, exponent in zip(self.quantities, exponents, strict=True):
            if exponent:
                used[quantity] = None
                if quantity.kind is SymbolKind.MUTUAL:
                    used.update(dict.fromkeys(self.table.coils[quantity.owner]))
        return tuple(name for q, name in self.table.display.items() if q in used)


def make_rational(numerator: Any, denominator: Any, table: SymbolTable) -> Rational:
    """Divide out the common divisor of the integers and every symbol that divides both; O(number of terms)."""
    if not numerator:
        return Rational(numerator, denominator.ring.one, table)
    lowest: tuple[int, ...] = next(iter(numerator))
    for exponents in chain(numerator, denominator):
        lowest = tuple(map(min, lowest, exponents))
        if not any(lowest):
            break
    divisor = 0
    for coefficient in chain(numerator.values(), denominator.values()):
        divisor = math.gcd(divisor, int(coefficient))
        if divisor == 1:
            break
    if denominator.LC < 0:
        divisor = -divisor
    ring = numerator.ring

    def without(polynomial: Any) -> Any:
        return ring.from_dict(
            {
                tuple(map(sub, exponents, lowest)): coefficient // divisor
                for exponents, coefficient in polynomial.items()
            }
        )

    if divisor == 1 and not any(lowest):
        return Rational(numerator, denominator, table)
    return Rational(without(numerator), without(denominator), table)


def cancelled(rational: Rational) -> Rational:
    """The same with every common factor divided out; may take long where there are many symbols.

    M of a coupling counts as a symbol of its own: that M^2 = k^2 L1 L2 is not made use of.
    """
    numerator, denominator = rational.numerator.cancel(rational.denominator)
    return make_rational(numerator, denominator, rational.table)


def evaluate(rational: Rational, s: ArrayLike, values: Mapping[str, ArrayLike]) -> Complex:
    """Numbers for letters.

    Parameters
    ----------
    s : (n,) complex; j w with w > 0 where capacitors have a dissipation factor.
    values : by display name: numbers for parts, losses and couplings (see `symbols.numbers`), numbers or
        (n,) arrays for driver impedances.

    Returns
    -------
    (n,) complex; NaN where the denominator is zero or a driver's impedance is NaN.

    Terms with the same powers of s and of the drivers are summed to full precision first (math.fsum); the rest
    is a sum of a few terms at each frequency, so the error is that of its cancellation at a resonance.
    Raises OptionError for a missing value.
    """
    at = np.atleast_1d(np.asarray(s, dtype=complex))
    top = _evaluated(rational, rational.numerator, at, values)
    bottom = _evaluated(rational, rational.denominator, at, values)
    with np.errstate(invalid="ignore"):
        ratio = np.divide(top, bottom, out=np.full(at.shape, np.nan + 0j), where=bottom != 0)
    return np.asarray(ratio, dtype=complex)


def _value(rational: Rational, quantity: Quantity, values: Mapping[str, Any]) -> Any:
    """The number that a generated symbol stands for."""

    def given(wanted: Quantity) -> Any:
        name = rational.table.display[wanted]
        if name not in values:
            raise OptionError(f"the formula needs a value for {name}", "give every letter its value")
        return values[name]

    if quantity.kind is SymbolKind.LOSS_ANGLE:
        return 1 + 1j * given(quantity)
    if quantity.kind is SymbolKind.MUTUAL:
        one, other = rational.table.coils[quantity.owner]
        return given(quantity) * math.sqrt(given(one) * given(other))
    return given(quantity)


def _evaluated(rational: Rational, polynomial: Any, s: Complex, values: Mapping[str, ArrayLike]) -> Complex:
    total = np.zeros(s.shape, dtype=complex)
    if not polynomial:
        return total
    quantities = rational.quantities
    exponents = np.fromiter(chain.from_iterable(polynomial), dtype=int).reshape(len(polynomial), -1)
    terms = np.array([int(c) for c in polynomial.values()], dtype=complex)
    # s and the drivers vary over frequency, everything else goes into the terms at once.
    varying, bases = [0], [s]
    for i in map(int, np.flatnonzero(exponents.any(axis=0))):
        if quantities[i].kind is SymbolKind.DRIVER:
            varying.append(i)
            bases.append(np.asarray(_value(rational, quantities[i], values), dtype=complex))
        elif i > 0:
            table = complex(_value(rational, quantities[i], values)) ** np.arange(exponents[:, i].max() + 1)
            terms *= table[exponents[:, i]]
    powers = exponents[:, varying]
    keys = np.ravel_multi_index(tuple(powers.T), tuple(powers.max(axis=0) + 1))
    for key in np.unique(keys):
        own = terms[keys == key]
        term = np.full(s.shape, complex(math.fsum(own.real), math.fsum(own.imag)))
        for base, power in zip(bases, powers[np.argmax(keys == key)], strict=True):
            if power:
                term = term * base ** int(power)
        total += term
    return total


def numeric_polynomials(
    rational: Rational,
    values: Mapping[str, float],
    drivers: Mapping[str, float | tuple[Sequence[float], Sequence[float]]],
    loss_hz: float | None = None,
) -> tuple[list[Fraction], list[Fraction]]:
    """Numerator and denominator as polynomials in s alone, highest power first, exact for the given floats.

    Parameters
    ----------
    values : numbers by display name.
    drivers : by display name, a resistance or the two polynomials in s (highest power first) of an impedance.
    loss_hz : frequency at which a dissipation factor is turned into a fixed series resistance df/(w C): a
        constant loss angle has no polynomial with real coefficients. Exact at that frequency only.

    Common factors of s are divided out. Raises OptionError where a capacitor has a dissipation factor
    and no frequency is given, or a value is missing.
    """
    quantities = rational.quantities
    ratios = [_as_ratio(rational, q, values, drivers, loss_hz) for q in quantities]
    highest = [max(column) for column in zip(*rational.numerator, *rational.denominator, strict=True)]
    powers: list[list[tuple[list[Fraction], list[Fraction]]]] = [
        [(to_power(p, k), to_power(q, top - k)) for k in range(top + 1)]
        for (p, q), top in zip(ratios, highest, strict=True)
    ]
    top, bottom = (list(_in_s(polynomial, powers)) for polynomial in (rational.numerator, rational.denominator))
    while len(top) > 1 and len(bottom) > 1 and top[-1] == 0 and bottom[-1] == 0:
        top.pop()
        bottom.pop()
    return top, bottom


def _as_ratio(
    rational: Rational,
    quantity: Quantity,
    values: Mapping[str, float],
    drivers: Mapping[str, float | tuple[Sequence[float], Sequence[float]]],
    loss_hz: float | None,
) -> tuple[list[Fraction], list[Fraction]]:
    """A quantity as a ratio of two polynomials in s, lowest power first."""
    one = [Fraction(1)]
    if quantity.kind is SymbolKind.FREQUENCY:
        return [Fraction(0), Fraction(1)], one
    if quantity.kind is SymbolKind.DRIVER:
        given = _value(rational, quantity, drivers)
        if isinstance(given, tuple):
            return [Fraction(c) for c in reversed(given[0])], [Fraction(c) for c in reversed(given[1])]
        return [Fraction(given)], one
    if quantity.kind is SymbolKind.LOSS_ANGLE:
        name = rational.table.display[quantity]
        factor = _value(rational, quantity, values).imag
        if factor and loss_hz is None:
            raise OptionError(
                f"{name} is a constant loss angle, which no polynomial in s has",
                "give the frequency at which it becomes a fixed resistance",
            )
        return [Fraction(1), Fraction(factor / (2 * math.pi * loss_hz) if loss_hz else 0)], one
    return [Fraction(_value(rational, quantity, values))], one


def _in_s(polynomial: Any, powers: list[list[tuple[list[Fraction], list[Fraction]]]]) -> Iterator[Fraction]:
    """A polynomial with every generator replaced by its ratio (times all denominators), highest power first."""
    level: dict[tuple[int, ...], list[Fraction]] = {e: [Fraction(int(c))] for e, c in polynomial.items()}
    for choices in reversed(powers):
        following: dict[tuple[int, ...], list[Fraction]] = {}
        for exponents, inner in level.items():
            p, q = choices[exponents[-1]]
            product = times(times(inner, p), q)
            total = following.setdefault(exponents[:-1], [])
            total += [Fraction(0)] * (len(product) - len(total))
            for i, value in enumerate(product):
                total[i] += value
        level = following
    yield from reversed(level.get((), [Fraction(0)]))


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
    if quantity.kind is SymbolKind.LOSS_ANGLE:
        return 1 + sympy.I * symbol
    if quantity.kind is SymbolKind.MUTUAL:
        one, other = (sympy.Symbol(table.display[coil]) for coil in table.coils[quantity.owner])
        return symbol * sympy.sqrt(one * other)
    return symbol


def powers_of_s(polynomial: Any) -> dict[int, Any]:
    """A polynomial's coefficients by power of s, highest first, in the same ring (free of s)."""
    found: dict[int, dict[tuple[int, ...], Any]] = {}
    for exponents, coefficient in polynomial.items():
        found.setdefault(exponents[0], {})[0, *exponents[1:]] = coefficient
    return {power: polynomial.ring.from_dict(found[power]) for power in sorted(found, reverse=True)}
