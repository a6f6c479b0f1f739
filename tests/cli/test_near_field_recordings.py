"""Near and far recordings of an invented woofer in a vented box, through the true command."""

import json

import numpy as np
import pytest
from invented.pistons import C, on_axis, sphere_step

from xover.curve import Evidence
from xover.errors import InputError, OptionError
from xover.files.tables import read_response
from xover.files.wav import read_wav, wav_bytes
from xover.recordings.calibrator import read_tone

RATE = 24_000
CONE, PORT, BAFFLE = 0.165, 0.060, 0.250
FLOOR = 2 * np.hypot(0.5, 1.2)
TUNED = 45.0


def speeds(f):
    """Velocity of cone and port times a common factor: a vented box tuned to 45 Hz, its cone falling off at 2.5 kHz."""
    s = 1j * np.maximum(f, 0.5) / TUNED
    box = s**4 / (s**4 + 2.6 * s**3 + 3.4 * s**2 + 2.6 * s + 1)
    t = 1j * f / 2500.0
    sounds = box / (t * t + t / 0.7 + 1) / (1j * 2 * np.pi * np.maximum(f, 0.5))
    share = (s * s + s / 12 + 1) / (s * s)
    cone = sounds * share
    port = sounds - cone
    return cone, port * (CONE / PORT) ** 2


def far(f):
    """At 1 m in a free box, its way taken off: cone and port as pistons, the box as a sphere."""
    cone, port = speeds(f)
    at = [
        v * on_axis(f, d / 2, 10.0) * 10.0 * np.exp(2j * np.pi * f * 10.0 / C) for v, d in ((cone, CONE), (port, PORT))
    ]
    few = np.geomspace(1.0, RATE / 2, 300)  # a series of many terms, smooth
    step = sphere_step(few, BAFFLE)
    at_f = np.log(np.maximum(f, 1.0))
    return sum(at) * (np.interp(at_f, np.log(few), step.real) + 1j * np.interp(at_f, np.log(few), step.imag))


def record(path, sweep, heard, loop=True, way=0.0, echo=0.0):
    """Microphone and loop-back; `heard` of a frequency."""
    wave = 0.4 * read_wav(sweep).samples[:, 0].astype(float)
    length = 1 << (len(wave) + RATE).bit_length()
    f = np.fft.rfftfreq(length, 1 / RATE)
    late = np.exp(-2j * np.pi * f * 0.41)
    room = np.exp(-2j * np.pi * f * way / C) + echo * np.exp(-2j * np.pi * f * (way + FLOOR - 1.0) / C)
    spectra = [np.fft.rfft(wave, length) * late * h for h in (heard(f) * room, np.ones(f.shape))]
    both = np.stack([np.fft.irfft(s, length)[: len(wave) + RATE] for s in spectra], axis=1)
    both += 1e-6 * np.random.default_rng(3).standard_normal(both.shape)
    path.write_bytes(wav_bytes(both if loop else both[:, :1], RATE))
    return path


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """Sweep, far field at 1 m over a floor, cone and port 2 mm away."""
    from xover.cli.main import main

    folder = tmp_path_factory.mktemp("near")
    sweep = folder / "sweep.wav"
    assert main(["sweep", "--for", "microphone", "--seconds", "4", "--rate", str(RATE), "-o", str(sweep)]) == 0
    record(folder / "far.wav", sweep, lambda f: 2e4 * far(f), way=1.0, echo=0.4)
    record(folder / "cone.wav", sweep, lambda f: 1000 * speeds(f)[0] * on_axis(f, CONE / 2, 0.002))
    record(folder / "port.wav", sweep, lambda f: 1000 * speeds(f)[1] * on_axis(f, PORT / 2, 0.001))
    return folder


def near(bench, *more):
    return (
        "response",
        bench / "far.wav",
        "--played",
        bench / "sweep.wav",
        "--near",
        bench / "cone.wav",
        "--diameter",
        "165mm",
        "--port",
        bench / "port.wav",
        "--port-diameter",
        "60mm",
        *more,
    )


