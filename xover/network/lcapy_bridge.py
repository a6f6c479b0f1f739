"""The one door to lcapy: only generated symbols and numbers go through, and no state stays behind.

lcapy judges the symbolic solve by its own circuit analysis, and gives time responses. It is an optional
dependency. Importing it changes how sympy prints and what sympy understands, and its symbols live in a global
registry; `fenced` puts all of that back.
"""

from __future__ import annotations

import importlib
import sys
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Complex, Float
from xover.errors import OptionError
from xover.network.network import Network
from xover.network.partial_fractions import partial_fractions
from xover.network.parts import Capacitor, Inductor, Resistor
from xover.network.rational import Rational, numeric_polynomials
from xover.network.symbols import Kind, Quantity, SymbolTable

Impedances = Mapping[str, float | tuple[Sequence[float], Sequence[float]]]


@contextmanager
def fenced() -> Iterator[Any]:
    """lcapy for the time of a `with` block: its warnings silenced, sympy's and its own global state restored.

    Raises OptionError when lcapy is not installed or cannot be loaded.
    """
    kept = [(place, dict(place)) for place in _dictionaries()]
    hook = sys.displayhook
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            lcapy = _loaded()
            with _own_symbols():
                yield lcapy
        finally:
            sys.displayhook = hook
            for place, content in kept:
                place.clear()
                place.update(content)


def _loaded() -> Any:
    try:
        lcapy = importlib.import_module("lcapy")
    except ImportError:
        raise OptionError("lcapy is not installed", "install it with: python -m pip install 'lcapy>=1.26'") from None
    except Exception as error:
        # lcapy reads settings from a file `lcapyrc` in the current folder while it is imported.
        raise OptionError(
            f"lcapy cannot be loaded ({type(error).__name__})",
            "is there a file lcapyrc in this folder? remove it",
        ) from error
    lcapy.rcParams.rcdefaults()
    # What lcapy sets in sympy when it is first imported; put back after every use, so set before every use.
    sympy = importlib.import_module("sympy")
    converter = importlib.import_module("sympy.core.sympify").converter
    converter["j"] = converter[sympy.Symbol("j")] = sympy.I
    return lcapy


def _dictionaries() -> list[Any]:
    """Everything of sympy that lcapy writes to."""
    found = [
        importlib.import_module("sympy.core.sympify").converter,
        importlib.import_module("sympy.printing.printer").Printer._global_settings,
        importlib.import_module("sympy.printing.pretty.pretty_symbology").atoms_table,
    ]
    for module, name in (("str", "StrPrinter"), ("latex", "LatexPrinter"), ("pretty.pretty", "PrettyPrinter")):
        found.append(getattr(importlib.import_module(f"sympy.printing.{module}"), name)._default_settings)
    return found


@contextmanager
def _own_symbols() -> Iterator[None]:
    """Symbols made in a block are forgotten after it, and sympy's assumptions are what they were."""
    state = importlib.import_module("lcapy.state").state
    assumptions = importlib.import_module("sympy.assumptions.assume").global_assumptions
    kinds = importlib.import_module("lcapy.symbolregistry").symbol_kinds
    kept = [(place, dict(place)) for place in (state.symbols, kinds)]
    assumed, context, previous = set(assumptions), state.context, list(state.previous_context)
    try:
        yield
    finally:
        for place, content in kept:
            place.clear()
            place.update(content)
        assumptions.clear()
        assumptions.update(assumed)
        state.context, state.previous_context = context, previous


def laplace_expression(
    lcapy: Any, rational: Rational, values: Mapping[str, float], drivers: Impedances, loss_hz: float | None = None
) -> Any:
    """A result with its numbers filled in, as lcapy's expression in s; arguments as in `numeric_polynomials`.

    To be used inside `with fenced() as lcapy`; then lcapy's poles(), zeros(), partfrac(), limits and so on are
    there. They work with exact radicals: up to second order at once, third in seconds, more may never end.
    """
    top, bottom = numeric_polynomials(rational, values, drivers, loss_hz)
    return _ratio(lcapy, top, bottom)


def _ratio(lcapy: Any, top: Sequence[Any], bottom: Sequence[Any]) -> Any:
    """lcapy's expression of two polynomials in s, given as exact fractions, highest power first."""
    sympy = importlib.import_module("sympy")
    s = lcapy.s.sympy
    upper, lower = (
        sum((sympy.Rational(c.numerator, c.denominator) * s**k for k, c in enumerate(reversed(p))), sympy.S.Zero)
        for p in (top, bottom)
    )
    return type(lcapy.s)(upper / lower)


