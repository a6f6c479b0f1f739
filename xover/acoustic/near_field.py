"""A driver close up, and what it is at 1 m: near field of cone and port, and the step of a baffle.

D. B. Keele, Low-Frequency Loudspeaker Assessment by Nearfield Sound-Pressure Measurement, J. Audio Eng. Soc. 22 (1974):
at the middle of a rigid piston of radius a the pressure is 2r/a times what it is at r in half space, as long as ka is
small; a port adds with its own radius in place of the cone's, so with the root of the ratio of areas beside it.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Complex, Float
from xover.driver.piston import SPEED_OF_SOUND_M_S, ka

NEAR_KA: Final = 1.0
"""The near field is believed up to here, where it reads 0.37 dB low; at ka 1.6, Keele's own limit, 0.95 dB."""
BAFFLE_M_S: Final = 115.0
"""Over a baffle's width: where its step is half done, 3 dB down. Common practice, no published source; a sphere of
that diameter has it at 109 m/s."""


def far_over_near(diameter_m: float, frequency_hz: ArrayLike) -> Complex:
    """Pressure at 1 m in half space, its way taken off, over that at the middle of the piston.

    a/2r, and the half of a radius that the near field is late by: of p = rho c v (1 - exp(-jka)), which is all of it,
    the phase is that of jka exp(-jka/2).
    """
    radius = diameter_m / 2.0
    return np.asarray(radius / 2.0 * np.exp(0.5j * ka(frequency_hz, diameter_m)), dtype=complex)


def near_limit_hz(diameter_m: float) -> float:
    """Frequency up to which a near field is believed."""
    return NEAR_KA * SPEED_OF_SOUND_M_S / (math.pi * diameter_m)


def near_loss_db(at_ka: ArrayLike) -> Float:
    """By how much a near field reads low: 20 lg sin(x)/x, x = ka/2."""
    return np.asarray(20.0 * np.log10(np.sinc(np.asarray(at_ka, dtype=float) / (2.0 * math.pi))), dtype=float)


def baffle_step(frequency_hz: ArrayLike, width_m: float) -> Complex:
    """Pressure in front of a baffle in free space over that in half space: 1/2 far below, 1 far above.

    One pole and one zero an octave below it, minimum phase; edges add ripple of 1 to 2 dB above the step, which this
    leaves out.
    """
    # |H|^2 = 1/2 lies at pole/sqrt(2).
    turn = 1j * np.asarray(frequency_hz, dtype=float) * width_m / (math.sqrt(2.0) * BAFFLE_M_S)
    return np.asarray((0.5 + turn) / (1.0 + turn), dtype=complex)
