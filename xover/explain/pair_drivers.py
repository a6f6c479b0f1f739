"""A driver that has aged: a weaker magnet, a stiffer surround, dried fluid, another coil.

Its measured impedance is moved by what the same change does to its fitted model, so that what no model holds stays
as measured. With Bl, suspension stiffness k, mechanical resistance Rms and mass M, the resonance seen at the terminals
has R = Bl^2/Rms, w0 = sqrt(k/M) and Q = w0 M/Rms (Small 1972, from memory): Bl moves its height alone; k its frequency
and, with it, its Q; Rms its height and its Q.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.curve import Complex, Float
from xover.driver.fit import fit_driver
from xover.driver.model import DriverModel
from xover.errors import InputError
from xover.explain.driver_drift import DriverShape, MeasuredDriver, measured_driver
from xover.explain.fault_setup import Shaper
from xover.network import Network
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
            z, by_f, by_q = _resonance(self.frequency_hz, r, f, q)
            change += z - peak.impedance_ohm(self.frequency_hz)
            slopes[..., 0] += 2.0 * z
            slopes[..., 1] += own * 0.5 * (by_f + by_q)
            slopes[..., 2] -= own * (z + by_q)
        bare = self.measured.impedance_ohm + change
        factor = np.exp(turned[:, :1] - turned[:, 1:2] * self.measured.slope)
        ohm = np.asarray(bare * factor, dtype=complex)
        _, drift = self.measured.at(turned[:, :2])
        return ohm, np.concatenate([drift, slopes / bare[..., None]], axis=-1)


def _resonance(frequency_hz: Float, r: Float, f: Float, q: Float) -> tuple[Complex, Complex, Complex]:
    """(k, n) ohm of a resonance, and its derivatives to ln f and ln q, for (k, 1) values."""
    x = frequency_hz / f
    side: Complex = np.asarray(1j * x / q, dtype=complex)
    below = 1.0 - x * x + side
    z: Complex = np.asarray(r * side / below, dtype=complex)
    return z, np.asarray(-z * (1.0 + x * x) / below), np.asarray(-z * (1.0 - x * x) / below)


def aged_drivers(speaker: Speaker, network: Network) -> Shaper:
    """Makes drivers of the folder with knobs for their age; without them where no model with a resonance fits."""
    models = {name: driver_model(speaker.drivers[name]) for name in network.driver_names}

    def shape(key: str, driver: SpeakerDriver, frequency_hz: Float) -> DriverShape:
        del key
        measured, model = measured_driver(driver, frequency_hz), models[driver.name]
        return measured if model is None or not model.resonances else AgedDriver(frequency_hz, measured, model)

    return shape


def driver_model(driver: SpeakerDriver) -> DriverModel | None:
    """The fitted model of a driver, or its datasheet's; None where there is neither."""
    if driver.impedance is None:
        return None if driver.datasheet is None else driver.datasheet.model
    try:
        return fit_driver(driver.impedance).model
    except InputError:
        return None
