"""A network as the text of a netlist, which reads back as the same network."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Final

from xover.errors import InputError
from xover.files.netlist import parse_netlist
from xover.network.build import build_part
from xover.network.network import GROUND, Network
from xover.network.parts import Capacitor, Inductor, Part, Resistor
from xover.quantity import Kind, parse_quantity, spice_value

# Powers of ten that SPICE has a letter for, those that a parts shop prints first.
_LETTERS: Final = {"R": ((0, ""),), "L": ((-3, "mH"), (-6, "uH")), "C": ((-6, "uF"), (-9, "nF"))}
# What the numbers of a part say already.
_ELECTRICAL: Final = ("dcr", "esr", "df", "loss", "cold", "hot")


def netlist_text(network: Network, notes: Iterable[str] | None = None) -> str:
    """The cards of a network, with its title, its notes and what its parts say beyond their values.

    Values are written so that reading them gives the same floats back. A part whose card still says what the part
    is keeps the card's own words (`loss=1.7@1kHz`); else its losses are written from the numbers.

    Parameters
    ----------
    notes : comment lines below the title, in place of the network's own.
    """
    lines = [f"* {_one_line(network.title or 'network')}"]
    lines += [f"* {_one_line(note)}" for note in (network.notes if notes is None else notes)]
    if [(c.name, c.plus, c.minus) for c in network.channels] != [("in", "in", GROUND)]:
        lines += [f"V{c.name} {c.plus} {c.minus}" for c in network.channels]
    lines += [part_text(part) for part in network.parts]
    lines += [f"{d.name} {d.plus} {d.minus} {d.driver}" for d in network.drivers]
    lines += [f"{c.name} {c.first} {c.second} {c.k!r}" for c in network.couplings]
    return "\n".join([*lines, ".end", ""])


def part_text(part: Part) -> str:
    """One card."""
    fields = dict(part.fields)
    as_said = _card(part, fields)
    try:
        if build_part(parse_netlist(as_said).cards[0]) == part:
            return as_said
    except InputError:
        pass  # what the card said does not fit the part any more
    plain = {key: text for key, text in fields.items() if key not in _ELECTRICAL}
    return _card(part, _losses(part) | plain)


def _card(part: Part, fields: dict[str, str]) -> str:
    said = "".join(f" {key}={text}" for key, text in fields.items())
    return f"{part.name} {part.a} {part.b} {value_text(part)}{said}"


def _losses(part: Part) -> dict[str, str]:
    if isinstance(part, Inductor):
        return {"dcr": f"{part.dcr_ohm!r}"} if part.dcr_ohm else {}
    if isinstance(part, Capacitor):
        out = {"df": f"{part.dissipation_factor!r}@1kHz"} if part.dissipation_factor else {}
        return out | ({"esr": f"{part.esr_ohm!r}"} if part.esr_ohm else {})
    if part.is_lamp:
        return {"cold": f"{part.ohm!r}"} | ({"hot": f"{part.hot_ohm!r}"} if part.hot_ohm is not None else {})
    return {}


def value_text(part: Part) -> str:
    """The value with its unit, such as 4.7uF, to the last bit; resistances are bare numbers."""
    value, letter, kind = _value(part)
    number = Decimal(repr(value))
    first, *others = ((number.scaleb(-power).normalize(), unit) for power, unit in _LETTERS[letter])
    scaled, unit = first if first[0] >= Decimal("0.01") or not others else others[0]
    text = f"{scaled:f}{unit}"
    # A number of 16 digits may lose its last one on the way through a unit.
    return text if parse_quantity(text, kind) == value else spice_value(value)


def _value(part: Part) -> tuple[float, str, Kind]:
    if isinstance(part, Resistor):
        return part.ohm, "R", Kind.RESISTANCE
    if isinstance(part, Inductor):
        return part.henry, "L", Kind.INDUCTANCE
    return part.farad, "C", Kind.CAPACITANCE


def _one_line(text: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
