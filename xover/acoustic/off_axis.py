"""Sound off the axis, above, below and to the side: each driver is nearer or farther there, and beams.

The pressure of each driver on the axis is multiplied by three factors: the piston directivity at the angle at which the
microphone sees it, over that on the axis; the ratio of the paths; and exp(-jk(path - path on the axis)). Paths and
angles are exact for a microphone on an arc, or far-field ones. Diffraction at the baffle's edges is not counted.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.acoustic.level import between, larger_beside, level_db, ratio
from xover.acoustic.summing import Branch, known_sum, missing_bound, sum_branches
from xover.acoustic.time import SPEED_OF_SOUND_M_S, angle_off_axis_deg, delay_factor, path_excess_m
from xover.curve import Complex, Float
from xover.errors import InputError
from xover.readable import Readable

Magnitude = Callable[[Float], Float]

ANGLES_DEG: Final = (-15.0, -10.0, -5.0, 5.0, 10.0, 15.0)
LIMIT_DEG: Final = 80.0
PISTON_TRUST_DB: Final = 10.0
"""Where the microphone on the axis already sees a piston this far down, near its first null, the
ratio of two directivities says nothing of a real cone."""
SEARCH_STEP_DEG: Final = 0.25
NARROWED: Final = 201
NARROWINGS: Final = 3
"""A coarse extremum is looked for anew so often, each time on so many angles, in the last two steps: few calls of many
angles cost less than many of few."""


@dataclass(frozen=True, eq=False, repr=False)
class OffAxis(Readable):
    """Sums at vertical angles.

    Attributes
    ----------
    frequency_hz : (n,).
    vertical_deg : (a,), positive upward.
    pressure : (a, n) complex, re 20 uPa, at the level that 1 m would give.
    level_db : (a, n).
    distance_m : radius of the arc.
    coherent : False where the drivers' timing is unknown: then no off-axis sum is sure.
    notes : what a reader must know.
    """

    frequency_hz: Float
    vertical_deg: Float
    pressure: Complex
    distance_m: float
    coherent: bool
    notes: tuple[str, ...]

    @property
    def level_db(self) -> Float:
        """(a, n) level, dB re 20 uPa."""
        return level_db(self.pressure)

    def plain(self) -> dict[str, object]:
        """Levels in place of complex numbers."""
        return {
            "vertical_deg": self.vertical_deg,
            "level_db": self.level_db,
            "distance_m": self.distance_m,
            "coherent": self.coherent,
            "notes": self.notes,
        }


@dataclass(frozen=True)
class VerticalNulls:
    """First minima of the sum above and below the axis, at one crossover.

    Attributes
    ----------
    crossover_hz : the frequency.
    above_deg, below_deg : where the first minimum lies (above > 0, below < 0); None if there is none within the limit.
    above_depth_db, below_depth_db : how far it lies below the sum on the axis; inf for an exact null, negative if it is
        louder than the axis. A driver without data fills the null up to its bound: the depth is then no less than this.
    reason : why nothing is known, or empty.
    lobe_deg, lobe_db : where between these minima the sum is loudest, and by how much louder than on the axis; a
        minimum that was not found leaves the limit. None where nothing is known.
    """

    crossover_hz: float
    above_deg: float | None
    above_depth_db: float | None
    below_deg: float | None
    below_depth_db: float | None
    reason: str = ""
    lobe_deg: float | None = None
    lobe_db: float | None = None


def off_axis(
    frequency_hz: Float,
    branches: Sequence[Branch],
    vertical_deg: Sequence[float] = ANGLES_DEG,
    distance_m: float = 1.0,
    measured_at_m: float | None = None,
) -> OffAxis:
    """Add the branches at vertical angles.

    Parameters
    ----------
    frequency_hz : (n,) rising.
    branches : each (n,) and with a position; one without a diameter is a point.
    vertical_deg : (a,), -90 < angle < 90, positive upward.
    distance_m : radius of the arc; inf is the far field.
    measured_at_m : distance at which the responses were taken, where the arc has another radius: the drivers' paths on
        the axis then differ too. None: the axis of the arc is taken to sound as it was measured.

    Raises InputError: a branch has no position, an angle is out of range, or a distance is not above 0.
    """
    f = np.asarray(frequency_hz, dtype=float)
    angles = np.asarray(vertical_deg, dtype=float)
    if not np.all(np.abs(angles) < 90.0):
        raise InputError(f"{float(angles[np.argmax(np.abs(angles))]):g} degrees is behind the baffle", "stay within 90")
    sums = [
        sum_branches(f, [move_branch(f, b, float(a), distance_m, measured_at_m) for b in branches], coherent=True)
        for a in angles
    ]
    notes = dict.fromkeys(note for total in sums for note in total.notes)
    return OffAxis(
        frequency_hz=f,
        vertical_deg=angles,
        pressure=np.stack([total.pressure for total in sums]) if sums else np.empty((0, f.size), dtype=complex),
        distance_m=distance_m,
        coherent=all(total.coherent for total in sums),
        notes=tuple(notes),
    )


def move_branch(
    frequency_hz: Float,
    branch: Branch,
    vertical_deg: float,
    distance_m: float,
    measured_at_m: float | None = None,
    horizontal_deg: float = 0.0,
) -> Branch:
    """Turn a branch into what it is at a vertical and a horizontal angle; arguments as for `off_axis`.

    Where the piston on the axis is 10 dB down already, as the microphone sees it, the result is
    NaN: the sum then treats it like a band without data.
    """
    factor = axis_factor(frequency_hz, branch, vertical_deg, distance_m, measured_at_m, horizontal_deg)
    held = branch.bounded
    moved = None if held is None else (held[0] * factor, held[1] * np.abs(factor))
    return replace(branch, pressure=branch.pressure * factor, bounded=moved)


def axis_factor(
    frequency_hz: ArrayLike,
    branch: Branch,
    vertical_deg: ArrayLike,
    distance_m: float,
    measured_at_m: float | None = None,
    horizontal_deg: ArrayLike = 0.0,
) -> Complex:
    """Pressure of a branch at an angle over that on the axis.

    Frequency and angles broadcast against each other. Raises InputError for a branch without position.
    """
    if branch.position_mm is None:
        raise InputError(
            f"driver {branch.key} has no position_mm", "give position_mm = [right, up, forward] in speaker.toml"
        )
    from_m = distance_m if measured_at_m is None else measured_at_m
    place = branch.position_mm
    on, off = path_excess_m(place, from_m), path_excess_m(place, distance_m, vertical_deg, horizontal_deg)
    # The fall with distance itself is left out, so that all distances show the level at 1 m.
    spread = (1.0 + on / from_m) / (1.0 + off / distance_m)
    factor = spread * delay_factor(frequency_hz, (off - on) / SPEED_OF_SOUND_M_S)
    if branch.diameter_mm is not None:
        factor = factor * _beaming(frequency_hz, branch, vertical_deg, horizontal_deg, distance_m, from_m)
    return np.asarray(factor, dtype=complex)


def _beaming(
    frequency_hz: ArrayLike,
    branch: Branch,
    vertical_deg: ArrayLike,
    horizontal_deg: ArrayLike,
    distance_m: float,
    from_m: float,
) -> Float:
    from xover.driver.piston import directivity

    if branch.position_mm is None or branch.diameter_mm is None:
        raise ValueError(f"{branch.key} has no position or no diameter")
    diameter_m = branch.diameter_mm / 1000.0
    seen = angle_off_axis_deg(branch.position_mm, distance_m, vertical_deg, horizontal_deg)
    there = directivity(frequency_hz, diameter_m, seen)
    here = directivity(frequency_hz, diameter_m, angle_off_axis_deg(branch.position_mm, from_m))
    here = np.broadcast_to(here, there.shape)
    trusted = here >= ratio(-PISTON_TRUST_DB)
    return np.asarray(np.divide(there, here, out=np.full(there.shape, np.nan), where=trusted), dtype=float)


def vertical_nulls(
    frequency_hz: Float,
    branches: Sequence[Branch],
    crossover_hz: Sequence[float],
    distance_m: float = 1.0,
    measured_at_m: float | None = None,
    limit_deg: float = LIMIT_DEG,
) -> tuple[VerticalNulls, ...]:
    """Find the first minimum of the sum above and below the axis, at each crossover frequency.

    Parameters
    ----------
    frequency_hz, branches, distance_m, measured_at_m : as for `off_axis`.
    crossover_hz : frequencies to look at; between rows, levels and phases between drivers are interpolated.
    limit_deg : widest angle, below 90.

    Raises InputError: as for `off_axis`.
    """
    if not 0 < limit_deg < 90:
        raise InputError(f"{limit_deg:g} degrees is no limit for a search", "give an angle between 0 and 90")
    if not branches:
        return ()
    f = np.asarray(frequency_hz, dtype=float)
    # First to the axis of the arc, which leaves out what the piston cannot tell; then along the arc.
    on_axis = [move_branch(f, b, 0.0, distance_m, measured_at_m) for b in branches]
    pressure = np.stack([b.pressure for b in on_axis])
    bound = np.stack([missing_bound(f, b) for b in on_axis])
    return tuple(_nulls_at(f, on_axis, pressure, bound, float(fx), distance_m, limit_deg) for fx in crossover_hz)


def _nulls_at(
    f: Float,
    branches: Sequence[Branch],
    pressure: Complex,
    bound: Float,
    fx: float,
    distance_m: float,
    limit_deg: float,
) -> VerticalNulls:
    here = np.array([fx])
    beside = slice(max(int(np.searchsorted(f, fx)) - 1, 0), int(np.searchsorted(f, fx)) + 1)
    loudest = int(np.argmax(np.nan_to_num(np.abs(pressure[:, beside])).sum(axis=1)))
    axis = between(f, pressure, here, loudest)
    limit = larger_beside(f, bound, here)
    if np.isnan(known_sum(axis, limit)[0]):
        return VerticalNulls(fx, None, None, None, None, "the sum on the axis is not known there")
    known = [int(row) for row in np.flatnonzero(np.isfinite(axis[:, 0]))]
    missing = float(np.delete(limit[:, 0], known).sum())

    def magnitude(angle_deg: Float) -> Float:
        moved = [axis[row] * axis_factor(fx, branches[row], angle_deg, distance_m) for row in known]
        return np.asarray(np.abs(np.sum(moved, axis=0)) + missing, dtype=float)

    level_on_axis = float(level_db(magnitude(np.zeros(1)))[0])
    found: list[tuple[float | None, float | None]] = []
    for side in (1.0, -1.0):
        angle, size = _first_minimum(magnitude, side, limit_deg)
        found.append((None, None) if angle is None else (angle, level_on_axis - float(level_db(size))))
    (above, above_depth), (below, below_depth) = found
    low, high = -limit_deg if below is None else below, limit_deg if above is None else above
    lobe_deg, size = _loudest(magnitude, low, high)
    return VerticalNulls(
        fx, above, above_depth, below, below_depth, "", lobe_deg, float(level_db(size)) - level_on_axis
    )


def _loudest(magnitude: Magnitude, low_deg: float, high_deg: float) -> tuple[float, float]:
    """Angle from one to another where something is largest, and how large."""
    low, high = low_deg, high_deg
    angle = np.linspace(low, high, math.ceil((high - low) / SEARCH_STEP_DEG) + 2)
    for _ in range(1 + NARROWINGS):
        size = magnitude(angle)
        best = int(np.argmax(size))
        low, high = float(angle[max(best - 1, 0)]), float(angle[min(best + 1, angle.size - 1)])
        found = float(angle[best]), float(size[best])
        angle = np.linspace(low, high, NARROWED)
    return found


def _first_minimum(magnitude: Magnitude, side: float, limit_deg: float) -> tuple[float | None, float]:
    """First local minimum from the axis to one side: its angle and value."""
    angle = np.arange(0.0, limit_deg + SEARCH_STEP_DEG / 2.0, SEARCH_STEP_DEG)
    size = magnitude(side * angle)
    dips = np.flatnonzero((size[1:-1] < size[:-2]) & (size[1:-1] <= size[2:])) + 1
    if dips.size == 0:
        return None, math.nan
    low, centre, high = (float(angle[dips[0] + i]) for i in (-1, 0, 1))
    for _ in range(NARROWINGS):
        local = np.linspace(low, high, NARROWED)
        size = magnitude(side * local)
        best = int(np.clip(np.nanargmin(size), 1, NARROWED - 2))
        low, centre, high = (float(local[best + i]) for i in (-1, 0, 1))
    return side * centre, float(magnitude(np.array([side * centre]))[0])
