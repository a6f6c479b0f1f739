"""What stands beside each part: its name, its value, its losses, and what was another value before."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from xover.drawing.schematic.geometry import Kind, Role
from xover.drawing.schematic.lettering import shown
from xover.network.network import Network
from xover.network.parts import Capacitor, DriverCard, Inductor, Part, Resistor, shown_value
from xover.quantity import Kind as Unit
from xover.quantity import format_quantity

MOST_OF_A_NAME: Final = 14
"""Characters of a name that are drawn; the middle of a longer one is left out."""
ARROW: Final = "→"

_CORELESS: Final = (None, "air", "none")


@dataclass(frozen=True)
class Line:
    """One line beside a symbol."""

    content: str
    role: Role


@dataclass(frozen=True)
class Words:
    """All lines beside a symbol: the first is its name, the second its value (drivers have none)."""

    lines: tuple[Line, ...]

    @property
    def name(self) -> Line:
        """The name."""
        return self.lines[0]

    @property
    def value(self) -> Line | None:
        """The value, if there is one."""
        return next((line for line in self.lines[1:2] if line.role in (Role.VALUE, Role.CHANGED)), None)

    @property
    def rest(self) -> tuple[Line, ...]:
        """Losses, marks and couplings."""
        return self.lines[1 if self.value is None else 2 :]


def name_of(text: str) -> str:
    """A name as it is drawn."""
    return shown(text, MOST_OF_A_NAME)


def kind_of(element: Part | DriverCard) -> Kind:
    """Which symbol an element gets."""
    if isinstance(element, DriverCard):
        return Kind.DRIVER
    if isinstance(element, Resistor):
        return Kind.LAMP if element.is_lamp else Kind.RESISTOR
    if isinstance(element, Inductor):
        return Kind.COIL if element.core in _CORELESS else Kind.CORED_COIL
    return Kind.CAPACITOR


def loss_texts(part: Part) -> dict[str, str]:
    """Losses by their trade names; a loss of zero is not named."""
    if isinstance(part, Inductor):
        return {"DCR": format_quantity(part.dcr_ohm, Unit.RESISTANCE)} if part.dcr_ohm else {}
    if isinstance(part, Capacitor):
        found = {"ESR": format_quantity(part.esr_ohm, Unit.RESISTANCE)} if part.esr_ohm else {}
        return found | ({"df": f"{part.dissipation_factor:.3g}"} if part.dissipation_factor else {})
    if part.is_lamp:
        hot = {} if part.hot_ohm is None else {"hot": format_quantity(part.hot_ohm, Unit.RESISTANCE)}
        return {"lamp,": "cold", **hot}
    return {}


def part_words(part: Part, before: Part | None, is_new: bool, network: Network) -> Words:
    """What stands beside a part.

    Parameters
    ----------
    before : the same part in the other network, or None.
    is_new : whether the other network lacks it.
    """
    value = shown_value(part)
    old = value if before is None else shown_value(before)
    lines = [Line(name_of(part.name), Role.NAME)]
    lines.append(Line(value, Role.VALUE) if old == value else Line(_changed(old, value), Role.CHANGED))
    lines += list(_losses(part, part if before is None else before))
    if is_new:
        lines.append(Line("added", Role.MARK))
    return Words((*lines, *_couplings(part, network)))


def _changed(old: str, new: str) -> str:
    """`6.8 → 8.4 uF`: the unit once where both have it."""
    number, _, unit = old.rpartition(" ")
    return f"{number if new.endswith(' ' + unit) else old} {ARROW} {new}"


def _losses(part: Part, before: Part) -> list[Line]:
    new, old = loss_texts(part), loss_texts(before)
    lines = []
    for name in dict.fromkeys((*new, *old)):
        a, b = old.get(name, "0"), new.get(name, "0")
        role = Role.LOSS if a == b else Role.CHANGED_LOSS
        lines.append(Line(f"{name} {b if a == b else _changed(a, b)}", role))
    return lines


def _couplings(part: Part, network: Network) -> list[Line]:
    lines = []
    for coupling in network.couplings:
        ends = (coupling.first.lower(), coupling.second.lower())
        if part.name.lower() in ends:
            other = coupling.second if part.name.lower() == ends[0] else coupling.first
            lines.append(Line(f"k {coupling.k:.4g} with {name_of(other)}", Role.COUPLING))
    return lines


def driver_words(card: DriverCard, is_reversed: bool) -> Words:
    """What stands beside a driver: what it is called in results, its card, its polarity."""
    card_name = name_of(card.name) if card.driver == card.key else f"{name_of(card.name)}, {name_of(card.driver)}"
    lines = [Line(name_of(card.key), Role.DRIVER), Line(card_name, Role.LOSS)]
    if is_reversed:
        lines.append(Line("reversed", Role.MARK))
    return Words(tuple(lines))
