"""Figures that are known for recordings in general, found anew from simulated ones.

Nothing is simulated by what reads: spectra are shifted line by line, clocks differ by resampling all of it at once.
"""

import numpy as np
import pytest
from scipy.signal import resample

from xover.recordings.gate import find_arrival, gated
from xover.recordings.hum import fit_hum
from xover.recordings.place import find_sweep
from xover.recordings.sweep import SweepPlan, marker, played
from xover.recordings.transfer import deconvolve, harmonics, quiet_spans, read_channels

RATE = 48_000
SHORT = SweepPlan(RATE, 20.0, 23_000.0, 2.0, 0.0)
LONG = SweepPlan(RATE, 20.0, 20_000.0, 6.0, 0.0)


def read(samples, plan, stretch=1.0, start=None):
    """Divided by the sweep as if it started where it was played, unless that is given."""
    table = samples[:, None] if samples.ndim == 1 else samples
    start = plan.start_s * plan.rate_hz if start is None else start
    return deconvolve(table, start, stretch, plan, [table[: plan.rate_hz // 3]])


def filtered(plan, *responses, more_s=0.5):
    """(n, k) what each response makes of the file that is played."""
    wave = np.pad(played(plan), (0, int(more_s * plan.rate_hz)))
    length = 1 << len(wave).bit_length()
    f = np.fft.rfftfreq(length, 1.0 / plan.rate_hz)
    spectrum = np.fft.rfft(wave, length)
    return np.stack([np.fft.irfft(spectrum * r(np.maximum(f, 1e-3)))[: len(wave)] for r in responses], axis=1)


def high_pass(corner_hz):
    def response(f):
        s = 1j * f / corner_hz
        return s * s / (s * s + s / 0.7 + 1)

    return response


def test_a_hard_clip_1_db_below_the_peak():
    """Fourier series of a clipped sine: H1 -0.376 dB, H3 -28.67 dB below it."""
    limit = 10 ** (-1 / 20)
    angle = (np.arange(200_000) + 0.5) * 2 * np.pi / 200_000
    series = [2 * np.mean(np.clip(np.sin(angle), -limit, limit) * np.sin(n * angle)) for n in (1, 3)]
    first, third = 20 * np.log10(np.abs([series[0], series[1] / series[0]]))
    assert (first, third) == (pytest.approx(-0.376, abs=1e-3), pytest.approx(-28.67, abs=5e-3))
    found = read(np.clip(played(SHORT), -limit, limit), SHORT)
    f = np.geomspace(150.0, 1000.0, 12)
    half = int(0.2 * RATE)
    one = np.abs(found.through(np.hanning(2 * half + 1), -half, f)[0][0])
    np.testing.assert_allclose(20 * np.log10(one), first, atol=0.005)
    np.testing.assert_allclose(harmonics(found, 0, f)[1], third, atol=0.3)


@pytest.mark.parametrize(("corner_hz", "db", "degrees"), [(300.0, 0.12, 0.5), (60.0, 0.5, 2.5)])
def test_a_gate_of_4_5_ms_before_the_floor(corner_hz, db, degrees):
    """A floor 1.2 m below, 1 m apart: 2.6 m of way are 4.665 ms late, and 1/T is 214 Hz. Above 300 Hz the gate errs by
    0.12 dB and 0.5 degrees at most; for a driver that rings at 60 Hz by 0.36 dB and 2.1 degrees: it cuts that off."""
    late = (2 * np.hypot(0.5, 1.2) - 1.0) / 343.0
    assert late == pytest.approx(4.665e-3, abs=1e-6)
    driver = high_pass(corner_hz)

    def heard(f):
        return driver(f) * (np.exp(-2j * np.pi * f / 343.0) + np.exp(-2j * np.pi * f * (1 / 343.0 + late)) / 2.6)

    found = read(filtered(SHORT, heard, np.ones_like), SHORT)
    arrival = find_arrival(found, 0, 1)
    assert arrival.reflection_s == pytest.approx(late, abs=1e-4)
    f = np.geomspace(300.0, 18_000.0, 60)
    off = gated(found, 0, 1, arrival.at_s, 4.5e-3, f).value / driver(f) * np.exp(2j * np.pi * f / 343.0)
    errors = np.abs(20 * np.log10(np.abs(off))).max(), np.degrees(np.abs(np.angle(off))).max()
    assert db / 3 < errors[0] < db
    assert degrees / 3 < errors[1] < degrees


@pytest.fixture(scope="module")
def drifted():
    """Microphone and loop-back, recorded by a clock that is 50 ppm fast: 20001 samples for 20000."""

    def driver(f):
        return high_pass(60.0)(f) / ((1j * f / 3000.0) ** 2 + 1j * f / 2100.0 + 1)

    both = filtered(LONG, driver, np.ones_like)
    both = np.pad(both, ((0, -len(both) % 20_000), (0, 0)))
    return driver, resample(both, len(both) // 20_000 * 20_001)


def test_two_clocks_without_a_loop_back(drifted):
    """A sweep passes a decade in L ln 10, and 50 ppm of that is the drift: 98 us for 6 s of three decades, which turn
    the phase at 3 kHz by 106 degrees. (99 us and 107 degrees for another length that is nearly as long.)"""
    _, both = drifted
    f = np.array([300.0, 3000.0])
    phase = np.angle(read_channels(read(both[:, 1], LONG), f).value[0])
    drift = -float((phase / (2 * np.pi * f)) @ [-1.0, 1.0]) % (1 / 3000.0)
    assert drift == pytest.approx(LONG.growth_s * np.log(10) * 50e-6, rel=0.005)
    assert drift == pytest.approx(99e-6, abs=2e-6)
    assert 360.0 * 3000.0 * drift == pytest.approx(107.0, abs=2.0)


def test_two_clocks_with_a_loop_back(drifted):
    """Dividing by the loop-back alone leaves 0.22 dB and 1.8 degrees at most; with the clock allowed for, less."""
    driver, both = drifted
    f = np.geomspace(25.0, 17_000.0, 100)
    errors = []
    for stretch in (1.0, 1.00005):
        ratio = read_channels(read(both, LONG, stretch, LONG.start_s * RATE * stretch), f).value
        off = ratio[0] / ratio[1] / driver(f)
        errors.append((np.abs(20 * np.log10(np.abs(off))).max(), np.degrees(np.abs(np.angle(off))).max()))
    assert errors[0][0] < 0.22
    assert errors[0][1] < 1.8
    assert errors[1] < errors[0]
    assert errors[1][1] < 0.01


def test_two_markers_tell_the_clocks_to_a_fifth_of_a_millionth():
    """10 s apart; the second is put off by a share of a sample, as a spectrum is turned."""
    plan = SweepPlan(RATE, 20.0, 20_000.0, 8.0, 0.0)
    first, last = (round(t * RATE) for t in (plan.first_marker_s, plan.last_marker_s))  # played at whole samples
    assert (last - first) / RATE == pytest.approx(10.0, abs=0.1)
    rng = np.random.default_rng(2)
    one = marker(plan)
    length = 1 << 19
    f = np.fft.rfftfreq(length)
    for ppm in (-37.0, 3.3, 80.0):
        at = first, first + (last - first) * (1 + 1e-6 * ppm)
        wave = sum(np.fft.irfft(np.fft.rfft(one, length) * np.exp(-2j * np.pi * f * a)) for a in at)
        found = find_sweep(wave + 1e-3 * rng.standard_normal(length), RATE, plan)
        assert found.clock_ppm == pytest.approx(ppm, abs=0.2), ppm


def test_hum_of_a_mains_that_is_20_mhz_off():
    """A hum that moves a reading by 3 % leaves 0.05 % once it is fitted in the silences and taken out."""
    rate = 16_000
    plan = SweepPlan(rate, 10.0, 7000.0, 4.0, 0.0)
    wave = np.pad(played(plan), (0, rate // 2))
    t = np.arange(len(wave)) / rate
    hum = sum(a * np.sin(2 * np.pi * 49.98 * n * t + n) for n, a in ((1, 1.0), (2, 0.3), (3, 0.4), (5, 0.2)))
    f = np.geomspace(40.0, 300.0, 60)
    noise = 1e-5 * np.random.default_rng(1).standard_normal(len(wave))
    samples = (0.5 * wave + 0.009 * hum + noise)[:, None]
    before = np.abs(read_channels(read(samples, plan), f).value[0] / 0.5 - 1).max()
    quiet = np.concatenate([np.arange(int(a * rate), int(b * rate)) for a, b in quiet_spans(plan)])
    fitted = fit_hum(samples, quiet, rate)
    assert fitted.mains_hz == pytest.approx(49.98, abs=1e-3)
    fitted.take_out(samples, rate)
    after = np.abs(read_channels(read(samples, plan), f).value[0] / 0.5 - 1).max()
    assert before == pytest.approx(0.03, abs=0.005)
    assert after < 0.0005


@pytest.mark.parametrize("mains_hz", [50.02, 59.94])
def test_hum_is_not_mistaken_for_its_alias_across_a_minute(mains_hz):
    """Silences 63 s apart fit as well every 16 mHz, but for how each of them goes on within itself."""
    rate = 8000
    quiet = np.concatenate([np.arange(3440), np.arange(3600) + 63 * rate])
    rng = np.random.default_rng(7)
    samples = 3e-4 * rng.standard_normal((quiet[-1] + 1, 2))
    for n, size in ((1, 1.0), (3, 0.4), (5, 0.2)):
        samples[quiet] += 3e-3 * size * np.sin(2 * np.pi * mains_hz * n * quiet / rate + n)[:, None]
    fitted = fit_hum(samples, quiet, rate)
    assert fitted.mains_hz == pytest.approx(mains_hz, abs=1e-4)
    np.testing.assert_allclose(np.abs(fitted.lines[:, [0, 2, 4]]), [[3e-3, 1.2e-3, 6e-4]] * 2, rtol=0.05)


def test_harmonics_of_a_sweep_of_a_minute():
    """Its own window would be longer than the silence behind it."""
    plan = SweepPlan(8000, 5.0, 3900.0, 60.0, 0.0)
    wave = played(plan)
    found = read(0.5 * (wave + 0.01 * wave**2), plan)
    np.testing.assert_allclose(harmonics(found, 0, np.geomspace(20.0, 1500.0, 12))[0], -46.02, atol=0.1)
