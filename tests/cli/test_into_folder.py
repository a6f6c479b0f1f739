"""xover jig and response write straight into a speaker folder, and undo takes it back."""

import json
import resource
import shutil
from dataclasses import replace

import numpy as np
import pytest

from xover.errors import InputError, OptionError
from xover.files.add_curve import FolderCurve, add_curve, find_place
from xover.files.wav import wav_bytes
from xover.recordings.sweep import SweepPlan, played
from xover.rules.instruments import Instrument
from xover.speaker import open_speaker

F = np.geomspace(20.0, 20_000.0, 80)
Z = 6.0 + 2j * np.pi * F * 0.5e-3
TOML = (
    '# mine\r\ntitle = "Größe"  # big\r\ntiming = "unknown"\r\n\r\n[drivers.woofer]   # low\r\nre_ohm = 5.9 # cold\r\n'
    '[drivers."Hoch ton"]\r\nre_ohm = 6\r\ndiameter_mm = 25\r\n\r\n[networks.found]\r\ncircuit = "found.cir"\r\n'
)


@pytest.fixture(scope="module")
def ratios(tmp_path_factory):
    """Tables of second over first channel: a driver, and resistors of 22.1 ohm, one of them 8 % off."""
    folder = tmp_path_factory.mktemp("ratios")
    for name, z in {"woofer": Z, "known": 22.1 + 0 * F, "off": 24.0 + 0 * F}.items():
        h = z / (z + 10.0)
        rows = zip(F, 20 * np.log10(np.abs(h)), np.degrees(np.angle(h)), strict=True)
        (folder / f"{name}.csv").write_text("Hz,dB,deg\n" + "".join(f"{a:.9g},{b:.9f},{c:.9f}\n" for a, b, c in rows))
    return folder


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "speaker.toml").write_bytes(TOML.encode())
    (tmp_path / "found.cir").write_text("* board\nL1 in w 1mH\nXlow w 0 woofer\n.end\n")
    return tmp_path


def files(folder):
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def test_an_impedance_goes_into_the_folder_with_its_conditions_and_comes_out_again(run, ratios, folder):
    before = files(folder)
    jig = ("jig", ratios / "woofer.csv", "--resistor", "10", "--known", f"{ratios / 'known.csv'}=22.1", "--into")
    done = run(*jig, folder, "--driver", "woofer")
    assert done.status == 0, done.err
    assert f"Put into {folder}: woofer-impedance.csv, calibrated" in " ".join(done.out.split())
    head = "[drivers.woofer]   # low\r\n"
    keys = 'impedance = "woofer-impedance.csv"\r\nimpedance_instrument = "calibrated"\r\n'
    assert (folder / "speaker.toml").read_bytes() == TOML.replace(head, head + keys).encode()
    lines = (folder / "woofer-impedance.csv").read_text().splitlines()
    assert lines[:4] == [
        "# read from woofer.csv",
        "# resistor 10 ohm, second channel across the driver",
        "# known resistor 22.1 ohm known.csv",
        "# it reads 22.1 ohm, off by 0.0 % at worst",
    ]
    assert lines[4].startswith("# sure to ")
    assert lines[4].endswith(" % at worst, at 20 kHz")
    driver = open_speaker(folder).drivers["woofer"]
    assert driver.impedance_instrument is Instrument.CALIBRATED
    assert not [note for note in driver.notes if "woofer-impedance.csv" in note]
    np.testing.assert_allclose(driver.impedance_ohm(F), Z, rtol=1e-4)
    after = files(folder)
    refused = run(*jig, folder, "--driver", "woofer")
    assert refused.status == 2
    assert "woofer-impedance.csv: exists already" in refused.err
    assert files(folder) == after
    assert run(*jig, folder, "--driver", "woofer", "--force").status == 0
    assert run("undo", folder).status == 0  # the same again was no change
    assert files(folder) == before


@pytest.mark.parametrize(("known", "instrument"), [((), "uncalibrated"), (("--known", "off.csv=22.1"), "uncalibrated")])
def test_without_a_known_resistor_that_reads_right_it_is_uncalibrated(run, ratios, folder, known, instrument):
    known = [str(ratios / w) if "=" in w else w for w in known]
    done = run("jig", ratios / "woofer.csv", "--resistor", "10", *known, "--into", folder, "--driver", "Hoch ton")
    assert done.status == 0, done.err
    assert open_speaker(folder).drivers["Hoch ton"].impedance_instrument == instrument
    assert (folder / "Hoch-ton-impedance.csv").exists()


def test_the_terminals_of_a_network_are_a_file_alone_and_can_be_undone(run, ratios, folder):
    before = files(folder)
    done = run("jig", ratios / "woofer.csv", "--resistor", "10", "--into", folder)
    assert "terminals-found.csv" in done.out
    assert "xover infer" in " ".join(done.out.split())
    assert (folder / "speaker.toml").read_bytes() == TOML.encode()
    assert run("undo", folder).status == 0
    assert files(folder) == before


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--driver", "woofer"), "add --into and a folder"),
        (("--into", "FOLDER", "--driver", "wofer"), "did you mean 'woofer'?"),
        (("--into", "FOLDER", "--network", "fund"), "did you mean 'found'?"),
        (("--into", "FOLDER", "--driver", "woofer", "--network", "found"), "does not go with --driver"),
        (("--into", "nowhere"), "start a speaker folder with 'xover new'"),
    ],
)
def test_bad_names_are_told_before_anything_is_measured(run, folder, arguments, words):
    before = files(folder)
    done = run("jig", "none.csv", "--resistor", "10", *[str(folder) if a == "FOLDER" else a for a in arguments])
    assert done.status == 2
    assert words in done.err
    assert "none.csv" not in done.err
    assert done.err.count("\n") == 1
    assert files(folder) == before


