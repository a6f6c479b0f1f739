"""How strongly two air coils couple, wherever and however the second one stands.

Each winding is a grid of circles, Gauss-Legendre over its section. Two circles in any pose are one integral round the
second of the first's vector potential, which is Maxwell's formula itself (see `potential_over_rho`):

    M = closed integral of A_phi / rho (x dy - y dx)

This is what the exact single integrals of Grover (1944) and Babic et al. (2010) (from memory) come to, without their
special cases; tests hold it to Neumann's double integral. The integrand is smooth and periodic, so the trapezium rule
converges geometrically. Steel nearby (screws, magnets, cores) is not
in it, nor is the skin effect.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np

from xover.curve import Float
from xover.errors import OptionError
from xover.parts.inductance import potential_over_rho
from xover.parts.wire import Winding

# (points along the longer side of a section, points round a circle): finer until the answer stands still.
_LEVELS: Final = ((3, 16), (4, 24), (6, 40), (9, 64), (13, 112), (18, 192))
_AT_ONCE: Final = 20_000  # pairs of points whose arrays stay in the processor's cache
TOLERANCE: Final = 1e-6
"""Finer grids end when the answer moves by less than this share of all that is added up."""


@dataclass(frozen=True)
class Pose:
    """Where the second coil stands as seen from the first, whose centre is the origin and whose axis is z.

    Attributes
    ----------
    x_m, y_m, z_m : the second coil's centre. z runs along the first coil's axis.
    tilt_deg : angle from the first's axis to the second's. 0: parallel; 90: at right angles; 180: reversed.
    azimuth_deg : towards which side it tilts, from x to y.
    """

    x_m: float
    y_m: float
    z_m: float
    tilt_deg: float = 0.0
    azimuth_deg: float = 0.0

    def __post_init__(self) -> None:
        if not all(math.isfinite(v) for v in (self.x_m, self.y_m, self.z_m, self.tilt_deg, self.azimuth_deg)):
            raise OptionError("the place of the second coil is not a number", "give its offset and its angles")

    @property
    def distance_m(self) -> float:
        """Centre to centre."""
        return math.hypot(self.x_m, self.y_m, self.z_m)

    @property
    def offset_m(self) -> Float:
        """(3,) the second coil's centre."""
        return np.array([self.x_m, self.y_m, self.z_m])

    @property
    def axis(self) -> Float:
        """(3,) unit vector along the second coil's axis."""
        tilt, azimuth = math.radians(self.tilt_deg), math.radians(self.azimuth_deg)
        return np.array(
            [math.sin(tilt) * math.cos(azimuth), math.sin(tilt) * math.sin(azimuth), math.cos(tilt)], dtype=float
        )

    def swapped(self) -> Pose:
        """The same two coils as seen from the second one."""
        across, along, axis = _frame(self.axis)
        own = np.array([across, along, axis])
        x, y, z = (float(v) for v in own @ -self.offset_m)
        first = own @ np.array([0.0, 0.0, 1.0])
        tilt = math.degrees(math.acos(min(1.0, max(-1.0, float(first[2])))))
        return Pose(x, y, z, tilt, math.degrees(math.atan2(float(first[1]), float(first[0]))))


@dataclass(frozen=True)
class Mutual:
    """A mutual inductance and how sure it is.

    Attributes
    ----------
    henry : positive where currents that run counter-clockwise about both axes help each other.
    error_henry : by how much the last refinement moved it: an upper estimate of what is left.
    """

    henry: float
    error_henry: float


def mutual_inductance(first: Winding, second: Winding, pose: Pose, tolerance: float = TOLERANCE) -> Mutual:
    """Mutual inductance of two coils.

    Parameters
    ----------
    tolerance : see `TOLERANCE`. As it stands, results of coaxial coils agree with the Fourier-Bessel integral to
        1e-6, and others with a plain double integral over filaments; coils that all but touch reach 1e-5.

    Raises OptionError: copper of one coil would stand in copper of the other; names the least distance.
    """
    check_clear(first, second, pose)
    return mutual_unchecked(first, second, pose, tolerance)


