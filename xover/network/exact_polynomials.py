"""Polynomials with exact coefficients (fractions), as plain lists."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction


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
