"""Sound in time: how long it travels from where the drivers stand, group delay, and the measured step response.

Positions are (right, up, forward) in millimetres from the point where the design axis leaves the baffle: its foot. The
microphone stands on an arc round that foot; vertical angles are positive upward, horizontal angles positive to the
right (as seen from behind the loudspeaker, in the direction of the axis).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xover.curve import Complex, Float
from xover.driver.piston import SPEED_OF_SOUND_M_S as SPEED_OF_SOUND_M_S
from xover.errors import InputError
from xover.quantity import hertz
from xover.readable import Readable


def path_excess_m(
    position_mm: Sequence[float],
    distance_m: float,
    vertical_deg: ArrayLike = 0.0,
    horizontal_deg: ArrayLike = 0.0,
) -> Float:
    """How much longer the path from a driver is than the path from the axis' foot.

    |r - p| - D = (|p|^2 - 2 D p.u)/(|r - p| + D) with the direction u of the microphone: no digits are lost far away,
    and for D = inf it is -p.u, the far field. Metres, in the broadcast shape of the angles.

    Parameters
    ----------
    position_mm : right, up, forward of the axis' foot.
    distance_m : radius of the arc; inf is the far field.
    vertical_deg, horizontal_deg : broadcast against each other.

    Raises InputError: the distance is not above 0, or the position is not three finite numbers.
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

    A driver that stands forward is early: negative. distance_m = inf is the far field, where only the depth counts.
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

    Arguments as for `path_excess_m`. Near the loudspeaker a driver off the axis' foot is seen at an angle
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


LONGEST_DELAY_S: Final = 0.05
# Trial delays times rows that are worked on at once, to bound the memory of a long sweep.
_BLOCK: Final = 200_000
"""Common delays are looked for up to this, to both sides: 17 m of air."""
END_OCTAVES: Final = 0.5
"""Width of the smooth ends that a band is given before it becomes a step response."""


@dataclass(frozen=True, eq=False, repr=False)
class StepResponse(Readable):
    """Response to a voltage step, of a band-limited curve.

    Attributes
    ----------
    time_s : (m,) on the time reference of the curve.
    step : (m,) in the unit of the curve, for a step as high as the voltage that the curve is stated
        for (re 20 uPa: for 2.83 V; times 20e-6 for pascals).
    arrival_s : common delay of the curve, where the time window was laid.
    from_hz, to_hz : the band that it was made from: the widest unbroken one that is known.
    note : what the band does to the step.
    """

    time_s: Float
    step: Float
    arrival_s: float
    from_hz: float
    to_hz: float
    note: str


def bulk_delay_s(frequency_hz: Float, pressure: Complex) -> float:
    """Estimate the delay that a curve has in common over its band.

    The delay t for which the turns from row to row, each less its part 2 pi df t, agree best: the
    greatest real part of the sum of these unit vectors. A row spacing that turns the phase by more
    than half a turn does no harm, as on a log grid no other delay fits all spacings.

    Parameters
    ----------
    frequency_hz, pressure : (n,) each; NaN and zero rows are left out.

    Returns seconds; NaN if no two neighbouring rows are known.
    """
    f = np.asarray(frequency_hz, dtype=float)
    turn, known = _turns(pressure)
    width = np.diff(f)[known]
    if width.size == 0:
        return math.nan
    turn = turn[known]
    step = 1.0 / (8.0 * float(width.max()))
    most = math.ceil(LONGEST_DELAY_S / step)
    trial: Float = np.linspace(-most * step, most * step, 2 * most + 1)
    agree = _agreement(width, turn, trial)
    # Evenly spaced rows fit many delays alike: the shortest is meant.
    alike = trial[agree >= agree.max() * (1.0 - 1e-6)]
    best = float(alike[int(np.argmin(np.abs(alike)))])
    for _ in range(6):
        trial = np.linspace(best - step, best + step, 17)
        best = float(trial[int(np.argmax(_agreement(width, turn, trial)))])
        step /= 8.0
    return best


def group_delay_s(frequency_hz: Float, pressure: Complex) -> Float:
    """Group delay -d phi/d omega of a complex curve.

    The common delay is taken out first (`bulk_delay_s`), so that the phase that remains is unwrapped
    without doubt; its derivative is taken over log f, second order (error falls with the square of
    the row spacing), and the common delay put back.

    Parameters
    ----------
    frequency_hz : (n,) rising.
    pressure : (n,) complex.

    Returns (n,) seconds; NaN where the pressure is zero or NaN, and in unbroken runs of fewer than 3 rows.
    """
    f = np.asarray(frequency_hz, dtype=float)
    out = np.full(f.shape, np.nan)
    bulk = bulk_delay_s(f, pressure)
    if math.isnan(bulk):
        return out
    left = np.asarray(pressure) * np.conj(delay_factor(f, bulk))
    for start, stop in _runs(np.isfinite(left) & (left != 0)):
        if stop - start < 3:
            continue
        run = slice(start, stop)
        phase = np.unwrap(np.angle(left[run]))
        slope = np.gradient(phase, np.log(f[run]), edge_order=2)
        out[run] = bulk - slope / (2.0 * math.pi * f[run])
    return out


