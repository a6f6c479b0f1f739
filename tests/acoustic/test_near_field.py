"""Near fields against the closed form on the axis of a rigid piston, and the baffle's step against a rigid sphere."""

import numpy as np
import pytest
from invented.pistons import C, on_axis, sphere_step

from xover.acoustic.near_field import baffle_step, far_over_near, near_limit_hz, near_loss_db

A = 0.0825


@pytest.mark.parametrize(("ka", "db"), [(1.0, -0.365), (1.6, -0.947)])
def test_what_a_near_field_reads_low(ka, db):
    """Keele 1974: the figures of his limits, from the closed form at the piston and far away, and from ours."""
    f = ka * C / (2 * np.pi * A)
    exact = np.abs(on_axis(f, A, 1e-6) / on_axis(f, A, 200.0)) * A / 400.0
    assert 20 * np.log10(exact) == pytest.approx(db, abs=0.001)
    assert float(near_loss_db(ka)) == pytest.approx(db, abs=0.001)


def test_a_microphone_at_some_distance():
    """0.11 of the radius away it reads 0.954 dB low, by the closed form."""
    low = np.abs(on_axis(5.0, A, 0.11 * A) / on_axis(5.0, A, 1e-9))
    assert 20 * np.log10(low) == pytest.approx(-0.954, abs=0.001)


def test_far_over_near_in_half_and_full_space():
    """65 mm at 1 m: -29.76 dB and -35.78 dB; the closed form agrees, in level and phase."""
    half = 20 * np.log10(np.abs(far_over_near(0.130, 1.0)))
    assert half == pytest.approx(-29.76, abs=0.005)
    full = half + 20 * np.log10(np.abs(baffle_step(0.01, 0.25)))
    assert full == pytest.approx(-35.78, abs=0.005)
    f = np.array([30.0, 100.0, 300.0])
    # The closed form at 10 m, brought to 1 m: its near field has died away there.
    far = on_axis(f, 0.065, 10.0) * 10.0 * np.exp(2j * np.pi * f * 10.0 / C)
    got = on_axis(f, 0.065, 1e-6) * far_over_near(0.130, f)
    assert np.abs(got / far - 1).max() < 0.006
    assert np.abs(np.angle(got / far)).max() < 0.001


def test_limits():
    assert near_limit_hz(0.165) == pytest.approx(C / (np.pi * 0.165), rel=1e-9)


def test_a_baffles_step():
    """Limits, and -3 dB near 115 m/s over the width; within 0.5 dB of a sphere of that diameter up to there, whose
    -3 dB lie at 109 m/s."""
    width = 0.25
    db = 20 * np.log10(np.abs(baffle_step(np.array([0.1, 115 / width, 1e7]), width)))
    assert db == pytest.approx([-6.0206, -3.0103, 0.0], abs=1e-3)
    f = np.geomspace(20, 115 / width, 30)
    ratio = sphere_step(f, width) / baffle_step(f, width)
    assert np.abs(20 * np.log10(np.abs(ratio))).max() < 0.5
    assert np.degrees(np.abs(np.angle(ratio))).max() < 6.0
    assert 20 * np.log10(np.abs(sphere_step(109 / width, width))) == pytest.approx(-3.0, abs=0.1)
    assert 20 * np.log10(np.abs(sphere_step(1.0, width))) == pytest.approx(-6.02, abs=0.01)
