"""Driver fit: round trips over invented drivers, and what it says when the data do not suffice."""

from __future__ import annotations

import json
import math
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from xover.curve import Curve, Unit, log_grid
from xover.driver.fit import MOUNTING_NOTE, DriverFit, fit_driver
from xover.driver.model import DriverModel, LossyInductance, Resonance
from xover.errors import InputError
from xover.plain import to_plain

Float = NDArray[np.float64]

F = log_grid(10.0, 20000.0, 48)
WOOFER = DriverModel(
    6.2, 0.3e-3, (LossyInductance(4.0, 1e-3), LossyInductance(15.0, 0.4e-3)), (Resonance(45.0, 40.0, 5.0),)
)
PLAIN_WOOFER = DriverModel.from_thiele_small(5.8, 32.0, 4.5, 0.35, 0.8e-3)
DOME = DriverModel.from_thiele_small(5.4, 1100.0, 3.0, 1.2, 0.05e-3)
FLUID_DOME = DriverModel.from_thiele_small(5.4, 900.0, 0.8, 1.6, 0.03e-3)
HORN = DriverModel(
    6.0, 0.05e-3, (LossyInductance(6.0, 0.1e-3),), (Resonance(600.0, 20.0, 3.0), Resonance(1500.0, 8.0, 2.5))
)
TWO_HUMPS = DriverModel(
    6.0, 0.5e-3, (LossyInductance(6.0, 1e-3),), (Resonance(65.0, 45.0, 6.0), Resonance(22.0, 30.0, 7.0))
)
DRIVERS = {
    "woofer": WOOFER,
    "plain woofer": PLAIN_WOOFER,
    "dome": DOME,
    "fluid dome": FLUID_DOME,
    "horn": HORN,
    "two humps": TWO_HUMPS,
}


def sweep(model: DriverModel, f: Float = F, noise: float = 0.0, seed: int = 1, phase: bool = True) -> Curve:
    """Impedance with complex Gaussian noise of a relative rms."""
    rng = np.random.default_rng(seed)
    z = model.impedance_ohm(f)
    z = z * (1 + noise / math.sqrt(2) * (rng.standard_normal(f.size) + 1j * rng.standard_normal(f.size)))
    return Curve(f, z if phase else np.abs(z), Unit.OHM, has_phase=phase, source="sweep.csv")


def said(fit: DriverFit, words: str) -> bool:
    return any(words in warning for warning in fit.warnings)


@pytest.mark.parametrize("name", DRIVERS)
def test_clean_sweep_gives_the_driver_back(name: str) -> None:
    true, fit = DRIVERS[name], fit_driver(sweep(DRIVERS[name]))
    assert fit.relative_rms < 1e-6
    assert len(fit.model.resonances) == len(true.resonances)
    for got, want in zip(fit.model.resonances, true.resonances, strict=True):
        assert (got.f_hz, got.r_ohm, got.q) == pytest.approx((want.f_hz, want.r_ohm, want.q), rel=1e-5)
    assert fit.model.re_ohm == pytest.approx(true.re_ohm, rel=1e-5)
    assert fit.model.le_h == pytest.approx(true.le_h, rel=1e-4)
    assert [c.r_ohm for c in fit.model.lossy] == pytest.approx([c.r_ohm for c in true.lossy], rel=1e-4)
    assert (fit.fs_hz, fit.qms, fit.qes, fit.qts) == pytest.approx((true.fs_hz, true.qms, true.qes, true.qts), rel=1e-5)


@pytest.mark.parametrize("per_octave", [48, 24])
@pytest.mark.parametrize("name", DRIVERS)
def test_one_percent_noise_is_not_fitted(name: str, per_octave: int) -> None:
    true = DRIVERS[name]
    fit = fit_driver(sweep(true, log_grid(10.0, 20000.0, per_octave), 0.01))
    assert 0.009 < fit.relative_rms < 0.011
    assert len(fit.model.resonances) == len(true.resonances)
    assert len(fit.model.lossy) == len(true.lossy)
    assert fit.fs_hz == pytest.approx(true.fs_hz, rel=0.01)
    assert fit.qts == pytest.approx(true.qts, rel=0.03)
    assert fit.model.re_ohm == pytest.approx(true.re_ohm, rel=0.01)


