"""What a step of a part does, against the prediction of the same speaker with that part changed in its file."""

import json
import math
import shutil
from pathlib import Path

import numpy as np
import pytest

from xover.curve import log_grid
from xover.plain import to_plain
from xover.sound.prediction import predict
from xover.speaker import open_speaker
from xover.studies.does.sensitivity.study import study_sensitivity

EXAMPLES = Path(__file__).parents[2] / "examples"
F = log_grid(30.0, 16e3, 12)

# Folder, the text of a value in found.cir, the same a little less and a little more, the parameter, and its step
# over that distance.
CASES = [
    ("studio-three-way", "6.9uF", "6.8931uF", "6.9069uF", "C3", 0.01 / 0.002),
    ("attic-two-way/left", "1.8mH  dcr", "1.7982mH  dcr", "1.8018mH  dcr", "L1", 0.01 / 0.002),
    ("attic-two-way/left", "dcr=0.48", "dcr=0.478", "dcr=0.482", "L1_dcr", 0.1 / 0.004),
    ("hall-horn-two-way", "12.6   watts", "12.5874   watts", "12.6126   watts", "R1", 0.01 / 0.002),
    ("hall-horn-two-way", "0.998", "0.99801", "0.99799", "K1", 0.001 / 0.00002),
    ("hall-horn-two-way", "df=0.07@1kHz", "df=0.069@1kHz", "df=0.071@1kHz", "C2_df", 0.01 / 0.002),
    ("studio-three-way", "2.7mH  dcr", "2.6973mH  dcr", "2.7027mH  dcr", "L1", 0.01 / 0.002),
    ("studio-three-way", "0.68mH", "0.67932mH", "0.68068mH", "L3", 0.01 / 0.002),
]


def changed(tmp_path, name, old, new):
    folder = tmp_path / new.replace(" ", "")
    shutil.copytree(EXAMPLES / name.split("/")[0], folder)
    folder = folder / "left" if "left" in name else folder
    text = (folder / "found.cir").read_text()
    assert text.count(old) == 1
    (folder / "found.cir").write_text(text.replace(old, new))
    return predict(open_speaker(folder), "found", F)


def wrapped(degrees):
    return (degrees + 180.0) % 360.0 - 180.0


@pytest.mark.parametrize(
    ("name", "old", "less", "more", "parameter", "steps"), CASES, ids=[f"{c[0]} {c[4]}" for c in CASES]
)
def test_against_the_changed_speaker(tmp_path, name, old, less, more, parameter, steps):
    low, high = changed(tmp_path, name, old, less), changed(tmp_path, name, old, more)
    study = study_sensitivity(open_speaker(EXAMPLES / name), "found", F)
    found = next(s for s in study.everything if s.parameter.name == parameter)

    def same(got, difference, least):
        """To 0.1 % of the largest, which a difference of 0.2 % or so allows."""
        known = np.isfinite(difference)
        assert known.sum() > 30
        size = np.max(np.abs(difference[known] * steps))
        assert size > least
        np.testing.assert_allclose(got[known], difference[known] * steps, atol=1e-3 * size)
        assert np.isnan(got[~known]).all()

    a, b = low.total, high.total
    if a.coherent:
        same(found.total.level_db, b.level_db - a.level_db, 0.01)
        same(found.total.phase_deg, wrapped(np.degrees(np.angle(b.pressure / a.pressure))), 0.05)
    else:
        # The bound of a driver without data moves the envelope a little, and is not looked at in the study.
        heard = np.all([np.isfinite(branch.level_db) for branch in low.branches], axis=0)
        same(
            np.where(heard, found.total.level_db, np.nan),
            np.where(heard, b.best_level_db - a.best_level_db, np.nan),
            0.01,
        )
        assert np.isnan(found.total.phase_deg).all()
    moved = 0
    for key, change in found.drive.items():
        ratio = high.drive[key] / low.drive[key]
        if np.max(np.abs(ratio - 1)) < 1e-12:
            np.testing.assert_array_equal(change.level_db, 0)
            continue
        moved += 1
        same(change.level_db, 20 * np.log10(np.abs(ratio)), 0.01)
        same(change.phase_deg, np.degrees(np.angle(ratio)), 0.05)
    assert moved >= 1
    ratio = high.impedance_ohm["in"] / low.impedance_ohm["in"]
    same(found.load["in"].percent, 100 * np.log(np.abs(ratio)), 0.01)
    same(found.load["in"].phase_deg, np.degrees(np.angle(ratio)), 0.01)


