"""What a record has wrong about it is set free, and told: delay, gain, level, microphone. On invented drivers."""

import numpy as np
import pytest
from invented.builds import HEARD_HZ, make, measured, smooth, times, with_fault, within

from xover.curve import Curve, Unit
from xover.studies.aged.verify.result import Verdict
from xover.studies.aged.verify.sound import Heard
from xover.studies.aged.verify.sound_fit import NEPER_DB, _model, fit_sound
from xover.studies.aged.verify.study import verify

ZOBEL, HORN, THREE = 1, 3, 4


class TwoVoices:
    """A low-pass and a high-pass of second order at 2 kHz, both as they are, in thirds of an octave."""

    centres = 1000.0 * 10 ** (np.arange(-6, 12) / 10)
    frequency_hz = centres[:, None] * 2 ** ((np.arange(8) - 3.5) / 24)
    x = 1j * frequency_hz / 2000.0
    parts = np.stack([1 / (1 + 1.4 * x + x * x), -x * x / (1 + 1.4 * x + x * x)])[None]


def heard_of(parts, late_s=0.0, gain_db=0.0, level_db=-7.0):
    f = TwoVoices.frequency_hz
    moved = parts.copy()
    moved[:, 1] *= np.exp(-2j * np.pi * f * late_s + gain_db / NEPER_DB)
    power = np.mean(np.abs(moved.sum(axis=1)[0]) ** 2, axis=-1)
    return Heard(TwoVoices.centres, 10 * np.log10(power) + level_db, 0.5)


def test_slopes_are_those_of_differences():
    at = np.array([[0.3, -0.4, 1.0]])
    _, slopes, _ = _model(TwoVoices.frequency_hz, TwoVoices.parts, at)
    for column in range(3):
        step = 1e-5 * np.eye(3)[column]
        up, down = (_model(TwoVoices.frequency_hz, TwoVoices.parts, at + s)[0] for s in (step, -step))
        assert np.abs(slopes[..., column]).max() > 0.01
        np.testing.assert_allclose(slopes[..., column], (up - down) / 2e-5, atol=1e-6)


@pytest.mark.parametrize(("late_s", "gain_db"), [(0.0, 0.0), (60e-6, 0.5), (-90e-6, -0.5)])
def test_delay_and_gain_are_read_back(late_s, gain_db):
    """Truth: what was put in; what is usual draws it a little towards nought."""
    fits = fit_sound(heard_of(TwoVoices.parts, late_s, gain_db), TwoVoices, TwoVoices.parts)
    # At no delay at all their sum is highest, and a small one changes it by its square only.
    assert abs(fits.delay_s[0, 0] - late_s) < 25e-6
    assert fits.delay_doubt_s[0, 0] < (71e-6 if late_s == 0.0 else 30e-6)
    assert abs(fits.gain_db[0, 0] - gain_db) < 2.0 * fits.gain_doubt_db[0, 0] < 1.0
    assert np.abs(fits.difference_db).max() < 0.6


def test_a_reversed_driver_is_dearer_than_any_delay():
    turned = TwoVoices.parts * np.array([1.0, -1.0])[None, :, None, None]
    both = np.concatenate([TwoVoices.parts, turned])
    for right in (0, 1):
        fits = fit_sound(heard_of(both[right : right + 1]), TwoVoices, both)
        assert fits.cost[1 - right] - fits.cost[right] > np.log(50.0)


def record(f, level_db):
    return Curve(f, 10 ** (level_db / 20) + 0j, Unit.PASCAL_20U, has_phase=False)


def test_a_response_with_the_errors_of_real_ones_accuses_nobody(tmp_path):
    for plan in (ZOBEL, THREE):
        rng = np.random.default_rng([11, plan])
        build = make(tmp_path / str(plan), rng, plan, 0.01)
        sweep, response = measured(build, within(build.network, rng), rng, late_s=80e-6)
        study = verify(build.speaker, "original", sweep, response=response)
        assert study.agrees, study.reasons
        shift = {d.driver: d for d in study.sound.drivers}["tweeter"]
        # Its place was another by up to a centimetre for each driver besides: 29 us each.
        assert abs(shift.delay_s - 80e-6) < 70e-6 + 2.0 * shift.delay_doubt_s


def test_wires_that_are_swapped_are_told_from_such_a_response(tmp_path):
    rng = np.random.default_rng(12)
    build = make(tmp_path, rng, ZOBEL, None)
    network = with_fault(within(build.network, rng), ("reversed", "tweeter", None), rng)
    sweep, response = measured(build, network, rng)
    study = verify(build.speaker, "original", sweep, response=response)
    assert {(f.fault.part, f.fault.told) for f in study.tied} == {("tweeter", "reversed"), ("woofer", "reversed")}


def test_a_record_that_no_network_explains_is_told_as_such_and_no_part_blamed(tmp_path):
    """A response of something else: the sweep has the parts right."""
    rng = np.random.default_rng(13)
    build = make(tmp_path, rng, HORN, None)
    sweep, _ = measured(build, within(build.network, rng), rng)
    other = record(HEARD_HZ, 80.0 + 6.0 * np.sin(6 * np.log(HEARD_HZ)) + smooth(rng, HEARD_HZ, 0.3, 0.1))
    study = verify(build.speaker, "original", sweep, response=other)
    assert (study.verdict, study.faults) == (Verdict.RESPONSE, ())
    assert "the sound does not" in study.headline
    assert "suspect the records" in study.headline


def test_what_a_record_is_said_to_show_it_shows(tmp_path):
    """A part off by a little more than is told is not passed; by much less it is. The others lie where they should."""
    rng = np.random.default_rng(14)
    build = make(tmp_path, rng, HORN, None)
    sweep, response = measured(build, build.network, rng, drift=0.01)
    study = verify(build.speaker, "original", sweep, response=response)
    assert study.agrees, study.reasons
    assert set(study.sweep_shows) == set(study.response_shows) == {"L1", "C1", "C2", "L2", "R1", "R2"}
    assert 0.05 < min(study.sweep_shows.values()) < 0.10 < min(study.response_shows.values()) < 0.8
    for name in ("L1", "R2"):
        share = study.sweep_shows[name]
        for factor, seen in ((1.0 + 1.6 * share, True), (1.03, False)):
            again = np.random.default_rng(15)
            sweep, _ = measured(build, times(build.network, name, factor), again, drift=0.01)
            assert verify(build.speaker, "original", sweep).agrees != seen, (name, factor)
