"""Lamps in a network: closed forms before plain resistances, and a lamp built into an example."""

import json
import math
import shutil
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

from xover.amplifier.programme import Spectrum, share_outside
from xover.curve import log_grid
from xover.errors import OptionError
from xover.plain import to_plain
from xover.sound.prediction import predict
from xover.speaker import open_speaker
from xover.studies.bears.lamps.study import study_lamps

ATTIC = Path(__file__).parents[2] / "examples" / "attic-two-way"
GRID = log_grid(20.0, 20_000.0, 12)
INSIDE = 1.0 - share_outside(GRID)
# Hardly more than its DC resistance of 8 ohm.
SHEET = "[drivers.{0}.datasheet]\nre_ohm = 8\nfs_hz = 50\nqms = 1e-6\nqes = 0.5\nle_mh = 0\n"


def folder(tmp_path, cards):
    (tmp_path / "found.cir").write_text("* invented\n" + cards)
    toml = SHEET.format("woofer") + SHEET.format("tweeter") + '[networks.found]\ncircuit = "found.cir"\n'
    (tmp_path / "speaker.toml").write_text(toml)
    return open_speaker(tmp_path)


def steady_ohm(volts, cold=1.0, hot=10.0, watts=5.0, load=8.0):
    """Resistance of a filament before a plain load: watts in = watts radiated, by temperature."""

    def kelvin(r):
        return 293.0 * (r / cold) ** (1 / 1.2)

    k = watts / (kelvin(hot) ** 4 - 293.0**4)
    return brentq(
        lambda r: INSIDE * (volts / (r + load)) ** 2 * r - k * (kelvin(r) ** 4 - 293.0**4), cold, 1e4, xtol=1e-12
    )


def test_a_lamp_before_eight_ohm(tmp_path):
    speaker = folder(tmp_path, "R1 in a kind=lamp cold=1 hot=10 watts=5\nXlow a 0 woofer\n")
    # At sqrt(5/10) A it has its rated 5 W and is 10 ohm: 18 ohm x 0.7071 A, over what the grid holds of the programme.
    rated_v = 18.0 * math.sqrt(0.5 / INSIDE)
    study = study_lamps(speaker, "found", [20.0, 1.0, rated_v, 10.0], frequency_hz=GRID)
    assert [level.voltage_rms_v for level in study.levels] == [1.0, 10.0, rated_v, 20.0]
    for level in study.levels:
        v, lamp, woofer = level.voltage_rms_v, level.lamps["R1"], level.drivers["woofer"]
        ohm = steady_ohm(v)
        assert lamp.resistance_ohm == pytest.approx(ohm, rel=1e-5)
        assert lamp.power_w == pytest.approx(INSIDE * (v / (8 + ohm)) ** 2 * ohm, rel=1e-5)
        assert lamp.plain_power_w == pytest.approx(INSIDE * (v / 9) ** 2, rel=1e-5)
        assert lamp.over_rating == (v > rated_v)
        assert woofer.programme_db == pytest.approx(20 * math.log10(9 / (8 + ohm)), rel=1e-4)
        np.testing.assert_allclose(woofer.change_db, woofer.programme_db, rtol=1e-4)
        assert woofer.power_w == pytest.approx(INSIDE * (v / (8 + ohm)) ** 2 * 8, rel=1e-5)
        assert woofer.cold_power_w == pytest.approx(INSIDE * (v / 9) ** 2 * 8, rel=1e-5)
        assert woofer.bare_power_w == pytest.approx(INSIDE * v**2 / 8, rel=1e-5)
        assert level.lowest["in"].impedance_ohm == pytest.approx(8 + ohm, rel=1e-4)
    assert study.levels[2].lamps["R1"].resistance_ohm == pytest.approx(10.0, rel=1e-5)
    (removal,) = study.removals
    assert removal.programme_db["woofer"] == pytest.approx(20 * math.log10(9 / 8), rel=1e-4)
    assert removal.worst_db["woofer"] == pytest.approx(20 * math.log10(9 / 8), rel=1e-4)
    assert removal.cold_lowest["in"].impedance_ohm == pytest.approx(9.0, rel=1e-4)
    assert removal.bare_lowest["in"].impedance_ohm == pytest.approx(8.0, rel=1e-4)
    assert removal.plain_ohm == 1.0
    # Twice the heat of 1 ohm at the highest voltage, 20 V.
    assert removal.plain_w == pytest.approx(2 * INSIDE * (20 / 9) ** 2, rel=1e-4)


