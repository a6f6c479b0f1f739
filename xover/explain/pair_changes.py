"""What may have changed between two like speakers: one part, or what age does to one driver."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from xover.explain.faults import FaultKind, fault_states
from xover.explain.pair_drivers import AGEING, COIL, DAMPING, MAGNET, SUSPENSION, AgedDriver
from xover.explain.terminals import NOMINAL, State, Terminals
from xover.network import Network


class ChangeKind(StrEnum):
    """What one change is."""

    VALUE = "another value"
    OPEN = "open"
    SHORTED = "shorted"
    MAGNET = "weaker or stronger magnet"
    SUSPENSION = "stiffer or softer suspension"
    DAMPING = "more or less damping"
    COIL = "another voice coil"
    OTHER_DRIVER = "another driver"


AGED: Final = {
    ChangeKind.MAGNET: MAGNET,
    ChangeKind.SUSPENSION: SUSPENSION,
    ChangeKind.DAMPING: DAMPING,
    ChangeKind.COIL: COIL,
}
AGED_SPREAD: Final = {MAGNET: 0.2, SUSPENSION: 0.4, DAMPING: 0.5, COIL: 0.2}
"""Standard deviations of the logarithm of what age may do to Bl, stiffness, Rms and a coil's resistance (the last by
another winding). Common practice, no published source."""


@dataclass(frozen=True)
class Change:
    """One change: of a part, by name, or of a driver, by its card's key."""

    kind: ChangeKind
    subject: str
    is_driver: bool


@dataclass(frozen=True)
class ChangeState:
    """Changes together, none for two speakers alike, and a state that stands for them."""

    changes: tuple[Change, ...]
    state: State


def single_changes(network: Network, terminals: Terminals) -> tuple[ChangeState, ...]:
    """No change first, then every single one; several states where a value is sought from several beginnings."""
    found = [ChangeState((), NOMINAL)]
    for each in fault_states(network, terminals):
        if each.fault is None or each.fault.kind not in (FaultKind.OPEN, FaultKind.SHORTED, FaultKind.OTHER_VALUE):
            continue
        kind = ChangeKind(str(each.fault.kind))
        found.append(ChangeState((Change(kind, each.fault.part, each.fault.is_driver),), each.state))
    found += _aged(terminals)
    return tuple(found)


def _aged(terminals: Terminals) -> Iterator[ChangeState]:
    for key, shape in terminals.shapes.items():
        if not isinstance(shape, AgedDriver):
            continue
        for kind, what in AGED.items():
            yield ChangeState((Change(kind, key, True),), State({}, {f"{key}:{what}": AGED_SPREAD[what]}, {}, {}))
        free = {f"{key}:{what}": AGED_SPREAD[what] for what in AGEING}
        yield ChangeState((Change(ChangeKind.OTHER_DRIVER, key, True),), State({}, free, {}, {}))


def together(one: ChangeState, other: ChangeState) -> ChangeState:
    """Two changes at once."""
    a, b = one.state, other.state
    state = State(
        {**a.values, **b.values}, {**a.spreads, **b.spreads}, {**a.drivers, **b.drivers}, {**a.begin, **b.begin}
    )
    return ChangeState((*one.changes, *other.changes), state)


def may_join(one: ChangeState, other: ChangeState) -> bool:
    """Two single changes of two subjects: one subject that changes in two ways is another driver."""
    return {c.subject for c in one.changes}.isdisjoint(c.subject for c in other.changes)


def to_join(singles: Sequence[ChangeState]) -> list[ChangeState]:
    """The single changes worth trying in pairs: values that begin where they are, and what age does to drivers."""
    return [
        s
        for s in singles
        if s.changes and not s.state.begin and s.changes[0].kind not in (ChangeKind.OPEN, ChangeKind.SHORTED)
    ]


def freed(state: State, terminals: Terminals) -> list[str]:
    """The knobs that a state frees."""
    usual = {k.name: k.spread for k in terminals.knobs}
    return [name for name, spread in state.spreads.items() if spread > usual[name]]
