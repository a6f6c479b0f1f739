"""Symbols of a symbolic answer: generated ones inside, names that a reader knows outside.

Inside, every quantity of a network is x0, x1, ...; nothing that a person typed reaches an algebra
system. A table leads from each of them to a display name: `L1`, `C1_df`, `Z_woofer`.
"""

from __future__ import annotations

import builtins
import keyword
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import Enum

from xover.network.network import Network
from xover.network.parts import settings


class SymbolKind(Enum):
    """What a symbol stands for; the value is what its display name adds to the owner's name.

    Two stand for more than they show. LOSS_ANGLE is 1 + j df, so that a capacitor's impedance is
    esr + (1 + j df)/(s C), which on the j w axis (w > 0) is esr + df/(w C) + 1/(j w C); it shows df.
    MUTUAL is M = k sqrt(L1 L2), which is no polynomial of the coils; it shows k.
    """

    FREQUENCY = "s"
    VALUE = ""
    DCR = "_dcr"
    ESR = "_esr"
    LOSS_ANGLE = "_df"
    MUTUAL = "K"
    DRIVER = "Z_"


@dataclass(frozen=True)
class Quantity:
    """One quantity of a network: a kind, and the name of the part, coupling or driver that has it."""

    kind: SymbolKind
    owner: str = ""


S = Quantity(SymbolKind.FREQUENCY)


@dataclass(frozen=True)
class SymbolTable:
    """All quantities of a network, each with its generated symbol, its display name and its value.

    Attributes
    ----------
    generated : "x0", "x1", ... by quantity; x0 is s.
    display : the reader's name by quantity; unique, made of ASCII letters, digits and underscores, and
        free of every name that means something to sympy or Python.
    value : in SI units by display name, for all quantities that are numbers (not s, not drivers).
    altered : display name by what it would have been, for those that had to be changed.
    coils : for each coupling the two coils' quantities.
    """

    generated: Mapping[Quantity, str]
    display: Mapping[Quantity, str]
    value: Mapping[str, float]
    altered: Mapping[str, str]
    coils: Mapping[str, tuple[Quantity, Quantity]]

    def quantity(self, generated: str) -> Quantity:
        """The quantity behind a generated symbol."""
        return list(self.generated)[int(generated[1:])]

    @property
    def driver_names(self) -> dict[str, str]:
        """Display name of each driver's impedance by the driver's own name."""
        return {q.owner: name for q, name in self.display.items() if q.kind is SymbolKind.DRIVER}


def symbol_table(network: Network, *, keep_zero_losses: bool = False) -> SymbolTable:
    """Name every quantity of a network.

    Parameters
    ----------
    keep_zero_losses : give a symbol to losses that are exactly zero, too.

    A name is altered where it must be: every character other than an ASCII letter, digit or underscore
    becomes an underscore, a name that begins with a digit gets `p_` before it, and a name that is taken,
    that Python reserves or that sympy uses (Lambda, Rational, Limit, ...) gets underscores at its end until
    it is free.
    """
    found: list[tuple[Quantity, float | None]] = [(S, None)]
    for part in network.parts:
        for ending, number in settings(part).items():
            if number != 0 or (ending and keep_zero_losses):
                found.append((Quantity(SymbolKind(ending), part.name), number))
    for coupling in network.couplings:
        found.append((Quantity(SymbolKind.MUTUAL, coupling.name), coupling.k))
    found += [(Quantity(SymbolKind.DRIVER, name), None) for name in network.driver_names]
    wanted = {quantity: _plain_name(quantity) for quantity, _ in found}
    display = _unique(wanted)
    coils = {
        c.name: (
            Quantity(SymbolKind.VALUE, network.part(c.first).name),
            Quantity(SymbolKind.VALUE, network.part(c.second).name),
        )
        for c in network.couplings
    }
    return SymbolTable(
        {quantity: f"x{index}" for index, (quantity, _) in enumerate(found)},
        display,
        {display[quantity]: value for quantity, value in found if value is not None},
        {wanted[q]: name for q, name in display.items() if name != wanted[q]},
        coils,
    )


def numbers(network: Network, *, keep_zero_losses: bool = False) -> dict[str, float]:
    """The network's own values in SI units by display name: parts, losses and couplings."""
    return dict(symbol_table(network, keep_zero_losses=keep_zero_losses).value)


def _plain_name(quantity: Quantity) -> str:
    """What the display name would be if every name were a good one."""
    if quantity.kind is SymbolKind.FREQUENCY:
        return "s"
    if quantity.kind is SymbolKind.DRIVER:
        return "Z_" + quantity.owner
    return quantity.owner + ("" if quantity.kind is SymbolKind.MUTUAL else quantity.kind.value)


def _unique(wanted: Mapping[Quantity, str]) -> dict[Quantity, str]:
    """Display names; those that need no change have the first claim to theirs."""
    reserved = _reserved()
    clean = {q: re.sub(r"^(?=\d)", "p_", re.sub(r"[^A-Za-z0-9_]", "_", name)) for q, name in wanted.items()}
    taken: set[str] = set()
    display: dict[Quantity, str] = {}
    ordered: Iterable[Quantity] = sorted(wanted, key=lambda q: clean[q] != wanted[q] or clean[q] in reserved)
    for quantity in ordered:
        name = clean[quantity]
        while name in taken or name in reserved:
            name += "_"
        taken.add(name)
        display[quantity] = name
    return {q: display[q] for q in wanted}


def _reserved() -> frozenset[str]:
    """Names that sympy's parser or Python would take for something else."""
    import sympy

    return frozenset(dir(sympy)) | frozenset(keyword.kwlist) | frozenset(dir(builtins))
