"""Played and recorded by the true command, with an invented sound device in the place of the library."""

import json
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from invented.loop_device import LoopDevice

import xover
from xover.cli.main import main
from xover.files.wav import read_wav, wav_bytes
from xover.recordings.reading import read_plan
from xover.studies.desk.record import device as sound_device
from xover.studies.desk.record import study

RATE = 8000


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A sweep, its tone, and a file that has been made louder."""
    folder = tmp_path_factory.mktemp("record")
    for name, more in (("sweep", ()), ("tone", ("--signal", "tone")), ("left", ("--side", "left"))):
        low = ("--seconds", "4", "--rate", str(RATE), "-o", str(folder / f"{name}.wav"))
        assert main(["sweep", "--for", "microphone", *low, *more]) == 0
    samples = read_wav(folder / "sweep.wav").samples.astype(float)
    louder = wav_bytes(1.5 * samples, RATE, 24, read_plan(folder / "sweep.wav").text)
    (folder / "louder.wav").write_bytes(louder)
    return folder


@pytest.fixture
def plugged(monkeypatch):
    """Plug a device in."""
    monkeypatch.setattr(study, "COUNTDOWN_S", 0)
    monkeypatch.setattr(sound_device, "LOOK_S", 0.005)

    def plug(*arguments, **faults):
        device = LoopDevice(*arguments, **faults)
        monkeypatch.setitem(sys.modules, "sounddevice", device)
        return device

    return plug


def test_what_is_recorded_is_read_by_jig(run, bench, tmp_path, plugged):
    """A resistor of 22 ohm behind one of 10: half of what is played, and 22/32 of that."""
    device = plugged()
    take = tmp_path / "take.wav"
    done = run("record", bench / "sweep.wav", "--level-set", "-o", take)
    assert done.status == 0, done.err
    assert done.err == ""  # no meter in a pipe
    assert "input 2             peaks at -15.3 dB" in done.out
    got, asked = read_wav(take), read_wav(bench / "sweep.wav")
    assert (got.rate_hz, got.bits, got.channels) == (RATE, 24, 2)
    # Played as it is, to the last bit, and nothing behind it.
    length = len(asked.samples)
    np.testing.assert_array_equal(device.played[:length], asked.samples)
    assert not device.played[length:].any()
    assert device.happened == ["start", "CallbackStop", "close"]
    read = run("jig", take, "--played", bench / "sweep.wav", "--resistor", "10", "--json")
    told = json.loads(read.out)
    np.testing.assert_allclose(told["impedance_ohm"], 22.0, rtol=1e-3)
    np.testing.assert_allclose(told["phase_deg"], 0.0, atol=0.1)


def test_what_is_recorded_is_read_by_response(run, bench, tmp_path, plugged):
    """A microphone that hears it 24 samples, 3 ms, after the loop-back."""
    plugged((0.2, 0.5), (624, 600))
    assert run("record", bench / "sweep.wav", "--level-set", "-o", tmp_path / "take.wav").status == 0
    read = run("response", tmp_path / "take.wav", "--played", bench / "sweep.wav", "--json")
    told = json.loads(read.out)
    assert told["arrival_s"] == pytest.approx(3e-3, abs=0.1e-3)
    f, level = np.array(told["frequency_hz"]), np.array(told["level_db"])
    np.testing.assert_allclose(level[(f > 400) & (f < 2000)], 20 * np.log10(0.2 / 0.5), atol=0.05)


def test_one_input_of_another_device(run, bench, plugged):
    device = plugged()
    done = run("record", bench / "sweep.wav", "--level-set", "--inputs", "1", "--device", "1,0", "--json")
    assert done.status == 0, done.err
    assert device.pair == (1, 0)
    assert len(json.loads(done.out)["peak_db"]) == 1


def test_the_tone_is_as_high_as_the_sweep_and_on_its_side(run, bench, plugged):
    device = plugged()
    done = run("record", bench / "left.wav", "--tone")
    assert done.status == 0, done.err
    assert "200 Hz" in done.out
    sweep = read_wav(bench / "left.wav").samples
    assert np.abs(device.played[:, 0]).max() == pytest.approx(np.abs(sweep).max(), rel=2e-3)
    assert not device.played[:, 1].any()


@pytest.mark.parametrize(
    ("faults", "words", "ended"),
    [
        ({"gains": (0.5, 2.5)}, "input 2 clips", ["start", "CallbackAbort", "close"]),
        ({"loses_at": 9000}, "lost samples", ["start", "CallbackStop", "close"]),
        ({"dies_at": 9000}, "stopped by itself", ["start", "close"]),
        ({"stands": True}, "stands still", ["start", "abort", "close"]),
        ({"refuses": "Invalid sample rate"}, "refuses: Invalid sample rate; see what there is with --list", []),
        ({"names": ()}, "no sound device", []),
    ],
)
def test_what_goes_wrong_meanwhile_stops_it_and_keeps_nothing(
    run, bench, tmp_path, plugged, monkeypatch, faults, words, ended
):
    monkeypatch.setattr(sound_device, "STALLED_S", 0.02)
    device = plugged(**faults)
    done = run("record", bench / "sweep.wav", "--level-set", "-o", tmp_path / "take.wav")
    assert done.status == 2
    assert words in done.err
    assert (done.out, done.err.count("\n")) == ("", 1)
    assert list(tmp_path.iterdir()) == []
    assert device.happened == ended
    if "clips" in words:
        assert len(device.played) < 0.5 * len(read_wav(bench / "sweep.wav").samples)
        assert not device.played[-1:].any()


def test_what_the_systems_library_says_itself_is_not_heard(bench, capfd, plugged):
    plugged(refuses="Invalid sample rate")
    assert main(["record", str(bench / "sweep.wav"), "--level-set"]) == 2
    assert capfd.readouterr().err.count("\n") == 1


def test_what_is_lost_in_the_first_silence_does_no_harm(run, bench, plugged):
    plugged(loses_at=0)
    assert run("record", bench / "sweep.wav", "--level-set").status == 0


def test_control_c_silences_it_at_once_and_writes_nothing(run, bench, tmp_path, plugged):
    device = plugged(interrupts_at=12_000)
    done = run("record", bench / "sweep.wav", "--level-set", "-o", tmp_path / "take.wav")
    assert (done.status, done.out, done.err) == (130, "", "")
    assert device.happened == ["start", "abort", "close"]
    assert list(tmp_path.iterdir()) == []
    assert len(device.played) <= 13_000


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "nothing to play; name the file"),
        (("sweep.wav",), "set the amplifier's volts first, with --tone and a meter; then add --level-set"),
        (("tone.wav", "--level-set"), "does not tell what sweep it holds"),
        (("louder.wav", "--level-set"), "is not the sweep that it says it is"),
        (("nowhere.wav", "--level-set"), "does not exist"),
        (("sweep.wav", "--level-set", "--device", "7"), "there is no device 7"),
        (("sweep.wav", "--level-set", "--device", "1"), "device 1 has 1 inputs, and 2 are needed"),
        (("sweep.wav", "--level-set", "--device", "0,1"), "device 1 has 0 outputs"),
        (("sweep.wav", "--level-set", "--device", "0,0,0"), "names 3 devices"),
        (("sweep.wav", "--level-set", "--device", "first"), "write it in digits"),
        (("sweep.wav", "--level-set", "--inputs", "9"), "give 1 to 8"),
        (("sweep.wav", "--level-set", "-o", "tone.wav"), "exists already"),
    ],
)
def test_refused_before_a_sound(run, bench, monkeypatch, plugged, arguments, words):
    device = plugged()
    monkeypatch.chdir(bench)
    done = run("record", *arguments)
    assert (done.status, done.out, done.err.count("\n")) == (2, "", 1)
    assert words in done.err
    assert device.happened == []


@pytest.mark.parametrize("more", [("--list",), ("sweep.wav", "--tone")])
def test_what_holds_no_recording_is_not_written(run, bench, monkeypatch, plugged, more):
    plugged()
    monkeypatch.chdir(bench)
    done = run("record", *more, "-o", "new.wav")
    assert done.status == 2
    assert "leave out" in done.err
    assert not (bench / "new.wav").exists()


def test_without_the_library_or_what_it_stands_on_the_remedy_is_told(run, bench, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    done = run("record", bench / "sweep.wav", "--level-set")
    assert (done.status, done.err.count("\n")) == (2, 1)
    assert "pip install sounddevice" in done.err
    monkeypatch.delitem(sys.modules, "sounddevice")
    (tmp_path / "sounddevice.py").write_text("raise OSError('library not found')")
    monkeypatch.syspath_prepend(tmp_path)
    done = run("record", "--list")
    assert (done.status, done.err.count("\n")) == (2, 1)
    assert "portaudio" in done.err
    assert "any other means" in done.err


def test_devices_are_listed(run, plugged):
    plugged(names=("A device with a very long name of more than sixty letters in all", "B"))
    done = run("record", "--list")
    assert done.status == 0
    assert max(map(len, done.out.splitlines())) <= 80
    assert "2*" in done.out
    assert json.loads(run("record", "--list", "--json").out)["devices"][1]["inputs"] == 1


def test_a_person_sees_a_countdown_and_a_meter(bench, capsys, monkeypatch, plugged):
    plugged(pace=20.0)
    monkeypatch.setattr(study, "COUNTDOWN_S", 2)
    monkeypatch.setattr(study, "time", SimpleNamespace(sleep=lambda _: None))
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    assert main(["record", str(bench / "sweep.wav"), "--level-set"]) == 0
    lines = capsys.readouterr().err.split("\r")
    assert max(map(len, lines)) < 80
    assert "sound in 2 s, Ctrl-C stops it" in lines[1]
    assert any("in 1 ########.. -12 dB  in 2 #######... -15 dB" in line for line in lines)
    assert lines[-1] == ""  # wiped


def test_a_silent_input_is_told(run, bench, plugged):
    plugged((0.5, 0.0))
    done = run("record", bench / "sweep.wav", "--level-set")
    assert done.status == 0
    assert "input 2 is as good as silent" in done.err


def test_the_library_is_loaded_in_one_place():
    named = [p.name for p in Path(xover.__file__).parent.rglob("*.py") if "import sounddevice" in p.read_text("utf-8")]
    assert named == ["device.py"]
