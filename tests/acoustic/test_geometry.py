from __future__ import annotations

import math

import numpy as np
import pytest

from xover.acoustic.time import (
    SPEED_OF_SOUND_M_S,
    angle_off_axis_deg,
    delay_factor,
    delay_s,
    path_excess_m,
)
from xover.errors import InputError


def path_m(position_mm, distance_m, *angles_deg):
    """From a driver to the microphone: the axis' foot's own path and what this one is longer."""
    return distance_m + path_excess_m(position_mm, distance_m, *angles_deg)


def test_speed_of_sound_at_20_degrees() -> None:
    """331.3 sqrt(1 + 20/273.15) = 343.2 m/s, rounded as is common practice."""
    assert SPEED_OF_SOUND_M_S == 343.0


def test_path_by_pythagoras() -> None:
    """3-4-5 and its kin: a driver 300 mm up sees a microphone 400 mm ahead at 500 mm."""
    assert float(path_m((0.0, 300.0, 0.0), 0.4)) == pytest.approx(0.5, rel=1e-12)
    assert float(path_m((300.0, 0.0, 0.0), 0.4)) == pytest.approx(0.5, rel=1e-12)
    assert float(path_m((0.0, 0.0, 300.0), 0.4)) == pytest.approx(0.1, rel=1e-12)


def test_path_straight_up_and_to_the_right() -> None:
    assert float(path_m((0.0, 100.0, 0.0), 1.0, 90.0)) == pytest.approx(0.9, rel=1e-12)
    assert float(path_m((0.0, 100.0, 0.0), 1.0, -90.0)) == pytest.approx(1.1, rel=1e-12)
    assert float(path_m((100.0, 0.0, 0.0), 1.0, 0.0, 90.0)) == pytest.approx(0.9, rel=1e-12)
    assert float(path_m((100.0, 0.0, 0.0), 1.0, 0.0, -90.0)) == pytest.approx(1.1, rel=1e-12)


def test_excess_against_the_plain_difference() -> None:
    """The stable form and the difference of two vectors' lengths agree, over several angles at once."""
    place, distance = np.array([40.0, -130.0, -25.0]), 1.7
    v, h = np.array([-40.0, 0.0, 10.0]), np.array([5.0, 0.0, -60.0])
    mic = distance * np.stack(
        [
            np.cos(np.radians(v)) * np.sin(np.radians(h)),
            np.sin(np.radians(v)),
            np.cos(np.radians(v)) * np.cos(np.radians(h)),
        ]
    )
    plain = np.linalg.norm(mic - place[:, None] / 1000.0, axis=0) - distance
    assert path_excess_m(tuple(place), distance, v, h) == pytest.approx(plain, abs=1e-14)


def test_excess_far_away_meets_the_far_field() -> None:
    place = (0.0, -150.0, -20.0)
    far = float(path_excess_m(place, math.inf, 10.0))
    assert far == pytest.approx(0.15 * math.sin(math.radians(10.0)) + 0.02 * math.cos(math.radians(10.0)), rel=1e-12)
    assert float(path_excess_m(place, 1e6, 10.0)) == pytest.approx(far, rel=1e-6)
    assert math.isinf(float(path_m(place, math.inf)))


def test_forward_is_early() -> None:
    assert delay_s((0.0, 0.0, 34.3)) == pytest.approx(-1e-4, rel=1e-12)
    assert delay_s((0.0, 0.0, 34.3), 1.0) == pytest.approx(-1e-4, rel=1e-12)
    assert delay_s((0.0, 300.0, 0.0), 0.4) == pytest.approx(0.1 / 343.0, rel=1e-12)


def test_delay_turns_backwards() -> None:
    """exp(-j 2 pi f t): a quarter period late is -j."""
    assert delay_factor([1000.0, 2000.0], 0.00025) == pytest.approx(np.array([-1j, -1.0]), abs=1e-12)


def test_angle_at_which_a_driver_is_seen() -> None:
    """atan(300/400) = 36.8699 deg on the axis at 0.4 m; none far away; above, the angle itself."""
    assert float(angle_off_axis_deg((0.0, -300.0, 0.0), 0.4)) == pytest.approx(36.8699, abs=1e-4)
    assert float(angle_off_axis_deg((0.0, -300.0, 0.0), math.inf, 25.0)) == pytest.approx(25.0, rel=1e-12)
    assert float(angle_off_axis_deg((0.0, 0.0, 0.0), 1.0, -25.0)) == pytest.approx(25.0, rel=1e-12)
    # 250 + 300 mm up and 433.01 - 100 mm ahead of a driver that stands below and forward.
    seen = math.degrees(math.atan2(0.55, 0.5 * math.cos(math.radians(30.0)) - 0.1))
    assert float(angle_off_axis_deg((0.0, -300.0, 100.0), 0.5, 30.0)) == pytest.approx(seen, rel=1e-12)
    assert float(angle_off_axis_deg((0.0, 0.0, 0.0), 1.0, 0.0, 40.0)) == pytest.approx(40.0, rel=1e-12)


@pytest.mark.parametrize("distance_m", [0.0, -1.0, math.nan])
def test_distance_must_be_above_0(distance_m: float) -> None:
    with pytest.raises(InputError, match=f"stand at {distance_m:g} m"):
        path_m((0.0, 0.0, 0.0), distance_m)


@pytest.mark.parametrize("place", [(0.0, 1.0), (0.0, math.nan, 2.0)])
def test_position_must_be_three_numbers(place: tuple[float, ...]) -> None:
    with pytest.raises(InputError, match="is not three numbers; give"):
        delay_s(place, 1.0)