def step_response(
    frequency_hz: Float,
    pressure: Complex,
    before_s: float = 0.001,
    after_s: float = 0.01,
) -> StepResponse | None:
    """Step response of the measured band.

    The common delay is taken out, real and imaginary parts are interpolated over log f to a linear
    grid, multiplied by raised-cosine ends half an octave wide inside the band, divided by j omega
    and transformed back. Nothing is added outside the band: so the step starts over about 1/to_hz,
    with ripple of that period, and what is slower than 1/from_hz is missing.

    Parameters
    ----------
    frequency_hz, pressure : (n,) each.
    before_s, after_s : time shown before and after the common delay.

    Returns None if no unbroken run of 8 rows and two octaves is known.
    """
    f = np.asarray(frequency_hz, dtype=float)
    p = np.asarray(pressure, dtype=complex)
    runs = [r for r in _runs(np.isfinite(p)) if r[1] - r[0] >= 8]
    start, stop = max(runs, key=lambda r: f[r[1] - 1] / f[r[0]], default=(0, 0))
    if stop == 0 or math.log2(f[stop - 1] / f[start]) < 2.0:
        return None
    f, p = f[start:stop], p[start:stop]
    low, high = float(f[0]), float(f[-1])
    bulk = bulk_delay_s(f, p)
    bulk = 0.0 if math.isnan(bulk) else bulk
    # Time must not fold: the lower end's ramp rings for some periods of it, and so must the window.
    period_s = max(16.0 / low, 4.0 * (before_s + after_s))
    rows = 2 ** math.ceil(math.log2(8.0 * high * period_s))
    period_s = rows / (8.0 * high)
    grid = np.arange(rows // 2 + 1) / period_s
    inside = (grid >= low) & (grid <= high)
    spectrum = np.zeros(grid.shape, dtype=complex)
    left = p * np.conj(delay_factor(f, bulk))
    spectrum[inside] = _interpolate(f, left, grid[inside]) * _ends(grid[inside], low, high)
    spectrum[inside] /= 2j * math.pi * grid[inside]
    step = np.fft.irfft(spectrum, rows) * rows / period_s
    time = np.arange(rows) / (8.0 * high)
    time = np.where(time > period_s / 2.0, time - period_s, time)
    order = np.argsort(time)
    order = order[(time[order] >= -before_s) & (time[order] <= after_s)]
    note = (
        f"made from {hertz(low)} to {hertz(high)} only: nothing slower than {1000.0 / low:.3g} ms, "
        f"nothing faster than {1000.0 / high:.3g} ms is in it"
    )
    return StepResponse(time[order] + bulk, step[order], bulk, low, high, note)


def _agreement(width_hz: Float, turn: Complex, trial_s: Float) -> Float:
    """How well each trial delay explains the turns between rows."""
    rows = max(1, _BLOCK // width_hz.size)
    pieces = [
        (np.conj(delay_factor(width_hz, trial_s[start : start + rows, None])) @ turn).real
        for start in range(0, trial_s.size, rows)
    ]
    return np.concatenate(pieces)


def _turns(pressure: Complex) -> tuple[Complex, NDArray[np.bool_]]:
    """Unit vector of the turn from each row to the next, and where it is known."""
    p = np.asarray(pressure, dtype=complex)
    good = np.isfinite(p) & (p != 0)
    unit = np.exp(1j * np.angle(np.where(good, p, 1.0)))
    return unit[1:] * np.conj(unit[:-1]), good[1:] & good[:-1]


def _runs(good: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First row, and one past the last, of each unbroken run of good rows."""
    edges = np.flatnonzero(np.diff(good.astype(int), prepend=0, append=0))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _interpolate(f: Float, value: Complex, wanted_hz: Float) -> Complex:
    """Cubic Hermite pieces over log f, with three-point slopes at the rows.

    Of the real and imaginary parts, so that a null is as good as any other value. No spline library:
    loading one takes longer than all the rest.
    """
    x, at = np.log(f), np.log(wanted_hz)
    slope = np.gradient(value, x, edge_order=2)
    row = np.clip(np.searchsorted(x, at, side="right") - 1, 0, x.size - 2)
    width = x[row + 1] - x[row]
    t = (at - x[row]) / width
    near = (1.0 + 2.0 * t) * (1.0 - t) ** 2 * value[row] + t * (1.0 - t) ** 2 * width * slope[row]
    far = t**2 * (3.0 - 2.0 * t) * value[row + 1] + t**2 * (t - 1.0) * width * slope[row + 1]
    return np.asarray(near + far, dtype=complex)


def _ends(f: Float, low: float, high: float) -> Float:
    """1 inside the band, falling to 0 at both its ends over half an octave, raised cosine over log f."""
    octaves = np.minimum(np.log2(f / low), np.log2(high / f)) / END_OCTAVES
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.clip(octaves, 0.0, 1.0)), dtype=float)