def test_a_key_that_is_there_stays_without_force(folder):
    path = folder / "speaker.toml"
    path.write_bytes(TOML.replace("re_ohm = 5.9", "impedance = 'mine.csv' # my\r\nre_ohm = 5.9").encode())
    with pytest.raises(OptionError, match=r"speaker\.toml:6: the impedance of woofer is mine\.csv already"):
        find_place(folder, "impedance", "woofer", None)
    place = find_place(folder, "impedance", "woofer", None, force=True)
    curve = FolderCurve("Hz,ohm\n" + "".join(f"{f:.4g},6\n" for f in F), (), Instrument.UNCALIBRATED, "")
    add_curve(place, curve, force=True)
    text = path.read_bytes().decode()
    assert 'impedance = "woofer-impedance.csv" # my\r\nre_ohm = 5.9 # cold\r\n' in text


@pytest.mark.parametrize("size", [0, 1500])
def test_where_there_is_no_room_for_both_nothing_is_written(folder, size):
    """None at all; or enough for what is kept of speaker.toml as it was, not for the table."""
    before = files(folder)
    curve = FolderCurve("Hz,ohm\n" + "".join(f"{f:.3f},6\n" for f in F) * 4, (), Instrument.UNCALIBRATED, "")
    assert len(curve.text) > 2000
    usual = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, usual[1]))
    try:
        with pytest.raises(InputError, match="cannot be written"):
            add_curve(find_place(folder, "impedance", "woofer", None), curve)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, usual)
    assert files(folder) == before


def test_one_time_for_all_is_only_what_was_said(folder):
    """timing goes from unknown to common where it is said; a record that may be timed otherwise is kept out."""
    path = folder / "speaker.toml"
    table = "Hz,dB,deg\n" + "".join(f"{f:.4g},80,0\n" for f in F)
    common = FolderCurve(table, (), Instrument.CALIBRATED, "", "measured", "common")
    low, high = (find_place(folder, "response", name, None) for name in ("woofer", "Hoch ton"))
    add_curve(low, common)
    assert 'timing = "common"\r\n' in path.read_bytes().decode()
    before = files(folder)
    with pytest.raises(OptionError, match='says timing = "common" of all responses'):
        add_curve(high, replace(common, timing="unknown"))
    assert files(folder) == before
    add_curve(high, replace(common, timing="unknown"), force=True)
    assert open_speaker(folder).file.speaker.timing == "unknown"
    untimed = TOML.replace('timing = "unknown"\r\n', "")
    path.write_bytes(untimed.encode())
    (folder / "woofer-response.csv").unlink()
    add_curve(low, replace(common, timing="unknown"))
    assert "timing" not in path.read_text()
    add_curve(low, common, force=True)
    assert path.read_bytes().decode().startswith('# mine\r\ntitle = "Größe"  # big\r\ntiming = "common"\r\n')


@pytest.mark.parametrize(
    ("loop", "more", "wanted"),
    [
        (True, ("--same-place",), ("measured", "common")),
        (True, (), ("measured", "unknown")),
        (False, (), ("minimum", "unknown")),
    ],
)
def test_a_response_goes_in_with_what_it_was_got_by(run, folder, loop, more, wanted):
    plan = SweepPlan(16_000, 100.0, 7000.0, 1.0, -6.0)
    wave = played(plan)
    (folder / "sweep.wav").write_bytes(wav_bytes(wave[:, None], plan.rate_hz, 24, plan.text))
    heard = np.concatenate([np.zeros(100), 0.5 * wave, np.zeros(1000)])
    both = np.stack([heard, np.concatenate([np.zeros(53), 0.5 * wave, np.zeros(1047)])], axis=1)
    both += 1e-4 * np.random.default_rng(1).standard_normal(both.shape)
    (folder / "a.wav").write_bytes(wav_bytes(both if loop else both[:, :1], plan.rate_hz, 16, "invented"))
    done = run(
        "response", folder / "a.wav", "--played", folder / "sweep.wav", *more, "--into", folder, "--driver", "woofer"
    )
    assert done.status == 0, done.err
    speaker = open_speaker(folder)
    entry = speaker.file.speaker.drivers["woofer"]
    assert (entry.phase, speaker.file.speaker.timing) == wanted
    assert speaker.drivers["woofer"].response_instrument is Instrument.UNCALIBRATED
    if not loop:
        refused = run("response", folder / "a.wav", "--played", folder / "sweep.wav", "--same-place")
        assert "means nothing without a loop-back" in refused.err


def test_a_template_serves_only_while_nothing_is_measured(run, ratios, tmp_path):
    """A placeholder's resistance or sound is not held beside a sweep of the driver."""
    assert run("new", tmp_path / "fresh").status == 0
    jig = ("jig", ratios / "woofer.csv", "--resistor", "10", "--into", tmp_path / "fresh", "--driver", "woofer")
    assert "The template's values of woofer count no more." in " ".join(run(*jig).out.split())
    opened = open_speaker(tmp_path / "fresh")
    assert opened.drivers["woofer"].re_ohm is None
    assert opened.drivers["woofer"].datasheet is None
    assert opened.drivers["tweeter"].impedance_instrument is Instrument.PLACEHOLDER
    told = json.loads(run("predict", tmp_path / "fresh", "--json").out)
    assert not any(v is not None for v in told["acoustic"]["sum"]["level_db"])
    shutil.rmtree(tmp_path / "fresh")
