"""The study of the sound off the axis: it agrees with the prediction, and tells what cannot be told."""

import json
import math
import re
import shutil
from pathlib import Path

import numpy as np
import pytest

from xover.curve import log_grid
from xover.errors import OptionError
from xover.plain import to_plain
from xover.sound.prediction import predict
from xover.speaker import open_speaker
from xover.studies.does.angles.study import study_off_axis
from xover.studies.options import HORIZONTAL_DEG, VERTICAL_DEG

ROOT = Path(__file__).parents[2]
ATTIC = ROOT / "examples" / "attic-two-way" / "left"
F = log_grid(20.0, 20e3, 12)


def without(folder, *patterns):
    """A copy of the attic speaker, in which lines of speaker.toml are left out."""
    shutil.copytree(ATTIC, folder / "left")
    shutil.copy(ATTIC.parent / "original.cir", folder)
    text = (folder / "left" / "speaker.toml").read_text(encoding="utf-8")
    for pattern in patterns:
        text, count = re.subn(pattern, "", text)
        assert count == 1, pattern
    (folder / "left" / "speaker.toml").write_text(text, encoding="utf-8")
    return open_speaker(folder / "left")


@pytest.fixture(scope="module")
def attic():
    return study_off_axis(open_speaker(ATTIC), "found", F)


def test_it_is_what_the_prediction_says(attic):
    p = predict(open_speaker(ATTIC), "found", F)
    for angle, level in zip(p.off_axis.vertical_deg, p.off_axis.level_db, strict=True):
        if angle in attic.vertical.angle_deg:
            row = int(np.flatnonzero(attic.vertical.angle_deg == angle)[0])
            np.testing.assert_allclose(attic.vertical.level_db[row], level, atol=1e-9)
    assert attic.lobes == p.nulls
    assert attic.distance_m == p.off_axis.distance_m == 2.5
    # At 1 m, where the responses were taken, the axis is the sum that was measured.
    near = study_off_axis(open_speaker(ATTIC), "found", F, distance_m=1.0)
    # But for 20 kHz, where the woofer's part is not told: 70 dB below the sum.
    np.testing.assert_allclose(near.axis_db[:-1], p.total.level_db[:-1], atol=1e-9)
    assert not any("taken at 1 m" in words for words in near.warnings)
    assert any("taken at 1 m" in words for words in attic.warnings)


def test_planes_and_angles(attic):
    assert tuple(attic.vertical.angle_deg) == VERTICAL_DEG
    assert tuple(attic.horizontal.angle_deg) == HORIZONTAL_DEG
    for plane in (attic.vertical, attic.horizontal):
        on_axis = plane.level_db[plane.angle_deg == 0.0][0]
        np.testing.assert_array_equal(on_axis, attic.axis_db)
        np.testing.assert_allclose(plane.relative_db, plane.level_db - attic.axis_db, atol=1e-12)
    # Both drivers stand above each other: to both sides alike; and farther off, less of the treble.
    both = study_off_axis(open_speaker(ATTIC), "found", F, horizontal_deg=[30, -30, 30.0])
    assert both.horizontal.angle_deg.tolist() == [-30.0, 30.0]
    np.testing.assert_allclose(*both.horizontal.level_db, atol=1e-9)
    treble = attic.horizontal.relative_db[:, -12]
    assert (np.diff(treble) < -0.3).all()


def test_the_lobe_is_where_the_sum_is_loudest(attic):
    (lobe,) = attic.lobes
    at = int(np.argmin(np.abs(F - lobe.crossover_hz)))
    exact = F.copy()
    exact[at] = lobe.crossover_hz
    angles = np.linspace(lobe.below_deg, lobe.above_deg, 24)
    near = study_off_axis(open_speaker(ATTIC), "found", exact, vertical_deg=[*angles, lobe.lobe_deg])
    row = int(np.flatnonzero(near.vertical.angle_deg == lobe.lobe_deg)[0])
    levels = near.vertical.relative_db[:, at]
    assert levels.max() == pytest.approx(levels[row], abs=0.02)
    assert levels[row] == pytest.approx(lobe.lobe_db, abs=0.05)
    assert -5.0 < lobe.lobe_deg < 3.0
    assert levels[0] == pytest.approx(-lobe.below_depth_db, abs=1.0)
    assert levels[-1] == pytest.approx(-lobe.above_depth_db, abs=1.0)


