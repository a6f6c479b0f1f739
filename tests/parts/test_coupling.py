"""Coupling of air coils: against circles added up in another way, and what symmetry demands."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.errors import OptionError
from xover.parts.coupling import (
    Pose,
    geometric_mean_h,
    least_distance_m,
    mutual_inductance,
)
from xover.parts.inductance import MU0, mutual_of_circles_h, section_h
from xover.parts.placement import Arrangement, beside, keep_apart, null_tilt
from xover.parts.wire import Winding
from xover.plain import to_plain


def coupling_factor(first, second, pose, first_h, second_h):
    """k = M / sqrt(L1 L2), with its sign."""
    return mutual_inductance(first, second, pose).henry / geometric_mean_h(first_h, second_h)


B = Winding(0.0125, 0.025, 0.020, 150.0)
C = Winding(0.020, 0.035, 0.030, 250.0)
B_H, C_H = 0.598779e-3, 2.552933e-3  # derived: Fourier-Bessel integral
FLAT = Winding(0.015, 0.045, 0.010, 180.0)
LONG = Winding(0.010, 0.015, 0.050, 200.0)


def neumann_h(first: Winding, second: Winding, pose: Pose, rings: int, points: int) -> float:
    """Neumann's double integral mu0/(4 pi) of dl.dl'/r over circles at Gauss points: no Maxwell, no potential."""
    angle = np.arange(points) * (2 * math.pi / points)
    tilt, azimuth = math.radians(pose.tilt_deg), math.radians(pose.azimuth_deg)
    turn = np.array([[math.cos(azimuth), -math.sin(azimuth), 0], [math.sin(azimuth), math.cos(azimuth), 0], [0, 0, 1]])
    lean = np.array([[math.cos(tilt), 0, math.sin(tilt)], [0, 1, 0], [-math.sin(tilt), 0, math.cos(tilt)]])
    at, weight = np.polynomial.legendre.leggauss(rings)

    def circles(winding, rotation, offset):
        for i in range(rings):
            for j in range(rings):
                a = winding.mean_radius_m + winding.depth_m / 2 * at[i]
                z = winding.length_m / 2 * at[j]
                place = np.array([a * np.cos(angle), a * np.sin(angle), np.full(points, z)])
                step = np.array([-a * np.sin(angle), a * np.cos(angle), np.zeros(points)]) * (2 * math.pi / points)
                yield rotation @ place + np.array(offset)[:, None], rotation @ step, weight[i] * weight[j] / 4

    total = 0.0
    moved = list(circles(second, turn @ lean, (pose.x_m, pose.y_m, pose.z_m)))
    for place, step, share in circles(first, np.eye(3), (0.0, 0.0, 0.0)):
        for place2, step2, share2 in moved:
            apart = np.sqrt(((place[:, :, None] - place2[:, None, :]) ** 2).sum(axis=0))
            total += share * share2 * float(((step.T @ step2) / apart).sum())
    return 1e-7 * total * first.turns * second.turns


# Two coaxial coils, gap between their faces in mm, M in uH: derived, Fourier-Bessel integral and 24^4 circles agreed.
COAXIAL = [(5, 299.11428), (10, 227.64640), (20, 137.28565), (50, 40.25017), (100, 9.90335), (200, 1.79179)]


@pytest.mark.parametrize(("gap_mm", "microhenry"), COAXIAL)
def test_coaxial_coils(gap_mm, microhenry):
    got = mutual_inductance(B, C, Pose(0.0, 0.0, (gap_mm + 25) / 1000))
    assert 1e6 * got.henry == pytest.approx(microhenry, rel=1e-6, abs=0.6e-5)
    assert 0 <= got.error_henry < 1e-6 * got.henry
    # k as listed beside them, six decimals.
    k = coupling_factor(B, C, Pose(0.0, 0.0, (gap_mm + 25) / 1000), B_H, C_H)
    assert k == pytest.approx(1e-6 * microhenry / math.sqrt(B_H * C_H), rel=5e-6)


@pytest.mark.parametrize(
    ("first", "second", "pose"),
    [
        (B, C, Pose(0.075, 0.0, 0.0)),
        (B, C, Pose(0.06, 0.02, 0.03, 50.0, 70.0)),
        (FLAT, LONG, Pose(0.0, -0.08, 0.02, 90.0, -90.0)),
        (LONG, B, Pose(0.05, 0.01, -0.03, 150.0, 20.0)),
    ],
    ids=["side by side", "anywhere", "on edge, facing", "leaning back"],
)
def test_any_pose_against_the_double_integral(first, second, pose):
    brute = neumann_h(first, second, pose, 5, 64)
    got = mutual_inductance(first, second, pose)
    assert got.henry == pytest.approx(brute, rel=1e-4)
    assert abs(got.henry) > 1e-6


def test_thin_coils_are_circles():
    """A winding of almost no section, coaxial: Maxwell's circles times both turns."""
    one, other = Winding(0.02, 0.02 + 1e-7, 1e-7, 3.0), Winding(0.03, 0.03 + 1e-7, 1e-7, 7.0)
    expected = 21 * float(mutual_of_circles_h(0.02, 0.03, 0.01))
    assert mutual_inductance(one, other, Pose(0, 0, 0.01)).henry == pytest.approx(expected, rel=1e-5)


