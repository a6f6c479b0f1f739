"""Delay, level and polarity from recordings of drivers together; a share of tests/benchmarks/delays_from_sums.py."""

import shutil
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from invented.speakers import Errors, InventedSpeaker

from xover.curve import log_grid
from xover.errors import InputError, OptionError
from xover.sound.prediction import sound_of
from xover.sound.timing import averaged, denied, find_timings
from xover.sound.timing_starts import Recording
from xover.speaker import open_speaker
from xover.studies.does.delay.result import Unclear
from xover.studies.does.delay.study import study_delay

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))

from delays_from_sums import WAYS, row

ATTIC = Path(__file__).parents[2] / "examples" / "attic-two-way"
BAND = (200.0, 15_000.0)
F = log_grid(200.0, 15_000.0, 12)


@pytest.mark.parametrize(("way", "most_us"), [(0, 8.0), (1, 8.0), (2, 8.0), (4, 5.0), (8, 60.0)])
def test_a_share_of_the_benchmark(way, most_us):
    _, found = row(WAYS[way], [920_003, 920_004][: 4 - WAYS[way].ways])
    assert not any(o.polarity == "wrong" for o in found)
    told = [o for o in found if o.told]
    assert told
    assert all(abs(o.put_in) < 1.6 and abs(o.gain) < 1.6 for o in told)  # three standard deviations
    assert np.median([o.as_read_us for o in told]) < most_us


def high(f, hz, q):
    x = 1j * f / hz
    return x**2 / (x**2 + x / q + 1)


def low(f, hz, q):
    x = 1j * f / hz
    return 1 / (x**2 + x / q + 1)


def together(f, delay_s, chance, noise_db=0.2, sign=1, gain_db=0.0):
    """Woofer, tweeter and both, levels alone, each with noise of its own; phases minimum and known."""
    woofer, tweeter = 90 * low(f, 3000, 0.8) * high(f, 50, 0.8), 90 * high(f, 1200, 0.7)
    both = woofer + sign * 10 ** (gain_db / 20) * tweeter * np.exp(-2j * np.pi * f * delay_s)
    noise = 10 ** (chance.normal(0, noise_db, (3, f.size)) / 20)
    return np.abs(both) * noise[0], np.array([woofer * noise[1], tweeter * noise[2]])


def test_from_levels_only_63_us():
    """True 63 us, 0.2 dB noise of a row: measuring.md, part D, has +-0.5 us for a fit that knows that nothing but noise
    is wrong; this one allows for ripple, and comes to 1 us rms."""
    f, off = log_grid(200.0, 15_000.0, 48), []
    for seed in range(6):
        both, own = together(f, 63e-6, np.random.default_rng(seed))
        turns = [[Recording(f[i::4], both[i::4].astype(complex), False, own[:, i::4])] for i in range(4)]
        best = find_timings(turns[0], [None, None], 1e-3)[0]
        assert best.polarity == (1, 1)
        off.append(1e6 * averaged(best, turns[1:], [None, None]).delay_s[1] - 63)
    assert np.sqrt(np.mean(np.square(off))) < 1.6
    assert abs(np.mean(off)) < 1.2


def test_recordings_that_say_different_things_agree_on_nothing():
    """Each by itself is clear: 80 us, and none at all. A pair that agrees is believed."""
    bounds, clear = [None, None], 8.0
    heard = []
    for i, (delay_s, sign) in enumerate([(80e-6, 1), (0.0, 1), (80e-6, 1)]):
        both, own = together(F, delay_s, np.random.default_rng(40 + i), sign=sign)
        heard.append(Recording(F, both.astype(complex), False, own))
    for pair, torn in ((heard[:2], True), (heard[::2], False), (heard[:1], False)):
        best = find_timings(pair, bounds, 1e-3)[0]
        assert denied(best, pair, bounds, 1e-3, clear) is torn


