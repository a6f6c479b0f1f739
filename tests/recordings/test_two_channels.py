"""Recordings of an invented bench, read: each fault is found in its own, none in sound ones."""

from dataclasses import replace

import numpy as np
import pytest
from invented.sound_card import SoundCard, divider, record

from xover.errors import InputError
from xover.files.wav import read_wav, wav_bytes
from xover.recordings.faults import RecordingFault
from xover.recordings.reading import read_recording, read_two_channels
from xover.recordings.sweep import SweepPlan, played
from xover.recordings.transfer import HARMONICS, harmonics

RATE = 48_000
PLAN = SweepPlan(RATE, 10.0, 23_000.0, 2.0, -6.0)
WAVE = played(PLAN)
CARD = SoundCard(noise=1e-4)


def woofer(f):
    """A resonance of Q 5 at 35 Hz and a lossy coil; invented."""
    s, w0 = 2j * np.pi * f, 2 * np.pi * 35.0
    return 6.2 + 40.0 * (s * w0 / 5.0) / (s * s + s * w0 / 5.0 + w0**2) + 0.02 * s**0.65


def recorded(path, card, z=woofer, wave=WAVE, rate=RATE, bits=24):
    samples = record(card, wave, rate, lambda f: divider(card, z(f), 10.0))
    path.write_bytes(wav_bytes(samples, rate, bits))
    return path


def kinds(found):
    return {one.fault for one in found}


@pytest.mark.parametrize(("seed", "bits"), [(0, 24), (1, 16), (2, 24)])
def test_a_sound_recording_has_no_fault_and_is_as_near_as_it_says(tmp_path, seed, bits):
    gain = (0.05, 0.3, 0.9)[seed]
    got = read_two_channels(recorded(tmp_path / "a.wav", replace(CARD, seed=seed, gain=gain), bits=bits), PLAN)
    assert got.found == ()
    z = woofer(got.frequency_hz)
    assert (got.sigma > 0.0).all()
    off = np.abs(got.value - z / (z + 10.0)) / got.sigma
    # 95 of 100 within two sigma of each of two parts; the mean square of a complex error is sigma squared.
    assert np.sqrt(np.mean(off**2)) < 1.3
    assert np.sqrt(np.mean(off**2)) > 0.6


def test_distortion_falls_away(tmp_path):
    """A cubic of 3 % moves H1 as it moves both channels, and its harmonic lies L ln 3 earlier."""
    got = read_two_channels(recorded(tmp_path / "a.wav", replace(CARD, cubic=0.1, noise=1e-6)), PLAN)
    z = woofer(got.frequency_hz)
    assert np.abs(got.value / (z / (z + 10.0)) - 1.0)[got.frequency_hz > 20.0].max() < 1e-3


def test_two_clocks_are_told_and_allowed_for(tmp_path):
    got = read_two_channels(recorded(tmp_path / "a.wav", replace(CARD, clock_ppm=50.0)), PLAN)
    assert kinds(got.found) == {RecordingFault.TWO_CLOCKS}
    assert got.found[0].figure == pytest.approx(50.0, abs=3.0)
    z = woofer(got.frequency_hz)
    assert np.abs(got.value / (z / (z + 10.0)) - 1.0).max() < 5e-3


def test_hum_is_fitted_off_its_name_and_taken_out(tmp_path):
    loud = replace(CARD, hum=0.02, hum_hz=49.98)
    got = read_two_channels(recorded(tmp_path / "a.wav", loud), PLAN)
    assert kinds(got.found) == {RecordingFault.HUM}
    assert got.found[0].figure == pytest.approx(49.98, abs=0.003)
    z = woofer(got.frequency_hz)
    around = np.abs(got.frequency_hz / 50.0 - 1.0) < 0.05
    assert np.abs(got.value / (z / (z + 10.0)) - 1.0)[around].max() < 0.01


def test_a_gain_that_moves_is_found(tmp_path):
    samples = record(CARD, WAVE, RATE, lambda f: divider(CARD, woofer(f), 10.0))
    samples *= np.linspace(1.0, 0.8, len(samples))[:, None]
    (tmp_path / "a.wav").write_bytes(wav_bytes(samples, RATE))
    got = read_two_channels(tmp_path / "a.wav", PLAN)
    assert kinds(got.found) == {RecordingFault.MOVING_GAIN}
    assert got.found[0].figure < -0.5


REFUSED = {
    "clips": (replace(CARD, gain=1.5, clip=0.4), {}, "clips in channel 1"),
    "silent": (replace(CARD, gain_db=(-90.0, -90.0), noise=0.0), {}, "silent in channel 1"),
    "noise": (replace(CARD, noise=0.3, gain=0.02), {}, "markers"),
    "other sweep": (CARD, {"wave": played(replace(PLAN, length_s=3.0))}, "another sweep"),
    "wrong rate": (CARD, {"rate": 44_100}, "another speed"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_read_is_refused_by_its_name(tmp_path, name):
    card, more, words = REFUSED[name]
    wave, rate = more.get("wave", WAVE), more.get("rate", RATE)
    samples = record(card, wave, RATE, lambda f: divider(card, woofer(f), 10.0))
    (tmp_path / "a.wav").write_bytes(wav_bytes(samples, rate))
    with pytest.raises(InputError, match=words):
        read_two_channels(tmp_path / "a.wav", PLAN)


def test_one_channel_and_a_cut_recording_are_refused(tmp_path):
    samples = record(CARD, WAVE, RATE, lambda f: divider(CARD, woofer(f), 10.0))
    (tmp_path / "one.wav").write_bytes(wav_bytes(samples[:, 0], RATE))
    with pytest.raises(InputError, match="one channel"):
        read_two_channels(tmp_path / "one.wav", PLAN)
    (tmp_path / "cut.wav").write_bytes(wav_bytes(samples[: int(2.5 * RATE)], RATE))
    with pytest.raises(InputError, match="ends in the middle of the sweep"):
        read_two_channels(tmp_path / "cut.wav", PLAN)


def test_harmonics_of_a_cubic(tmp_path):
    """x + 0.01 x^2 + 0.01 x^3 of a sine: H1 1 + 3/4 0.01, H2 0.005, H3 0.0025, by the angle formulas."""
    plan = SweepPlan(RATE, 20.0, 20_000.0, 4.0, 0.0)
    x = played(plan)
    samples = 0.5 * (x + 0.01 * x**2 + 0.01 * x**3)
    (tmp_path / "a.wav").write_bytes(wav_bytes(samples, RATE))
    found, _ = read_recording(read_wav(tmp_path / "a.wav"), plan, (0,))
    f = np.geomspace(60.0, 3000.0, 40)
    levels = harmonics(found, 0, f)
    assert np.isfinite(levels[:2, 10:]).all()
    one = 1.0075
    for row, (n, size) in enumerate(((2, 0.005), (3, 0.0025))):
        assert HARMONICS[row] == n
        got = levels[row][np.isfinite(levels[row])]
        np.testing.assert_allclose(got, 20 * np.log10(size / one), atol=0.3)
    assert np.nanmax(levels[2]) < -75.0  # a cubic makes no fourth
    value, _ = found.through(*whole_window(found), f)
    np.testing.assert_allclose(20 * np.log10(np.abs(value[0]) / 0.5), 20 * np.log10(one), atol=0.02)


def whole_window(found):
    size = int(0.2 * found.rate_hz)
    return np.hanning(2 * size + 1), -size
