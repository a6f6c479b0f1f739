"""A section's equations with one tag for each immittance, solved by Cramer's rule.

Every element enters through one immittance p/q at one place, so that for a plain RLC network the determinant is
the sum over the network's spanning trees of the products of their admittances (Kirchhoff 1847, Maxwell 1873; from
memory). With p for a tag that stands in a product and q for one that does not, a minor comes out free of fractions,
and a 0 ohm link is simply p = 1, q = 0.

Sums of products of different tags, and the determinants that are such sums.

Where every tag stands in a matrix as one rank-one term, every minor of the matrix is of the first degree in each
tag. A product is then a set of tags, kept as bits, and whatever would hold a tag twice cancels.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from functools import lru_cache

import numpy as np

from xover.curve import Float
from xover.errors import NoSolutionError, OptionError
from xover.network.faults import topology_faults
from xover.network.network import Network, find_sections
from xover.network.parts import Channel, Coupling, DriverCard, Inductor, Part, Resistor
from xover.network.stamps import known_voltages
from xover.network.symbols import Quantity, S, SymbolKind

# Set of tags as bits -> integer coefficient, never zero.
Multilinear = dict[int, int]


def add(total: Multilinear, other: Mapping[int, int], factor: int = 1) -> None:
    """Add a multiple of one sum to another in place; what cancels is gone."""
    if factor == 0:
        return
    for product, coefficient in other.items():
        value = total.get(product, 0) + factor * coefficient
        if value:
            total[product] = value
        else:
            del total[product]


def summed(parts: Iterable[Mapping[int, int]]) -> Multilinear:
    """The sum of several sums."""
    total: Multilinear = {}
    for part in parts:
        add(total, part)
    return total


def cramer(
    rows: Sequence[Mapping[int, Mapping[int, int]]], size: int, sources: int
) -> tuple[Multilinear, list[list[Multilinear]]]:
    """Solve A x = b by Cramer's rule, for several b at once.

    Parameters
    ----------
    rows : for each row of [A | b] its entries by column: columns below `size` are A, those after it the b.
    sources : number of b.

    Returns
    -------
    determinant of A, and [unknown][source] numerators, so that x = numerator/determinant.

    Laplace expansion row by row. The minors of the rows so far are kept by their set of columns, so each is
    worked out once for all unknowns and sources together.
    """
    last_row = [max((r for r, row in enumerate(rows) if column in row), default=-1) for column in range(size)]
    of_sources = ((1 << sources) - 1) << size
    minors: dict[int, Multilinear] = {0: {0: 1}}
    for number, row in enumerate(rows):
        finished = sum(1 << column for column in range(size) if last_row[column] <= number)
        following: dict[int, Multilinear] = {}
        for columns, minor in minors.items():
            for column, entry in row.items():
                chosen = columns | 1 << column
                # Only one unknown's column may stay out, and only one source's may come in.
                out, in_ = (finished & ~chosen).bit_count(), (chosen & of_sources).bit_count()
                if chosen == columns or out > 1 or in_ > 1:
                    continue
                sign = -1 if (columns >> column).bit_count() % 2 else 1
                _add_product(following.setdefault(chosen, {}), minor, entry, sign)
        minors = following
    full = (1 << size) - 1
    unknown: list[list[Multilinear]] = []
    for column in range(size):
        # The source's column moves from the end to the place of the one that it replaces.
        sign = -1 if (size - 1 - column) % 2 else 1
        found = (minors.get(full & ~(1 << column) | 1 << (size + source), {}) for source in range(sources))
        unknown.append([{product: sign * c for product, c in minor.items()} for minor in found])
    return minors.get(full, {}), unknown


def _add_product(total: Multilinear, minor: Multilinear, entry: Mapping[int, int], sign: int) -> None:
    for tag, factor in entry.items():
        for product, coefficient in minor.items():
            if product & tag:
                continue  # a tag twice: cancels over the whole minor
            key = product | tag
            value = total.get(key, 0) + sign * factor * coefficient
            if value:
                total[key] = value
            else:
                del total[key]


# Sum of products of quantities, each with coefficient 1: () is zero, ((),) is one.
Form = tuple[tuple[Quantity, ...], ...]
ONE: Form = ((),)
ZERO: Form = ()
# Of which all the minors of a section are worked out in some ten seconds.
MOST_PRODUCTS = 100_000


class Stands(Enum):
    """How a tag stands in the equations."""

    ADMITTANCE = "an element's admittance"
    IMPEDANCE = "a coupled coil's impedance"
    MUTUAL = "a mutual impedance, once for each direction"


@dataclass(frozen=True)
class Tag:
    """One immittance of the equations, and the part, driver card or coupling that it belongs to."""

    owner: str
    stands: Stands


@dataclass(frozen=True, eq=False)
class Equations:
    """One section, solved: every voltage and current is a numerator over the one determinant.

    Attributes
    ----------
    elements : names of the section's parts and driver cards.
    tags : tag number i is bit i of the products.
    determinant : of the section's matrix.
    voltage : numerator of each element's voltage, first node minus second, for each channel alone at one volt.
    current : numerator of each element's current from its first node to its second, likewise.
    """

    elements: tuple[str, ...]
    tags: tuple[Tag, ...]
    determinant: Multilinear
    voltage: dict[str, tuple[Multilinear, ...]]
    current: dict[str, tuple[Multilinear, ...]]

    def channel_current(self, network: Network, channel: Channel) -> Multilinear:
        """Numerator of the current out of a channel's plus into this section, that channel alone at one volt."""
        index = network.channels.index(channel)
        total: Multilinear = {}
        for element in _members(network, frozenset(self.elements)):
            if channel.plus in (element.a, element.b):
                add(total, self.current[element.name][index], 1 if channel.plus == element.a else -1)
        return total


