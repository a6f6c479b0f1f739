"""Where to put a second coil: how far away in each usual arrangement, and at which angle the coupling vanishes."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from xover.errors import OptionError
from xover.parts.coil_design import CoilDesign
from xover.parts.coupling import (
    Pose,
    check_clear,
    geometric_mean_h,
    least_distance_m,
    mutual_inductance,
    mutual_unchecked,
)
from xover.parts.inductance import MU0
from xover.parts.wire import Winding

LIMIT: Final = 0.01
"""Coupling that coils are kept below unless another is asked for: common practice, no published source."""
# Searches look no closer than this, which moves a distance by a third of it, and take at most four grids: where
# coils touch, that leaves some 1e-3 of k.
_SEARCH: Final = 1e-4
_TURNS_DEG: Final = (15.0, 30.0, 45.0, 60.0, 75.0, 90.0)
_LEVELS: Final = 4
_POSE: Final = 1e-5  # of what is added up, for the pose that is asked for


class Arrangement(StrEnum):
    """How two coils stand to each other."""

    SIDE_BY_SIDE = "side by side, axes parallel"
    IN_LINE = "on one axis: stacked, end to end"
    FACING = "one flat, one on edge facing it"
    CROSSED_WORST = "right angles, worst place"
    CROSSED = "right angles, on axis or mid-plane"


@dataclass(frozen=True)
class Apart:
    """How far apart two coils couple less than a limit, in one arrangement.

    Attributes
    ----------
    distance_m : centre to centre (FACING: along the board), beyond which |k| stays below the limit; not less than
        `touching_m`. None where symmetry makes k zero at any distance.
    touching_m : where the copper would touch. touching_k : |k| there.
    """

    arrangement: Arrangement
    distance_m: float | None
    touching_m: float | None
    touching_k: float

    @property
    def gap_m(self) -> float | None:
        """How far beyond touching."""
        return None if self.distance_m is None or self.touching_m is None else self.distance_m - self.touching_m


@dataclass(frozen=True)
class NullTilt:
    """The tilt at which two coils do not couple, in the plane of the first's axis and the second's centre.

    Attributes
    ----------
    tilt_deg : of the second's axis, -90 to 90: 0 is parallel to the first's; above 0 its upper end leans away from the
        first coil, below 0 towards it (up is the first's axis).
    within_deg : how far off it may be with |k| below the limit; 90 where no angle exceeds that.
    clear : whether the coils do not touch at that tilt.
    """

    tilt_deg: float
    within_deg: float
    clear: bool


@dataclass(frozen=True)
class Beside:
    """Two coils on a board: how they couple, and what would be better.

    Attributes
    ----------
    k : with its sign for windings counter-clockwise about their axes, dots at the starts.
    error_k : estimate of its numerical error.
    least_distance_m : of the centres in the pose's direction, where the coils would touch.
    second_coil : the second coil's recipe, where it was designed for the question.
    """

    first: Winding
    second: Winding
    first_h: float
    second_h: float
    pose: Pose
    k: float
    error_k: float
    mutual_h: float
    least_distance_m: float
    null: NullTilt
    limit: float
    apart: tuple[Apart, ...]
    second_coil: CoilDesign | None = None

    @property
    def card(self) -> str:
        """The netlist card, with L1 the first coil and L2 the second."""
        return f"K1 L1 L2 {self.k:.3g}" if abs(self.k) >= 5e-7 else "K1 L1 L2 0"

    def plain(self) -> dict[str, Any]:
        """All of it, and the card."""
        own = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return own | {
            "card": self.card,
            "sign": "with both windings counter-clockwise about their axes and the starts at the first nodes",
            "apart": [
                {
                    "arrangement": a.arrangement,
                    "distance_m": a.distance_m,
                    "gap_m": a.gap_m,
                    "touching_m": a.touching_m,
                    "touching_k": a.touching_k,
                }
                for a in self.apart
            ],
        }


def beside(
    first: Winding, second: Winding, pose: Pose, first_h: float, second_h: float, limit: float = LIMIT
) -> Beside:
    """All that two coils in one pose are asked about.

    Raises OptionError: copper would meet copper (names the least distance); an inductance or the limit out of range.
    """
    mean_h = geometric_mean_h(first_h, second_h)
    _check_limit(limit)
    mutual = mutual_inductance(first, second, pose, _POSE)
    return Beside(
        first=first,
        second=second,
        first_h=first_h,
        second_h=second_h,
        pose=pose,
        k=mutual.henry / mean_h,
        error_k=mutual.error_henry / mean_h,
        mutual_h=mutual.henry,
        least_distance_m=least_distance_m(first, second, pose),
        null=null_tilt(first, second, pose, first_h, second_h, limit),
        limit=limit,
        apart=tuple(keep_apart(first, second, a, first_h, second_h, limit) for a in Arrangement),
    )


def keep_apart(
    first: Winding,
    second: Winding,
    arrangement: Arrangement,
    first_h: float,
    second_h: float,
    limit: float = LIMIT,
) -> Apart:
    """The distance beyond which |k| stays below a limit.

    The search comes from far away, where |k| falls steadily (as 1/d^3, or 1/d^4 on a shared board), and stops at the
    first crossing of the limit (Brent, to 1e-4 of the distance), so what lies beyond is below the limit, whatever
    happens closer. CROSSED_WORST is the worst place at that distance, some 45 degrees off the first's axis.

    Parameters
    ----------
    first_h, second_h : inductances, henry. limit : above 0, at most 1.

    Raises OptionError: an inductance or the limit out of range.
    """
    mean_h = geometric_mean_h(first_h, second_h)
    _check_limit(limit)
    if arrangement is Arrangement.CROSSED:
        return Apart(arrangement, None, None, 0.0)

    def at(distance: float, place: Callable[[float], Pose]) -> float:
        return abs(mutual_unchecked(first, second, place(distance), _SEARCH, _LEVELS).henry) / mean_h

    if arrangement is not Arrangement.CROSSED_WORST:
        return _search(arrangement, first, second, limit, _place(arrangement, first, second), at, mean_h)
    polar = math.radians(45.0)
    found = _search(arrangement, first, second, limit, _crossed(polar), at, mean_h)
    for _ in range(2):  # |k| is flat at its maximum, so this stands still at once
        assert found.distance_m is not None  # only CROSSED has none
        polar = _worst_polar(first, second, found.distance_m)
        found = _search(arrangement, first, second, limit, _crossed(polar), at, mean_h)
    return found


def null_tilt(
    first: Winding, second: Winding, pose: Pose, first_h: float, second_h: float, limit: float = LIMIT
) -> NullTilt:
    """The tilt of the second coil, its centre where it is, at which k is zero.

    Turning a coil right round changes k's sign, so there always is one in half a turn (Brent). The pose's own tilt does
    not matter. `within_deg` is searched from the null outwards in steps of 15 degrees.

    Raises OptionError: an inductance or the limit out of range.
    """
    from scipy.optimize import brentq

    mean_h = geometric_mean_h(first_h, second_h)
    _check_limit(limit)
    along = math.hypot(pose.x_m, pose.y_m)

    def at(tilt: float) -> Pose:
        return Pose(along, 0.0, pose.z_m, tilt)

    def k(tilt: float) -> float:
        return mutual_unchecked(first, second, at(tilt), 1e-5, _LEVELS).henry / mean_h

    symmetric = along == 0.0 or pose.z_m == 0.0
    tilt = 90.0 if symmetric else float(brentq(k, -90.0, 90.0, xtol=1e-4))
    try:
        check_clear(first, second, at(tilt))
        clear = True
    except OptionError:
        clear = False
    return NullTilt(tilt, min(_within(k, tilt, side, limit) for side in (-1.0, 1.0)), clear)


def _within(k: Callable[[float], float], tilt: float, side: float, limit: float) -> float:
    """Degrees off the null, to one side, up to which |k| stays below the limit; 90 where it never reaches it."""
    from scipy.optimize import brentq

    low = 0.0
    for high in _TURNS_DEG:
        if abs(k(tilt + side * high)) > limit:
            return float(brentq(lambda off: abs(k(tilt + side * off)) - limit, low, high, xtol=1e-2))
        low = high
    return 90.0


def _check_limit(limit: float) -> None:
    if not 0 < limit <= 1:
        raise OptionError(f"a coupling limit of {limit:g} makes no sense", "give a number above 0 and up to 1, as 0.01")


def _place(arrangement: Arrangement, first: Winding, second: Winding) -> Callable[[float], Pose]:
    if arrangement is Arrangement.SIDE_BY_SIDE:
        return lambda d: Pose(d, 0.0, 0.0)
    if arrangement is Arrangement.IN_LINE:
        return lambda d: Pose(0.0, 0.0, d)
    # Both lie on the board: the centre of the one on edge is as high as its radius.
    raised = second.outer_radius_m - 0.5 * first.length_m
    return lambda d: Pose(d, 0.0, raised, 90.0)


def _crossed(polar: float) -> Callable[[float], Pose]:
    return lambda d: Pose(d * math.sin(polar), 0.0, d * math.cos(polar), 90.0)


def _worst_polar(first: Winding, second: Winding, distance_m: float) -> float:
    from scipy.optimize import minimize_scalar

    def gain(polar: float) -> float:
        return -abs(mutual_unchecked(first, second, _crossed(polar)(distance_m), _SEARCH, _LEVELS).henry)

    return float(minimize_scalar(gain, bounds=(0.3, 1.27), method="bounded", options={"xatol": 3e-3}).x)


def _touching_m(arrangement: Arrangement, first: Winding, second: Winding, pose: Pose) -> float:
    if arrangement is Arrangement.FACING:
        return first.outer_radius_m + 0.5 * second.length_m
    return least_distance_m(first, second, pose)


def _search(
    arrangement: Arrangement,
    first: Winding,
    second: Winding,
    limit: float,
    place: Callable[[float], Pose],
    at: Callable[[float, Callable[[float], Pose]], float],
    mean_h: float,
) -> Apart:
    from scipy.optimize import brentq

    touching = _touching_m(arrangement, first, second, place(1.0))
    touching_k = at(touching, place)
    # Two dipoles in line couple 2 (mu0/4 pi) m1 m2 / d^3: no arrangement far away couples more.
    dipole = MU0 / (2.0 * math.pi) * _area_turns_m2(first) * _area_turns_m2(second) / mean_h
    outer = max(touching, (dipole / limit) ** (1.0 / 3.0)) * 1.2
    while at(outer, place) > limit:
        outer *= 1.2
    inner = outer
    while inner > touching and at(inner, place) <= limit:
        outer, inner = inner, max(touching, inner / 1.15)
    if at(inner, place) <= limit:
        return Apart(arrangement, touching, touching, touching_k)

    def over(log_distance: float) -> float:
        return math.log(at(math.exp(log_distance), place) / limit)

    distance = math.exp(float(brentq(over, math.log(inner), math.log(outer), xtol=1e-4)))
    return Apart(arrangement, distance, touching, touching_k)


def _area_turns_m2(winding: Winding) -> float:
    """Magnetic moment for one ampere: turns x the mean of pi r^2 over the section."""
    inner, outer = winding.inner_radius_m, winding.outer_radius_m
    return winding.turns * math.pi * (inner**2 + inner * outer + outer**2) / 3.0