def off(table, truth, low, high):
    """Largest error, dB and degrees."""
    curve, _ = read_response(table, Evidence.MEASURED)
    f = curve.frequency_hz
    ratio = (curve.value / truth(f))[(f >= low) & (f <= high)]
    return np.abs(20 * np.log10(np.abs(ratio))).max(), np.degrees(np.abs(np.angle(ratio))).max()


@pytest.fixture(scope="module")
def spliced(bench):
    import xover

    return xover.response(
        bench / "far.wav",
        bench / "sweep.wav",
        near=bench / "cone.wav",
        diameter_m=CONE,
        port=bench / "port.wav",
        port_diameter_m=PORT,
        baffle_m=BAFFLE,
    )


def test_near_and_far_are_joined(bench, spliced):
    """Recorded 26 dB apart, they come out as one: within 0.5 dB and 3 degrees of the truth from the sweep's low end to
    its high one, of which the sphere beside the plain step makes 0.3 dB; and within 0.1 dB from 500 Hz on."""
    table = bench / "joined.csv"
    table.write_text(spliced.table)
    truth = lambda f: 2e4 * far(f)  # noqa: E731
    assert max(off(table, truth, 0.0, 2e4)[0], off(table, truth, 0.0, 2e4)[1] / 6.0) < 0.5
    assert off(table, truth, 500.0, 8000.0)[0] < 0.1
    assert spliced.splice.at_hz == 300.0
    assert spliced.splice.step_db == pytest.approx(20 * np.log10(2e4 / 1000), abs=0.5)
    assert abs(spliced.splice.delay_s) < 30e-6
    assert spliced.frequency_hz[0] < 25.0


def test_what_the_gate_cuts_off_is_told(spliced):
    above = spliced.frequency_hz > 400.0
    assert np.isnan(spliced.gate_db[spliced.frequency_hz < 250.0]).all()
    truth = 20 * np.log10(np.abs(2e4 * far(spliced.frequency_hz[above])))
    missed = np.abs(spliced.level_db[above] - truth)
    assert (missed < spliced.gate_db[above] + 0.05).all()


def test_a_table_says_that_its_levels_are_relative(spliced):
    assert spliced.table.startswith("# level relative, for 1 m\nfrequency Hz,level dB,phase deg\n")


def test_a_near_field_alone_is_marked(run, bench):
    """Without a baffle's width it is half space, to ka = 1."""
    out = bench / "near.csv"
    done = run("response", bench / "cone.wav", "--played", bench / "sweep.wav", "--diameter", "165mm", "-o", out)
    assert done.status == 0, done.err
    assert "half space" in done.out
    assert "half space" in out.read_text().splitlines()[0]
    curve, _ = read_response(out, Evidence.MEASURED)
    assert curve.frequency_hz[-1] == pytest.approx(C / np.pi / CONE, rel=0.02)
    f = curve.frequency_hz
    half = 1000 * speeds(f)[0] * on_axis(f, CONE / 2, 10.0) * 10.0 * np.exp(2j * np.pi * f * 10.0 / C)
    ratio = curve.value / half
    # 0.21 dB for 2 mm of air, 0.37 dB at ka = 1.
    assert np.abs(20 * np.log10(np.abs(ratio))).max() < 0.6
    assert np.degrees(np.abs(np.angle(ratio))).max() < 2.0


def test_another_driver_close_up_is_noticed(run, bench):
    """The cone's record for the port's and the other way round: slopes differ."""
    done = run(
        "response",
        bench / "far.wav",
        "--played",
        bench / "sweep.wav",
        "--near",
        bench / "port.wav",
        "--diameter",
        "165mm",
        "--baffle",
        "250mm",
    )
    assert "do not agree" in done.out