def test_without_a_common_time_only_the_narrowing_is_told():
    study = study_off_axis(open_speaker(ROOT / "examples" / "hall-horn-two-way"), "found", F)
    assert study.of_sum == "highest sum that any timing allows"
    assert study.lobes == ()
    assert len(study.unknown) == 1
    assert study.unknown[0].startswith("where the lobe points and where the sum cancels: ")
    assert study.known
    assert "horn from 14" in "\n".join(study.warnings)
    # Where the horn is seen near its first null at 1 m already, nothing is told; the woofer, likewise from 3.5 kHz,
    # is 34 dB below it there and does not matter.
    treble = F > 14_000.0
    for plane in (study.vertical, study.horizontal):
        assert np.isnan(plane.level_db[:, treble]).all()
        assert np.isfinite(plane.level_db[plane.angle_deg == 0.0, F < 14_000.0]).all()


def test_without_a_place_nothing_is_told(tmp_path):
    study = study_off_axis(without(tmp_path, r"position_mm = \[0, 70, -3\]\n"), "found", F)
    assert not study.known
    assert np.isnan(study.axis_db).all()
    assert study.lobes == ()
    assert study.drivers[1].position_mm is None
    assert study.drivers[1].sentence == "piston of 25 mm, place not given"
    assert "no position_mm for tweeter" in study.unknown[0]


def test_a_driver_of_unknown_size_is_not_guessed_at(tmp_path, attic):
    study = study_off_axis(without(tmp_path, r"diameter_mm = 25\n"), "found", F)
    assert study.drivers[1].diameter_mm is None
    assert "how tweeter narrows: no diameter_mm" in study.unknown[0]
    treble, bass = F > 1200.0, (F > 50.0) & (F < 250.0)
    off = study.vertical.level_db[study.vertical.angle_deg == 30.0][0]
    assert np.isnan(off[treble]).all()
    # There the tweeter is 30 dB and more below, whatever it does; with its size the sum differs by 0.28 dB at most.
    same = attic.vertical.level_db[attic.vertical.angle_deg == 30.0][0]
    np.testing.assert_allclose(off[bass], same[bass], atol=0.28)
    # A point's level from 2.5 m instead of 1 m differs from that of a small piston by little.
    np.testing.assert_allclose(study.axis_db, attic.axis_db, atol=0.1)
    # Paths alone still tell the minima, though not how deep they are.
    assert study.lobes[0].above_deg == pytest.approx(attic.lobes[0].above_deg, abs=2.0)


def test_drivers_side_by_side_are_pointed_at(tmp_path):
    speaker = without(tmp_path)
    path = tmp_path / "left" / "speaker.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("[0, 70, -3]", "[60, 70, -3]"), encoding="utf-8")
    speaker = open_speaker(path.parent)
    study = study_off_axis(speaker, "found", F, horizontal_deg=(-30.0, 30.0))
    assert any("left and right differ" in words for words in study.warnings)
    assert np.nanmax(np.abs(np.diff(study.horizontal.level_db, axis=0))) > 1.0


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"vertical_deg": (0.0, 90.0)}, "a vertical angle of 90 degrees is behind the baffle"),
        ({"horizontal_deg": (math.nan,)}, "a horizontal angle of nan degrees"),
        ({"vertical_deg": ()}, "0 vertical angles; give 1 to 25"),
        ({"horizontal_deg": range(-30, 31)}, "61 horizontal angles"),
        ({"distance_m": 0.0}, "a distance of 0 m makes no sense"),
        ({"distance_m": math.inf}, "a distance of inf m"),
    ],
)
def test_what_makes_no_sense_is_refused(wrong, message):
    with pytest.raises(OptionError, match=message):
        study_off_axis(open_speaker(ATTIC), "found", F, **wrong)


def test_json(attic):
    plain = json.loads(json.dumps(to_plain(attic), allow_nan=False))
    assert plain["vertical"]["angle_deg"] == list(VERTICAL_DEG)
    assert len(plain["vertical"]["level_db"]) == 7
    assert len(plain["horizontal"]["relative_db"][0]) == F.size
    assert plain["drivers"][0] == {"key": "woofer", "position_mm": [0.0, -95.0, -24.0], "diameter_mm": 165.0}
    assert plain["lobes"][0]["lobe_deg"] == attic.lobes[0].lobe_deg
    assert "infinite baffle" in plain["model"]
