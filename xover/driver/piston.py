"""A rigid flat piston in an infinite baffle: how a driver of that size narrows with frequency.

D(x) = 2 J1(x)/x with x = ka sin(theta), k = 2 pi f/c, a the piston's radius (Rayleigh; as in acoustics
textbooks). It is real and signed: beyond the first null the side lobe has the opposite sign. A cone
or dome that breaks up, a horn and a small baffle do otherwise.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Float
from xover.errors import InputError

SPEED_OF_SOUND_M_S: Final = 343.0
"""Speed of sound in air at 20 degC, m/s."""

# First zero of J1 (Abramowitz & Stegun, table 9.5).
FIRST_NULL_KA: Final = 3.831705970207512
# Usual figure for where a piston begins to beam. Common practice, no published source.
BEAMING_KA: Final = 2.0


def ka(frequency_hz: ArrayLike, diameter_m: ArrayLike) -> Float:
    """Wave number times radius, pi f d/c, broadcast over both.

    Raises InputError: a diameter that is not above 0.
    """
    diameter = np.asarray(diameter_m, dtype=float)
    if not np.all(diameter > 0):
        raise InputError(f"a piston cannot have a diameter of {float(np.min(diameter)):g} m", "give one above 0")
    return np.asarray(math.pi * np.asarray(frequency_hz, dtype=float) * diameter / SPEED_OF_SOUND_M_S, dtype=float)


def directivity(frequency_hz: ArrayLike, diameter_m: ArrayLike, angle_deg: ArrayLike) -> Float:
    """Pressure at an angle over the pressure on the axis, real and signed.

    Parameters
    ----------
    frequency_hz, diameter_m, angle_deg : broadcast against each other: (n, 1) and (m,) give (n, m).
        Hz >= 0, piston diameter in m, degrees off the axis.

    Returns
    -------
    Array of the broadcast shape; 1 on the axis, NaN beyond 90 degrees, where an infinite baffle has
    no room.
    """
    angle = np.asarray(angle_deg, dtype=float)
    x = np.abs(ka(frequency_hz, diameter_m) * np.sin(np.radians(angle)))
    return np.where(np.abs(angle) <= 90.0, two_j1_over_x(x), np.nan)


def two_j1_over_x(x: ArrayLike) -> Float:
    """2 J1(x)/x for any x, 1 at 0, to about 1e-15.

    2 J1(x)/x = (2/pi) Int_0^pi cos(x cos t) sin^2 t dt (Poisson's integral, Abramowitz & Stegun 9.1.20), by the
    trapezoid rule: of a smooth periodic function its error falls faster than any power once the nodes
    outnumber x. scipy has J1 too, but loading scipy.special takes longer than a prediction.

    Parameters
    ----------
    x : any shape; NaN gives NaN.
    """
    wanted = np.abs(np.asarray(x, dtype=float))
    largest = float(np.max(wanted, initial=0.0, where=np.isfinite(wanted)))
    nodes = math.ceil(largest) + 30
    t = np.pi * np.arange(1, nodes) / nodes  # sin^2 is zero at both ends
    weight = 2.0 * np.sin(t) ** 2 / nodes
    total = np.zeros(wanted.shape)
    for cosine, share in zip(np.cos(t), weight, strict=True):
        total += share * np.cos(wanted * cosine)
    return np.where(wanted == 0, 1.0, total)


def beaming_frequency_hz(diameter_m: ArrayLike, at_ka: float = BEAMING_KA) -> Float:
    """Frequency at which a piston reaches a given ka, above which it beams.

    ka = 2 by habit (common practice, no published source); the level at 90 degrees is then 4.8 dB down.
    """
    per_hertz = ka(1.0, diameter_m)
    return np.asarray(at_ka / per_hertz, dtype=float)
