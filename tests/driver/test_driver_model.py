"""The electrical model: limits, symmetry, equivalent circuit, refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.driver.model import DriverModel, LossyInductance, Resonance
from xover.errors import InputError

MODEL = DriverModel(
    6.0, 0.3e-3, (LossyInductance(4.0, 1e-3),), (Resonance(50.0, 40.0, 5.0), Resonance(900.0, 3.0, 2.0))
)


def test_at_rest_only_re_is_left() -> None:
    assert MODEL.impedance_ohm([0.0])[0] == 6.0


def test_at_resonance_the_peak_stands_on_re() -> None:
    # Derived: at fs inductor and capacitor cancel, so Z = Re + R exactly.
    z = DriverModel.from_thiele_small(6.0, 50.0, 5.0, 0.75).impedance_ohm([50.0])[0]
    assert z == pytest.approx(46.0, rel=1e-12)


def test_far_above_all_corners_it_is_re_plus_cells_plus_le() -> None:
    # Derived: R || L tends to R, and a resonance to its capacitor, which vanishes.
    f = 1e9
    z = MODEL.impedance_ohm([f])[0]
    assert z.real == pytest.approx(10.0, rel=1e-6)
    assert z.imag == pytest.approx(2 * math.pi * f * 0.3e-3, rel=1e-6)


def test_lossy_cell_at_its_corner() -> None:
    # Derived: at the corner R || jR = R (1 + j)/2.
    cell = LossyInductance(4.0, 1e-3)
    assert cell.impedance_ohm([cell.corner_hz])[0] == pytest.approx(2.0 + 2.0j, rel=1e-12)


def test_half_power_width_is_fs_over_q() -> None:
    # Derived: |Z| is R/sqrt 2 at the two frequencies whose difference is f0/Q and whose product is f0^2.
    f0, q = 50.0, 5.0
    half = f0 / (2 * q)
    ends = [math.hypot(f0, half) - half, math.hypot(f0, half) + half]
    got = np.abs(Resonance(f0, 40.0, q).impedance_ohm(ends))
    np.testing.assert_allclose(got, 40.0 / math.sqrt(2.0), rtol=1e-12)


def test_the_equivalent_circuit_is_the_same_impedance() -> None:
    """The named elements, put together by the rules for series and parallel, against the formula."""
    f = np.geomspace(5.0, 40000.0, 200)
    jw = 2j * math.pi * f
    admittance = {"R": lambda x: 1 / x + 0 * jw, "L": lambda x: 1 / (jw * x), "C": lambda x: jw * x}
    cells: dict[int, np.ndarray] = {}
    for element in MODEL.rlc_elements():
        cells[element.cell] = cells.get(element.cell, 0 * jw) + admittance[element.kind](element.value)
    np.testing.assert_allclose(sum(1 / y for y in cells.values()), MODEL.impedance_ohm(f), rtol=1e-12)


def test_elements_are_named_as_cards_and_once() -> None:
    elements = MODEL.rlc_elements()
    assert [e.name for e in elements] == [
        "Re", "Le", "Rcoil1", "Lcoil1", "Rres1", "Lres1", "Cres1", "Rres2", "Lres2", "Cres2",
    ]  # fmt: skip
    assert all(e.name[0] == e.kind for e in elements)
    assert [e.name for e in DriverModel(6.0).rlc_elements()] == ["Re"]


def test_negative_frequency_is_the_conjugate() -> None:
    f = np.geomspace(5.0, 40000.0, 50)
    np.testing.assert_allclose(MODEL.impedance_ohm(-f), MODEL.impedance_ohm(f).conj(), rtol=1e-12)


POSITIVE = st.floats(0.05, 50.0)


@settings(max_examples=60)
@given(POSITIVE, st.floats(0.0, 3e-3), POSITIVE, st.floats(1e-5, 1e-2), st.floats(15.0, 3000.0), POSITIVE, POSITIVE)
def test_passive_and_no_less_than_re_whatever_the_values(
    re: float, le: float, r: float, l_h: float, f0: float, peak: float, q: float
) -> None:
    model = DriverModel(re, le, (LossyInductance(r, l_h),), (Resonance(f0, peak, q),))
    z = model.impedance_ohm(np.geomspace(1.0, 1e5, 400))
    assert np.all(z.real >= re * (1 - 1e-12))
    assert np.all(z.real <= (re + r + peak) * (1 + 1e-12))


def test_no_resonance_no_q() -> None:
    model = DriverModel(6.0, 1e-3)
    assert all(math.isnan(x) for x in (model.fs_hz, model.qms, model.qes, model.qts))


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: DriverModel(0.0), "a driver cannot have re_ohm = 0"),
        (lambda: DriverModel(6.0, -1e-3), r"an inductance of -0\.001 H"),
        (lambda: DriverModel(6.0, math.inf), "an inductance of inf H"),
        (lambda: Resonance(50.0, 40.0, math.nan), "a resonance cannot have q = nan"),
        (lambda: LossyInductance(4.0, -1.0), "a lossy inductance cannot have l_h = -1"),
        (lambda: DriverModel.from_thiele_small(6.0, 50.0, 5.0, 0.0), "a driver cannot have qes = 0"),
    ],
)
def test_refusals(make: object, words: str) -> None:
    assert callable(make)
    with pytest.raises(InputError, match=words):
        make()
