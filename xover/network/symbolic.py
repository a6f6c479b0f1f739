"""The symbolic solve: what a network does, as exact formulas; and those as text that sympy reads too.

The text is written straight from the polynomials' own terms: sorting and rebuilding thousands of terms as an
expression tree takes far longer than working them out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Complex
from xover.errors import NoSolutionError, OptionError
from xover.network.network import Network
from xover.network.rational import Rational, evaluate, expression, make_rational
from xover.network.symbols import Quantity, S, SymbolKind, SymbolTable, symbol_table
from xover.network.tagged_equations import Equations, Form, Multilinear, equations, immittance, summed

# Bits of a packed exponent; a section has far fewer tags than 2^12, and no power can exceed their number.
_BITS = 12
MOST_TERMS = 300_000


@dataclass(frozen=True, eq=False)
class Load:
    """What a channel sees with the others silent: the sections' admittances add up.

    Attributes
    ----------
    admittance : (section number, admittance in siemens) of every section at the channel's plus.
    """

    admittance: tuple[tuple[int, Rational], ...]

    def impedance(self) -> Any:
        """The impedance in ohm as a sympy expression in display names, 1/(Y1 + Y2 + ...), not expanded.

        Infinity (sympy's oo) for a channel that nothing is wired to.
        """
        import sympy

        return 1 / sum(expression(y) for _, y in self.admittance) if self.admittance else sympy.oo

    def evaluate(self, s: ArrayLike, values: Mapping[str, ArrayLike]) -> Complex:
        """(n,) impedance in ohm; arguments as in `rational.evaluate`; infinite where no current flows."""
        current = sum((evaluate(y, s, values) for _, y in self.admittance), np.zeros(np.shape(s), dtype=complex))
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(current == 0, np.inf, 1 / current)


@dataclass(frozen=True, eq=False)
class SymbolicSolution:
    """A network's functions as exact rational functions.

    Attributes
    ----------
    drive : voltage at each driver (plus minus minus, so with its own polarity) over the amplifier's, by key;
        with several channels all of them carry the same one volt.
    load : what each channel sees, by its name, the other channels silent.
    table : symbols, display names, and the network's own values.
    """

    network: Network
    table: SymbolTable
    drive: Mapping[str, Rational]
    load: Mapping[str, Load]
    _sections: tuple[_Section, ...]

    @property
    def section_elements(self) -> tuple[tuple[str, ...], ...]:
        """Names of the parts and driver cards of each section, in the order of the section numbers."""
        return tuple(s.equations.elements for s in self._sections)

    def current(self, name: str) -> Rational:
        """Current through a part or driver card, first node to second, in amperes for one volt on all channels."""
        section, element = self._find(name)
        return section.rational(summed(section.equations.current[element]))

    def voltage(self, name: str) -> Rational:
        """Voltage across a part or driver card, first node minus second, for one volt on all channels."""
        section, element = self._find(name)
        return section.rational(summed(section.equations.voltage[element]))

    def _find(self, name: str) -> tuple[_Section, str]:
        for section in self._sections:
            for element in section.equations.elements:
                if element.lower() == name.lower():
                    return section, element
        raise OptionError(f"the network has no part {name}", "name a part or driver card of the netlist")


def solve_symbolic(network: Network, *, keep_zero_losses: bool = False) -> SymbolicSolution:
    """Solve a network exactly, section by section, each driver one opaque impedance.

    Parameters
    ----------
    keep_zero_losses : keep letters for losses that are exactly zero in the netlist; they are left out otherwise.

    Method: minors of the section's matrix as multilinear sums over the immittances (`tagged_equations.py`), then
    each immittance replaced by its numerator and denominator; no polynomial is ever divided. What is guaranteed of
    the results stands in `Rational`. A capacitor's impedance is esr + (1 + j df)/(s C), exact on the j w axis.

    Raises NoSolutionError: the network has no unique solution. Raises OptionError: a section's formula would have more
    than `MOST_TERMS` terms, or too many products to begin with.
    """
    table = symbol_table(network, keep_zero_losses=keep_zero_losses)
    sections = tuple(_section(network, table, one) for one in equations(network))
    drive = {}
    for card in network.drivers:
        section = next(s for s in sections if card.name in s.equations.elements)
        drive[card.key] = section.rational(summed(section.equations.voltage[card.name]))
    load = {}
    for channel in network.channels:
        found = []
        for number, section in enumerate(sections):
            current = section.equations.channel_current(network, channel)
            if current:
                found.append((number, section.rational(current)))
        load[channel.name] = Load(tuple(found))
    return SymbolicSolution(network, table, drive, load, sections)


# A polynomial with its exponents packed into one integer: adding two of these multiplies the monomials.
_Packed = dict[int, int]


@dataclass(frozen=True, eq=False)
class _Section:
    """A section's equations with what is needed to write them out."""

    equations: Equations
    table: SymbolTable
    ring: Any
    forms: tuple[tuple[tuple[int, ...], tuple[int, ...]], ...]
    denominator: Any

    def rational(self, numerator: Multilinear) -> Rational:
        return make_rational(self.expanded(numerator), self.denominator, self.table)

    def expanded(self, products: Multilinear) -> Any:
        """A sum over tags as an element of the ring."""
        return _in_ring(self.ring, _expanded(products, self.forms))


def _section(network: Network, table: SymbolTable, solved: Equations) -> _Section:
    from sympy import ZZ
    from sympy.polys.orderings import lex
    from sympy.polys.rings import PolyRing

    has_symbol = frozenset(table.generated)
    forms = [immittance(network, tag, has_symbol) for tag in solved.tags]
    used = {quantity for pair in forms for form in pair for product in form for quantity in product}
    order = [S, *(q for q in table.generated if q in used and q != S)]
    _refuse_giants(solved, forms)
    ring = PolyRing([table.generated[q] for q in order], ZZ, lex)
    unit = {q: 1 << (_BITS * i) for i, q in enumerate(order)}
    packed = tuple(tuple(_pack(form, unit) for form in pair) for pair in forms)
    pairs = tuple((p, q) for p, q in packed)
    denominator = _in_ring(ring, _expanded(solved.determinant, pairs))
    if not denominator:
        raise NoSolutionError(
            f"the equations round {solved.elements[0]} contradict each other", "check the 0 ohm links there"
        )
    return _Section(solved, table, ring, pairs, denominator)


def _pack(form: Form, unit: Mapping[Quantity, int]) -> tuple[int, ...]:
    return tuple(sum(unit[q] for q in product) for product in form)


def _refuse_giants(solved: Equations, forms: list[tuple[Form, Form]]) -> None:
    """Count the terms before any is written."""
    terms = 0
    for product in solved.determinant:
        terms += math.prod(len(p) if product >> i & 1 else len(q) for i, (p, q) in enumerate(forms))
    if terms > MOST_TERMS:
        raise OptionError(
            f"the formula of the section of {solved.elements[0]} would have {terms:,} terms",
            "leave out losses, or split the section",
        )


def _expanded(products: Multilinear, forms: tuple[tuple[tuple[int, ...], tuple[int, ...]], ...]) -> _Packed:
    """Replace tag after tag by p where it stands and q where it does not."""
    level: dict[int, _Packed] = {product: {0: c} for product, c in products.items()}
    for index, (present, absent) in enumerate(forms):
        bit = 1 << index
        following: dict[int, _Packed] = {}
        for product, inner in level.items():
            form = present if product & bit else absent
            if not form:
                continue
            total = following.setdefault(product & ~bit, {})
            for exponents, coefficient in inner.items():
                for more in form:
                    key = exponents + more
                    total[key] = total.get(key, 0) + coefficient
        level = following
    return level.get(0, {})


def _in_ring(ring: Any, packed: _Packed) -> Any:
    mask, shifts = (1 << _BITS) - 1, [_BITS * i for i in range(ring.ngens)]
    convert = ring.domain.convert
    return ring.from_dict({tuple([e >> shift & mask for shift in shifts]): convert(c) for e, c in packed.items() if c})


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
    if quantity.kind is SymbolKind.LOSS_ANGLE:
        return f"(1 + I*{name})"
    if quantity.kind is SymbolKind.MUTUAL:
        one, other = (table.display[coil] for coil in table.coils[quantity.owner])
        return f"({name}*sqrt({one}*{other}))"
    return name
