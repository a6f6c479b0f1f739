"""What may stand in the place of an old part: itself, or new parts in legs, each with its impedance."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property

import numpy as np

from xover.curve import Complex, Float
from xover.network import Capacitor, Inductor, Part, Resistor
from xover.parts.kinds import FACTS, PartKind
from xover.parts.stock_item import ItemKind, StockItem
from xover.quantity import Kind, format_quantity


class Shape(StrEnum):
    """How a choice is built."""

    KEEP = "the old part"
    KEEP_WITH_RESISTOR = "the old part and a series resistor"
    SINGLE = "one part"
    PAIR = "two parts"
    WITH_RESISTOR = "one part and a series resistor"
    PAIR_WITH_RESISTOR = "two parts and a series resistor"
    TWO_LEGS = "two legs"
    """A capacitor, or two, parallel to a small one that has a resistor in series: loses as an electrolytic does."""


@dataclass(frozen=True, eq=False)
class Choice:
    """One way to fill the place of an old part.

    Attributes
    ----------
    part : the old part's name.
    legs : parallel legs of parts in series; nodes are filled in by `placed`.
    items : what is bought, in the order of the legs; an old part that stays is none.
    impedance_ohm : (n,) of the whole.
    """

    part: str
    shape: Shape
    legs: tuple[tuple[Part, ...], ...]
    items: tuple[StockItem, ...]
    impedance_ohm: Complex

    @property
    def keeps(self) -> bool:
        """Whether the old part stays."""
        return self.shape in (Shape.KEEP, Shape.KEEP_WITH_RESISTOR)

    @cached_property
    def price(self) -> float:
        """Of the new parts; those without a price count as nothing."""
        return sum(item.price or 0.0 for item in self.items)

    @property
    def new_parts(self) -> int:
        """How many parts are bought and soldered in."""
        return len(self.items)

    @property
    def words(self) -> str:
        """What is fitted, such as "4.7 uF + 0.22 ohm in series"."""
        if not self.items:
            return "the old part stays"
        if self.shape is Shape.KEEP_WITH_RESISTOR:
            return f"the old part stays, {value_words(self.legs[0][1])} in series with it"
        legs = [" + ".join(value_words(p) for p in leg) for leg in self.legs]
        text = " parallel to ".join(f"({leg})" if " + " in leg and len(legs) > 1 else leg for leg in legs)
        return f"{text} in series" if len(legs) == 1 and len(self.legs[0]) > 1 else text


def value_words(part: Part) -> str:
    """The value of a part as a shop prints it."""
    if isinstance(part, Resistor):
        return format_quantity(part.ohm, Kind.RESISTANCE)
    if isinstance(part, Inductor):
        return format_quantity(part.henry, Kind.INDUCTANCE)
    return format_quantity(part.farad, Kind.CAPACITANCE)


def new_part(item: StockItem) -> Part:
    """The item as a part of a netlist, its name and nodes still to come."""
    said: list[tuple[str, str]] = []
    if item.tolerance is not None:
        said.append(("tol", f"{item.tolerance * 100:g}%"))
    if item.kind is ItemKind.RESISTOR:
        if item.watts is not None:
            said.append(("watts", f"{item.watts:g}"))
        return Resistor("R", "", "", item.value, fields=tuple(said))
    if item.kind is ItemKind.INDUCTOR:
        return Inductor("L", "", "", item.value, item.dcr_ohm or 0.0, fields=(("core", item.core or "air"), *said))
    if item.volts is not None:
        said.append(("volts", f"{item.volts:g}"))
    kind = PartKind.ELECTROLYTIC if item.dielectric == "electrolytic" else PartKind.FILM
    loss = item.dissipation_factor
    if loss is None and item.esr_ohm is None:
        loss = FACTS[kind].new_dissipation_factor
    return Capacitor("C", "", "", item.value, item.esr_ohm or 0.0, loss or 0.0, fields=(("kind", str(kind)), *said))


def legs_impedance_ohm(legs: Iterable[Iterable[Part]], omega: Float) -> Complex:
    """(n,) impedance of parallel legs of parts in series."""
    admittance: Complex = np.zeros(omega.shape, dtype=complex)
    for leg in legs:
        series: Complex = np.zeros(omega.shape, dtype=complex)
        for part in leg:
            series = series + part.impedance_ohm(omega)
        admittance = admittance + 1.0 / series
    return np.asarray(1.0 / admittance, dtype=complex)


def keep(old: Part, omega: Float) -> Choice:
    """The old part stays."""
    return Choice(old.name, Shape.KEEP, ((old,),), (), old.impedance_ohm(omega))


def keep_with(old: Part, resistor: StockItem, omega: Float) -> Choice:
    """The old part stays, and gets a resistor in series."""
    legs = ((old, new_part(resistor)),)
    return Choice(old.name, Shape.KEEP_WITH_RESISTOR, legs, (resistor,), legs_impedance_ohm(legs, omega))


def build(name: str, shape: Shape, legs: tuple[tuple[StockItem, ...], ...], omega: Float) -> Choice:
    """A choice of new parts."""
    parts = tuple(tuple(new_part(item) for item in leg) for leg in legs)
    return Choice(name, shape, parts, tuple(i for leg in legs for i in leg), legs_impedance_ohm(parts, omega))


def placed(choice: Choice, old: Part, fresh: Callable[[str], str]) -> tuple[Part, ...]:
    """The parts of a choice with names and nodes, between the old part's nodes.

    The first of each kind that the old part was keeps its name; a resistor in series with C1 is RC1, a second
    capacitor C1b. In a leg the resistor comes last: on the ground side of a shunt.

    Parameters
    ----------
    fresh : gives a name or node that is not in the network yet, near to the one wanted.
    """
    if choice.shape is Shape.KEEP:
        return (replace(choice.legs[0][0], name=old.name, a=old.a, b=old.b),)
    out: list[Part] = []
    for leg in choice.legs:
        at = old.a
        for index, part in enumerate(leg):
            last = index == len(leg) - 1
            following = old.b if last else fresh(f"{old.name.lower()}x")
            out.append(replace(part, name=_name(part, old, out, fresh), a=at, b=following))
            at = following
    return tuple(out)


def _name(part: Part, old: Part, before: list[Part], fresh: Callable[[str], str]) -> str:
    same_kind = type(part) is type(old)
    first = not any(type(p) is type(part) for p in before)
    if same_kind:
        return old.name if first else fresh(f"{old.name}b")
    return fresh(f"{part.name}{old.name}" if first else f"{part.name}{old.name}b")
