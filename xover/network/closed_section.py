"""A section's functions as polynomials in a few open quantities, with numbers for everything else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Float
from xover.network.multilinear import Multilinear, summed
from xover.network.network import Network
from xover.network.symbols import Kind, Quantity
from xover.network.tagged_equations import Equations, Form, immittance

# Exponents of the varied quantities, so many bits each -> coefficient at each frequency, (n,). None is above 2.
_Coefficients = dict[int, Complex]
_BITS = 4
_LARGEST = (1 << _BITS) - 1


@dataclass(frozen=True, eq=False)
class CompiledFunction:
    """A polynomial in the varied quantities: exponents (m, v), coefficients (m, n)."""

    exponents: tuple[tuple[int, ...], ...]
    coefficients: Complex

    @cached_property
    def varies(self) -> bool:
        """Whether any varied quantity occurs."""
        return any(any(e) for e in self.exponents)

    @cached_property
    def _factors(self) -> tuple[tuple[int, NDArray[np.intp]], ...]:
        """What the products are made of: a variable, and the rows that it multiplies once (more)."""
        powers = np.array(self.exponents)
        return tuple(
            (int(variable), np.flatnonzero(powers[:, variable] >= power))
            for variable in np.flatnonzero(powers.any(axis=0))
            for power in range(1, int(powers[:, variable].max()) + 1)
        )

    def __call__(self, chosen: Float) -> Complex:
        """(k, n) for (k, v) values; (1, n) where nothing varies."""
        if not self.varies:
            return np.asarray(self.coefficients.sum(axis=0, keepdims=True))
        design = np.ones((len(self.exponents), chosen.shape[0]))
        for variable, rows in self._factors:
            design[rows] *= chosen[:, variable]
        # Real values times complex coefficients: one real matrix product of twice the width.
        return np.asarray((design.T @ self.coefficients.view(float)).view(complex))


@dataclass(frozen=True, eq=False)
class CompiledSection:
    """A section whose functions become polynomials when they are first asked for.

    Attributes
    ----------
    equations : the section, solved by tags.
    variables : the quantities left open.
    fixed : numbers, (1,) or (n,), for all other quantities; a mutual inductance in henry, a loss angle as 1 + j df.
    has_symbol : the quantities that are not zero, or open.
    size : n, the number of frequencies.
    """

    network: Network
    equations: Equations
    variables: tuple[Quantity, ...]
    fixed: Mapping[Quantity, Complex]
    has_symbol: frozenset[Quantity]
    size: int

    @cached_property
    def determinant(self) -> CompiledFunction:
        """The denominator of everything."""
        return self.compiled(self.equations.determinant)

    @cached_property
    def drive(self) -> dict[str, CompiledFunction]:
        """Numerator of each driver's voltage, by card name, for one volt on all channels."""
        cards = (d.name for d in self.network.drivers if d.name in self.equations.elements)
        return {name: self.compiled(summed(self.equations.voltage[name])) for name in cards}

    @cached_property
    def load(self) -> dict[str, CompiledFunction]:
        """Numerator of each channel's current into this section, that channel alone at one volt; where any flows."""
        currents = {c.name: self.equations.channel_current(self.network, c) for c in self.network.channels}
        return {name: self.compiled(current) for name, current in currents.items() if current}

    @cached_property
    def varies(self) -> bool:
        """Whether any open quantity belongs to this section."""
        return any(f.varies for f in (self.determinant, *self.drive.values(), *self.load.values()))

    @cached_property
    def terms(self) -> int:
        """Number of coefficients of its largest function."""
        return max(len(f.exponents) for f in (self.determinant, *self.drive.values(), *self.load.values()))

    def compiled(self, products: Multilinear, *, absolute: bool = False) -> CompiledFunction:
        """Numbers for everything that does not vary; `absolute` takes every term by its magnitude."""
        level: dict[int, _Coefficients] = {
            p: {0: np.full(1, abs(c) if absolute else c, dtype=complex)} for p, c in products.items()
        }
        for index, (present, absent) in enumerate(self._sizes if absolute else self._numbers):
            bit = 1 << index
            following: dict[int, _Coefficients] = {}
            for product, inner in level.items():
                factor = present if product & bit else absent
                if factor:
                    _multiply_into(following.setdefault(product & ~bit, {}), inner, factor)
            level = following
        found = level.get(0, {}) or {0: np.zeros(1, dtype=complex)}
        table = np.empty((len(found), self.size), dtype=complex)
        for row, coefficient in enumerate(found.values()):
            table[row] = coefficient
        shifts = range(0, _BITS * len(self.variables), _BITS)
        return CompiledFunction(tuple(tuple(e >> shift & _LARGEST for shift in shifts) for e in found), table)

    @cached_property
    def _numbers(self) -> list[tuple[_Coefficients, _Coefficients]]:
        """Numerator and denominator of each tag's immittance."""
        return self._all_forms(False)

    @cached_property
    def _sizes(self) -> list[tuple[_Coefficients, _Coefficients]]:
        """The same, every term by its magnitude."""
        return self._all_forms(True)

    def _all_forms(self, absolute: bool) -> list[tuple[_Coefficients, _Coefficients]]:
        forms = (immittance(self.network, tag, self.has_symbol) for tag in self.equations.tags)
        return [(self._form(top, absolute), self._form(bottom, absolute)) for top, bottom in forms]

    def _form(self, form: Form, absolute: bool) -> _Coefficients:
        """An immittance's numerator or denominator in the varied quantities."""
        total: _Coefficients = {}
        for product in form:
            terms: _Coefficients = {0: np.ones(1, dtype=complex)}
            for quantity in product:
                if quantity not in self.variables:
                    factor = {0: self.fixed[quantity]}
                else:
                    own = 1 << _BITS * self.variables.index(quantity)
                    if quantity.kind is Kind.LOSS_ANGLE:
                        factor = {0: np.ones(1, dtype=complex), own: np.full(1, 1j)}
                    else:
                        factor = {own: np.ones(1, dtype=complex)}
                if absolute:
                    factor = {exponents: np.abs(number) + 0j for exponents, number in factor.items()}
                longer: _Coefficients = {}
                _multiply_into(longer, terms, factor)
                terms = longer
            for exponents, value in terms.items():
                total[exponents] = total[exponents] + value if exponents in total else value
        return total


def _multiply_into(total: _Coefficients, one: _Coefficients, other: _Coefficients) -> None:
    for a, x in one.items():
        for b, y in other.items():
            key = a + b
            total[key] = total[key] + x * y if key in total else x * y