@settings(max_examples=15)
@given(
    re=st.floats(3.0, 8.0),
    fs=st.floats(25.0, 120.0),
    qms=st.floats(1.5, 8.0),
    qes=st.floats(0.25, 1.2),
    le=st.floats(0.1e-3, 2e-3),
    r=st.floats(2.0, 20.0),
    corner=st.floats(300.0, 6000.0),
    seed=st.integers(0, 2**31),
)
def test_random_woofers(
    re: float, fs: float, qms: float, qes: float, le: float, r: float, corner: float, seed: int
) -> None:
    peak = Resonance(fs, re * qms / qes, qms)
    true = DriverModel(re, le, (LossyInductance(r, r / (2 * math.pi * corner)),), (peak,))
    fit = fit_driver(sweep(true, noise=0.005, seed=seed))
    assert fit.fs_hz == pytest.approx(fs, rel=0.01)
    assert fit.qts == pytest.approx(true.qts, rel=0.03)
    assert fit.relative_rms == pytest.approx(0.005, rel=0.15)


@settings(max_examples=15)
@given(
    re=st.floats(3.0, 8.0),
    fs=st.floats(600.0, 2000.0),
    qms=st.floats(0.7, 4.0),
    qes=st.floats(0.6, 2.5),
    le=st.floats(0.01e-3, 0.1e-3),
    seed=st.integers(0, 2**31),
)
def test_random_domes(re: float, fs: float, qms: float, qes: float, le: float, seed: int) -> None:
    true = DriverModel.from_thiele_small(re, fs, qms, qes, le)
    fit = fit_driver(sweep(true, log_grid(50.0, 20000.0, 48), noise=0.005, seed=seed))
    assert fit.fs_hz == pytest.approx(fs, rel=0.01)
    assert fit.qts == pytest.approx(true.qts, rel=0.03)
    assert fit.relative_rms == pytest.approx(0.005, rel=0.15)


def test_standard_errors_cover_the_scatter() -> None:
    """Over 30 noises the errors over their own standard errors have about unit spread, as they should."""
    f = log_grid(10.0, 20000.0, 12)
    true = {
        "resonance_1_f_hz": 32.0,
        "resonance_1_q": 4.5,
        "qes": 0.35,
        "qts": PLAIN_WOOFER.qts,
        "re_ohm": 5.8,
        "le_h": 0.8e-3,
    }
    fits = [fit_driver(sweep(PLAIN_WOOFER, f, 0.01, seed)) for seed in range(30)]
    for name, want in true.items():
        found = [fit.parameter(name) for fit in fits]
        scores = np.array([(p.value / want - 1) / p.relative_se for p in found])
        # 30 draws of chi-square: a root mean square outside 0.65..1.35 has odds of about 1 in 100.
        assert 0.65 < math.sqrt(float(np.mean(scores**2))) < 1.35, name


@pytest.mark.parametrize("box_q", [5.0, 7.0])
def test_vented_box(box_q: float) -> None:
    """A vented box from its acoustical circuit (Small 1973, from memory), not from the model that is fitted.

    Invented driver: Bl 10, Mms 30 g, Cms 0.7 mm/N, Rms 2, Sd 350 cm2 in 60 l tuned to 38 Hz, losses by leakage.
    """
    w = 2j * math.pi * F
    compliance = 0.06 / (1.2 * 343.0**2)
    mass = 1 / ((2 * math.pi * 38.0) ** 2 * compliance)
    leak = box_q / (2 * math.pi * 38.0 * compliance)
    box = 1 / (w * compliance + 1 / (w * mass) + 1 / leak)
    z = 6.0 + w * 0.6e-3 + 10.0**2 / (2.0 + w * 0.03 + 1 / (w * 0.7e-3) + 0.035**2 * box)
    fit = fit_driver(Curve(F, z, Unit.OHM))
    peaks = [p.f_hz for p in fit.model.resonances[0].peaks()]
    size = np.abs(z)
    tops = F[1:-1][(size[1:-1] > size[:-2]) & (size[1:-1] > size[2:])]
    assert peaks == pytest.approx(tops.tolist(), rel=0.02)
    assert fit.relative_rms < 1e-4
    assert said(fit, "two resonances")
    # The driver without the box, and the box, from the same circuit.
    assert fit.fs_hz == pytest.approx(1 / (2 * math.pi * math.sqrt(0.03 * 0.7e-3)), rel=1e-3)
    assert fit.qms == pytest.approx(math.sqrt(0.03 / 0.7e-3) / 2.0, rel=1e-2)
    assert fit.qes == pytest.approx(math.sqrt(0.03 / 0.7e-3) * 6.0 / 10.0**2, rel=1e-2)
    assert fit.box is not None
    assert fit.box.tuned_hz == pytest.approx(38.0, rel=1e-3)
    assert fit.box.stiffness == pytest.approx(0.7e-3 * 0.035**2 / compliance, rel=1e-2)
    assert fit.box.tuned_hz / fit.box.leak_hz == pytest.approx(box_q, rel=0.05)


