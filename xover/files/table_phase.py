"""Is a phase column in degrees or radians? The magnitude's slope tells.

Bode's relation in its usual approximation: where a network is of minimum phase and its slope does
not change fast, phase in degrees = 90 * dln|Z| / dln f (6 dB an octave and 90 degrees go together).
Source: H. W. Bode, "Network Analysis and Feedback Amplifier Design", 1945, ch. XIV. An impedance
is always of minimum phase; a driver's response is so apart from its delay.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from xover.curve import Float

# Slope and phase are both averaged over this width, so that noise from row to row does not count.
WINDOW_OCTAVES = 0.5
_GRID_PER_OCTAVE = 12
# Below this the magnitude is too flat to say anything of the phase.
LEAST_SLOPE_DEG = 4.0
# Between degrees (ratio about 1) and radians (about pi/180 = 0.017) on a log scale.
RADIAN_RATIO = float(np.sqrt(np.pi / 180.0))
LEAST_CORRELATION = 0.5


@dataclass(frozen=True)
class PhaseFit:
    """How a phase column compares with the one that the magnitude's slope implies.

    Attributes
    ----------
    ratio : least-squares factor from the implied phase in degrees to the column; 1 for degrees.
    correlation : -1..1 between the two, about zero; NaN where one of them is zero throughout.
    implied_deg : rms of the implied phase.
    """

    ratio: float
    correlation: float
    implied_deg: float

    @property
    def looks_radian(self) -> bool:
        """The column follows the slope, but is some 57 times too small for degrees."""
        return self.implied_deg >= LEAST_SLOPE_DEG and self._follows and 0.0 < self.ratio < RADIAN_RATIO

    @property
    def looks_reversed(self) -> bool:
        """The column follows the slope with the wrong sign."""
        return self.implied_deg >= LEAST_SLOPE_DEG and self.correlation <= -LEAST_CORRELATION

    @property
    def _follows(self) -> bool:
        return self.correlation >= LEAST_CORRELATION


def compare_with_slope(
    frequency_hz: Float, log_magnitude: Float, phase: Float, most_deg: float = np.inf
) -> PhaseFit | None:
    """Compare a phase column with the slope of the magnitude.

    Parameters
    ----------
    frequency_hz : (n,) rising, > 0.
    log_magnitude : (n,) natural logarithm of the magnitude.
    phase : (n,) in the column's own unit, unwrapped.
    most_deg : bound of the implied phase: 90 for an impedance, whose phase a sharp resonance
        drives to +-90 degrees while the slope goes far beyond.

    Returns
    -------
    None where the sweep is narrower than two windows.
    """
    u = np.log(frequency_hz)
    half = 0.5 * WINDOW_OCTAVES * np.log(2.0)
    if u[-1] - u[0] < 4.0 * half:
        return None
    count = int(np.ceil((u[-1] - u[0] - 2.0 * half) / np.log(2.0) * _GRID_PER_OCTAVE)) + 1
    centre = np.linspace(u[0] + half, u[-1] - half, count)
    slope = np.interp(centre + half, u, log_magnitude) - np.interp(centre - half, u, log_magnitude)
    implied = np.clip(90.0 * slope / (2.0 * half), -most_deg, most_deg)
    mean = _window_mean(u, phase, centre - half, centre + half)
    energy = float(np.sum(implied**2))
    together = float(np.sum(implied * mean))
    own = float(np.sum(mean**2))
    nothing = energy == 0.0 or own == 0.0
    return PhaseFit(
        ratio=float("nan") if energy == 0.0 else together / energy,
        correlation=float("nan") if nothing else together / float(np.sqrt(energy * own)),
        implied_deg=float(np.sqrt(np.mean(implied**2))),
    )


def _window_mean(u: Float, y: Float, lower: Float, upper: Float) -> Float:
    """Mean of the piecewise linear curve through (u, y) between two bounds, exactly."""
    area = np.concatenate([[0.0], np.cumsum(0.5 * (y[1:] + y[:-1]) * np.diff(u))])

    def up_to(x: Float) -> Float:
        i = np.clip(np.searchsorted(u, x, side="right") - 1, 0, u.size - 2)
        here = np.interp(x, u, y)
        return np.asarray(area[i] + 0.5 * (y[i] + here) * (x - u[i]), dtype=float)

    return (up_to(upper) - up_to(lower)) / (upper - lower)


def fills_a_radian_turn(phase: Float) -> bool:
    """Say whether a column is wrapped to -pi..pi or 0..2 pi: it fills that range, and jumps across it."""
    low, high = float(phase.min()), float(phase.max())
    jumps = bool(np.any(np.abs(np.diff(phase)) > np.pi))
    limit = 1.002 * np.pi  # rounding of the file
    about_zero = -limit <= low < -0.9 * np.pi and 0.9 * np.pi < high <= limit
    from_zero = -0.001 <= low < 0.1 * np.pi and 1.9 * np.pi < high <= 2.0 * limit
    return jumps and (about_zero or from_zero)
