"""The electrical model: limits, symmetry, equivalent circuit, refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.driver.fit_refine import impedance_and_slopes, model_of, pack
from xover.driver.model import BoxAir, DriverModel, LossyInductance, PowerCoil, Resonance, impedance_polynomials
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


BOXED = DriverModel(
    6.0,
    1e-4,
    (LossyInductance(4.0, 1e-3),),
    (Resonance(40.0, 50.0, 4.0, BoxAir(1.2, 5.0, 35.0, 30.0)), Resonance(30.0, 5.0, 4.0, BoxAir(0.7, 9.0))),
    PowerCoil(2.0, 0.6),
)


def test_a_box_and_a_coil_as_plain_parts_are_the_same_impedance() -> None:
    """Node voltages of the wired elements, and the ratio of polynomials, against the formula with the coil's ladder."""
    plain = BOXED.with_plain_parts()
    wired = BOXED.wired("p", "m", lambda k: f"n{k}")
    nodes = sorted({n for _, a, b in wired for n in (a, b)} - {"m"})
    top, bottom = impedance_polynomials(BOXED)
    for f in np.geomspace(5.0, 30e3, 40):
        s = 2j * math.pi * f
        y = np.zeros((len(nodes), len(nodes)), dtype=complex)
        for element, a, b in wired:
            of = {"R": 1 / element.value, "L": 1 / (s * element.value), "C": s * element.value}[element.kind]
            for one, other in ((a, b), (b, a)):
                if one != "m":
                    y[nodes.index(one), nodes.index(one)] += of
                    if other != "m":
                        y[nodes.index(one), nodes.index(other)] -= of
        into = np.eye(len(nodes))[nodes.index("p")]
        want = plain.impedance_ohm([f])[0]
        assert np.linalg.solve(y, into)[nodes.index("p")] == pytest.approx(want, rel=1e-9)
        assert np.polyval(top, s) / np.polyval(bottom, s) == pytest.approx(want, rel=1e-9)


@pytest.mark.parametrize("power", [0.35, 0.5, 0.62, 0.75, 0.95])
def test_the_ladder_follows_the_power(power: float) -> None:
    """A coil alone, no Re to hide behind: 0.5 % of |K (jw)^n|, 20 Hz to 20 kHz; its angle is n x 90 degrees."""
    f = np.geomspace(20.0, 20e3, 200)
    coil = PowerCoil(3.0, power)
    np.testing.assert_allclose(np.angle(coil.impedance_ohm(f), deg=True), 90.0 * power, rtol=1e-12)
    ladder = sum(cell.impedance_ohm(f) for cell in coil.ladder())
    np.testing.assert_allclose(ladder, coil.impedance_ohm(f), rtol=5e-3)


def test_a_closed_box_that_hardly_leaks_adds_its_stiffness() -> None:
    """Small 1972 (from memory): fc/fs = sqrt(1 + alpha), the mass as it was."""
    peaks = Resonance(30.0, 40.0, 4.0, BoxAir(2.0, 1e-6)).peaks()
    assert len(peaks) == 1
    assert peaks[0].f_hz == pytest.approx(30.0 * math.sqrt(3.0), rel=1e-6)
    assert peaks[0].q == pytest.approx(4.0 * math.sqrt(3.0), rel=1e-4)


def test_the_peaks_of_a_vented_box_obey_small() -> None:
    """Small 1973 (from memory), without losses: fL fH = fs fb, and fL^2 + fH^2 = fs^2 (1 + alpha) + fb^2."""
    low, high = Resonance(30.0, 4e5, 4e4, BoxAir(1.5, 1e-5, 36.0)).peaks()
    assert low.f_hz * high.f_hz == pytest.approx(30.0 * 36.0, rel=1e-6)
    assert low.f_hz**2 + high.f_hz**2 == pytest.approx(30.0**2 * 2.5 + 36.0**2, rel=1e-6)


def test_slopes_of_what_is_fitted_are_its_differences() -> None:
    size, p = pack(BOXED)
    f = np.geomspace(10.0, 20e3, 50)
    z, slopes = impedance_and_slopes(size, p, f)
    np.testing.assert_allclose(z, BOXED.impedance_ohm(f), rtol=1e-12)
    np.testing.assert_allclose(model_of(size, np.exp(p)).impedance_ohm(f), z, rtol=1e-12)
    for step, slope in zip(1e-6 * np.eye(p.size), slopes, strict=True):
        up, down = (impedance_and_slopes(size, p + sign * step, f)[0] for sign in (1.0, -1.0))
        np.testing.assert_allclose((up - down) / 2e-6, slope, atol=1e-7 * np.abs(slope).max())


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
        (lambda: PowerCoil(2.0, 1.0), "a lossy inductance cannot go with the power 1"),
        (lambda: BoxAir(1.0, 5.0, -3.0), "a box cannot be tuned to -3 Hz"),
        (lambda: DriverModel.from_thiele_small(6.0, 50.0, 5.0, 0.0), "a driver cannot have qes = 0"),
    ],
)
def test_refusals(make: object, words: str) -> None:
    assert callable(make)
    with pytest.raises(InputError, match=words):
        make()
