"""The synchronized sweep: figures of the paper it is from, worked out anew."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from xover.errors import InputError
from xover.recordings.place import find_sweep
from xover.recordings.sweep import SweepPlan, checked, marker, pink_noise, plan_of, played, sweep, tone, tone_hz
from xover.rules.recordings import GUARD_FARAD, PURPOSES

PLAN = SweepPlan(48_000, 20.0, 20_000.0, 3.0, -6.0)


def test_rate_and_leads_of_harmonics():
    """L = T/ln(f2/f1) = 1.44765 s for 10 s from 20 Hz to 20 kHz; harmonics lead by L ln n (Novak et al. 2015)."""
    plan = SweepPlan(48_000, 20.0, 20_000.0, 10.0, 0.0)
    # The nearest length that makes f1 L whole: 29/20 s.
    assert plan.growth_s == 29 / 20
    assert plan.growth_s / plan.sweep_s == pytest.approx(1.44765 / 10.0, rel=1e-5)
    assert plan.lead_s(2) * 10.0 / plan.sweep_s == pytest.approx(1.0034, abs=1e-4)
    assert plan.lead_s(3) * 10.0 / plan.sweep_s == pytest.approx(1.5904, abs=1e-4)


def test_a_harmonic_is_the_sweep_itself_earlier():
    """That is what synchronized means: sin(n phase(t)) = sin(phase(t + L ln n))."""
    t = np.linspace(0.2, 1.0, 5001)
    phase = 2 * math.pi * PLAN.low_hz * PLAN.growth_s * np.exp(t / PLAN.growth_s)
    later = 2 * math.pi * PLAN.low_hz * PLAN.growth_s * np.exp((t + PLAN.lead_s(3)) / PLAN.growth_s)
    np.testing.assert_allclose(np.sin(3 * phase), np.sin(later), atol=1e-8)
    assert PLAN.low_hz * PLAN.growth_s == round(PLAN.low_hz * PLAN.growth_s)


def test_spectrum_falls_by_three_decibels_an_octave():
    """|X| = sqrt(L/f)/2 (Novak, Lotton, Simon 2015), away from the ends."""
    wave = sweep(PLAN)
    f = np.fft.rfftfreq(len(wave), 1 / 48_000)
    size = np.abs(np.fft.rfft(wave)) / 48_000
    for hz in (100.0, 400.0, 1600.0, 6400.0):
        band = (f > hz / 1.06) & (f < hz * 1.06)
        assert np.sqrt(np.mean(size[band] ** 2)) == pytest.approx(0.5 * math.sqrt(PLAN.growth_s / hz), rel=0.02)


def test_the_file_is_silent_where_it_is_said_to_be():
    wave = played(PLAN)
    assert np.abs(wave).max() == pytest.approx(10 ** (-6 / 20), rel=1e-3)
    for a, b in (
        (0.0, PLAN.first_marker_s),
        (PLAN.first_marker_s + 0.051, PLAN.start_s),
        (PLAN.end_s + 0.001, PLAN.last_marker_s),
        (PLAN.last_marker_s + 0.051, PLAN.file_s),
    ):
        assert not np.any(wave[math.ceil(a * 48_000) : int(b * 48_000)])
    assert np.abs(marker(PLAN)).max() <= 1.0


@given(
    st.sampled_from([44_100, 48_000, 96_000]),
    st.floats(1.0, 500.0),
    st.floats(4.1, 40.0),
    st.floats(0.5, 60.0),
    st.floats(-80, 0),
)
def test_a_plan_is_read_back_from_its_comment(rate, low, ratio, seconds, level):
    plan = checked(SweepPlan(rate, low, low * ratio, seconds, level))
    back = plan_of(plan.text)
    assert back is not None
    assert back.sweep_s == pytest.approx(plan.sweep_s, rel=1e-9)
    assert (back.rate_hz, back.level_db) == (rate, pytest.approx(level, abs=1e-9))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "xover sweep",
        "xover sweep rate_hz=48000 low_hz=20 high_hz=20000 length_s=1e9 level_db=-6",
        "xover sweep rate_hz=48000 low_hz=nan high_hz=20000 length_s=3 level_db=-6",
        "xover sweep rate_hz=1e999 low_hz=20 high_hz=20000 length_s=3 level_db=-6",
        "xover sweep rate_hz=48000 low_hz=20 high_hz=40000 length_s=3 level_db=-6",
        "x" * 5000,
    ],
)
def test_a_comment_that_lies_is_no_plan(text):
    assert plan_of(text) is None


@pytest.mark.parametrize(
    "plan",
    [
        SweepPlan(48_000, 20.0, 30_000.0, 3.0, -6.0),
        SweepPlan(48_000, 20.0, 30.0, 3.0, -6.0),
        SweepPlan(48_000, 0.0, 20_000.0, 3.0, -6.0),
        SweepPlan(48_000, 20.0, 20_000.0, 1000.0, -6.0),
        SweepPlan(48_000, 20.0, 20_000.0, 3.0, 3.0),
        SweepPlan(1000, 20.0, 200.0, 3.0, -6.0),
    ],
)
def test_what_cannot_be_played_is_refused(plan):
    with pytest.raises(InputError):
        checked(plan)


def test_noise_repeats_itself_and_is_pink():
    noise = pink_noise(PLAN, 6.0, 2.0, 2)
    np.testing.assert_allclose(noise[:96_000], noise[96_000:192_000], atol=1e-12)
    size = np.abs(np.fft.rfft(noise[:96_000]))
    f = np.fft.rfftfreq(96_000, 1 / 48_000)
    octaves = [np.sum(size[(f >= a) & (f < 2 * a)] ** 2) for a in (62.5, 250.0, 1000.0, 4000.0)]
    np.testing.assert_allclose(octaves, octaves[0], rtol=0.02)
    assert np.abs(noise).max() == pytest.approx(10 ** (-6 / 20))


def test_noise_for_a_tweeter_has_nothing_below_its_band():
    noise = pink_noise(SweepPlan(48_000, 200.0, 20_000.0, 3.0, -6.0), 2.0, 2.0, 2)
    size = np.abs(np.fft.rfft(noise))
    f = np.fft.rfftfreq(len(noise), 1 / 48_000)
    assert size[f < 200.0].max() < 1e-9 * size.max()
    assert size[(f > 200.0) & (f < 400.0)].min() > 0.1 * size.max()


@pytest.mark.parametrize(("rate", "low", "high"), [(8000, 200.0, 3840.0), (44_100, 5.0, 20_000.0)])
def test_two_markers_of_one_clock_stand_as_far_apart_as_they_were_played(rate, low, high):
    """To 0.2 ppm, at rates too at which their times are no whole samples."""
    plan = SweepPlan(rate, low, high, 1.0, -6.0)
    place = find_sweep(played(plan), rate, plan)
    assert abs(place.clock_ppm) < 0.2


def test_a_tweeter_is_given_milliwatts_by_its_tone():
    """Its guard with 6 ohm corners at 531 Hz; 0.3 V behind that and 10 ohm heat 6 ohm by 1.7 mW, and by 15 mW alone."""
    assert 1 / (2 * math.pi * GUARD_FARAD * 6) == pytest.approx(531, abs=0.5)
    preset = PURPOSES["tweeter"]
    plan = SweepPlan(8000, preset.low_hz, 3800.0, 1.0, -6.0)
    circuit = 16 + 1 / (2j * math.pi * tone_hz(plan) * GUARD_FARAD)
    assert (preset.volt / abs(circuit)) ** 2 * 6 == pytest.approx(1.7e-3, rel=0.01)
    assert preset.volt**2 / 6 == pytest.approx(15e-3)
    wave = tone(plan, 1.0)
    assert np.sqrt(np.mean(wave[4000:6000] ** 2)) == pytest.approx(10 ** (-6 / 20) / math.sqrt(2), rel=1e-3)
    assert wave[0] == wave[-1] == 0.0