def equations(network: Network) -> Iterator[Equations]:
    """The equations of each section in turn, solved.

    A network with a floating channel (one whose minus has no given voltage) is one section.
    Raises NoSolutionError where there is no unique solution, OptionError for more than `MOST_PRODUCTS` products.
    """
    fault = next(topology_faults(network), None)
    if fault is not None:
        raise NoSolutionError(fault.problem, fault.remedy)
    yield from _wired(_bare(network))


def _bare(network: Network) -> Network:
    """The wiring alone, every value 1: all that the equations depend on."""
    parts = tuple(type(p)(p.name, p.a, p.b, 1.0) for p in network.parts)
    couplings = tuple(Coupling(c.name, c.first, c.second, 1.0) for c in network.couplings)
    return Network("", parts, network.drivers, network.channels, couplings)


@lru_cache(maxsize=64)
def _wired(network: Network) -> tuple[Equations, ...]:
    """The equations of a wiring; they are kept, as searches ask for the same wiring again and again."""
    return tuple(_solved(system) for system in _systems(network))


def _systems(network: Network) -> Iterator[_System]:
    known, floating = known_voltages(network)
    if floating:
        everything = frozenset(e.name for e in (*network.parts, *network.drivers))
        yield _System(network, everything, known, floating)
        return
    for section in find_sections(network):
        yield _System(network, frozenset(section.elements), known, ())


def check_products(network: Network) -> None:
    """Raise OptionError for a section of more than `MOST_PRODUCTS` products, before any is worked out."""
    for system in _systems(_bare(network)):
        system.write()
        _check_products(system)


def _check_products(system: _System) -> None:
    if system.count_products() > MOST_PRODUCTS:
        raise OptionError(
            f"the section of {system.elements[0].name} has more than {MOST_PRODUCTS:,} spanning trees",
            "split the section, or solve it numerically",
        )


def _members(network: Network, names: frozenset[str]) -> list[Part | DriverCard]:
    return [e for e in (*network.parts, *network.drivers) if e.name in names]


