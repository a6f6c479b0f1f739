"""EPDR: exact points, brute force over the cycle, properties."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from xover.amplifier.load import ASSUMPTION, epdr, epdr_over_modulus

ANGLES = st.floats(-90.0, 90.0)


def brute_force_ratio(phase_deg: float, samples: int = 400_001) -> float:
    """0.25 over the largest instantaneous dissipation of one class B device, unit rail and |Z|."""
    t = np.linspace(0.0, 2 * np.pi, samples)
    current = np.sin(t - np.radians(phase_deg))
    return 0.25 / float(np.max(np.where(current > 0, (1 - np.sin(t)) * current, 0.0)))


@pytest.mark.parametrize("phase", [0.0, 7.5, 15.0, -30.0, 45.0, -60.0, 75.0, 90.0, -90.0])
def test_closed_form_equals_brute_force(phase):
    assert epdr_over_modulus(phase) == pytest.approx(brute_force_ratio(phase), rel=1e-9)


@pytest.mark.parametrize(("phase", "ratio"), [(0.0, 1.0), (45.0, 1 / (2 * np.sqrt(2))), (90.0, 1 / (3 * np.sqrt(3)))])
def test_exact_points(phase, ratio):
    """Derived: the closed form at 0, 45 and 90 degrees."""
    assert epdr_over_modulus(phase) == pytest.approx(ratio, rel=1e-12)
    assert epdr_over_modulus(-phase) == pytest.approx(ratio, rel=1e-12)


def test_impedance_carries_modulus_and_sign_of_phase():
    z = np.array([8.0, 4 - 4j, 4 + 4j, 5j])
    expected = [8.0, 4 * np.sqrt(2) / (2 * np.sqrt(2)), 2.0, 5 / (3 * np.sqrt(3))]
    np.testing.assert_allclose(epdr(z), expected, rtol=1e-12)


def test_beyond_90_degrees_there_is_no_answer():
    assert np.isnan(epdr_over_modulus(90.001))
    assert np.isnan(epdr_over_modulus(-180.0))
    np.testing.assert_array_equal(np.isnan(epdr([-1 + 5j, -8, 1 + 5j])), [True, True, False])


def test_rounding_at_90_degrees_is_forgiven():
    """A lossless load computed in floats, a few 1e-16 beyond 90 degrees."""
    assert epdr(-1e-16 - 6j) == pytest.approx(6 / (3 * np.sqrt(3)), rel=1e-12)


def test_unknown_stays_unknown_and_short_stays_short():
    assert np.isnan(epdr(complex(np.nan, np.nan)))
    assert epdr(0j) == 0.0


def test_assumption_names_class_rail_and_signal():
    for word in ("class B", "rails equal to the peak", "steady sine", "class D"):
        assert word in ASSUMPTION


@given(ANGLES, st.floats(1e-3, 1e4))
def test_never_above_the_modulus_and_never_below_its_least_share(phase, modulus):
    z = modulus * np.exp(1j * np.radians(phase))
    assert modulus / (3 * np.sqrt(3)) * (1 - 1e-9) <= epdr(z) <= modulus * (1 + 1e-9)


@given(ANGLES)
def test_even_in_phase(phase):
    assert epdr_over_modulus(phase) == epdr_over_modulus(-phase)


@given(ANGLES, ANGLES)
def test_falls_as_the_phase_departs_from_zero(one, other):
    nearer, further = sorted((abs(one), abs(other)))
    assert epdr_over_modulus(further) <= epdr_over_modulus(nearer)
    if further - nearer > 1e-6:
        assert epdr_over_modulus(further) < epdr_over_modulus(nearer)


@given(st.lists(st.floats(-89, 89), min_size=1, max_size=20))
def test_array_equals_one_by_one(phases):
    np.testing.assert_array_equal(epdr_over_modulus(phases), [float(epdr_over_modulus(p)) for p in phases])