@pytest.mark.parametrize("phase", [False, True])
def test_what_the_recording_has_of_its_own_changes_nothing(phase):
    """Its level; with phase its flight time and sign. A delay of the record is taken off; a turned record turns it."""
    both, own = together(F, 63e-6, np.random.default_rng(1))
    if phase:
        both = own[0] + own[1] * np.exp(-2j * np.pi * F * 63e-6)
    plain = Recording(F, np.asarray(both, dtype=complex), phase, own)
    (first, *_) = find_timings([plain], [None, None], 1e-3)
    moved = replace(plain, value=plain.value * 0.4 * (-np.exp(-2j * np.pi * F * 4e-4) if phase else 1.0))
    (second, *_) = find_timings([moved], [None, None], 1e-3)
    late = np.array([np.ones(F.size), -np.exp(-2j * np.pi * F * 40e-6)])
    (third, *_) = find_timings([replace(plain, parts=own * late)], [None, None], 1e-3)
    assert second.polarity == first.polarity == (1, 1)
    assert second.delay_s[1] == pytest.approx(first.delay_s[1], abs=0.3e-6)
    assert third.polarity == (1, -1)
    assert third.delay_s[1] == pytest.approx(first.delay_s[1] - 40e-6, abs=0.3e-6)


def made(tmp_path, seed=5, **fed):
    speaker = InventedSpeaker(seed, errors=Errors(0.2, 0.05))
    speaker.write(tmp_path, phase=False)
    speaker.together(tmp_path / "both.txt", fed or {"woofer": 1.0, "tweeter": 1.0}, phase=False)
    return speaker


def test_written_keys_bring_the_sum_to_the_recording(tmp_path):
    speaker = made(tmp_path)
    speaker.sign["tweeter"] = 1
    speaker.together(tmp_path / "both.txt", {"woofer": 1.0, "tweeter": 1.0}, phase=False)
    (tmp_path / "bare.cir").write_text("* bare\nXw in 0 woofer\nXt in 0 tweeter\n.end\n", encoding="utf-8")
    toml = tmp_path / "speaker.toml"
    text = toml.read_text(encoding="utf-8").replace("found.cir", "bare.cir")
    toml.write_text(text, encoding="utf-8")
    study = study_delay(open_speaker(tmp_path), ["%s" % (tmp_path / "both.txt")], (), None, BAND, None)
    assert study.unclear is None
    assert study.rms_db < 0.5 * study.folder_rms_db
    keys = "".join(f"{key[-1]} = {value}\n" for key, value in study.keys.items())
    toml.write_text(text.replace("[drivers.tweeter]\n", f"[drivers.tweeter]\n{keys}"), encoding="utf-8")
    again = open_speaker(tmp_path)
    assert sound_of(again, "found", F).total.coherent
    after = study_delay(again, [tmp_path / "both.txt"], (), None, BAND, None)
    assert after.folder_rms_db == pytest.approx(after.rms_db, abs=0.05)
    assert after.drivers == study.drivers  # told against the record itself, whatever the folder says by now


def test_what_lies_beyond_the_delays_to_try_is_no_rival(tmp_path):
    """Levels alone through a network leave a farther delay with the other polarity open, unless that is ruled out."""
    shutil.copytree(ATTIC, tmp_path / "attic")
    folder = tmp_path / "attic" / "left"
    for table in (*folder.glob("*-response.csv"), folder / "whole-found.csv"):
        rows = [line.split(",")[:2] for line in table.read_text(encoding="utf-8").splitlines() if line[:1].isdigit()]
        table.write_text("Hz,dB\n" + "\n".join(map(",".join, rows)) + "\n", encoding="utf-8")
    toml = folder / "speaker.toml"
    text = toml.read_text(encoding="utf-8").replace('phase = "measured"', 'phase = "minimum"')
    toml.write_text(text.replace('timing = "common"', ""), encoding="utf-8")
    speaker = open_speaker(folder)
    wide = study_delay(speaker, (), [folder / "whole-found.csv"], None, BAND, None)
    assert wide.unclear is Unclear.RIVALS
    assert wide.rival[0].delay_us > 150
    near = study_delay(speaker, (), [folder / "whole-found.csv"], None, BAND, 100.0)
    assert near.unclear is None
    assert not near.drivers[0].reversed
    assert near.drivers[0].low_us < 0 < near.drivers[0].high_us  # its places and records are right as they stand


