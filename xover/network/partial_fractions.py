"""A ratio of two polynomials in s as a sum of simple fractions."""

from __future__ import annotations

import importlib
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from xover.errors import OptionError

# Digits with which poles and residues are worked out; poles closer than half of these count as one.
_DIGITS = 40


def partial_fractions(
    top: Sequence[Fraction], bottom: Sequence[Fraction]
) -> list[tuple[list[Fraction], list[Fraction]]]:
    """Numerators and denominators of first and second order with real coefficients, highest power first.

    Poles that lie close together give large fractions that nearly cancel: whoever evaluates them in floats
    loses what the distance of the poles says, eight digits for a pair at 1e-8 of their size.

    Raises OptionError for a numerator of no lower order than the denominator, and for poles that coincide.
    """
    mpmath = importlib.import_module("mpmath")
    with mpmath.workdps(_DIGITS):
        upper, lower = ([mpmath.mpf(c.numerator) / c.denominator for c in _trimmed(p)] for p in (top, bottom))
        if len(upper) >= len(lower):
            raise OptionError("this function has no step response", "ask for a voltage, or for a load with losses")
        order = len(lower) - 1
        # In units of the poles' own mean size, so that the coefficients are of one size.
        zeros = next(k for k in range(order + 1) if lower[order - k] != 0)
        unit = abs(lower[order - zeros] / lower[0]) ** (mpmath.mpf(1) / max(1, order - zeros))
        scaled = [c / lower[0] / unit**k for k, c in enumerate(lower)]
        slope = [c * (order - k) for k, c in enumerate(lower[:-1])]
        small = mpmath.mpf(10) ** (-_DIGITS // 2)
        found = []
        for pole in (p * unit for p in mpmath.polyroots(scaled, maxsteps=500, extraprec=400)):
            size = sum(abs(c * pole ** (order - 1 - k)) for k, c in enumerate(slope))
            if abs(mpmath.polyval(slope, pole)) <= small * size:
                raise OptionError("two poles of this function coincide", "change one value by a millionth")
            residue = mpmath.polyval(upper, pole) / mpmath.polyval(slope, pole)
            if abs(mpmath.im(pole)) <= small * abs(pole):
                found.append(([residue], [mpmath.mpf(1), -pole]))
            elif mpmath.im(pole) > 0:
                level = -2 * mpmath.re(residue * mpmath.conj(pole))
                square = [mpmath.mpf(1), -2 * mpmath.re(pole), abs(pole) ** 2]
                found.append(([2 * mpmath.re(residue), level], square))
        return [([_fraction(c) for c in p], [_fraction(c) for c in q]) for p, q in found]


def _fraction(number: Any) -> Fraction:
    """A real multiple-precision number, exactly."""
    sign, mantissa, exponent, _ = importlib.import_module("mpmath").re(number)._mpf_
    return Fraction(-int(mantissa) if sign else int(mantissa)) * Fraction(2) ** int(exponent)


def _trimmed(coefficients: Sequence[Fraction]) -> list[Fraction]:
    """Without zeros before the highest power."""
    kept = list(coefficients)
    while len(kept) > 1 and kept[0] == 0:
        kept.pop(0)
    return kept
