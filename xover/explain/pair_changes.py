"""What may have changed between two like speakers: one part, or what age does to one driver.

Age gives a weaker magnet, a stiffer surround, dried fluid, another coil: Bl, the suspension's stiffness, the mechanical
resistance Rms and the coil's. The driver's measured impedance is moved by what the same change does to its fitted model
(drift.py), so that what no model holds stays as measured.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np

from xover.curve import Complex, Curve, Float, Unit
from xover.explain.drift import DriftingDriver, drifting_driver
from xover.explain.fault_fit import Shaper
from xover.explain.faults import FaultKind, fault_states
from xover.explain.terminals import NOMINAL, DriverShape, MeasuredDriver, State, Terminals, measured_driver
from xover.network import Network
from xover.sound.driver_fit import circuit_of
from xover.speaker import Speaker, SpeakerDriver

MAGNET: Final = "magnet"
SUSPENSION: Final = "suspension"
DAMPING: Final = "damping"
COIL: Final = "coil"
AGEING: Final = (MAGNET, SUSPENSION, DAMPING, COIL)


@dataclass(frozen=True, eq=False)
class AgedDriver:
    """A measured driver with knobs for what age does.

    Attributes
    ----------
    measured : the driver as it was measured. drift : how such a driver moves.
    """

    measured: MeasuredDriver
    drift: DriftingDriver

    @property
    def knobs(self) -> tuple[str, ...]:
        """Those of a measured driver; then logarithms of factors: Bl, stiffness, Rms, the coil's resistance."""
        return (*self.measured.knobs, *AGEING)

    @property
    def spreads(self) -> tuple[float, ...]:
        """What has aged is held fast unless a state frees it."""
        return (*self.measured.spreads, 0.0, 0.0, 0.0, 0.0)

    def at(self, turned: Float) -> tuple[Complex, Complex]:
        """(k, n) ohm and its relative derivatives (k, n, 6)."""
        magnet, suspension, damping, coil = turned[:, 2:].T
        # fs goes with the root of the stiffness, and Qms = w0 M/Rms with it.
        moved = np.stack([0.5 * suspension, 0.5 * suspension - damping, magnet, coil], axis=1)
        bare, by = replace(self.drift, impedance_ohm=self.measured.impedance_ohm).at(moved)
        by_fs, by_qms, by_bl, by_re = (by[..., i] for i in range(4))
        _, whole = self.measured.at(turned[:, :2])
        aged = np.stack([by_bl, 0.5 * (by_fs + by_qms), -by_qms, by_re], axis=-1)
        factor = np.exp(turned[:, :1] - turned[:, 1:2] * self.measured.slope)
        return np.asarray(bare * factor, dtype=complex), np.concatenate([whole, aged], axis=-1)


def aged_drivers(speaker: Speaker, network: Network) -> Shaper:
    """Makes drivers of the folder with knobs for their age; without them where no model with a resonance fits."""
    models = {name: circuit_of(speaker.drivers[name]) for name in network.driver_names}

    def shape(key: str, driver: SpeakerDriver, frequency_hz: Float) -> DriverShape:
        del key
        measured, model = measured_driver(driver, frequency_hz), models[driver.name]
        if model is None or not model.resonances:
            return measured
        curve = driver.impedance
        if curve is None:
            curve = Curve(frequency_hz, measured.impedance_ohm, Unit.OHM)
        return AgedDriver(measured, drifting_driver(curve, frequency_hz, model, impedance_ohm=measured.impedance_ohm))

    return shape


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
