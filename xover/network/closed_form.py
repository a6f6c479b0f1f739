"""Compiled closed forms: the fast path for searches that vary a few parts of a network many times.

Every function of a network is a ratio of two polynomials of the first degree in each part's value, its losses
included, and of the second in a mutual inductance. With everything else fixed, each polynomial is a few
complex coefficients at each frequency, worked out once; a candidate then costs one small matrix product.

A section's functions as polynomials in a few open quantities, with numbers for everything else.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xover.curve import Complex, Float
from xover.errors import OptionError
from xover.network.network import Network
from xover.network.parts import settings
from xover.network.symbols import Quantity, S, SymbolKind
from xover.network.tagged_equations import Equations, Form, Multilinear, equations, immittance, summed

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
                    if quantity.kind is SymbolKind.LOSS_ANGLE:
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


_ROUNDING = float(np.finfo(float).eps)
# Multiplications in one matrix product: stays in the cache, and below what a BLAS spreads over threads,
# whose waiting for each other costs more than they save here.
_CHUNK = 250_000


@dataclass(frozen=True, eq=False)
class ClosedSolution:
    """What `solve` gives for the same candidates: (k, n) arrays, sections without a varied part broadcast.

    Attributes
    ----------
    drive : voltage at each driver over the amplifier's, by key.
    impedance_ohm : what each channel sees, the other channels silent; empty if it was not asked for.
    """

    frequency_hz: Float
    drive: Mapping[str, Complex]
    impedance_ohm: Mapping[str, Complex]


@dataclass(frozen=True, eq=False)
class ClosedForm:
    """A network whose varied values are still open.

    Attributes
    ----------
    varied : the names that `at` takes, as `solve` has them.
    """

    network: Network
    frequency_hz: Float
    varied: tuple[str, ...]
    _sections: tuple[CompiledSection, ...]
    _quantity: Mapping[str, Quantity]
    _mutual: Mapping[Quantity, tuple[Quantity, Quantity]]
    _fixed: Mapping[Quantity, Complex]

    def at(self, values: Mapping[str, ArrayLike], *, loads: bool = True) -> ClosedSolution:
        """Evaluate candidates.

        Parameters
        ----------
        values : for every varied name a number or (k,) array, in SI units.
        loads : False leaves the channels' impedances out.

        NaN comes out where a driver's impedance is NaN and where the network has no unique solution. Rounding
        is that of `error_bound`. Raises OptionError when a varied name is missing or one is not varied.
        """
        chosen, count = self._chosen(values)
        shape = (count, self.frequency_hz.size)
        channels = tuple(c.name for c in self.network.channels if loads)
        still: dict[str, Complex] = dict.fromkeys(channels, np.zeros((1, shape[1]), dtype=complex))
        drive: dict[str, Complex] = {}
        for section in self._sections:
            if section.varies:
                drive |= {name: np.empty(shape, dtype=complex) for name in section.drive}
            else:
                over = _inverse(section.determinant(chosen))
                drive |= {name: np.broadcast_to(top(chosen) * over, shape) for name, top in section.drive.items()}
                for channel in still.keys() & section.load.keys():
                    still[channel] = still[channel] + section.load[channel](chosen) * over
        moving = [section for section in self._sections if section.varies]
        impedance: dict[str, Complex] = {}
        for channel in channels:
            if any(channel in section.load for section in moving):
                impedance[channel] = np.empty(shape, dtype=complex)
            else:
                impedance[channel] = np.broadcast_to(_impedance(still[channel]), shape)
        step = max(8, _CHUNK // (2 * shape[1] * max((s.terms for s in moving), default=1)))
        for start in range(0, count, step):
            rows = slice(start, start + step)
            siemens = dict(still)
            for section in moving:
                over = _inverse(section.determinant(chosen[rows]))
                for name, top in section.drive.items():
                    np.multiply(top(chosen[rows]), over, out=drive[name][rows])
                for channel in still.keys() & section.load.keys():
                    siemens[channel] = siemens[channel] + section.load[channel](chosen[rows]) * over
            for channel, total in siemens.items():
                if impedance[channel].flags.writeable:
                    impedance[channel][rows] = _impedance(total)
        return ClosedSolution(self.frequency_hz, {d.key: drive[d.name] for d in self.network.drivers}, impedance)

    def current(self, name: str, values: Mapping[str, ArrayLike]) -> Complex:
        """(k, n) current through a part or driver card, first node to second, amperes per volt on all channels."""
        chosen, count = self._chosen(values)
        section = self._section_of(name)
        top = section.compiled(summed(section.equations.current[name]))
        return np.broadcast_to(top(chosen) * _inverse(section.determinant(chosen)), (count, self.frequency_hz.size))

    def error_bound(self, key: str, values: Mapping[str, ArrayLike]) -> Float:
        """(k, n) bound of the relative rounding error of a driver's drive.

        Every factor and every sum of numerator and denominator adds at most one rounding in proportion to the
        sum of the absolute terms (Higham, Accuracy and Stability of Numerical Algorithms, 2nd ed. 2002, section
        3.1; from memory); where terms cancel, as at a lossless resonance, the bound rises with them.
        """
        chosen, count = self._chosen(values)
        card = self.network.driver_card(key)
        section = self._section_of(card.name)
        total = np.zeros((count, self.frequency_hz.size))
        for products in (section.equations.determinant, summed(section.equations.voltage[card.name])):
            sizes = section.compiled(products, absolute=True)(np.abs(chosen))
            signed = section.compiled(products)(chosen)
            with np.errstate(divide="ignore", invalid="ignore"):
                total = total + np.real(sizes) / np.abs(signed)
        # For each tag a complex product, at most three sums of its own and three of its merging; then the last sum.
        steps = 10 * len(section.equations.tags) + section.terms + 10
        return np.asarray(total * steps * _ROUNDING)

    def _section_of(self, name: str) -> CompiledSection:
        for section in self._sections:
            if name in section.equations.elements:
                return section
        raise OptionError(f"the network has no part {name}", "name a part or driver card of the netlist")

    def _chosen(self, values: Mapping[str, ArrayLike]) -> tuple[Float, int]:
        """(k, v) values of the varied quantities, mutual inductances worked out, and k."""
        odd = set(values) ^ set(self.varied)
        if odd:
            raise OptionError(
                f"the closed form varies {', '.join(self.varied)}, and {sorted(odd)[0]} is not the same",
                "give a value for each of these and for no other",
            )
        arrays = {self._quantity[k]: np.atleast_1d(np.asarray(values[k], dtype=float)) for k in self.varied}
        sizes = {a.size for a in arrays.values()}
        if len(sizes - {1}) > 1:
            raise OptionError("the candidates differ in number", "give every part as many values as the others, or one")
        for mutual, coils in self._mutual.items():
            k = arrays.get(mutual)
            product = np.ones(1)
            for coil in coils:
                product = product * (arrays[coil] if coil in arrays else self._fixed[coil].real)
            own = k if k is not None else self._fixed[mutual].real
            arrays[mutual] = np.asarray(own * np.sqrt(product))
        count = max(a.size for a in arrays.values())
        return np.stack([np.broadcast_to(a, (count,)) for a in arrays.values()], axis=1), count


def compile_closed_form(
    network: Network,
    frequency_hz: ArrayLike,
    driver_impedance_ohm: Mapping[str, ArrayLike],
    varied: Iterable[str],
) -> ClosedForm:
    """Solve a network once, with some of its values left open.

    The coefficients are worked out when they are first needed.

    Parameters
    ----------
    frequency_hz : (n,) > 0.
    driver_impedance_ohm : (n,) complex by driver's name; NaN where it is not known.
    varied : names of values, as `solve` takes them: `L1`, `L1_dcr`, `C1_esr`, `C1_df`, `K1`.

    The number of coefficients doubles with each part varied within one section; one to five are sensible.

    Raises NoSolutionError: the network has no unique solution. Raises OptionError: a name that is not there, or a
    driver without impedance.
    """
    frequency = np.asarray(frequency_hz, dtype=float)
    names = tuple(dict.fromkeys(varied))
    known = _quantities(network)
    for name in names:
        if name not in known:
            raise OptionError(f"there is no value {name} in the network", "use one of " + ", ".join(sorted(known)))
    if not names:
        raise OptionError("nothing is varied", "name at least one part")
    quantity = {name: known[name][0] for name in names}
    number: dict[Quantity, Complex] = {q: np.array([v], dtype=complex) for q, v in known.values()}
    mutual = {
        Quantity(SymbolKind.MUTUAL, c.name): (
            Quantity(SymbolKind.VALUE, network.part(c.first).name),
            Quantity(SymbolKind.VALUE, network.part(c.second).name),
        )
        for c in network.couplings
    }
    open_ = list(quantity.values())
    moved = {m: coils for m, coils in mutual.items() if m in open_ or any(coil in open_ for coil in coils)}
    # The order in which `_chosen` puts the columns.
    variables = tuple(dict.fromkeys([*open_, *moved]))
    fixed: dict[Quantity, Complex] = {S: 2j * np.pi * frequency}
    for q, value in number.items():
        if q.kind is SymbolKind.LOSS_ANGLE:
            fixed[q] = 1 + 1j * value
        elif q.kind is SymbolKind.MUTUAL:
            one, other = mutual[q]
            fixed[q] = value * np.sqrt(number[one] * number[other])
        else:
            fixed[q] = value
    for name in network.driver_names:
        if name not in driver_impedance_ohm:
            raise OptionError(f"the driver {name} has no impedance", "give one for every driver of the network")
        z = np.asarray(driver_impedance_ohm[name], dtype=complex)
        fixed[Quantity(SymbolKind.DRIVER, name)] = np.broadcast_to(z, frequency.shape)
    has_symbol = frozenset(q for q, v in number.items() if v[0] != 0) | frozenset(open_)
    sections = tuple(
        CompiledSection(network, one, variables, fixed, has_symbol, frequency.size) for one in equations(network)
    )
    return ClosedForm(network, frequency, names, sections, quantity, moved, number)


def _quantities(network: Network) -> dict[str, tuple[Quantity, float]]:
    """Everything that may vary, by the name that `solve` has for it, with its own value."""
    found: dict[str, tuple[Quantity, float]] = {}
    for part in network.parts:
        for ending, value in settings(part).items():
            found[part.name + ending] = Quantity(SymbolKind(ending), part.name), value
    for coupling in network.couplings:
        found[coupling.name] = Quantity(SymbolKind.MUTUAL, coupling.name), coupling.k
    return found


def _inverse(values: Complex) -> Complex:
    """1/values, NaN at zero; twice as fast as a complex division."""
    with np.errstate(divide="ignore", invalid="ignore"):
        square = values.real * values.real
        square += values.imag * values.imag
        np.reciprocal(square, out=square)
        out = np.conjugate(values)
        out *= square
    return np.asarray(out)


def _impedance(siemens: Complex) -> Complex:
    """1/siemens, infinite where no current flows."""
    none = siemens == 0
    return np.where(none, np.inf, _inverse(siemens)) if none.any() else _inverse(siemens)