def test_lamps_in_branches_of_their_own_do_not_meet(tmp_path):
    one = "R1 in a kind=lamp cold=1 hot=10 watts=5\nXlow a 0 woofer\n"
    other = "R2 in b kind=lamp cold=2 hot=15 watts=3\nXhigh b 0 tweeter\n"
    study = study_lamps(folder(tmp_path, one + other), "found", [8.0], frequency_hz=GRID)
    lamps = study.levels[0].lamps
    assert lamps["R1"].resistance_ohm == pytest.approx(steady_ohm(8.0), rel=1e-5)
    assert lamps["R2"].resistance_ohm == pytest.approx(steady_ohm(8.0, 2.0, 15.0, 3.0), rel=1e-5)
    first, second = study.removals
    assert first.programme_db["tweeter"] == pytest.approx(0.0, abs=1e-9)
    assert second.programme_db["tweeter"] == pytest.approx(20 * math.log10(10 / 8), rel=1e-4)


def test_lamps_in_one_branch_share_it(tmp_path):
    """Two alike in series are one of twice the resistance and twice the watts."""
    cards = "R1 in a kind=lamp cold=1 hot=10 watts=5\nR2 a b kind=lamp cold=1 hot=10 watts=5\nXlow b 0 woofer\n"
    lamps = study_lamps(folder(tmp_path, cards), "found", [25.0], frequency_hz=GRID).levels[0].lamps
    assert lamps["R1"].resistance_ohm == pytest.approx(steady_ohm(25.0, 2.0, 20.0, 10.0) / 2, rel=1e-5)
    assert lamps["R2"].resistance_ohm == pytest.approx(lamps["R1"].resistance_ohm, rel=1e-9)


@pytest.fixture(scope="module")
def with_lamp(tmp_path_factory):
    """The attic speaker with an invented lamp between pad and tweeter's high-pass, and a network where a resistor
    stands in its place."""
    place = tmp_path_factory.mktemp("lamp") / "attic"
    shutil.copytree(ATTIC, place)
    left = place / "left"
    text = (left / "found.cir").read_text()
    assert "R1    t  p" in text
    for name, card in (("found", "R3 t q kind=lamp cold=1 hot=10 watts=5"), ("plain", "R3 t q 1")):
        (left / f"{name}.cir").write_text(text.replace("R1    t  p", f"{card}\nR1 q p"))
    (left / "bare.cir").write_text(text)
    toml = (left / "speaker.toml").read_text()
    more = "".join(f'[networks.{name}]\ncircuit = "{name}.cir"\n' for name in ("plain", "bare"))
    (left / "speaker.toml").write_text(toml + more)
    return open_speaker(left)


def test_a_lamp_in_the_attic_speaker(with_lamp):
    study = study_lamps(with_lamp, "found", frequency_hz=GRID)
    assert [level.voltage_rms_v for level in study.levels] == [1.0, 10.0, 20.0]
    ohms = [level.lamps["R3"].resistance_ohm for level in study.levels]
    assert 1.0 < ohms[0] < 1.3 < ohms[1] < ohms[2] < 10.0
    down = [level.drivers["tweeter"].programme_db for level in study.levels]
    assert 0 > down[0] > -0.2 > down[1] > down[2] > -7.0  # x10 before 6 ohm would be 7 dB
    for level in study.levels:
        assert level.drivers["woofer"].programme_db == pytest.approx(0.0, abs=1e-9)
        tweeter = level.drivers["tweeter"]
        assert tweeter.power_w < tweeter.cold_power_w < tweeter.bare_power_w
    # A steady state: its power makes the resistance that gives that power.
    law = study.lamps["R3"]
    for level in study.levels:
        lamp = level.lamps["R3"]
        assert float(law.resistance_ohm(lamp.power_w)) == pytest.approx(lamp.resistance_ohm, rel=1e-7)