@dataclass(eq=False)
class _System:
    """The equations of some elements, being written.

    Unknowns: voltages of inner nodes, then currents of coupled coils (at k = 1 their inductance matrix has no
    inverse) and of floating channels. Rows: what leaves each inner node; the voltage of each such branch.
    """

    network: Network
    names: frozenset[str]
    known: dict[str, Float]
    floating: tuple[Channel, ...]
    tags: list[Tag] = field(default_factory=list)
    rows: list[dict[int, Multilinear]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.elements = _members(self.network, self.names)
        coupled = {n.lower() for c in self.network.couplings for n in (c.first, c.second)}
        self.coils = [e for e in self.elements if isinstance(e, Inductor) and e.name.lower() in coupled]
        branches = [c.name.lower() for c in self.coils] + [c.name.lower() for c in self.floating]
        ends = [(e.a, e.b) for e in self.elements] + [(c.plus, c.minus) for c in self.floating]
        self.nodes = list(dict.fromkeys(n for pair in ends for n in pair if n not in self.known))
        self.row_of_node = {n: i for i, n in enumerate(self.nodes)}
        self.row_of_branch = {name: len(self.nodes) + i for i, name in enumerate(branches)}
        self.size = len(self.nodes) + len(branches)
        self.rows = [{} for _ in range(self.size)]

    def tag(self, owner: str, stands: Stands) -> int:
        """A new tag, as its bit."""
        self.tags.append(Tag(owner, stands))
        return 1 << (len(self.tags) - 1)

    def put(self, row: int, column: int, product: int, coefficient: int) -> None:
        """Add to one entry of the matrix."""
        if coefficient:
            add(self.rows[row].setdefault(column, {}), {product: coefficient})

    def put_source(self, row: int, volts: Sequence[int], product: int) -> None:
        """Bring a given voltage, one for each channel, to the right-hand side."""
        for channel, volt in enumerate(volts):
            self.put(row, self.size + channel, product, -volt)

    def span(self, a: str, b: str) -> tuple[list[tuple[int, int]], list[int]]:
        """A voltage from a to b: its unknown nodes with their signs, and the given part for each channel."""
        ends = ((a, 1), (b, -1))
        inner = [(self.row_of_node[n], sign) for n, sign in ends if n in self.row_of_node]
        given = [
            round(sum(sign * float(self.known[n][c]) for n, sign in ends if n in self.known))
            for c in range(len(self.network.channels))
        ]
        return inner, given

    def write(self) -> dict[str, int]:
        """Fill the rows; gives the bit of every element that stands as an admittance."""
        bits: dict[str, int] = {}
        for element in self.elements:
            if element in self.coils:
                self._branch(element.name, element.a, element.b)
                row = self.row_of_branch[element.name.lower()]
                self.put(row, row, self.tag(element.name, Stands.IMPEDANCE), -1)
                continue
            bit = bits[element.name] = self.tag(element.name, Stands.ADMITTANCE)
            inner, given = self.span(element.a, element.b)
            for row, sign in inner:
                for column, other in inner:
                    self.put(row, column, bit, sign * other)
                self.put_source(row, [sign * volt for volt in given], bit)
        for channel in self.floating:
            self._branch(channel.name, channel.plus, channel.minus)
            index = self.network.channels.index(channel)
            self.put(self.row_of_branch[channel.name.lower()], self.size + index, 0, 1)
        for coupling in self.network.couplings:
            first, second = (self.row_of_branch.get(n.lower()) for n in (coupling.first, coupling.second))
            if first is not None and second is not None:
                self.put(first, second, self.tag(coupling.name, Stands.MUTUAL), -1)
                self.put(second, first, self.tag(coupling.name, Stands.MUTUAL), -1)
        return bits

    def count_products(self) -> float:
        """Number of products in the determinant: its value with every tag at 1 (without couplings, which add to it)."""
        plain = [[0.0] * self.size for _ in range(self.size)]
        mutual = sum(1 << i for i, tag in enumerate(self.tags) if tag.stands is Stands.MUTUAL)
        for row, entries in enumerate(self.rows):
            for column, entry in entries.items():
                if column < self.size:
                    plain[row][column] = float(sum(c for product, c in entry.items() if not product & mutual))
        return abs(float(np.linalg.det(np.array(plain)))) if plain else 1.0

    def _branch(self, name: str, a: str, b: str) -> None:
        """A current from a to b, and the row of the voltage along it."""
        inner, given = self.span(a, b)
        branch = self.row_of_branch[name.lower()]
        for row, sign in inner:
            self.put(row, branch, 0, sign)
            self.put(branch, row, 0, sign)
        self.put_source(branch, given, 0)


def _solved(system: _System) -> Equations:
    """Write and solve."""
    bits = system.write()
    channels = len(system.network.channels)
    _check_products(system)
    determinant, unknown = cramer(system.rows, system.size, channels)
    if not determinant:
        where = (*system.nodes, *system.row_of_branch)[0]
        raise NoSolutionError(
            f"the equations round {where} contradict each other", "check what is shorted or left open there"
        )
    voltage: dict[str, tuple[Multilinear, ...]] = {}
    current: dict[str, tuple[Multilinear, ...]] = {}
    for element in system.elements:
        inner, given = system.span(element.a, element.b)
        volts: list[Multilinear] = []
        for channel in range(channels):
            total: Multilinear = {}
            for row, sign in inner:
                add(total, unknown[row][channel], sign)
            add(total, determinant, given[channel])
            volts.append(total)
        voltage[element.name] = tuple(volts)
        if element.name in bits:
            # An element's own admittance never stands in the numerator of its voltage (Thevenin), so no bit meets
            # its like here; a test holds this to it.
            bit = bits[element.name]
            current[element.name] = tuple({product | bit: c for product, c in one.items()} for one in volts)
        else:
            current[element.name] = tuple(unknown[system.row_of_branch[element.name.lower()]])
    return Equations(tuple(e.name for e in system.elements), tuple(system.tags), determinant, voltage, current)


def immittance(network: Network, tag: Tag, has_symbol: frozenset[Quantity]) -> tuple[Form, Form]:
    """Numerator p and denominator q of a tag, in quantities; losses without a symbol are zero.

    Admittances: resistor 1/R, coil 1/(dcr + s L), capacitor s C/((1 + j df) + s C esr), driver 1/Z.
    """

    def loss(kind: SymbolKind) -> Quantity | None:
        quantity = Quantity(kind, tag.owner)
        return quantity if quantity in has_symbol else None

    if tag.stands is Stands.MUTUAL:
        return ((S, Quantity(SymbolKind.MUTUAL, tag.owner)),), ONE
    card = next((d for d in network.drivers if d.name == tag.owner), None)
    if card is not None:
        return ONE, ((Quantity(SymbolKind.DRIVER, card.driver),),)
    part = network.part(tag.owner)
    value = Quantity(SymbolKind.VALUE, part.name)
    if isinstance(part, Resistor):
        return ONE, (((value,),) if value in has_symbol else ZERO)
    if isinstance(part, Inductor):
        dcr = loss(SymbolKind.DCR)
        ohms: Form = ((S, value), *(((dcr,),) if dcr else ()))
        return (ohms, ONE) if tag.stands is Stands.IMPEDANCE else (ONE, ohms)
    angle, esr = loss(SymbolKind.LOSS_ANGLE), loss(SymbolKind.ESR)
    own: Form = ((angle,) if angle else (),)
    return ((S, value),), own + (((S, value, esr),) if esr else ())