TOML = """
[drivers.woofer.datasheet]
re_ohm = 6
fs_hz = 50
qms = 4
qes = 0.5
le_mh = 0.5
{sound}
[networks.found]
circuit = "found.cir"
"""


def by_hand(tmp_path, cir, sound="sensitivity_db = 88"):
    (tmp_path / "speaker.toml").write_text(TOML.format(sound=sound))
    (tmp_path / "found.cir").write_text(cir)
    return study_sensitivity(open_speaker(tmp_path), "found", F)


def woofer_ohm():
    x = F / 50
    return 6 + 2j * np.pi * F * 0.5e-3 + 6 * 4 / 0.5 / (1 + 4j * (x - 1 / x))


def test_one_resistor_by_hand(tmp_path):
    """Drive Z/(R + Z): 1 % of R moves its level by -0.01 (20/ln 10) Re R/(R + Z) dB, and the load R + Z."""
    study = by_hand(tmp_path, "* t\nR1 in w 4\nXlow w 0 woofer\n")
    (r1,), (driver,), share = study.parts, study.drivers, 4 / (4 + woofer_ohm())
    assert study.losses == ()
    level = -0.01 * 20 / math.log(10) * share.real
    np.testing.assert_allclose(r1.drive["woofer"].level_db, level, rtol=1e-9)
    np.testing.assert_allclose(r1.total.level_db, level, rtol=1e-9)
    np.testing.assert_allclose(r1.drive["woofer"].phase_deg, -0.01 * np.degrees(share.imag), rtol=1e-9)
    np.testing.assert_allclose(r1.load["in"].percent, share.real, rtol=1e-9)
    np.testing.assert_allclose(driver.total.level_db, -level, rtol=1e-9)
    np.testing.assert_allclose(driver.load["in"].percent, (1 - share).real, rtol=1e-9)
    row = int(np.argmax(np.abs(level)))
    assert r1.total.worst.change == pytest.approx(level[row], rel=1e-9)
    assert r1.total.worst.at_hz == F[row]
    assert r1.sentence == f"1 % of R1 moves the sum by at most {-level[row]:.2g} dB at {F[row]:.3g} Hz"
    assert driver.sentence.startswith("1 % of the impedance of woofer moves the sum by at most ")


def test_a_link_of_zero_ohm_has_no_per_cent(tmp_path):
    study = by_hand(tmp_path, "* t\nR1 in a 0\nL1 a w 1mH\nXlow w 0 woofer\n")
    assert [s.name for s in study.parts] == ["L1"]
    assert {(s.name, s.step) for s in study.losses} == {("R1", "+0.1 ohm"), ("L1 dcr", "+0.1 ohm")}
    link, coil = study.losses
    np.testing.assert_allclose(link.total.level_db, coil.total.level_db, rtol=1e-9)
    assert {s.sentence.split(" moves")[0] for s in study.losses} == {
        "0.1 ohm in R1",
        "0.1 ohm more DC resistance of L1",
    }


