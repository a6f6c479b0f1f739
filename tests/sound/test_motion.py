"""Resonance, losses, mass and coil are read from a sweep as they are in drivers worked out from masses and air."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from xover.curve import Curve, Unit, log_grid
from xover.rules.health import DULL_MASS, LEAK
from xover.sound.motion import coil_ratio, motion_of

sys.path.insert(0, str(Path(__file__).parents[1]))
from invented.drivers import HORNS, TWEETERS, WOOFERS

CLOSED = [d for d in WOOFERS if d.air.kind == "closed"]


@pytest.mark.parametrize("driver", WOOFERS, ids=lambda d: d.name)
def test_the_mass_is_the_drivers_own_whatever_its_box(driver):
    """Cmes = Qes/(ws Re), the mass over the square of the pull (Small 1972, from memory)."""
    own = driver.qes / (2 * np.pi * driver.fs_hz * driver.coil.re_ohm)
    assert motion_of(driver.sweep(noise=0.005)).mass_f == pytest.approx(own, rel=0.03)


def test_free_air_and_a_vented_box_show_the_drivers_own_resonance():
    for driver in WOOFERS:
        if driver.air.kind in ("free", "vented"):
            assert motion_of(driver.sweep(noise=0.005)).fs_hz == pytest.approx(driver.fs_hz, rel=0.015), driver.name


def test_a_leak_shows_as_a_third_pole_and_leaves_the_mass_alone():
    for driver in CLOSED:
        tight = replace(driver, air=replace(driver.air, leak_q=10.0))
        torn = replace(driver, air=replace(driver.air, leak_q=0.9))
        readings = [motion_of(d.sweep(noise=0.005)) for d in (tight, torn)]
        assert readings[0].leak < LEAK < readings[1].leak, driver.name
        if readings[1].rise > DULL_MASS:
            assert readings[1].mass_f == pytest.approx(readings[0].mass_f, rel=0.15), driver.name


def test_three_points_of_a_sweep_without_phase():
    """Re 6, fs 50, Qms 5, Qes 0.5: f1 = 36.09514 and Zmax/Re = 11 (formulas of Small 1972; example derived)."""
    f = log_grid(2.0, 2000.0, 96)
    z = 6.0 * (1.0 + 10.0 / (1.0 + 5.0j * (f / 50.0 - 50.0 / f)))
    read = motion_of(Curve(f, np.abs(z), Unit.OHM, has_phase=False))
    assert (read.fs_hz, read.qms) == pytest.approx((50.0, 5.0), rel=0.01)
    assert read.rise == pytest.approx(11.0, rel=0.01)
    assert read.qes == pytest.approx(0.5, rel=0.02)


def test_coils_are_held_against_each_other_with_the_moving_part_taken_off():
    for driver in (*WOOFERS[:4], *TWEETERS[:3]):
        more = replace(driver, coil=replace(driver.coil, ohm_at_10_khz=1.3 * driver.coil.ohm_at_10_khz))
        ratio = coil_ratio(motion_of(more.sweep(noise=0.005)), motion_of(driver.sweep(noise=0.005)))
        assert ratio == pytest.approx(1.3, rel=0.03), driver.name


def test_dc_resistance_of_what_resonates_far_above_the_sweeps_beginning():
    for driver in (*TWEETERS, *HORNS):
        read = motion_of(driver.sweep(noise=0.005))
        assert read.direct
        assert read.re_ohm == pytest.approx(driver.coil.re_ohm, rel=0.015), driver.name


def test_a_coil_alone_has_no_peak():
    f = log_grid(10.0, 20e3, 48)
    read = motion_of(Curve(f, 6.0 + 4.0 * (1j * f / 1e4) ** 0.6, Unit.OHM))
    assert read.terms == 0
    assert np.isnan(read.fs_hz)
