"""What may have changed between two like speakers: one part, or what age does to one driver.

Age gives a weaker magnet, a stiffer surround, dried fluid, another coil. The driver's measured impedance is moved by
what the same change does to its fitted model, so that what no model holds stays as measured. With Bl, suspension
stiffness k, mechanical resistance Rms and mass M, the resonance seen at the terminals has R = Bl^2/Rms, w0 = sqrt(k/M)
and Q = w0 M/Rms (Small 1972, from memory): Bl moves its height alone; k its frequency and, with it, its Q; Rms its
height and its Q.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from xover.curve import Complex, Float
from xover.driver.model import DriverModel
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
    measured : the driver as it was measured. model : fitted to it; its first resonance is the driver's own.
    """

    frequency_hz: Float
    measured: MeasuredDriver
    model: DriverModel

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
        magnet, suspension, damping, coil = (turned[:, i, None] for i in range(2, 6))
        change: Complex = np.zeros((turned.shape[0], self.frequency_hz.size), dtype=complex)
        change += self.model.re_ohm * np.expm1(coil)
        slopes = np.zeros((*change.shape, len(AGEING)), dtype=complex)
        slopes[..., 3] = self.model.re_ohm * np.exp(coil)
        for number, peak in enumerate(self.model.resonances):
            own = 1.0 if number == 0 else 0.0
            r = peak.r_ohm * np.exp(2.0 * magnet - own * damping)
            f = peak.f_hz * np.exp(0.5 * own * suspension)
            q = peak.q * np.exp(own * (0.5 * suspension - damping))
            # Air behind it stays as stiff as it is.
            air: Complex | float = 0.0
            if peak.box is not None:
                air = peak.box.stiffness * np.exp(-own * suspension) * peak.box.held(self.frequency_hz)
            z, by_f, by_q, by_air = _resonance(self.frequency_hz, r, f, q, air)
            change += z - peak.impedance_ohm(self.frequency_hz)
            slopes[..., 0] += 2.0 * z
            slopes[..., 1] += own * (0.5 * (by_f + by_q) - by_air)
            slopes[..., 2] -= own * (z + by_q)
        bare = self.measured.impedance_ohm + change
        factor = np.exp(turned[:, :1] - turned[:, 1:2] * self.measured.slope)
        ohm = np.asarray(bare * factor, dtype=complex)
        _, drift = self.measured.at(turned[:, :2])
        return ohm, np.concatenate([drift, slopes / bare[..., None]], axis=-1)


def _resonance(
    frequency_hz: Float, r: Float, f: Float, q: Float, air: Complex | float
) -> tuple[Complex, Complex, Complex, Complex]:
    """(k, n) ohm of a resonance, its derivatives to ln f, ln q and the log of the air's stiffness, for (k, 1) values.

    air : (k, n) stiffness of the air over the suspension's.
    """
    mass, own = 1j * q * frequency_hz / f, -1j * q * f / frequency_hz
    spring = own * (1.0 + air)
    below = 1.0 + mass + spring
    z: Complex = np.asarray(r / below, dtype=complex)
    by = -z / below
    return z, np.asarray(by * (spring - mass)), np.asarray(by * (mass + spring)), np.asarray(by * own * air)


def aged_drivers(speaker: Speaker, network: Network) -> Shaper:
    """Makes drivers of the folder with knobs for their age; without them where no model with a resonance fits."""
    models = {name: circuit_of(speaker.drivers[name]) for name in network.driver_names}

    def shape(key: str, driver: SpeakerDriver, frequency_hz: Float) -> DriverShape:
        del key
        measured, model = measured_driver(driver, frequency_hz), models[driver.name]
        return measured if model is None or not model.resonances else AgedDriver(frequency_hz, measured, model)

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
