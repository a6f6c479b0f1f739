"""A driver on its card that may differ a little from the day on which it was measured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np

from xover.curve import Complex, Float
from xover.explain.noise import smoothness_noise
from xover.speaker import SpeakerDriver

SCALE_SPREAD: Final = 0.01
SHIFT_SPREAD: Final = 0.01
"""Standard deviations of a driver since it was measured: its whole impedance (a warmer coil, another sample) and the
frequencies of its resonances. Common practice, no published source."""
SLOPE_OCTAVES: Final = 0.1
"""The slope of a measured impedance is taken over so many octaves to either side, as a single row is noise."""


class DriverShape(Protocol):
    """How a driver's impedance answers its knobs."""

    @property
    def knobs(self) -> tuple[str, ...]:
        """What can be turned."""
        ...

    @property
    def spreads(self) -> tuple[float, ...]:
        """The usual spread of each knob."""
        ...

    def at(self, turned: Float) -> tuple[Complex, Complex]:
        """(k, n) ohm and its relative derivative (k, n, q), for knobs (k, q)."""
        ...


@dataclass(frozen=True, eq=False)
class MeasuredDriver:
    """A measured impedance that may be scaled and shifted in frequency by a little.

    Attributes
    ----------
    impedance_ohm : (n,). slope : (n,) complex, d ln Z/d ln f.
    """

    impedance_ohm: Complex
    slope: Complex

    @property
    def knobs(self) -> tuple[str, ...]:
        """Scale, and shift: ln of the factor on the frequency scale."""
        return ("scale", "shift")

    @property
    def spreads(self) -> tuple[float, ...]:
        """Of scale and shift."""
        return (SCALE_SPREAD, SHIFT_SPREAD)

    def at(self, turned: Float) -> tuple[Complex, Complex]:
        """(k, n) ohm and (k, n, 2) relative derivatives; the shift to first order."""
        change = turned[:, :1] - turned[:, 1:2] * self.slope
        slopes = np.stack([np.ones_like(self.slope), -self.slope], axis=-1)
        ohm = np.asarray(self.impedance_ohm * np.exp(change), dtype=complex)
        return ohm, np.broadcast_to(slopes, (*ohm.shape, 2))


def measured_driver(driver: SpeakerDriver, frequency_hz: Float) -> MeasuredDriver:
    """A driver of the folder at the frequencies of a sweep; NaN where its own does not reach."""
    step = 2.0**SLOPE_OCTAVES
    # At the ends of its sweep the slope is one-sided.
    below, here, above = (driver.impedance_ohm(frequency_hz * x) for x in (1.0 / step, 1.0, step))
    rise, width = np.zeros_like(here), np.zeros(here.shape)
    for one, other in ((here, above), (below, here)):
        known = np.isfinite(one) & np.isfinite(other)
        rise[known] += np.log(other[known] / one[known])
        width[known] += np.log(step)
    slope = np.divide(rise, width, out=np.zeros_like(rise), where=width > 0)
    return MeasuredDriver(here, slope)


def driver_noise(driver: SpeakerDriver) -> float:
    """Relative noise of a driver's sweep, 0 where there is none or it cannot be told."""
    if driver.impedance is None:
        return 0.0
    found = smoothness_noise(driver.impedance).either
    return found if np.isfinite(found) else 0.0