def test_a_driver_wired_round_is_told_and_nothing_is_to_be_written(tmp_path):
    speaker = made(tmp_path)
    speaker.sign["tweeter"] = -1
    speaker.together(tmp_path / "both.txt", {"woofer": 1.0, "tweeter": 1.0}, phase=False)
    said = study_delay(open_speaker(tmp_path), [tmp_path / "both.txt"], (), None, BAND, None)
    assert said.unclear is None
    assert said.drivers[0].reversed
    assert said.keys is None
    named = study_delay(open_speaker(tmp_path), [(tmp_path / "both.txt", "woofer,-tweeter")], (), None, BAND, None)
    assert not named.drivers[0].reversed
    assert named.keys is not None
    assert named.drivers[0].delay_us == pytest.approx(said.drivers[0].delay_us, abs=0.5)


def test_too_little_shared_tells_nothing(tmp_path):
    made(tmp_path, woofer=1.0, tweeter=1.0)
    for name, slope in (("woofer", -1.0), ("tweeter", 1.0)):
        rows = [
            f"{f:.5g}\t{max(-100.0, 90 + min(0.0, 120 * slope * np.log2(f / 2000))):.2f}"
            for f in log_grid(20.0, 20_000.0, 24)
        ]
        (tmp_path / f"{name}.txt").write_text("Hz\tdB\n" + "\n".join(rows), encoding="utf-8")
    study = study_delay(open_speaker(tmp_path), [tmp_path / "both.txt"], (), None, BAND, None)
    assert study.unclear is Unclear.SHARED
    assert not any(d.polarity_told for d in study.drivers)
    assert study.keys is None
    assert "cannot tell" in study.headline.lower()


def test_a_recording_of_something_else_tells_nothing(tmp_path):
    made(tmp_path)
    chance = np.random.default_rng(0)
    level = 85 + np.cumsum(chance.normal(0, 1.2, 240))
    rows = [f"{f:.5g}\t{v:.2f}" for f, v in zip(log_grid(20.0, 20_000.0, 24), level, strict=False)]
    (tmp_path / "both.txt").write_text("Hz\tdB\n" + "\n".join(rows), encoding="utf-8")
    study = study_delay(open_speaker(tmp_path), [tmp_path / "both.txt"], (), None, BAND, None)
    assert study.unclear in (Unclear.MISFIT, Unclear.RIVALS)
    assert study.keys is None


@pytest.mark.parametrize(
    ("given", "band", "words"),
    [
        ([], BAND, "there is no recording"),
        ([("both.txt", "woofer")], BAND, "tells no timing"),
        ([("both.txt", "woofer,twetter")], BAND, "did you mean tweeter"),
        ([("both.txt", "woofer,woofer,tweeter")], BAND, "twice"),
        (["both.txt"], (30.0, 50.0), "less than an octave"),
        (["thirds.txt"], BAND, "too few to tell a delay"),
        (["nowhere.txt"], BAND, "does not exist"),
        ([3], BAND, "meant by its file"),
    ],
)
def test_bad_recordings_are_refused(tmp_path, given, band, words):
    made(tmp_path)
    rows = [f"{f:.5g}\t80" for f in log_grid(20.0, 20_000.0, 3)]
    (tmp_path / "thirds.txt").write_text("Hz\tdB\n" + "\n".join(rows), encoding="utf-8")
    placed = [(tmp_path / g[0], g[1]) if isinstance(g, tuple) else g if g == 3 else tmp_path / g for g in given]
    with pytest.raises((OptionError, InputError), match=words):
        study_delay(open_speaker(tmp_path), placed, (), None, band, None)


def test_a_driver_without_a_record_of_its_own_is_refused(tmp_path):
    made(tmp_path)
    toml = tmp_path / "speaker.toml"
    toml.write_text(toml.read_text(encoding="utf-8").replace('response = "tweeter.txt"\n', ""), encoding="utf-8")
    with pytest.raises(InputError, match=r"drivers\.tweeter has no response"):
        study_delay(open_speaker(tmp_path), [tmp_path / "both.txt"], (), None, BAND, None)
