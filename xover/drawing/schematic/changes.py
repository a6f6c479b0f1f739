"""The same network with other values: what is to be marked in the drawing, and what is to be said below it."""

from __future__ import annotations

from dataclasses import dataclass

from xover.drawing.schematic.words import ARROW, loss_texts, name_of
from xover.network.network import Network
from xover.network.parts import DriverCard, Part, shown_value

MOST_NAMED = 40
"""Parts that a list below the drawing names; more are counted."""


@dataclass(frozen=True)
class Changes:
    """What differs from another network.

    Attributes
    ----------
    before : parts of the other network by name in small letters; empty without one.
    added : names of the parts that the other network lacks, in small letters.
    notes : lines for below the drawing.
    """

    before: dict[str, Part]
    added: frozenset[str]
    notes: tuple[str, ...]


def find_changes(network: Network, other: Network | None) -> Changes:
    """Compare a network with another of the same speaker, part by part, by name."""
    if other is None:
        return Changes({}, frozenset(), ())
    old = {p.name.lower(): p for p in other.parts}
    new = {p.name.lower(): p for p in network.parts}
    added = [p for name, p in new.items() if name not in old]
    removed = [p for name, p in old.items() if name not in new]
    joined = [
        f"{name_of(p.name)} (was {_ends(old[name])}, is {_ends(p)})"
        for name, p in new.items()
        if name in old and {p.a, p.b} != {old[name].a, old[name].b}
    ]
    before, now = names_of(network, other)
    notes = [f"{before} {ARROW} {now}" + (", where a value differs" if _differ(old, new) else ": no value differs")]
    notes += _list("Added", [_with_value(p) for p in added])
    notes += _list("Removed", [f"{_with_value(p)} from {name_of(p.a)} to {name_of(p.b)}" for p in removed])
    notes += _list("Joined otherwise", joined)
    notes += _list("Drivers joined otherwise", _drivers(network, other))
    notes += _list("Couplings changed", _couplings(network, other))
    return Changes(old, frozenset(p.name.lower() for p in added), tuple(notes))


def names_of(network: Network, other: Network) -> tuple[str, str]:
    """What the other network and this one are called: their files' names where these differ."""
    paths = (other.path, network.path)
    stems = [None if p is None else p.stem for p in paths]
    if stems[0] == stems[1] and all(paths):
        stems = [None if p is None else f"{p.parent.name}/{p.stem}" for p in paths]
    if None in stems or stems[0] == stems[1]:
        return "old value", "new value"
    return f"old value ({name_of(str(stems[0]))})", f"new value ({name_of(str(stems[1]))})"


def _differ(old: dict[str, Part], new: dict[str, Part]) -> bool:
    return any(
        (shown_value(old[name]), loss_texts(old[name])) != (shown_value(part), loss_texts(part))
        for name, part in new.items()
        if name in old
    )


def _with_value(part: Part) -> str:
    return f"{name_of(part.name)} {shown_value(part)}"


def _ends(part: Part | DriverCard) -> str:
    return f"{name_of(part.a)} to {name_of(part.b)}"


def _drivers(network: Network, other: Network) -> list[str]:
    old = {d.name.lower(): d for d in other.drivers}
    found = []
    for card in network.drivers:
        was = old.pop(card.name.lower(), None)
        if was is None:
            found.append(f"{name_of(card.key)} (new)")
        elif (was.plus, was.minus) == (card.minus, card.plus):
            found.append(f"{name_of(card.key)} (turned round)")
        elif (was.plus, was.minus) != (card.plus, card.minus):
            found.append(f"{name_of(card.key)} (was {_ends(was)}, is {_ends(card)})")
        elif was.driver != card.driver:
            found.append(f"{name_of(card.name)} (was {name_of(was.driver)}, is {name_of(card.driver)})")
    return found + [f"{name_of(card.key)} (gone)" for card in old.values()]


def _couplings(network: Network, other: Network) -> list[str]:
    old = {c.name.lower(): c for c in other.couplings}
    new = {c.name.lower(): c for c in network.couplings}
    found = []
    for name in dict.fromkeys((*new, *old)):
        a, b = old.get(name), new.get(name)
        before, now = ("none" if c is None else f"{c.k:.4g} {name_of(c.first)} {name_of(c.second)}" for c in (a, b))
        if before != now:
            found.append(f"{name_of((b or a).name)} {before} {ARROW} {now}")  # type: ignore[union-attr]
    return found


def _list(head: str, entries: list[str]) -> list[str]:
    if not entries:
        return []
    more = f", and {len(entries) - MOST_NAMED} more" if len(entries) > MOST_NAMED else ""
    return [f"{head}: {', '.join(entries[:MOST_NAMED])}{more}."]