def step_response(
    rational: Rational,
    values: Mapping[str, float],
    drivers: Impedances,
    time_s: ArrayLike,
    loss_hz: float | None = None,
) -> Float:
    """(n,) response at times > 0 to one volt switched on at time zero; arguments as in `numeric_polynomials`.

    H(s)/s is split into fractions of one real pole or one pair of poles each, and lcapy transforms these one by
    one, so the order may be high. Raises OptionError for a function that does not settle down at high frequency,
    such as the current into a bare capacitor, and for poles that coincide exactly.
    """
    times = np.asarray(time_s, dtype=float)
    top, bottom = numeric_polynomials(rational, values, drivers, loss_hz)
    fractions = partial_fractions(top, [*bottom, Fraction(0)])
    total = np.zeros(times.shape)
    with fenced() as lcapy:
        for numerator, denominator in fractions:
            response = _ratio(lcapy, numerator, denominator).inverse_laplace(causal=True)
            total = total + np.real(np.broadcast_to(response.evaluate(times), times.shape))
    return total


def poles_and_zeros(
    rational: Rational, values: Mapping[str, float], drivers: Impedances, loss_hz: float | None = None
) -> tuple[Complex, Complex]:
    """Poles and zeros in rad/s by lcapy, multiple ones repeated; for second order and below (see above)."""
    with fenced() as lcapy:
        found = laplace_expression(lcapy, rational, values, drivers, loss_hz)

        def listed(roots: Mapping[Any, Any]) -> Complex:
            times = [int(getattr(count, "sympy", count)) for count in roots.values()]
            return np.repeat(np.array([root.cval for root in roots], dtype=complex), times)

        return listed(found.poles()), listed(found.zeros())


def rederived(network: Network, table: SymbolTable, find: Callable[[Any, Mapping[str, str]], Any]) -> Any:
    """A function of a network by lcapy's own circuit analysis, as a sympy expression in the generated symbols.

    Parameters
    ----------
    find : takes lcapy's circuit and lcapy's names of the network's nodes (parts and sources as they stand in the
        network, without a source at the amplifier), and returns one of its expressions.

    A coil's resistance and a capacitor's fixed one are elements of their own; a capacitor with a dissipation
    factor and a driver are impedances.
    """
    with fenced() as lcapy:
        cards, nodes = _cards(network, table)
        result = find(lcapy.Circuit("\n".join(cards)), nodes).sympy
        sympy = importlib.import_module("sympy")
        return result.subs({symbol: sympy.Symbol(symbol.name) for symbol in result.free_symbols}).subs(
            sympy.Symbol("s"), sympy.Symbol("x0")
        )


def _cards(network: Network, table: SymbolTable) -> tuple[list[str], dict[str, str]]:
    """The network as lcapy's cards, with numbers for nodes and generated symbols for values."""
    nodes = {"0": "0"}

    def node(name: str) -> str:
        return nodes.setdefault(name, str(len(nodes)))

    def symbol(kind: Kind, owner: str) -> str:
        return table.generated.get(Quantity(kind, owner), "")

    cards: list[str] = []
    coil_name: dict[str, str] = {}
    for number, part in enumerate(network.parts):
        a, b, value = node(part.a), node(part.b), symbol(Kind.VALUE, part.name)
        if isinstance(part, Resistor):
            cards.append(f"R{number} {a} {b} {{{value}}}" if value else f"W {a} {b}")
            continue
        resistance = symbol(Kind.DCR if isinstance(part, Inductor) else Kind.ESR, part.name)
        between = str(1000 + number) if resistance else b
        if resistance:
            cards.append(f"R{number} {between} {b} {{{resistance}}}")
        if isinstance(part, Inductor):
            coil_name[part.name.lower()] = f"L{number}"
            cards.append(f"L{number} {a} {between} {{{value}}}")
        elif isinstance(part, Capacitor) and (angle := symbol(Kind.LOSS_ANGLE, part.name)):
            cards.append(f"Z{number} {a} {between} {{{angle}/(s*{value})}}")
        else:
            cards.append(f"C{number} {a} {between} {{{value}}}")
    for number, coupling in enumerate(network.couplings):
        one, other = (table.generated[coil] for coil in table.coils[coupling.name])
        mutual = symbol(Kind.MUTUAL, coupling.name)
        names = coil_name[coupling.first.lower()], coil_name[coupling.second.lower()]
        cards.append(f"K{number} {names[0]} {names[1]} {{{mutual}/sqrt({one}*{other})}}")
    for number, driver in enumerate(network.drivers):
        cards.append(f"Z{2000 + number} {node(driver.a)} {node(driver.b)} {{{symbol(Kind.DRIVER, driver.driver)}}}")
    for channel in network.channels:
        node(channel.plus), node(channel.minus)
    return cards, nodes