poses = st.builds(
    Pose,
    st.floats(-0.2, 0.2),
    st.floats(-0.2, 0.2),
    st.floats(-0.2, 0.2),
    st.floats(-180, 180),
    st.floats(-180, 180),
).filter(lambda pose: pose.distance_m > 0.09)
coils = st.sampled_from([B, C, FLAT, LONG])


@settings(max_examples=40)
@given(coils, coils, poses)
def test_symmetries(first, second, pose):
    """M12 = M21; turning one coil's axis round flips the sign; no coupling exceeds one."""
    got = mutual_inductance(first, second, pose).henry
    scale = math.sqrt(section_h(first) * section_h(second))
    assert abs(got) < 0.2 * scale
    assert mutual_inductance(second, first, pose.swapped()).henry == pytest.approx(got, rel=1e-5, abs=1e-6 * scale)
    back = Pose(pose.x_m, pose.y_m, pose.z_m, pose.tilt_deg + 180.0, pose.azimuth_deg)
    assert mutual_inductance(first, second, back).henry == pytest.approx(-got, rel=1e-5, abs=1e-7 * scale)


@settings(max_examples=25)
@given(coils, coils, poses)
def test_far_away_they_are_dipoles(first, second, pose):
    """Derived: M = mu0/(4 pi d^3) (3 (m1.u)(m2.u) - m1.m2), moments of turns x mean pi r^2; so 1/d^3."""
    d = 30.0
    far = Pose(*(pose.offset_m / pose.distance_m * d), pose.tilt_deg, pose.azimuth_deg)

    def moment(winding):
        return winding.turns * math.pi * (winding.mean_radius_m**2 + winding.depth_m**2 / 12)

    along, across = far.offset_m / d, far.axis
    angles = 3 * along[2] * float(along @ across) - across[2]
    dipole = MU0 / (4 * math.pi) * moment(first) * moment(second) * angles / d**3
    size = MU0 / (4 * math.pi) * moment(first) * moment(second) / d**3
    assert mutual_inductance(first, second, far).henry == pytest.approx(dipole, abs=2e-4 * size)


def test_signs_and_zeros():
    """Currents side by side oppose, on one axis help; symmetry makes some poses zero."""
    assert coupling_factor(B, C, Pose(0.08, 0, 0), B_H, C_H) < -0.015
    assert coupling_factor(B, C, Pose(0, 0, 0.08), B_H, C_H) > 0.015
    for pose in (Pose(0.08, 0, 0, 90), Pose(0, 0, 0.08, 90), Pose(0.08, 0, 0.03, 90, 90)):
        assert abs(coupling_factor(B, C, pose, B_H, C_H)) < 1e-12


def test_a_small_coil_may_stand_in_the_bore_of_another():
    wide = Winding(0.040, 0.050, 0.020, 100.0)
    inside = mutual_inductance(wide, LONG, Pose(0.002, 0, 0, 3.0))
    assert inside.henry == pytest.approx(mutual_inductance(wide, LONG, Pose(0, 0, 0)).henry, rel=0.01)
    with pytest.raises(OptionError, match=r"30 mm apart .* they touch at 65 mm"):
        mutual_inductance(wide, LONG, Pose(0.03, 0, 0))


# Least distances of two cylinders, by hand: radii and half lengths in the direction of the offset.
@pytest.mark.parametrize(
    ("pose", "millimetre"),
    [
        (Pose(1, 0, 0), 25 + 35),
        (Pose(0, 0, 1), 10 + 15),
        (Pose(1, 0, 0, 90), 25 + 15),
        (Pose(0, 0, 1, 90), 10 + 35),
        (Pose(0, 1, 0, 90, 0), 25 + 35),
        # Corner to face: the tilted cylinder reaches up by 15 cos 30 + 35 sin 30.
        (Pose(0, 0, 1, 30), 10 + 15 * math.cos(math.pi / 6) + 35 * math.sin(math.pi / 6)),
        # At 45 degrees: their faces part at z = 25, long before x = 60.
        (Pose(1, 0, 1), 25 * math.sqrt(2)),
    ],
)
def test_least_distance(pose, millimetre):
    assert 1e3 * least_distance_m(B, C, pose) == pytest.approx(millimetre, rel=1e-6)


def test_coils_in_each_other_are_refused():
    with pytest.raises(OptionError, match=r"two coils 55 mm apart .* they touch at 60 mm"):
        mutual_inductance(B, C, Pose(0.055, 0, 0))
    with pytest.raises(OptionError, match="would stand in each other"):
        beside(B, C, Pose(0, 0, 0.024), B_H, C_H)
    with pytest.raises(OptionError, match="couples with nothing"):
        coupling_factor(B, C, Pose(0.1, 0, 0), 0.0, C_H)
    with pytest.raises(OptionError, match="is not a number"):
        Pose(math.nan, 0, 0)
    with pytest.raises(OptionError, match="limit of 0 makes no sense"):
        keep_apart(B, C, Arrangement.IN_LINE, B_H, C_H, 0.0)