def test_closed_box_raises_fs_and_q_alike() -> None:
    """Small 1972 (from memory): fc/fs = Qtc/Qts = sqrt(1 + alpha); the box only adds stiffness."""
    alpha, free = 3.2, DriverModel.from_thiele_small(5.8, 30.0, 4.0, 0.3835616, 0.5e-3)
    stiff = math.sqrt(1 + alpha)
    peak = free.resonances[0]
    boxed_c, boxed_l = peak.c_f, peak.l_h / (1 + alpha)
    w = 2j * math.pi * F
    z = 5.8 + w * 0.5e-3 + 1 / (1 / peak.r_ohm + w * boxed_c + 1 / (w * boxed_l))
    fit = fit_driver(Curve(F, z, Unit.OHM))
    assert fit.fs_hz == pytest.approx(61.4817, rel=1e-5)
    assert fit.qts == pytest.approx(free.qts * stiff, rel=1e-5)
    assert fit.mounting_note == MOUNTING_NOTE
    assert "cabinet" in fit.mounting_note


@pytest.mark.parametrize("name", ["woofer", "dome"])
def test_without_phase_the_magnitude_is_fitted_and_said_so(name: str) -> None:
    true = DRIVERS[name]
    fit = fit_driver(sweep(true, noise=0.005, phase=False))
    assert not fit.phase_used
    assert said(fit, "the sweep has no phase")
    assert fit.fs_hz == pytest.approx(true.fs_hz, rel=0.01)
    assert fit.qts == pytest.approx(true.qts, rel=0.03)
    # The phase that the model implies is the driver's own.
    error = np.angle(fit.model.impedance_ohm(F) / true.impedance_ohm(F), deg=True)
    assert np.max(np.abs(error)) < 1.0


def test_no_resonance_in_the_band() -> None:
    fit = fit_driver(Curve(F, 6.0 + 2j * math.pi * F * 0.5e-3, Unit.OHM))
    assert said(fit, "the impedance never shows a resonance from 10 to 2e+04 Hz")
    assert all(math.isnan(x) for x in (fit.fs_hz, fit.qms, fit.qes, fit.qts))
    assert fit.model.resonances == ()
    assert fit.model.re_ohm == pytest.approx(6.0, rel=1e-6)
    assert fit.model.le_h == pytest.approx(0.5e-3, rel=1e-6)


@pytest.mark.parametrize("band", [(200.0, 20000.0), (36.0, 20000.0)])
def test_resonance_below_the_data_is_not_known(band: tuple[float, float]) -> None:
    fit = fit_driver(sweep(PLAIN_WOOFER, noise=0.005), band)
    assert math.isnan(fit.fs_hz)
    assert said(fit, "never shows the top of a resonance")
    assert fit.relative_rms < 0.006


def test_resonance_above_the_data_is_not_known() -> None:
    fit = fit_driver(sweep(DOME, noise=0.005), (20.0, 1000.0))
    assert math.isnan(fit.fs_hz)
    assert said(fit, "only a flank that points to")


def test_resonance_at_the_edge() -> None:
    fit = fit_driver(sweep(DOME, noise=0.005), (1000.0, 20000.0))
    assert said(fit, "is at the lower end of the data")
    assert said(fit, "too near the resonance to see Re below it")
    assert fit.fs_hz == pytest.approx(1100.0, rel=0.02)


def test_re_is_not_seen_where_the_coil_hides_it() -> None:
    fit = fit_driver(sweep(PLAIN_WOOFER, log_grid(8000.0, 20000.0, 12), 0.05))
    assert said(fit, "the data do not show Re")
    assert fit.parameter("re_ohm").relative_se > 0.05


def test_a_capacitor_in_series_is_named() -> None:
    z = DOME.impedance_ohm(F) + 1 / (2j * math.pi * F * 4.7e-6)
    noise = 0.003 * np.random.default_rng(3).standard_normal(F.size)
    fit = fit_driver(Curve(F, z * (1 + noise), Unit.OHM))
    assert said(fit, "as with a capacitor of about 4.7 uF in series")
    assert fit.fs_hz == pytest.approx(1100.0, rel=0.01)
    assert fit.qts == pytest.approx(DOME.qts, rel=0.03)
    assert not fit.parameter("resonance_2_q").seen


def test_what_is_not_seen_is_marked() -> None:
    fit = fit_driver(sweep(DOME, noise=0.02), (5000.0, 20000.0))
    hidden = [p.name for p in fit.parameters if not p.seen]
    assert "resonance_1_q" in hidden
    assert math.isnan(fit.qms)
    assert said(fit, "the data do not determine")
    assert fit.parameter("le_h").seen
    assert fit.parameter("le_h").value == pytest.approx(0.05e-3, rel=0.1)


