"""From a recording in a simulated room to a driver's response, by the true command."""

import json

import numpy as np
import pytest

from xover.curve import Evidence
from xover.files.tables import read_response
from xover.files.wav import read_wav, wav_bytes

RATE = 48_000
SOUND = 343.0
WAY = 1.0
FLOOR = 2 * np.hypot(0.5, 1.2)  # source and microphone 1.2 m above the floor, 1 m apart
LATE = (FLOOR - WAY) / SOUND


def driver(f):
    """A second-order high-pass at 60 Hz with a second-order low-pass at 3 kHz; invented."""
    s = 1j * f / 60.0
    t = 1j * f / 3000.0
    return s * s / (s * s + s / 0.7 + 1) / (t * t + t / 0.7 + 1)


def tweeter(f):
    """A second-order high-pass at 1 kHz; invented."""
    s = 1j * f / 1000.0
    return s * s / (s * s + s / 0.7 + 1)


def microphone_curve(f):
    """3 dB more at the top; invented."""
    return 1.0 + 0.41 * (1j * f / 9000.0) / (1 + 1j * f / 9000.0)


def room(wave, response, *, floor=0.5, loop=True, noise=1e-4, curve=None, lag_s=0.01, cubic=0.0, seed=1):
    """(n, 2) microphone and loop-back: direct sound and one reflection."""
    rng = np.random.default_rng(seed)
    wave = 0.4 * wave
    length = 1 << (len(wave) + 2 * RATE).bit_length()
    f = np.fft.rfftfreq(length, 1 / RATE)
    way = np.exp(-2j * np.pi * f * WAY / SOUND) / WAY + floor * np.exp(-2j * np.pi * f * FLOOR / SOUND) / FLOOR
    heard = np.fft.rfft(wave + cubic * wave**3, length) * response(np.maximum(f, 0.01)) * way
    if curve is not None:
        heard = heard * curve(f)
    late = np.exp(-2j * np.pi * f * (0.4 + lag_s))
    out = [np.fft.irfft(heard * late, length), np.fft.irfft(np.fft.rfft(wave, length) * late, length)]
    both = np.stack([o[: len(wave) + RATE] for o in out], axis=1)
    both += noise * rng.standard_normal(both.shape)
    return both if loop else both[:, :1]


@pytest.fixture(scope="module")
def sweep(tmp_path_factory):
    from xover.cli.main import main

    path = tmp_path_factory.mktemp("response") / "sweep.wav"
    assert main(["sweep", "--for", "microphone", "--seconds", "5", "-o", str(path)]) == 0
    return path


def recorded(path, sweep, response, **room_like):
    wave = read_wav(sweep).samples[:, 0].astype(float)
    path.write_bytes(wav_bytes(room(wave, response, **room_like), RATE))
    return path


def errors(table, response, low=300.0, high=18_000.0):
    """Largest error in dB and degrees."""
    curve, _ = read_response(table, Evidence.MEASURED)
    f = curve.frequency_hz
    ratio = (curve.value / response(f))[(f >= low) & (f <= high)]
    return np.abs(20 * np.log10(np.abs(ratio))).max(), np.degrees(np.abs(np.angle(ratio))).max()


@pytest.mark.parametrize(("response", "from_hz"), [(driver, 500.0), (tweeter, 223.0)])
def test_a_gate_before_the_floor(run, sweep, tmp_path, response, from_hz):
    """A floor 1.2 m below at 1 m: its sound is 4.66 ms late. Within 0.2 dB and 2 degrees from 1/T on for a driver that
    has rung out by then, from 500 Hz on for one that rings at 60 Hz: the gate cuts off 0.6 dB of that at 1/T."""
    rec = recorded(tmp_path / "a.wav", sweep, response)
    done = run("response", rec, "--played", sweep, "-o", tmp_path / "a.csv")
    assert done.status == 0, done.err
    db, degrees = errors(tmp_path / "a.csv", response, from_hz)
    assert db < 0.2
    assert degrees < 2.0
    told = json.loads(run("response", rec, "--played", sweep, "--json").out)
    assert told["reflection_s"] == pytest.approx(LATE, abs=0.15e-3)
    assert told["frequency_hz"][0] >= 1.0 / told["gate_s"]
    assert told["arrival_s"] == pytest.approx(WAY / SOUND, abs=0.2e-3)


def test_without_its_gate_the_floor_is_seen(run, sweep, tmp_path):
    rec = recorded(tmp_path / "a.wav", sweep, driver)
    assert run("response", rec, "--played", sweep, "--gate-ms", "40", "-o", tmp_path / "a.csv").status == 0
    assert errors(tmp_path / "a.csv", driver)[0] > 1.0


