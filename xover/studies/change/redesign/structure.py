"""Simpler circuits from a circuit: a part left out, bridged, or made one with its neighbour."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from xover.network import Capacitor, DriverCard, Inductor, Network, Part, Resistor, value_of
from xover.network.faults import topology_faults
from xover.network.network import GROUND, find_sections, fixed_nodes


class MoveKind(StrEnum):
    """What becomes of a part's place."""

    OPEN = "left open"
    BRIDGED = "bridged"
    MERGED = "made one with"


@dataclass(frozen=True)
class Move:
    """One part that is gone; `into` is the part that does its work too, where they were made one."""

    part: str
    kind: MoveKind
    into: str = ""


@dataclass(frozen=True, eq=False)
class Simpler:
    """A circuit with fewer parts, and all that is gone from it."""

    network: Network
    moves: tuple[Move, ...]


def simpler(network: Network, names: Sequence[str]) -> Iterator[Simpler]:
    """Every circuit that is left when one part goes, and what hangs in the air without it; no driver loses its feed.

    Parameters
    ----------
    names : parts that may go; a circuit that would lose another one is left out.
    """
    for name in names:
        for kind in (MoveKind.BRIDGED, MoveKind.OPEN):
            found = without_part(network, name, kind)
            if found is not None and {m.part for m in found.moves} <= set(names):
                yield found


def without_part(network: Network, name: str, kind: MoveKind) -> Simpler | None:
    """The circuit with one part gone; None where a driver would be shorted, left open, or the amplifier shorted."""
    part = network.part(name)
    parts = tuple(p for p in network.parts if p is not part)
    moved = replace(network, parts=parts)
    if kind is MoveKind.BRIDGED:
        fixed = fixed_nodes(network)
        if part.a in fixed and part.b in fixed:
            return None
        gone, kept = (part.b, part.a) if part.a in fixed else (part.a, part.b)
        moved = _renamed(moved, gone, kept)
    moves = [Move(part.name, kind)]
    loose = _loose(moved)
    while loose is not None:
        moved = replace(moved, parts=tuple(p for p in moved.parts if p is not loose))
        moves.append(Move(loose.name, MoveKind.OPEN))
        loose = _loose(moved)
    if next(topology_faults(moved), None) is not None:  # a wire that the part kept from shorting the amplifier
        return None
    return Simpler(moved, tuple(moves)) if _feeds_all(moved) else None


def merged(network: Network, names: Sequence[str]) -> Simpler:
    """The circuit with like parts in series, or in parallel, made one: it does the same with fewer parts."""
    moves: list[Move] = []
    while True:
        pair = _alike(network, names)
        if pair is None:
            return Simpler(network, tuple(moves))
        one, other, joint = pair
        parts = tuple(joint if p is one else p for p in network.parts if p is not other)
        network = replace(network, parts=parts)
        moves.append(Move(other.name, MoveKind.MERGED, one.name))


def _renamed(network: Network, gone: str, kept: str) -> Network:
    def at(node: str) -> str:
        return kept if node == gone else node

    parts = tuple(replace(p, a=at(p.a), b=at(p.b)) for p in network.parts)
    drivers = tuple(replace(d, plus=at(d.plus), minus=at(d.minus)) for d in network.drivers)
    return replace(network, parts=parts, drivers=drivers)


def _loose(network: Network) -> Part | None:
    """A part that carries no current: both ends at one node, or one end in the air."""
    ends = Counter(n for e in (*network.parts, *network.drivers) for n in (e.a, e.b))
    fixed = fixed_nodes(network)
    for part in network.parts:
        if part.a == part.b or any(ends[n] == 1 and n not in fixed for n in (part.a, part.b)):
            return part
    return None


def _feeds_all(network: Network) -> bool:
    """Whether a current can flow through every driver: neither shorted nor with an end in the air."""
    ends = Counter(n for e in (*network.parts, *network.drivers) for n in (e.a, e.b))
    fixed = fixed_nodes(network)
    whole = network.pruned()
    coupled = {n.lower() for c in network.couplings for n in (c.first, c.second)}
    played = [section for section in find_sections(network) if section.reaches_driver]
    return (
        len(whole.drivers) == len(network.drivers)
        and all(len(_borders(network, section.elements, fixed)) > 1 for section in played)
        and coupled <= {p.name.lower() for p in network.parts}
        and all(_is_fed(d, ends, fixed) for d in network.drivers)
    )


def _borders(network: Network, elements: Sequence[str], fixed: frozenset[str]) -> frozenset[str]:
    """The nodes of given voltage that a section hangs on: with one alone no current flows in it."""
    inside = [e for e in (*network.parts, *network.drivers) if e.name in elements]
    return frozenset(n for e in inside for n in (e.a, e.b)) & fixed


def _is_fed(card: DriverCard, ends: Counter[str], fixed: frozenset[str]) -> bool:
    return card.plus != card.minus and all(ends[n] > 1 or n in fixed for n in (card.plus, card.minus))


def _alike(network: Network, names: Sequence[str]) -> tuple[Part, Part, Part] | None:
    """Two like parts in series or in parallel, and the one part that does the work of both."""
    mine = [p for p in network.parts if p.name in names]
    ends = Counter(n for e in (*network.parts, *network.drivers) for n in (e.a, e.b))
    fixed = fixed_nodes(network)
    for row, one in enumerate(mine):
        for other in mine[row + 1 :]:
            if type(one) is not type(other):
                continue
            if {one.a, one.b} == {other.a, other.b}:
                return one, other, _joint(one, other, one.a, one.b, parallel=True)
            shared = {one.a, one.b} & {other.a, other.b}
            for node in shared - fixed - {GROUND}:
                if ends[node] == 2:
                    a = one.b if one.a == node else one.a
                    b = other.b if other.a == node else other.a
                    return one, other, _joint(one, other, a, b, parallel=False)
    return None


def _joint(one: Part, other: Part, a: str, b: str, *, parallel: bool) -> Part:
    first, second = value_of(one), value_of(other)
    adds = parallel is isinstance(one, Capacitor)
    value = first + second if adds else first * second / (first + second)
    said: dict[str, Any] = {"a": a, "b": b}
    if isinstance(one, Resistor):
        return replace(one, ohm=value, **said)
    if isinstance(one, Inductor) and isinstance(other, Inductor):
        ohms = one.dcr_ohm + other.dcr_ohm if adds else one.dcr_ohm * value / first
        return replace(one, henry=value, dcr_ohm=ohms, **said)
    assert isinstance(one, Capacitor)
    return replace(one, farad=value, **said)
