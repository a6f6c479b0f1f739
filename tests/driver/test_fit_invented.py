"""The one model on invented drivers that share the law of its coil at most, on spoilt sweeps, and where it must say no.

The whole family, other sweeps and the time are in `tests/benchmarks/driver_fits.py`, which prints them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmarks.driver_fits import KINDS, follow
from invented.drivers import DRIVERS, SWEPT_HZ, Air, Coil, Float, Horn, Invented

from xover.curve import Curve, Unit
from xover.driver.beyond import with_minimum_phase
from xover.driver.fit import fit_driver
from xover.driver.minimum_phase import minimum_phase_curve
from xover.driver.misfit import Misfit
from xover.remark import About
from xover.rules.likeness import FIT_FAILS

BY_NAME = {d.name: d for d in DRIVERS}
UP, HIGHER, METERED, NO_PHASE, _, _, APART, *_ = KINDS


@pytest.mark.parametrize("driver", DRIVERS[::4], ids=lambda d: d.name)
def test_the_residual_is_small_and_re_is_true(driver: Invented) -> None:
    found = follow(driver, UP)
    assert found.fit.holds
    assert found.fit.relative_rms < 0.01
    assert abs(found.re_off) < 0.02


@pytest.mark.parametrize("name", ["eight closed leaking", "ten vented", "horn mid", "dome"])
@pytest.mark.parametrize("kind", [HIGHER, METERED, NO_PHASE])
def test_a_sweep_that_begins_higher_or_has_no_phase(name: str, kind: str) -> None:
    found = follow(BY_NAME[name], kind)
    assert found.fit.holds
    assert found.fit.relative_rms < 0.02
    assert abs(found.re_off) < 0.02


def test_re_is_as_open_as_the_coils_law_below_the_sweep() -> None:
    """Coils of another law: Re is off by up to a tenth, and its standard error says so (90 % of all 42 within two)."""
    found = [follow(driver, APART) for driver in DRIVERS[::4]]
    errors = [abs(np.log1p(x.re_off)) / x.fit.parameter("re_ohm").relative_se for x in found]
    assert max(abs(x.re_off) for x in found) > 0.04
    assert sum(e < 2.0 for e in errors) >= len(found) - 2


@pytest.mark.parametrize("name", ["eight vented", "eight vented leaking", "twelve vented", "six vented breaking up"])
def test_a_vented_box_is_taken_apart(name: str) -> None:
    """fs of the driver alone and the tuning are those that the masses and springs were made with."""
    true, fit = BY_NAME[name], fit_driver(BY_NAME[name].sweep())
    assert fit.box is not None
    assert fit.fs_hz == pytest.approx(true.fs_hz, rel=0.02)
    assert fit.box.tuned_hz == pytest.approx(true.air.tuned_hz, rel=0.02)
    assert any(w.about is About.TWO_RESONANCES and "vented box tuned to" in w for w in fit.warnings)
    leaks = any("look for a leak" in w for w in fit.warnings)
    assert leaks == (true.air.leak_q < 5.0)


def test_a_metered_resistance_is_believed_where_the_sweep_does_not_show_it() -> None:
    driver = BY_NAME["eight free"]
    f = SWEPT_HZ[SWEPT_HZ > 45.0]
    alone = fit_driver(driver.sweep(f, noise=0.02))
    metered = fit_driver(driver.sweep(f, noise=0.02), re_ohm=5.8)
    assert metered.parameter("re_ohm").relative_se < min(0.02, alone.parameter("re_ohm").relative_se)
    assert metered.model.re_ohm == pytest.approx(5.8, rel=0.02)


def test_a_meter_that_the_sweep_contradicts_is_left_out() -> None:
    curve = BY_NAME["eight free"].sweep()
    assert fit_driver(curve, re_ohm=16.0).model.re_ohm == fit_driver(curve).model.re_ohm


def test_a_plain_woofer_behind_a_leaky_jig_is_given_no_capacitor() -> None:
    """A closed box, and a jig that lets go below 10 Hz: 0.3 ohm and 20 mF are in the sweep that no driver has."""
    driver = replace(
        BY_NAME["eight closed"], fs_hz=30.5, qms=2.8, qes=0.63, air=Air("closed", 57.0, leak_q=3.1, lining_q=7.0)
    )
    rng = np.random.default_rng(46)
    z = driver.impedance_ohm(SWEPT_HZ) + 1.0 / (2j * np.pi * SWEPT_HZ * 20e-3) + 3.0 / SWEPT_HZ
    z = z * (1.0 + 0.004 * (rng.standard_normal(z.size) + 1j * rng.standard_normal(z.size)))
    for read in (None, 5.8):
        fit = fit_driver(Curve(SWEPT_HZ, z, Unit.OHM), re_ohm=read)
        assert fit.model.re_ohm == pytest.approx(5.8, rel=0.06)
        assert fit.fs_hz == pytest.approx(float(SWEPT_HZ[np.argmax(np.abs(z))]), rel=0.05)
        assert not any("capacitor" in w for w in fit.warnings)


def spoilt(name: str, change: Float) -> Curve:
    """A sweep times 1 + change."""
    curve = BY_NAME[name].sweep()
    return replace(curve, value=curve.value * (1.0 + change))


def near(hz: float, octaves: float) -> Float:
    """1 within so many octaves of a frequency, else 0."""
    return (np.abs(np.log2(SWEPT_HZ / hz)) < octaves).astype(float)


def test_hum_is_told_of_where_it_stands_alone() -> None:
    fit = fit_driver(spoilt("eight closed", 0.25 * near(100.0, 0.015)))
    assert fit.misfit is Misfit.HUM
    assert any("mains hum" in w for w in fit.warnings)


def test_one_reading_elsewhere_is_a_reading() -> None:
    fit = fit_driver(spoilt("eight closed", 0.25 * near(700.0, 0.01)))
    assert fit.misfit is Misfit.READING
    assert not any("hum" in w for w in fit.warnings)


def test_a_rattle_is_scatter_and_nothing_else_is() -> None:
    noise = np.random.default_rng(3).standard_normal(SWEPT_HZ.size)
    fit = fit_driver(spoilt("eight closed", 0.12 * noise * near(250.0, 0.4)))
    assert fit.misfit is Misfit.RATTLE
    assert any("rattle" in w for w in fit.warnings)
    for driver in DRIVERS[::6]:
        assert fit_driver(driver.sweep()).misfit is not Misfit.RATTLE


def test_three_peaks_are_followed() -> None:
    """A vented box with a resonance of its panel between: three peaks below 200 Hz."""
    curve = BY_NAME["ten vented"].sweep()
    x = SWEPT_HZ / 140.0
    panel = 9.0 / (1.0 + 6j * (x - 1.0 / x))
    fit = fit_driver(replace(curve, value=curve.value + panel))
    assert fit.relative_rms < 0.01
    tops = sorted(p.f_hz for r in fit.model.resonances for p in r.peaks())
    assert tops[:3] == pytest.approx([14.4, 52.5, 140.0], rel=0.03)


@pytest.mark.parametrize(
    "z",
    [
        # A line a metre long and shorted: peaks and dips by the dozen.
        6.0 + 40j * np.tan(2 * np.pi * SWEPT_HZ * (1 - 0.02j) / 343.0),
        # Falling all the way: a capacitor, as no driver is.
        6.0 + 1.0 / (2j * np.pi * SWEPT_HZ * 3e-6) * (1.0 + 3.0 * (SWEPT_HZ > 300.0)),
        # Decibels in the place of ohms.
        20.0 * np.log10(np.abs(BY_NAME["horn long"].impedance_ohm(SWEPT_HZ))) * np.sign(np.sin(SWEPT_HZ)),
    ],
    ids=["line", "steps", "signs"],
)
def test_what_no_model_follows_is_no_claim(z: Float) -> None:
    fit = fit_driver(Curve(SWEPT_HZ, z, Unit.OHM))
    assert fit.relative_rms > FIT_FAILS
    assert not fit.holds
    assert fit.failure in fit.warnings
    assert all(np.isnan(x) for x in (fit.fs_hz, fit.qms, fit.qes, fit.qts))
    assert not any("capacitor" in w or "two resonances" in w for w in fit.warnings)


def test_a_horn_twice_as_long_is_still_followed() -> None:
    horn = Invented("horn of a metre", Coil(6.0, 2.4, 0.65), 420, 6.0, 0.5, 4e-3, 1.6e-3, horn=Horn(5e-4, 0.055, 0.5))
    fit = fit_driver(horn.sweep())
    assert fit.holds
    assert fit.model.re_ohm == pytest.approx(6.0, rel=0.02)


@pytest.mark.parametrize("name", ["eight free", "eight vented", "twelve vented"])
def test_a_phase_that_was_rebuilt_is_not_believed(name: str) -> None:
    """As a folder holds a sweep of magnitudes: the rebuilt phase rests on what lies beyond the sweep's ends."""
    driver = BY_NAME[name]
    swept = driver.sweep(noise=0.003)
    rebuilt, _ = minimum_phase_curve(replace(swept, value=np.abs(swept.value), has_phase=False))
    fit = fit_driver(rebuilt)
    assert fit.holds
    assert not fit.phase_used
    assert fit.relative_rms < 0.01
    assert fit.model.re_ohm == pytest.approx(driver.coil.re_ohm, rel=0.02)
    assert fit.fs_hz == pytest.approx(fit_driver(swept).fs_hz, rel=0.02)
    assert not any("no phase" in words for words in fit.warnings)


@pytest.mark.parametrize("name", ["eight free", "eight vented", "twelve vented", "dome"])
def test_a_phase_is_rebuilt_as_the_model_goes_on(name: str) -> None:
    """Straight tails below a sweep that begins on a port's peak put it up to three quarters off."""
    swept = BY_NAME[name].sweep(noise=0.003)
    rebuilt, words = with_minimum_phase(replace(swept, value=np.abs(swept.value), has_phase=False))
    assert rebuilt.phase_rebuilt
    assert np.abs(rebuilt.value) == pytest.approx(np.abs(swept.value), rel=1e-12)
    assert np.sqrt(np.mean(np.abs(rebuilt.value / swept.value - 1.0) ** 2)) < 0.01
    assert "fitted model" in words