def test_removal_is_what_prediction_says_of_both_networks(with_lamp):
    """Drives of the network with a plain 1 ohm, and of the one without, by `predict`."""
    (removal,) = study_lamps(with_lamp, "found", frequency_hz=GRID).removals
    plain, bare = (predict(with_lamp, name, GRID) for name in ("plain", "bare"))
    for key in ("woofer", "tweeter"):
        change = 20 * np.log10(np.abs(bare.drive[key] / plain.drive[key]))
        np.testing.assert_allclose(removal.change_db[key], change, atol=1e-9)
    assert 0.3 < removal.programme_db["tweeter"] < 0.6
    lowest = np.min(np.abs(plain.impedance_ohm["in"]))
    assert removal.cold_lowest["in"].impedance_ohm == pytest.approx(lowest, rel=1e-9)
    assert removal.bare_lowest["in"].impedance_ohm == pytest.approx(np.min(np.abs(bare.impedance_ohm["in"])), rel=1e-9)


def test_pink_noise_bites_sooner(with_lamp):
    music, pink = (study_lamps(with_lamp, "found", [10.0], spectrum=s, frequency_hz=GRID) for s in Spectrum)
    assert pink.levels[0].lamps["R3"].resistance_ohm > 1.1 * music.levels[0].lamps["R3"].resistance_ohm


def test_without_hot_ten_times_cold_is_assumed_and_told(tmp_path):
    study = study_lamps(
        folder(tmp_path, "R1 in a kind=lamp cold=1 watts=5\nXlow a 0 woofer\n"), "found", [10.0], frequency_hz=GRID
    )
    assert study.levels[0].lamps["R1"].resistance_ohm == pytest.approx(steady_ohm(10.0), rel=1e-5)
    assert "10 ohm is assumed, 10 times the cold one (common practice)" in " ".join(study.warnings)


@pytest.mark.parametrize(("card", "what"), [("cold=1 hot=10", "watts"), ("cold=0 watts=5", "cold resistance above 0")])
def test_without_a_law_only_low_level_is_known(tmp_path, card, what):
    study = study_lamps(
        folder(tmp_path, f"R1 in a kind=lamp {card}\nXlow a 0 woofer\n"), "found", [10.0], frequency_hz=GRID
    )
    (level,) = study.levels
    assert math.isnan(level.lamps["R1"].resistance_ohm)
    assert math.isnan(level.drivers["woofer"].programme_db)
    assert np.isnan(level.drivers["woofer"].change_db).all()
    assert level.drivers["woofer"].bare_power_w == pytest.approx(INSIDE * 100 / 8, rel=1e-4)
    cold = float(card[5])
    assert study.removals[0].programme_db["woofer"] == pytest.approx(20 * math.log10((8 + cold) / 8), abs=1e-5)
    assert f"R1 states no {what}: when it bites is not known" in " ".join(study.warnings)
    json.dumps(to_plain(study), allow_nan=False)


def test_no_lamp(tmp_path):
    study = study_lamps(folder(tmp_path, "Xlow in 0 woofer\n"), "found", frequency_hz=GRID)
    assert (dict(study.lamps), study.levels, study.removals, study.warnings) == ({}, (), (), ())


@pytest.mark.parametrize("volts", [0.0, -1.0, math.inf, math.nan])
def test_volts_are_above_zero(with_lamp, volts):
    with pytest.raises(OptionError, match="give volts above 0"):
        study_lamps(with_lamp, "found", [volts])


def test_json(with_lamp):
    study = study_lamps(with_lamp, "found", frequency_hz=GRID)
    plain = to_plain(study)
    json.dumps(plain, allow_nan=False)
    assert plain["lamps"]["R3"]["law"]["rated_w"] == 5.0
    assert plain["levels"][1]["lamps"]["R3"]["resistance_ohm"] == study.levels[1].lamps["R3"].resistance_ohm
    assert len(plain["levels"][1]["drivers"]["tweeter"]["change_db"]) == GRID.size
    assert plain["removals"][0]["plain_ohm"] == 1.0