def geometric_mean_h(first_h: float, second_h: float) -> float:
    """sqrt(L1 L2). Raises OptionError where one is not above zero."""
    for henry in (first_h, second_h):
        if not (math.isfinite(henry) and henry > 0):
            raise OptionError(f"a coil of {henry:g} H couples with nothing", "give both inductances above zero")
    return math.sqrt(first_h) * math.sqrt(second_h)


def mutual_unchecked(
    first: Winding, second: Winding, pose: Pose, tolerance: float = TOLERANCE, levels: int = len(_LEVELS)
) -> Mutual:
    """As `mutual_inductance`, for a pose that is known to be clear, or one that a search only passes through.

    Parameters
    ----------
    levels : how many ever finer grids to try at most, from 2 to 6: a bound on the time where coils touch.
    """
    turns = first.turns * second.turns
    before: float | None = None
    moved = math.inf
    for order, count in _LEVELS[:levels]:
        now, scale = _one_turn(first, second, pose, order, count)
        if before is not None:
            moved = abs(now - before)
            if moved <= tolerance * scale:
                return Mutual(turns * now, turns * moved)
        before = now
    return Mutual(turns * now, turns * moved)


def _one_turn(first: Winding, second: Winding, pose: Pose, order: int, count: int) -> tuple[float, float]:
    """M of both windings with one turn each, and the sum of the magnitudes of its terms."""
    # The first coil is round: turn the picture until the second stands in the x-z plane.
    along = math.hypot(pose.x_m, pose.y_m)
    bearing = math.atan2(pose.y_m, pose.x_m)
    azimuth = math.radians(pose.azimuth_deg) - bearing
    tilt = math.radians(pose.tilt_deg)
    axis = np.array([math.sin(tilt) * math.cos(azimuth), math.sin(tilt) * math.sin(azimuth), math.cos(tilt)])
    one, other, axis = _frame(axis)
    # Then most poses are mirror-symmetric: the second half of each circle gives what the first gave.
    mirrored = abs(axis[1]) < 1e-14
    points = count // 2 if mirrored else count
    angle = (np.arange(points) + 0.5) * (2.0 * math.pi / count)
    radius, height, weight = _section(second, order)
    outward = np.outer(one, np.cos(angle)) + np.outer(other, np.sin(angle))  # (3, m)
    forward = np.outer(other, np.cos(angle)) - np.outer(one, np.sin(angle))
    centre = np.array([along, 0.0, pose.z_m])[:, None] + np.outer(axis, height)  # (3, g)
    x, y, z = centre[:, :, None] + radius[:, None] * outward[:, None, :]  # (g, m)
    step = radius[:, None] * (2.0 * math.pi / count) * (2.0 if mirrored else 1.0)
    turning = weight[:, None] * step * (x * forward[1] - y * forward[0])
    rho = np.hypot(x, y)
    total = magnitude = 0.0
    radii, levels, shares = _section(first, order)
    batch = max(1, _AT_ONCE // rho.size)
    for start in range(0, radii.size, batch):
        a, level, share = (v[start : start + batch, None, None] for v in (radii, levels, shares))
        terms = share * turning * potential_over_rho(a, rho, z - level)
        total += float(terms.sum())
        magnitude += float(np.abs(terms).sum())
    return total, magnitude


def _section(winding: Winding, order: int) -> tuple[Float, Float, Float]:
    """Radii, heights and weights (g,) of the circles that stand for a section; the weights add up to one."""
    longest = max(winding.depth_m, winding.length_m)
    nodes = []
    for side in (winding.depth_m, winding.length_m):
        # Each level must refine both sides, or their difference would not show what the thin side leaves out.
        points = max((order + 2) // 2, math.ceil(order * math.sqrt(side / longest)))
        at, weight = _gauss(points)
        nodes.append((0.5 * side * at, 0.5 * weight))
    (deep, deep_weight), (high, high_weight) = nodes
    radius, height = np.meshgrid(winding.mean_radius_m + deep, high, indexing="ij")
    return radius.ravel(), height.ravel(), np.outer(deep_weight, high_weight).ravel()


@cache
def _gauss(points: int) -> tuple[Float, Float]:
    """Gauss-Legendre nodes and weights on -1..1."""
    at, weight = np.polynomial.legendre.leggauss(points)
    return at, weight


def _frame(axis: Float) -> tuple[Float, Float, Float]:
    """Two unit vectors that make a right-handed frame with an axis; the second one horizontal (no z)."""
    level = math.hypot(axis[0], axis[1])
    other = np.array([0.0, 1.0, 0.0]) if level < 1e-14 else np.array([-axis[1], axis[0], 0.0]) / level
    return np.cross(other, axis), other, axis


def check_clear(first: Winding, second: Winding, pose: Pose) -> None:
    """See to it that the copper of two coils does not share a place; one coil in the other's bore is allowed.

    Raises OptionError: it does; says from which distance of the centres on, in that direction, it does not.
    """
    least = least_distance_m(first, second, pose)
    if pose.distance_m >= least * (1.0 - 1e-9) or not _copper_meets(first, second, pose):
        return
    raise OptionError(
        f"two coils {1e3 * pose.distance_m:.4g} mm apart from centre to centre would stand in each other",
        f"in that direction and at that angle they touch at {1e3 * least:.4g} mm",
    )


def least_distance_m(first: Winding, second: Winding, pose: Pose) -> float:
    """Distance of the centres, in the pose's direction, from which on two coils clear each other, bores included.

    Both coils are taken as solid cylinders with support functions h1 and h2. They are clear at t u just if some
    direction n has n . t u > h1(n) + h2(n), so the least t is the minimum of h1 + h2 over all n with n . u = 1. That
    is convex, and a grid that halves round its lowest point finds it, never below the truth. Coils on one spot are
    taken apart along the first's axis.
    """
    distance = pose.distance_m
    u = pose.offset_m / distance if distance > 0 else np.array([0.0, 0.0, 1.0])
    v, w, _ = _frame(u)

    def reach(p: Float, q: Float) -> Float:
        n = u[:, None] + np.outer(v, p) + np.outer(w, q)
        size = (n**2).sum(axis=0)
        total = np.zeros(p.shape)
        for winding, axis in ((first, np.array([0.0, 0.0, 1.0])), (second, pose.axis)):
            along = axis @ n
            level = np.sqrt(np.maximum(size - along**2, 0.0))
            total += winding.outer_radius_m * level + 0.5 * winding.length_m * np.abs(along)
        return total

    inner = sum(min(c.outer_radius_m, 0.5 * c.length_m) for c in (first, second))
    p = q = np.zeros(1)
    best = float(reach(p, q)[0])
    half = best / inner
    unit = np.linspace(-1.0, 1.0, 13)
    side, up = (m.ravel() for m in np.meshgrid(unit, unit))
    at = np.zeros(2)
    for _ in range(44):
        tried = reach(at[0] + half * side, at[1] + half * up)
        lowest = int(np.argmin(tried))
        if tried[lowest] < best:
            best = float(tried[lowest])
            at = at + half * np.array([side[lowest], up[lowest]])
        half *= 0.5
    return best


def _copper_meets(first: Winding, second: Winding, pose: Pose) -> bool:
    """Whether a point on the skin of one winding lies in the other; looked at on a dense net."""
    return _skin_inside(second, pose.swapped(), first) or _skin_inside(first, pose, second)


def _skin_inside(host: Winding, pose: Pose, guest: Winding) -> bool:
    """Whether the skin of a guest, posed as seen from the host, enters the host's copper."""
    edge = np.linspace(0.0, 1.0, 41)
    low, high = np.zeros(41), np.ones(41)
    deep = np.concatenate([edge, edge, low, high])
    up = np.concatenate([low, high, edge, edge])
    radius = guest.inner_radius_m + guest.depth_m * deep
    height = guest.length_m * (up - 0.5)
    angle = np.arange(360) * (2.0 * math.pi / 360)
    one, other, axis = _frame(pose.axis)
    outward = np.outer(one, np.cos(angle)) + np.outer(other, np.sin(angle))
    x, y, z = (
        pose.offset_m[:, None, None]
        + np.multiply.outer(axis, height)[:, :, None]
        + radius[:, None] * outward[:, None, :]
    )
    rho = np.hypot(x, y)
    inside = (rho > host.inner_radius_m) & (rho < host.outer_radius_m) & (np.abs(z) < 0.5 * host.length_m)
    return bool(inside.any())
