"""A network with other values in the same places: what if."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

from xover.errors import InputError, OptionError
from xover.network.network import Network
from xover.network.parts import Part, changed, numbers_of, unit_of
from xover.quantity import PART_RANGES, QuantityKind, format_quantity, parse_fraction, parse_quantity


def with_values(network: Network, values: Mapping[str, float | str]) -> Network:
    """The network with the values of some parts exchanged; losses that are not named stay as they are.

    Parameters
    ----------
    values : by the part's name, whatever its case: ohm, henry or farad as a number, or a text such as "4.7uF". A loss
        goes by the names that formulas use: `L1_dcr` and `C1_esr` in ohm, `C1_df` a dissipation factor.

    Raises OptionError: no such part or loss, or a value that no crossover has.
    """
    renewed: dict[str, Part] = {}
    for name, value in values.items():
        part, ending = _place(network, name)
        kind = unit_of(part)
        if ending:
            number = _loss(name, value, fraction=ending == "_df")
        else:
            number = _in_range(name, _number(name, value, kind), kind)
        renewed[part.name] = changed(renewed.get(part.name, part), {part.name + ending: number})
    return replace(network, parts=tuple(renewed.get(p.name, p) for p in network.parts))


def turned(network: Network, keys: Collection[str]) -> Network:
    """The network with the two wires of some drivers swapped, by key."""
    drivers = tuple(replace(d, plus=d.minus, minus=d.plus) if d.key in keys else d for d in network.drivers)
    return replace(network, drivers=drivers)


def in_wiring(design: Network, today: Network) -> Network:
    """The design's wiring with today's parts: each by its name, where it is of its kind; whatever else stands today is
    left out. Each driver keeps the polarity of the design."""
    now = {p.name.lower(): p for p in today.parts}

    def part(p: Part) -> Part:
        there = now.get(p.name.lower())
        return replace(there, a=p.a, b=p.b) if there is not None and type(there) is type(p) else p

    return replace(design, parts=tuple(part(p) for p in design.parts))


def exchanged(network: Network, one: str, other: str) -> Network:
    """The network with two parts of a kind in each other's place."""
    first, second = network.part(one), network.part(other)
    put = {
        first.name: replace(second, name=first.name, a=first.a, b=first.b),
        second.name: replace(first, name=second.name, a=second.a, b=second.b),
    }
    return replace(network, parts=tuple(put.get(p.name, p) for p in network.parts))


def _place(network: Network, name: str) -> tuple[Part, str]:
    """The part, and the ending of the loss that is meant: a part called C1_esr comes before the loss of C1."""
    by_name = {p.name.lower(): p for p in network.parts}
    if name.lower() in by_name:
        return by_name[name.lower()], ""
    stem, _, loss = name.lower().rpartition("_")
    if stem in by_name:
        part = by_name[stem]
        endings = [ending for ending in numbers_of(part) if ending]
        if f"_{loss}" in endings:
            return part, f"_{loss}"
        losses = ", ".join(part.name + ending for ending in endings) or "none"
        raise OptionError(f"{part.name} has no loss '{loss[:40]}'", f"its losses are: {losses}")
    return network.part(name), ""


def _number(name: str, value: float | str, kind: QuantityKind) -> float:
    if not isinstance(value, str):
        return float(value)
    try:
        return parse_quantity(value, kind)
    except InputError as error:
        raise OptionError(f"{name}: {error.problem}", error.remedy) from None


def _in_range(name: str, number: float, kind: QuantityKind) -> float:
    low, high = PART_RANGES[kind]
    if not low <= number <= high:
        raise OptionError(
            f"{name} is {number:g}",
            f"give {kind.a_word} from {format_quantity(low, kind)} to {format_quantity(high, kind)}, in SI units",
        )
    return number


def _loss(name: str, value: float | str, fraction: bool) -> float:
    try:
        number = (
            parse_fraction(value)
            if fraction and isinstance(value, str)
            else _number(name, value, QuantityKind.RESISTANCE)
        )
    except InputError as error:
        raise OptionError(f"{name}: {error.problem}", error.remedy) from None
    limit = 10.0 if fraction else PART_RANGES[QuantityKind.RESISTANCE][1]
    if not 0.0 <= number <= limit:
        raise OptionError(f"{name} is {number:g}", f"give 0 to {limit:g}")
    return number