def test_a_large_residual_is_said_with_its_place() -> None:
    z = PLAIN_WOOFER.impedance_ohm(F)
    # A rattle that no driver model has: 80 % more over a sixth of an octave.
    z = np.where((F > 900) & (F < 1010), 1.8 * z, z)
    fit = fit_driver(Curve(F, z, Unit.OHM))
    assert fit.relative_rms > 0.03
    assert 850 < fit.worst_at_hz < 1100
    assert said(fit, "the model misses the data by")


def test_one_bad_row_is_said_with_its_place() -> None:
    z = WOOFER.impedance_ohm(F).copy()
    row = int(np.argmin(np.abs(F - 100.0)))
    z[row] *= 1.3
    fit = fit_driver(Curve(F, z, Unit.OHM))
    assert fit.worst_at_hz == pytest.approx(F[row], rel=1e-9)
    assert said(fit, "the data stand out from the model by 23 % at 100")


def test_a_phase_past_ninety_degrees_is_said() -> None:
    z = DOME.impedance_ohm(F).copy()
    z[:5] *= np.exp(1j * np.radians(170.0))
    fit = fit_driver(Curve(F, z, Unit.OHM))
    assert said(fit, "the phase passes 90 degrees at 5 frequencies, the first at 10 Hz")


def test_held_rows_count_once() -> None:
    z = PLAIN_WOOFER.impedance_ohm(F).copy()
    z[1:8], z[9:14] = z[0], z[8]
    fit = fit_driver(Curve(F, z, Unit.OHM))
    assert any(words.startswith("12 rows repeat the row before") for words in fit.warnings)
    assert fit.rows == F.size - 12
    assert fit.fs_hz == pytest.approx(32.0, rel=0.01)


def test_a_long_linear_sweep_is_thinned() -> None:
    f = np.arange(5.0, 20000.0, 5.0)
    fit = fit_driver(sweep(DOME, f, 0.005))
    assert fit.rows < 900
    assert fit.fs_hz == pytest.approx(1100.0, rel=0.005)
    assert fit.qts == pytest.approx(DOME.qts, rel=0.01)


def test_the_fit_answers_only_inside_its_band() -> None:
    fit = fit_driver(sweep(WOOFER), (20.0, 5000.0))
    z = fit.impedance_ohm([10.0, 100.0, 6000.0])
    assert np.isnan(z[[0, 2]]).all()
    assert z[1] == pytest.approx(WOOFER.impedance_ohm([100.0])[0], rel=1e-4)


def test_result_is_plain_json() -> None:
    fit = fit_driver(sweep(DOME, noise=0.01), (2500.0, 20000.0))
    plain = json.loads(json.dumps(to_plain(fit)))
    assert plain["qms"] is None
    assert plain["model"]["re_ohm"] == pytest.approx(fit.model.re_ohm)
    assert plain["tried"][0].keys() >= {"resonances", "lossy", "relative_rms", "criterion"}


def test_a_sweep_of_five_hundred_rows_takes_less_than_a_second() -> None:
    curve = sweep(WOOFER, noise=0.005)
    assert curve.frequency_hz.size > 500
    start = time.process_time()
    fit = fit_driver(curve)
    assert time.process_time() - start < 1.0
    assert fit.rows == curve.frequency_hz.size


@pytest.mark.parametrize(
    ("curve", "band", "words"),
    [
        (Curve(F, np.ones(F.size), Unit.RATIO, source="a.csv"), None, r"a\.csv: a driver is fitted to its impedance"),
        (sweep(DOME), (100.0, 105.0), r"sweep\.csv: 4 rows of impedance from 100 to 105 Hz are too few"),
        (
            Curve(F[:9], np.r_[np.ones(8), 0.0], Unit.OHM, source="b.csv"),
            None,
            r"b\.csv: the impedance at 11.2\d* Hz is 0 ohm",
        ),
    ],
)
def test_refusals(curve: Curve, band: tuple[float, float] | None, words: str) -> None:
    with pytest.raises(InputError, match=words):
        fit_driver(curve, band)


def test_the_same_numbers_are_fitted_once_and_others_anew():
    f = np.geomspace(20.0, 20_000.0, 120)
    z = 6.0 + 2j * np.pi * f * 3e-4 + 30.0 / (1.0 + 4j * (f / 50.0 - 50.0 / f))
    first = fit_driver(Curve(f, z, Unit.OHM, source="one.csv"))
    assert fit_driver(Curve(f, z, Unit.OHM, source="another.csv")) is first
    other = fit_driver(Curve(f, 1.1 * z, Unit.OHM, source="one.csv"))
    assert other.model.re_ohm == pytest.approx(1.1 * first.model.re_ohm, rel=1e-3)
    assert fit_driver(Curve(f, np.abs(z), Unit.OHM, has_phase=False)).phase_used is False