def test_no_reflection_shows_where_there_is_none(run, sweep, tmp_path):
    rec = recorded(tmp_path / "a.wav", sweep, driver, floor=0.0)
    done = run("response", rec, "--played", sweep)
    assert "no reflection shows" in done.out


def test_without_a_loop_back_there_is_no_phase(run, sweep, tmp_path):
    rec = recorded(tmp_path / "a.wav", sweep, tweeter, loop=False)
    done = run("response", rec, "--played", sweep, "-o", tmp_path / "a.csv")
    assert done.status == 0, done.err
    assert "no loop-back" in done.out
    curve, _ = read_response(tmp_path / "a.csv", Evidence.MEASURED)
    assert not curve.has_phase
    f = curve.frequency_hz
    off = curve.level_db - 20 * np.log10(np.abs(tweeter(f)))
    band = (f > 500) & (f < 18_000)
    assert np.ptp(off[band]) < 0.3  # its level is relative


@pytest.mark.parametrize("sign", ["response", "correction"])
def test_the_microphones_own_curve(run, sweep, tmp_path, sign):
    rec = recorded(tmp_path / "a.wav", sweep, tweeter, curve=microphone_curve)
    f = np.geomspace(20, 20_000, 200)
    db = 20 * np.log10(np.abs(microphone_curve(f))) * (1 if sign == "response" else -1)
    (tmp_path / "mic.txt").write_text("Hz dB\n" + "".join(f"{a:.5g} {b:.4f}\n" for a, b in zip(f, db, strict=True)))
    arguments = ("response", rec, "--played", sweep, "--curve", tmp_path / "mic.txt")
    done = run(*arguments, "--curve-is", sign, "-o", tmp_path / "a.csv")
    assert done.status == 0
    off_db, off_deg = errors(tmp_path / "a.csv", tweeter, 500.0)
    assert off_db < 0.2
    assert off_deg < 2.0
    assert "levels by its file; phase less the minimum phase of that" in " ".join(done.out.split())
    refused = run(*arguments)
    assert refused.status == 2
    assert "either sign" in refused.err


def test_harmonics_are_told_and_overload_warned_of(run, sweep, tmp_path):
    """A cubic of a third of a unit on a peak of 0.2 makes a third harmonic of 0.0033, by the angle formula, and the
    driver's own response lies between it and the tone; much more is told as overload, and not as a rattle: it is
    smooth."""
    rec = recorded(tmp_path / "a.wav", sweep, tweeter, floor=0.0, cubic=0.33)
    clean = json.loads(run("response", rec, "--played", sweep, "--json").out)
    assert clean["found"] == []
    f = np.array(clean["distortion"]["frequency_hz"])
    third = np.array(clean["distortion"]["harmonic_3_db"], dtype=float)
    wanted = 20 * np.log10(0.0033 / 1.01 * np.abs(tweeter(3 * f) / tweeter(f)))
    known = np.isfinite(third) & (f > 700.0)
    assert known.sum() > 5
    np.testing.assert_allclose(third[known], wanted[known], atol=1.5)
    assert clean["worst_harmonic"]["order"] == 3
    done = run("response", recorded(tmp_path / "b.wav", sweep, tweeter, cubic=20.0), "--played", sweep)
    assert "driven too hard" in done.out
    assert "rattle" not in done.out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--microphone", "3"), "channel 3 of 2"),
        (("--loop", "1"), "one channel"),
        (("--gate-ms", "0.1"), "give 0.5 to 500"),
        (("--distance", "1"), "without a unit"),
    ],
)
def test_bad_options_are_one_line(run, sweep, tmp_path, arguments, words):
    rec = recorded(tmp_path / "a.wav", sweep, driver)
    done = run("response", rec, "--played", sweep, *arguments)
    assert done.status == 2
    assert words in done.err
    assert done.err.count("\n") == 1


def test_its_noise_is_what_two_takes_differ_by(run, sweep, tmp_path):
    """Microphone and loop-back hiss alike. Of a complex error half the square is along the value: levels scatter by
    1/sqrt(2) of its whole size."""
    told = []
    for seed in (11, 12):
        rec = recorded(tmp_path / f"{seed}.wav", sweep, tweeter, noise=2e-3, seed=seed)
        told.append(json.loads(run("response", rec, "--played", sweep, "--gate-ms", "4", "--json").out))
    level, noise = (np.array([t[key] for t in told]) for key in ("level_db", "noise_db"))
    assert (noise > 0.0).all()
    ratio = (level[0] - level[1]) / np.hypot(*noise)
    assert np.sqrt(np.mean(ratio**2)) == pytest.approx(1 / np.sqrt(2), rel=0.3)
