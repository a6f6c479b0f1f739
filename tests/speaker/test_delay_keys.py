"""delay_us and gain_db of a driver: what they add, when they settle the timing, and what check says of them."""

import shutil
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.curve import log_grid
from xover.errors import InputError
from xover.judge.kinds import Fault
from xover.rules.severity import Severity
from xover.sound.doubt import deviation_known
from xover.sound.prediction import predict, sound_of
from xover.speaker import open_speaker
from xover.studies.desk.check.study import study_check
from xover.studies.does.predict.words import tell

EXAMPLES = Path(__file__).parents[2] / "examples"
F = log_grid(100.0, 15_000.0, 12)


def changed(tmp_path: Path, example: str, *pairs: tuple[str, str]) -> Path:
    """A copy of an example whose speaker.toml has other words."""
    shutil.copytree(EXAMPLES / example.split("/")[0], tmp_path / "copy", dirs_exist_ok=True)
    folder = tmp_path / "copy" / (example.split("/")[1] if "/" in example else ".")
    text = (folder / "speaker.toml").read_text(encoding="utf-8")
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new, 1)
    (folder / "speaker.toml").write_text(text, encoding="utf-8")
    return folder


TWEETER = "[drivers.tweeter]\n"
HORN = "[drivers.horn]\n"


def micro(value: float) -> float:
    """Rounded, as what is neither 0 nor 1e-9 or more is refused."""
    return round(value, 6)


@settings(max_examples=8)
@given(st.floats(-500, 500).map(micro), st.floats(-6, 6).map(micro))
def test_they_add_to_a_measured_phase_and_to_the_place(tmp_path_factory, delay_us, gain_db):
    factor = 10 ** (gain_db / 20) * np.exp(-2e-6j * np.pi * F * delay_us)
    for example, table in (("attic-two-way/left", TWEETER), ("studio-three-way", TWEETER)):
        path = tmp_path_factory.mktemp("delay")
        plain = sound_of(open_speaker(EXAMPLES / example), "found", F).branches
        keys = f"{table}delay_us = {delay_us!r}\ngain_db = {gain_db!r}\n"
        moved = sound_of(open_speaker(changed(path, example, (table, keys))), "found", F).branches
        for before, after in zip(plain, moved, strict=True):
            expected = before.pressure * (factor if before.group == "tweeter" else 1.0)
            np.testing.assert_allclose(after.pressure, expected, rtol=1e-9)


def test_all_but_one_settle_the_timing(tmp_path):
    horn = "hall-horn-two-way"
    speaker = open_speaker(EXAMPLES / horn)
    assert not speaker.timing_is_known(speaker.network("found"))[0]
    timed = open_speaker(changed(tmp_path, horn, (HORN, f"{HORN}delay_us = 250\n")))
    known, reason = timed.timing_is_known(timed.network("found"))
    assert known
    assert "delay_us" in reason
    assert sound_of(timed, "found", F).total.coherent


def test_one_of_three_does_not_and_check_says_so(tmp_path):
    pairs = [('phase = "minimum"', 'phase = "minimum" # x'), ("position_mm = [0, -70, -18]\n", "")]
    folder = changed(tmp_path, "studio-three-way", *pairs, (TWEETER, f"{TWEETER}delay_us = 10\n"))
    speaker = open_speaker(folder)
    assert not speaker.timing_is_known(speaker.network("found"))[0]
    (told,) = [f for f in study_check(speaker).findings if f.fault is Fault.DELAY_UNUSED]
    assert told.where == "tweeter"
    assert told.facts["without"] == ["woofer", "mid"]
    assert told.severity is Severity.CAUTION


def test_check_says_that_a_place_tells_angles_only():
    places = {
        example: {
            f.where for f in study_check(open_speaker(EXAMPLES / example)).findings if f.fault is Fault.PLACE_OF_ANGLES
        }
        for example in ("attic-two-way/left", "studio-three-way", "hall-horn-two-way")
    }
    assert places["attic-two-way/left"] == {"woofer, tweeter"}
    assert places["studio-three-way"] == places["hall-horn-two-way"] == set()


def test_a_denied_reference_is_not_trusted_until_a_delay_is_found(tmp_path):
    folder = changed(tmp_path, "attic-two-way/left")
    response = folder / "woofer-response.csv"
    response.write_text("# timing reference: none\n" + response.read_text(encoding="utf-8"), encoding="utf-8")
    speaker = open_speaker(folder)
    known, reason = speaker.timing_is_known(speaker.network("found"))
    assert not known
    assert "woofer" in reason
    (told,) = [f for f in study_check(speaker).findings if f.fault is Fault.DENIED_TIMING]
    assert "line 1" in told.text
    assert told.severity is Severity.CAUTION
    toml = folder / "speaker.toml"
    toml.write_text(toml.read_text(encoding="utf-8").replace(TWEETER, f"{TWEETER}delay_us = 5\n"), encoding="utf-8")
    speaker = open_speaker(folder)
    assert speaker.timing_is_known(speaker.network("found"))[0]


def test_a_wide_delay_widens_what_is_told_of_the_sum(tmp_path):
    doubts = []
    for width in (0.5, 60.0):
        keys = f"{TWEETER}delay_us = 0\ndelay_uncertainty_us = {width}\n"
        speaker = open_speaker(changed(tmp_path / str(width), "attic-two-way/left", (TWEETER, keys)))
        doubts.append(deviation_known(speaker, speaker.network("found"), log_grid(200.0, 15_000.0, 12)).uncertainty_db)
    assert doubts[1] > 1.2 * doubts[0]


def test_predict_tells_what_is_not_known_of_a_delay(tmp_path):
    keys = f"{TWEETER}delay_us = 20\ndelay_uncertainty_us = 15\n"
    speaker = open_speaker(changed(tmp_path, "attic-two-way/left", (TWEETER, keys)))
    told = predict(speaker, "found", F)
    sums = []
    for other in (5, 35):
        keys = f"{TWEETER}delay_us = {other}\n"
        moved = open_speaker(changed(tmp_path / str(other), "attic-two-way/left", (TWEETER, keys)))
        plain = predict(moved, "found", F)
        assert plain.delay_doubt_db is None
        sums.append(np.abs(plain.total.level_db - told.total.level_db))
    np.testing.assert_allclose(told.delay_doubt_db, np.max(sums, axis=0), atol=1e-9)
    assert 0.2 < np.nanmax(told.delay_doubt_db) < 3
    assert told.plain()["acoustic"]["sum"]["delay_uncertainty_db"] is told.delay_doubt_db
    assert any("delay_us moves the sum" in str(block) for block in tell(told))


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ("delay_us = 30000", "delay_us"),
        ('delay_us = "63"', "delay_us"),
        ("gain_db = 90", "gain_db"),
        ("delay_uncertainty_us = 3", "delay_uncertainty_us and no delay_us"),
        ("delay_us = 3\ndelay_uncertainty_us = -1", "delay_uncertainty_us"),
        ("delay_ms = 3", "did you mean 'delay_us'"),
    ],
)
def test_bad_keys_are_refused_with_their_line(tmp_path, keys, words):
    folder = changed(tmp_path, "attic-two-way/left", (TWEETER, f"{TWEETER}{keys}\n"))
    with pytest.raises(InputError) as caught:
        open_speaker(folder)
    assert words in str(caught.value)
    assert "speaker.toml:" in str(caught.value)
