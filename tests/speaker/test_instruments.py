"""What the curves of a folder were got with: as it is said, as it is guessed, and what nobody has touched. Invented."""

import numpy as np
import pytest

from xover.curve import Evidence, log_grid
from xover.errors import InputError
from xover.rules.instruments import Instrument
from xover.rules.typical import TEMPLATE, role_of, typical_driver
from xover.sound.doubt import deviation_gain, deviation_known, unready, voicing_gain
from xover.sound.prediction import predict
from xover.speaker import open_speaker
from xover.speaker.untouched import untouched
from xover.studies.desk.new.study import start_folder

F = log_grid(20.0, 20_000.0, 24)
THIRDS = 1000.0 * 10 ** (np.arange(-17, 14) / 10)
OWN_SHEET = "[drivers.woofer.datasheet]\nre_ohm = 5.7\nfs_hz = 41\nqms = 3.3\nqes = 0.41\nle_mh = 0.7\n"


def table(path, f, level_db, phase=False):
    rows = [f"{x:.6g}, {y:.3f}" + (", -30" if phase else "") for x, y in zip(f, level_db, strict=True)]
    path.write_text("Hz, dB" + (", deg" if phase else "") + "\n" + "\n".join(rows) + "\n")


def opened(tmp_path, driver, sheet=OWN_SHEET):
    table(tmp_path / "phased.csv", F, 90 - 2 * np.log10(F), phase=True)
    table(tmp_path / "levels.csv", F, 90 - 2 * np.log10(F))
    table(tmp_path / "thirds.csv", THIRDS, 90 - 2 * np.log10(THIRDS))
    (tmp_path / "z.csv").write_text("Hz, ohm\n" + "".join(f"{f:.6g}, {6 + f / 1e3:.4f}\n" for f in F))
    (tmp_path / "speaker.toml").write_text(f"[drivers.woofer]\n{driver}\n{sheet}")
    return open_speaker(tmp_path).drivers["woofer"]


@pytest.mark.parametrize(
    ("driver", "ohms", "sound"),
    [
        ('response = "phased.csv"', "datasheet", "calibrated"),
        ('response = "phased.csv"\nphase = "minimum"', "datasheet", "calibrated"),
        ('response = "levels.csv"', "datasheet", "uncalibrated"),
        ('response = "thirds.csv"', "datasheet", "phone"),
        ('response = "thirds.csv"\nresponse_evidence = "datasheet"', "datasheet", "datasheet"),
        ('response = "thirds.csv"\nresponse_instrument = "calibrated"', "datasheet", "calibrated"),
        ('impedance = "z.csv"\nresponse = "thirds.csv"', "calibrated", "phone"),
        ('impedance = "z.csv"\nresponse = "phased.csv"\ninstrument = "phone"', "calibrated", "phone"),
        ('impedance = "z.csv"\nresponse = "phased.csv"\ninstrument = "uncalibrated"', "uncalibrated", "uncalibrated"),
        (
            'impedance = "z.csv"\nresponse = "phased.csv"\ninstrument = "datasheet"\nresponse_instrument = "phone"',
            "datasheet",
            "phone",
        ),
        ('impedance = "z.csv"\nimpedance_evidence = "assumed"', "assumed", "assumed"),
        ("", "datasheet", "assumed"),
    ],
)
def test_said_or_guessed(tmp_path, driver, ohms, sound):
    got = opened(tmp_path, driver)
    assert (got.impedance_instrument, got.response_instrument) == (ohms, sound)


def test_the_guess_of_a_phone_is_told_and_what_is_said_is_not(tmp_path):
    assert any("taken for phone levels" in n for n in opened(tmp_path, 'response = "thirds.csv"').notes)
    said = opened(tmp_path, 'response = "thirds.csv"\nresponse_instrument = "phone"')
    assert not any("phone" in n for n in said.notes)


def test_evidence_follows_the_instrument(tmp_path):
    copied = opened(tmp_path, 'impedance = "z.csv"\nresponse = "phased.csv"\ninstrument = "datasheet"')
    assert (copied.impedance_evidence, copied.response_evidence) == (Evidence.DATASHEET, Evidence.DATASHEET)