@pytest.mark.parametrize(
    ("drop", "more", "words"),
    [
        (("--diameter", "165mm"), (), "size of the cone"),
        (("--port-diameter", "60mm"), (), "only serve together"),
        ((), (), "baffle"),
        ((), ("--baffle", "250mm", "--splice", "150"), "has not both fields"),
        ((), ("--baffle", "250mm", "--volts", "2V"), "only serve together"),
    ],
)
def test_what_is_missing_is_one_line(run, bench, drop, more, words):
    line = [str(one) for one in near(bench, *more) if one not in drop]
    done = run(*line)
    assert done.status == 2
    assert words in done.err
    assert done.err.count("\n") == 1


def test_absolute_by_a_calibrator(run, bench, tmp_path):
    """94 dB at 1 kHz read as 0.05 rms, 2 V while the tone sounds: levels re 20 uPa for 2.83 V."""
    t = np.arange(3 * RATE) / RATE
    tone = 0.05 * np.sqrt(2) * np.sin(2 * np.pi * 1000.4 * t) * (t > 0.8)
    tone += 1e-4 * np.random.default_rng(1).standard_normal(len(t))
    (tmp_path / "cal.wav").write_bytes(wav_bytes(np.stack([tone, 0 * tone], axis=1), RATE))
    line = (
        "response",
        bench / "far.wav",
        "--played",
        bench / "sweep.wav",
        "--calibrator",
        tmp_path / "cal.wav",
        "--volts",
        "2V",
    )
    done = run(*line, "-o", tmp_path / "a.csv", "--json")
    told = json.loads(done.out)
    assert told["level_is"] == "absolute"
    assert told["scale"]["tone"]["hz"] == pytest.approx(1000.4, abs=0.1)
    # The file peaks 6 dB below full scale, and microphone and loop-back take 0.4 of it: while 2 V are at the terminals
    # the microphone reads that times 2e4 |far|, over sqrt(2) rms.
    f = np.array(told["frequency_hz"])
    heard = 10 ** (-6 / 20) * 0.4 * 2e4 * np.abs(far(f)) / np.sqrt(2)
    wanted = 94 + 20 * np.log10(heard / 0.05 * 2.83 / 2)
    rows = (f > 500) & (f < 8000)
    assert np.array(told["level_db"])[rows] == pytest.approx(wanted[rows], abs=0.1)
    assert (tmp_path / "a.csv").read_text().startswith("# level re 20 uPa for 2.83 V at 1 m")


def test_a_tone_that_is_none_is_refused(tmp_path):
    t = np.arange(3 * RATE) / RATE
    tone = np.sin(2 * np.pi * 1000.0 * t)
    hiss = np.random.default_rng(1).standard_normal(len(t))
    for name, wave, words in (
        ("broken", 0.1 * tone * (t % 0.4 < 0.2), "no steady, clear tone"),
        ("hiss", 0.1 * hiss, "no steady, clear tone"),
        ("short", 0.1 * tone[: RATE // 2], "no steady, clear tone"),
        ("clipped", np.clip(1.5 * tone, -1.0, 1.0), "clips"),
        ("silent", 0.0 * tone, "no tone"),
    ):
        (tmp_path / name).write_bytes(wav_bytes(wave[:, None], RATE))
        with pytest.raises(InputError, match=words):
            read_tone(tmp_path / name, 1)
    with pytest.raises(OptionError, match="channel 2 of 1"):
        read_tone(tmp_path / "hiss", 2)


def test_beyond_the_microphones_file_there_are_no_rows(run, bench, tmp_path):
    f = np.geomspace(400, 5000, 40)
    (tmp_path / "mic.txt").write_text("Hz dB\n" + "".join(f"{a:.5g} {-a / 5000:.4f}\n" for a in f))
    done = run(
        "response",
        bench / "far.wav",
        "--played",
        bench / "sweep.wav",
        "--curve",
        tmp_path / "mic.txt",
        "--curve-is",
        "response",
        "-o",
        tmp_path / "a.csv",
    )
    assert "rows beyond are left out" in " ".join(done.out.split())
    curve, _ = read_response(tmp_path / "a.csv", Evidence.MEASURED)
    assert 400 <= curve.frequency_hz[0] < 410
    assert 4900 < curve.frequency_hz[-1] <= 5000