def test_a_drive_is_judged_where_it_is_heard(tmp_path):
    """Far down its slope a driver's level changes most and matters least."""
    study = by_hand(tmp_path, "* t\nC1 in t 4.7uF\nL1 t 0 0.4mH dcr=0.3\nXlow t 0 woofer\n")
    change = next(s for s in study.losses if s.name == "L1 dcr").drive["woofer"]
    level = 20 * np.log10(np.abs(study.sound.solution.drive["woofer"]))
    heard = level >= level.max() - 20
    assert np.nanmax(np.abs(change.level_db)) > 2 * abs(change.worst.change) > 0
    assert change.worst.change == pytest.approx(change.level_db[heard][np.argmax(np.abs(change.level_db[heard]))])
    assert level[np.flatnonzero(change.worst.at_hz == F)[0]] >= level.max() - 20


def test_without_any_sound_the_drives_rank(tmp_path):
    study = by_hand(tmp_path, "* t\nR1 in a 0.1\nL1 a w 1mH\nXlow w 0 woofer\n", sound="")
    assert not study.total_known
    assert [s.name for s in study.parts] == ["L1", "R1"]
    assert all(math.isnan(s.total.worst.change) for s in study.everything)
    assert study.parts[0].sentence == "1 % of L1: what it does to the sum is not known"
    text = json.dumps(to_plain(study), allow_nan=False)
    assert "NaN" not in text


def test_a_part_across_the_amplifier_moves_the_load_alone(tmp_path):
    study = by_hand(tmp_path, "* t\nR1 in 0 20\nL1 in w 1mH\nXlow w 0 woofer\n")
    across = study.parts[-1]
    assert across.name == "R1"
    assert across.sentence == "1 % of R1 does not move the sum"
    assert (across.total.worst.change, across.most_moved[1].change) == (0, 0)
    assert math.isnan(across.total.worst.at_hz)
    assert across.load["in"].worst.change > 0.1


def test_ranking_and_shape():
    study = study_sensitivity(open_speaker(EXAMPLES / "attic-two-way/left"), "found", F)
    for group in (study.parts, study.losses, study.drivers):
        sizes = [abs(s.total.worst.change) for s in group]
        assert sizes == sorted(sizes, reverse=True)
    assert {s.name for s in study.parts} == {"L1", "C1", "C2", "L2", "R1", "R2"}
    assert {s.step for s in study.losses} == {"+0.1 ohm", "+0.01"}
    plain = json.loads(json.dumps(to_plain(study), allow_nan=False))
    assert {"network", "frequency_hz", "sensitivity", "ranking", "warnings", "steps"} <= plain.keys()
    assert plain["ranking"]["parts"][0] == study.parts[0].parameter.name
    one = plain["sensitivity"]["C2_esr"]
    assert (one["part"], one["kind"], one["step"]) == ("C2", "esr", "+0.1 ohm")
    assert (
        len(one["sum"]["level_db"])
        == len(one["load"]["percent"])
        == len(one["drive"]["tweeter"]["phase_deg"])
        == F.size
    )
    assert any("tweeter is not known from" in w for w in study.warnings)


def test_an_unknown_timing_is_told():
    study = study_sensitivity(open_speaker(EXAMPLES / "hall-horn-two-way"), "found", F)
    assert study.of_sum == "highest sum that any timing allows"
    assert any("timing between the drivers is not known" in w for w in study.warnings)


def test_channels_have_loads_of_their_own(tmp_path):
    cir = "* t\nVbass lo 0\nVtreble hi 0\nR1 lo w 2\nXlow w 0 woofer\nC1 hi t 10uF\nR2 t 0 8\nXup t 0 woofer\n"
    study = by_hand(tmp_path, cir)
    r1 = next(s for s in study.parts if s.name == "R1")
    np.testing.assert_allclose(r1.load["bass"].percent, (2 / (2 + woofer_ohm())).real, rtol=1e-9)
    np.testing.assert_array_equal(r1.load["treble"].percent, 0)
    assert set(to_plain(study)["sensitivity"]["R1"]["load"]) == {"bass", "treble"}
    assert any("no electronic crossover" in w for w in study.warnings)
