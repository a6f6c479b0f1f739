"""Where the drivers and the microphone stand, and how long the sound travels.

Positions are (right, up, forward) in millimetres from the point where the design axis leaves the
baffle: its foot. The microphone stands on an arc round that foot; vertical angles are positive
upward, horizontal angles positive to the right (as seen from behind the loudspeaker, in the
direction of the axis).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xover.driver.piston import SPEED_OF_SOUND_M_S as SPEED_OF_SOUND_M_S
from xover.errors import InputError

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]


def path_m(
    position_mm: Sequence[float],
    distance_m: float,
    vertical_deg: ArrayLike = 0.0,
    horizontal_deg: ArrayLike = 0.0,
) -> Float:
    """Distance from a driver to a microphone on the arc.

    Parameters
    ----------
    position_mm : right, up, forward of the axis' foot.
    distance_m : radius of the arc; inf gives inf (then use `path_excess_m`).
    vertical_deg, horizontal_deg : broadcast against each other.

    Returns
    -------
    Metres, in the broadcast shape of the angles.

    Raises
    ------
    InputError : the distance is not above 0, or the position is not three finite numbers.
    """
    excess = path_excess_m(position_mm, distance_m, vertical_deg, horizontal_deg)
    return np.asarray(distance_m + excess, dtype=float)


def path_excess_m(
    position_mm: Sequence[float],
    distance_m: float,
    vertical_deg: ArrayLike = 0.0,
    horizontal_deg: ArrayLike = 0.0,
) -> Float:
    """How much longer the path from a driver is than the path from the axis' foot.

    |r - p| - D = (|p|^2 - 2 D p.u)/(|r - p| + D) with the direction u of the microphone: no digits
    are lost far away, and for D = inf it is -p.u, the far field. Arguments as for `path_m`.
    """
    p = _metres(position_mm)
    _check_distance(distance_m)
    u = _direction(vertical_deg, horizontal_deg)
    along = u @ p
    if math.isinf(distance_m):
        return np.asarray(-along, dtype=float)
    square = float(p @ p)
    path = np.sqrt(np.maximum(distance_m**2 - 2.0 * distance_m * along + square, 0.0))
    return np.asarray((square - 2.0 * distance_m * along) / (path + distance_m), dtype=float)


def delay_s(position_mm: Sequence[float], distance_m: float = math.inf) -> float:
    """Delay on the design axis against a driver at the axis' foot: (path - distance)/c.

    A driver that stands forward is early: negative. distance_m = inf is the far field, where only
    the depth counts.
    """
    return float(path_excess_m(position_mm, distance_m)) / SPEED_OF_SOUND_M_S


def delay_factor(frequency_hz: ArrayLike, delay_s: ArrayLike) -> Complex:
    """exp(-j 2 pi f t): what a delay does to a phasor e^{+jwt}. Broadcast over both."""
    turns = np.asarray(frequency_hz, dtype=float) * np.asarray(delay_s, dtype=float)
    return np.asarray(np.exp(-2j * math.pi * turns), dtype=complex)


def angle_off_axis_deg(
    position_mm: Sequence[float],
    distance_m: float,
    vertical_deg: ArrayLike = 0.0,
    horizontal_deg: ArrayLike = 0.0,
) -> Float:
    """Angle between a driver's own axis (straight forward) and the microphone, 0..180 degrees.

    Arguments as for `path_m`. Near the loudspeaker a driver off the axis' foot is seen at an angle
    even on the axis; for distance_m = inf it is not.
    """
    p = _metres(position_mm)
    _check_distance(distance_m)
    u = _direction(vertical_deg, horizontal_deg)
    line = u if math.isinf(distance_m) else distance_m * u - p
    return np.asarray(np.degrees(np.arctan2(np.hypot(line[..., 0], line[..., 1]), line[..., 2])), dtype=float)


def _direction(vertical_deg: ArrayLike, horizontal_deg: ArrayLike) -> Float:
    """Unit vectors (..., 3) of right, up, forward."""
    v, h = np.broadcast_arrays(np.radians(vertical_deg), np.radians(horizontal_deg))
    return np.stack([np.cos(v) * np.sin(h), np.sin(v), np.cos(v) * np.cos(h)], axis=-1)


def _metres(position_mm: Sequence[float]) -> Float:
    p = np.asarray(position_mm, dtype=float)
    if p.shape != (3,) or not np.all(np.isfinite(p)):
        shown = ", ".join(f"{v:g}" for v in np.ravel(p))
        raise InputError(f"position_mm = [{shown}] is not three numbers", "give [right, up, forward] in mm")
    return p / 1000.0


def _check_distance(distance_m: float) -> None:
    if not distance_m > 0:
        raise InputError(f"a microphone cannot stand at {distance_m:g} m", "give a distance above 0")