@pytest.mark.parametrize(
    ("driver", "line", "words"),
    [
        ('response = "thirds.csv"\nimpedance_instrument = "calibrated"', 3, "no impedance is named; name impedance"),
        ('impedance = "z.csv"\nresponse_instrument = "phone"', 3, "no response is named"),
        ('impedance = "z.csv"\nimpedance_instrument = "phone"', 3, "which measures no impedance"),
        ('instrument = "phone"', 2, "the driver names none; write it in .drivers.woofer.datasheet"),
        (
            'response = "thirds.csv"\nresponse_evidence = "datasheet"\nresponse_instrument = "phone"',
            4,
            'is "phone", but response_evidence is "datasheet"; delete response_evidence',
        ),
    ],
)
def test_what_cannot_be(tmp_path, driver, line, words):
    with pytest.raises(InputError, match=rf"speaker\.toml:{line}: .*{words}"):
        opened(tmp_path, driver)


def edited(folder, name, *changes):
    path = folder / name
    text = path.read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path.write_text(text)


def test_a_new_folder_is_untouched_until_it_is_edited(tmp_path):
    folder = tmp_path / "new"
    start_folder(folder, "two-way-second-order")
    speaker = open_speaker(folder)
    assert untouched(speaker).drivers == ("woofer", "tweeter") == unready(speaker, ("woofer", "tweeter"))
    assert untouched(speaker).networks == ("found", "original")
    assert speaker.drivers["woofer"].impedance_evidence is Evidence.ASSUMED
    edited(folder, "found.cir", ("3.9uF", "4.3uF"))
    assert untouched(open_speaker(folder)).networks == ("original",)
    # Turned round is edited too; a line of comment is not.
    edited(folder, "original.cir", ("Xhigh 0  t", "Xhigh t  0"))
    assert untouched(open_speaker(folder)).networks == ()
    edited(folder, "original.cir", ("Xhigh t  0", "* said\nXhigh 0  t"))
    assert untouched(open_speaker(folder)).networks == ("original",)
    edited(folder, "speaker.toml", ("re_ohm = 6.0\nfs_hz = 55", "re_ohm = 5.9\nfs_hz = 55"))
    assert untouched(open_speaker(folder)).drivers == ("woofer", "tweeter")
    mark = next(line for line in (folder / "speaker.toml").read_text().splitlines() if line.startswith("instrument"))
    edited(folder, "speaker.toml", (mark + "\n", ""))
    assert untouched(open_speaker(folder)).drivers == ("tweeter",)


def test_a_template_without_its_mark_is_still_one(tmp_path):
    folder = tmp_path / "new"
    start_folder(folder, "two-way-second-order")
    path = folder / "speaker.toml"
    path.write_text("\n".join(x for x in path.read_text().splitlines() if not x.startswith("instrument")) + "\n")
    assert untouched(open_speaker(folder)).drivers == ("woofer", "tweeter")
    # A reading with the meter is somebody's.
    path.write_text(path.read_text().replace("# re_ohm = 5.8 ", "re_ohm = 5.8 ", 1))
    speaker = open_speaker(folder)
    assert untouched(speaker).drivers == ("tweeter",)
    assert speaker.drivers["woofer"].impedance_instrument is Instrument.DATASHEET


BOARD = "* invented\nL1 in w 1.2mH dcr=0.4\nXlow w 0 woofer\nC1 in t 4.7uF\nL2 t 0 0.4mH dcr=0.4\nXhigh t 0 tweeter\n"
NETWORKS = '[networks.found]\ncircuit = "found.cir"\n[networks.original]\ncircuit = "original.cir"\n'


def with_a_meter(tmp_path, drivers):
    (tmp_path / "original.cir").write_text(BOARD)
    (tmp_path / "found.cir").write_text(BOARD.replace("4.7uF", "3.3uF"))
    (tmp_path / "speaker.toml").write_text(drivers + NETWORKS)
    return open_speaker(tmp_path)


