"""Recorded responses of invented drivers in invented rooms, held against the truth.

    python tests/benchmarks/responses_recorded.py [how many]

Each has a driver of its own (a woofer that rings at 35 to 110 Hz, or a tweeter), a floor, noise, hum, two clocks and a
microphone with a curve, whose file tells its level; its phase is worked out from that. Counted is, above 1/gate: how
many are within 0.2 dB and 2 degrees, where the gate is told to cut off less than 0.2 dB and everywhere; and what is off
by more than was told. Woofers are joined to their near field too, over a sphere as a baffle.
"""

import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from invented.pistons import C, on_axis, sphere_step
from invented.sound_card import slower

import xover
from xover.files.wav import read_wav, wav_bytes

RATE = 48_000
CONE, BAFFLE = 0.165, 0.25


def invented(rng):
    """Velocity times a constant over frequency, and whether it is a woofer; pressure far away is that times f."""
    woofer = bool(rng.random() < 0.6)
    corner = rng.uniform(35, 110) if woofer else rng.uniform(500, 1500)
    q, top = rng.uniform(0.5, 1.0), rng.uniform(2000, 5000) if woofer else rng.uniform(15_000, 25_000)

    def speed(f):
        f = np.maximum(f, 0.5)
        s, t = 1j * f / corner, 1j * f / top
        return s * s / (s * s + s / q + 1) / (t * t + t / 0.7 + 1) / (2j * np.pi * f)

    return speed, woofer


def far(speed, f):
    """At 1 m, its way taken off."""
    few = np.geomspace(1.0, 24_000.0, 400)
    step = sphere_step(few, BAFFLE)
    at = np.log(np.maximum(f, 1.0))
    baffle = np.interp(at, np.log(few), step.real) + 1j * np.interp(at, np.log(few), step.imag)
    return speed(f) * (2j * np.pi * f) * CONE**2 / 8 / C * baffle * 2e3


def curve(f):
    """The microphone's: 3 dB more at the top."""
    return 1.0 + 0.41 * (1j * f / 9000.0) / (1 + 1j * f / 9000.0)


def recorded(path, wave, heard, rng, echo_s):
    """Microphone and loop-back with what is wrong of both."""
    length = 1 << (len(wave) + RATE).bit_length()
    f = np.fft.rfftfreq(length, 1 / RATE)
    late = np.exp(-2j * np.pi * f * 0.41)
    room = 1.0 if echo_s is None else np.exp(-2j * np.pi * f / C) * (1 + 0.4 * np.exp(-2j * np.pi * f * echo_s))
    spectra = [np.fft.rfft(0.4 * wave, length) * late * h for h in (heard(f) * curve(f) * room, np.ones(f.shape))]
    both = np.stack([np.fft.irfft(s, length)[: len(wave) + RATE] for s in spectra], axis=1)
    both = slower(both, 1 + rng.uniform(-50e-6, 50e-6))
    t = np.arange(len(both)) / RATE
    top = np.abs(both[:, 0]).max()
    both[:, 0] += 1e-3 * top * np.sin(2 * np.pi * 50.02 * t) + 1e-3 * top * rng.standard_normal(len(t))
    both[:, 0] *= 0.4 / np.abs(both[:, 0]).max()
    path.write_bytes(wav_bytes(both, RATE))
    return 0.4 / top


def errors(got, truth, gain, rows):
    truth = truth * gain
    ratio = 10 ** (got.level_db / 20) * np.exp(1j * np.radians(got.phase_deg)) / truth
    ratio = ratio[rows]
    return np.abs(20 * np.log10(np.abs(ratio))), np.degrees(np.abs(np.angle(ratio)))


def one(folder, sweep, seed):
    """(worst dB and degrees above 1/gate, the same where the gate is sure, most dB beyond what was told, of a join)."""
    rng = np.random.default_rng(seed)
    speed, woofer = invented(rng)
    wave = read_wav(sweep).samples[:, 0].astype(float)
    echo_s = rng.uniform(3.5e-3, 8e-3)
    gain = recorded(folder / "far.wav", wave, lambda f: far(speed, f), rng, echo_s)
    own = {"curve": folder / "mic.txt", "curve_is": "response"}
    got = xover.response(folder / "far.wav", sweep, **own)
    f = got.frequency_hz
    loud = f < 16_000
    if not woofer:  # what is 40 dB below is not read within 0.2 dB of anything
        loud &= f > 250
    db, degrees = errors(got, far(speed, f), gain, loud)
    sure = got.gate_db[loud] < 0.2
    beyond = (db - got.gate_db[loud] - 3 * got.noise_db[loud]).max()
    joined = None
    if woofer:
        recorded(folder / "near.wav", wave, lambda f: speed(f) * on_axis(f, CONE / 2, 0.001) * 100, rng, None)
        got = xover.response(
            folder / "far.wav", sweep, near=folder / "near.wav", diameter_m=CONE, baffle_m=BAFFLE, **own
        )
        f = got.frequency_hz
        joined = tuple(x.max() for x in errors(got, far(speed, f), gain, f < 16_000))
    return (db.max(), degrees.max()), (db[sure].max(), degrees[sure].max()), beyond, joined


def _spread(off):
    (db, degrees), (mid_db, mid_degrees) = off.max(axis=0), np.median(off, axis=0)
    return f"worst {db:.2f} dB, {degrees:.1f} degrees; in the middle {mid_db:.2f} dB, {mid_degrees:.1f} degrees"


def main(count):
    """Count them, print what was found, and give it."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sweep = folder / "sweep.wav"
        sweep.write_bytes(xover.sweep(purpose="microphone", seconds=5).wav)
        f = np.geomspace(10, 24_000, 300)
        rows = zip(f, 20 * np.log10(np.abs(curve(f))), strict=True)
        (folder / "mic.txt").write_text("Hz dB\n" + "".join(f"{a:.5g} {b:.4f}\n" for a, b in rows))
        found = [one(folder, sweep, seed) for seed in range(count)]
    everywhere, sure = np.array([x[0] for x in found]), np.array([x[1] for x in found])
    joined = np.array([x[3] for x in found if x[3] is not None])
    print(f"{count} recordings")
    print(f"within 0.2 dB and 2 degrees above 1/gate: {(everywhere < (0.2, 2.0)).all(axis=1).sum()}")
    print(f"  where the gate is told to cut off less than 0.2 dB: {(sure < (0.2, 2.0)).all(axis=1).sum()}")
    print(f"  {_spread(sure)} there")
    print(f"most beyond what was told of gate and noise: {max(x[2] for x in found):.2f} dB")
    if len(joined):
        print(f"joined to the near field, {len(joined)}: {_spread(joined)}")
    return found


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40)