@pytest.mark.parametrize(
    ("arrangement", "pose"),
    [
        (Arrangement.SIDE_BY_SIDE, lambda d: Pose(d, 0, 0)),
        (Arrangement.IN_LINE, lambda d: Pose(0, 0, d)),
        (Arrangement.FACING, lambda d: Pose(d, 0, 0.035 - 0.010, 90)),
    ],
)
def test_keep_apart_is_where_k_is_the_limit(arrangement, pose):
    found = keep_apart(B, C, arrangement, B_H, C_H, 0.004)
    assert found.distance_m > found.touching_m
    at = [abs(coupling_factor(B, C, pose(found.distance_m * s), B_H, C_H)) for s in (1.0, 1.1, 1.5, 3.0)]
    assert at[0] == pytest.approx(0.004, rel=1e-3)
    assert at[1:] == sorted(at[1:], reverse=True)
    assert at[1] < 0.004


def test_worst_place_at_right_angles():
    found = keep_apart(B, C, Arrangement.CROSSED_WORST, B_H, C_H, 0.004)
    polar = np.radians(np.arange(20, 75, 5))
    k = [
        abs(
            coupling_factor(B, C, Pose(found.distance_m * math.sin(p), 0, found.distance_m * math.cos(p), 90), B_H, C_H)
        )
        for p in polar
    ]
    assert max(k) == pytest.approx(0.004, rel=5e-3)
    assert 35 < math.degrees(polar[int(np.argmax(k))]) < 55  # 45 for dipoles
    none = keep_apart(B, C, Arrangement.CROSSED, B_H, C_H)
    assert (none.distance_m, none.touching_k) == (None, 0.0)


def test_coils_that_may_touch():
    found = keep_apart(B, C, Arrangement.SIDE_BY_SIDE, B_H, C_H, 0.2)
    assert found.distance_m == found.touching_m == pytest.approx(0.060)
    a_little_on = abs(neumann_h(B, C, Pose(0.061, 0, 0), 5, 64)) / math.sqrt(B_H * C_H)
    assert 1.01 * a_little_on < found.touching_k < 1.1 * a_little_on
    assert found.gap_m == 0


def test_null_tilt():
    """Derived for dipoles: at 45 degrees off the axis the field leans by atan(3); the null stands across it."""
    far = null_tilt(B, C, Pose(5.0, 0, 5.0), B_H, C_H, 1e-7)
    assert far.tilt_deg == pytest.approx(math.degrees(math.atan(3)) - 90.0, abs=0.05)
    near = null_tilt(B, C, Pose(0.0, 0.08, 0.03), B_H, C_H)
    k = coupling_factor(B, C, Pose(0.08, 0, 0.03, near.tilt_deg), B_H, C_H)
    assert abs(k) < 1e-6
    assert near.clear
    assert 0 < near.within_deg < 90
    edges = [
        abs(coupling_factor(B, C, Pose(0.08, 0, 0.03, near.tilt_deg + off), B_H, C_H))
        for off in (-near.within_deg, near.within_deg)
    ]
    assert max(edges) == pytest.approx(0.01, rel=1e-2)
    assert null_tilt(B, C, Pose(0.08, 0, 0), B_H, C_H).tilt_deg == 90.0
    assert null_tilt(B, C, Pose(5, 0, 1), B_H, C_H).within_deg == 90.0


def test_how_far_off_the_null_k_stays_small_is_what_the_coils_do():
    """Near by, k does not go with the sine of the angle off: the end of the range is where k is the limit."""
    pose = Pose(0.08, 0, 0)
    parallel = abs(coupling_factor(B, C, pose, B_H, C_H))
    limit = 0.9 * parallel
    null = null_tilt(B, C, pose, B_H, C_H, limit)
    assert 45.0 < null.within_deg < 90.0
    at_end = abs(coupling_factor(B, C, Pose(0.08, 0, 0, 90.0 - null.within_deg), B_H, C_H))
    assert at_end == pytest.approx(limit, rel=1e-2)
    assert null_tilt(B, C, pose, B_H, C_H, 1.1 * parallel).within_deg == 90.0


def test_beside_puts_it_together():
    found = beside(B, C, Pose(0.08, 0, 0.01), B_H, C_H)
    assert found.k == pytest.approx(coupling_factor(B, C, Pose(0.08, 0, 0.01), B_H, C_H), rel=1e-5)
    assert found.card == f"K1 L1 L2 {found.k:.3g}"
    assert found.mutual_h == pytest.approx(found.k * math.sqrt(B_H * C_H), rel=1e-12)
    assert beside(B, C, Pose(0.08, 0, 0, 90), B_H, C_H).card == "K1 L1 L2 0"
    plain = to_plain(found)
    assert plain["card"] == found.card
    assert [a["arrangement"] for a in plain["apart"]] == [a.value for a in Arrangement]