def test_a_meter_is_enough_to_begin(tmp_path):
    large = "[drivers.woofer]\nre_ohm = 3.2\ndiameter_mm = 260\n"
    speaker = with_a_meter(tmp_path, large + "[drivers.tweeter]\nre_ohm = 5.4\n")
    woofer, tweeter = speaker.drivers["woofer"], speaker.drivers["tweeter"]
    for driver in (woofer, tweeter):
        assert driver.impedance_instrument is driver.response_instrument is Instrument.ASSUMED
        assert driver.impedance_evidence is driver.response_evidence is Evidence.ASSUMED
        assert sum("only its DC resistance is known" in n for n in driver.notes) == 1
    assert woofer.re_ohm == woofer.datasheet.re_ohm == 3.2
    assert woofer.datasheet.fs_hz < TEMPLATE["woofer"].fs_hz
    # A coil of half the resistance takes twice the power from 2.83 V: 10 lg(6/3.2) = 2.7 dB more.
    assert woofer.datasheet.sensitivity_db == pytest.approx(TEMPLATE["woofer"].sensitivity_db + 2.73, abs=0.01)
    assert tweeter.datasheet.fs_hz == 1000
    got = predict(speaker, "found", F)
    assert got.evidence["woofer"] == {"impedance": "assumed", "response": "assumed"}
    # How far the capacitor has drifted is known; how even the sum is, is not.
    found, original = speaker.network("found"), speaker.network("original")
    assert voicing_gain(speaker, original, found, original, F).sure
    assert np.isnan(deviation_gain(speaker, found, original, F).value_db)
    assert unready(speaker, ("woofer", "tweeter")) == ()


def test_a_driver_that_nothing_tells_of(tmp_path):
    nameless = "[drivers.tweeter]\nre_ohm = 5.4\n[drivers.woofer]\nre_ohm = 6\n[drivers.unit7]\nre_ohm = 6\n"
    with pytest.raises(InputError, match=r"speaker\.toml:5: of driver 'unit7' only re_ohm .*give diameter_mm too"):
        with_a_meter(tmp_path, nameless)
    speaker = with_a_meter(tmp_path, nameless + "diameter_mm = 19\n")
    assert speaker.drivers["unit7"].datasheet.fs_hz == pytest.approx(1000 * 25 / 19)


@pytest.mark.parametrize(
    ("name", "mm", "role"),
    [
        ("woofer2", None, "woofer"),
        ("midbass", 30, "woofer"),
        ("Squawker", None, "mid"),
        ("horn", None, "horn"),
        ("dome", None, "tweeter"),
        ("a", 25, "tweeter"),
        ("a", 100, "mid"),
        ("a", 200, "woofer"),
        ("a", None, None),
    ],
)
def test_roles(name, mm, role):
    assert role_of(name, mm) == role


@pytest.mark.parametrize("role", TEMPLATE)
def test_the_usual_driver_of_a_role_is_the_template(role):
    assert typical_driver(role, TEMPLATE[role].re_ohm, None) == TEMPLATE[role]
    larger = typical_driver(role, 2 * TEMPLATE[role].re_ohm, 300.0)
    assert larger.fs_hz <= TEMPLATE[role].fs_hz
    assert larger.le_mh == 2 * TEMPLATE[role].le_mh


def test_a_phone_serves_for_differences_and_not_for_the_treble(tmp_path):
    """Levels in thirds of an octave with a phone's own roll-off in them: two poles at 8 kHz, all invented."""
    heard = -10 * np.log10(1 + (THIRDS / 8000.0) ** 4)
    low, high = 1j * THIRDS / 45.0, 1j * THIRDS / 900.0
    woofer = 88 + 20 * np.log10(np.abs(low**2 / (1 + 2 * low + low**2)) / np.sqrt(1 + (THIRDS / 5000.0) ** 4))
    tweeter = 90 + 20 * np.log10(np.abs(high**2 / (1 + 1.4 * high + high**2)))
    table(tmp_path / "w.csv", THIRDS, woofer + heard)
    table(tmp_path / "t.csv", THIRDS, tweeter + heard)
    driver = '[drivers.{0}]\nre_ohm = {1}\nresponse = "{2}.csv"\nposition_mm = [0, {3}, 0]\n'
    speaker = with_a_meter(tmp_path, driver.format("woofer", 5.6, "w", -80) + driver.format("tweeter", 5.4, "t", 80))
    assert speaker.drivers["tweeter"].response_instrument is Instrument.PHONE
    found, original = speaker.network("found"), speaker.network("original")
    assert speaker.timing_is_known(found)[0]
    # Beside the null of this sum its change is not known; that of the drives is.
    moved, even = voicing_gain(speaker, original, found, original, F), deviation_known(speaker, found, F)
    assert moved.sure
    assert moved.uncertainty_db < 0.1 * even.uncertainty_db
    # Twice the capacitor lifts the tweeter: against the phone's fall of the treble that looks flatter.
    (tmp_path / "found.cir").write_text(BOARD.replace("4.7uF", "9.4uF"))
    boost = deviation_gain(speaker, original, open_speaker(tmp_path).network("found"), F)
    assert boost.value_db > 0.5
    assert not boost.sure
