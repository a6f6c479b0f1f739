"""Sweeps and responses that end early: what cannot be told is blank or refused in a line, no fault of the program."""

import json
import math
import sys
import warnings
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "sound"))

from test_beyond import shortened

import xover.cli.main as main_module
from xover.amplifier.load import LoadLevel
from xover.amplifier.stress import RatingVerdict
from xover.curve import Curve, Unit, log_grid
from xover.errors import OptionError
from xover.parts.catalogue import Catalogue
from xover.plain import to_plain
from xover.pool import each
from xover.rules.triage import Rung
from xover.sound.doubt import voicing_gain
from xover.sound.prediction import predict
from xover.speaker import open_speaker
from xover.studies.aged.condition.study import study_condition
from xover.studies.aged.verify.sound import hear
from xover.studies.bears.crosstalk.study import study_crosstalk
from xover.studies.bears.stress.study import study_stress
from xover.studies.change.bypass.study import study_bypass
from xover.studies.change.decide.criteria import Aspect, Verdict
from xover.studies.change.decide.setup import sum_criterion
from xover.studies.change.decide.study import study_decide
from xover.studies.change.redesign.study import redesign
from xover.studies.change.redesign.wish import Wish
from xover.studies.change.refresh.study import refresh
from xover.studies.does.load.study import study_load

EXAMPLES = Path(__file__).parents[2] / "examples"
STUDIO = EXAMPLES / "studio-three-way"
ATTIC = EXAMPLES / "attic-two-way" / "left"
F = log_grid(20.0, 20e3, 12)


def test_bypass_flattens_nothing_where_no_sum_is_known_in_the_band():
    speaker = shortened(open_speaker(ATTIC), curve="response", woofer=(10, 200))
    study = study_bypass(speaker, "found", with_map=False)
    assert not any(s.bands for s in study.settings.values())
    assert study.better is None


def test_where_the_crossover_is_not_known_nothing_is_said_of_age():
    """The woofer's sweep ends at 495 Hz: what is known below moved by 0.1 dB, what lies beyond by 1.7 dB."""
    speaker = open_speaker(ATTIC)
    design, found = speaker.network("original"), speaker.network("found")
    moved = -voicing_gain(speaker, design, design, found, F).value_db
    assert 1.0 < moved < 2.0
    short = shortened(speaker, woofer=(10, 495))
    assert np.isnan(voicing_gain(short, design, design, found, F).value_db)
    aged = study_condition(short, F)
    assert math.isnan(aged.total_worst.change)
    assert aged.blame is None
    assert "less than half of the band" in aged.blame_reason
    assert aged.drive_worst["tweeter"].change > 1.0
    decided = study_decide(short, Catalogue(), options=(Rung.LEAVE, Rung.REFRESH))
    assert decided.picked.rung is Rung.NONE_YET
    assert "sweep the impedance of woofer to 20 kHz" in decided.measure[0]
    assert "of which is known" in predict(short, "found", F).band.holes
    assert not predict(speaker, "found", F).band.holes


def test_a_sum_that_is_known_outside_the_judged_band_only_is_not_judged():
    level = np.where(F < 150, 85.0, np.nan)
    criterion = sum_criterion(level, F, False, "")
    assert criterion.value is None
    assert "not known from 200 Hz" in criterion.note


def test_a_response_that_meets_no_known_sum_is_refused():
    heard = Curve(F, np.ones(F.size), Unit.PASCAL_20U)
    with pytest.raises(OptionError, match="only 0 third octaves"):
        hear(heard, False, None, (200.0, 15e3), np.zeros(0))


ENDS_LOW = (10, 200)


@pytest.fixture(scope="module")
def no_tweeter():
    """The attic's tweeter known up to 200 Hz only: nothing is known of it where it plays."""
    return shortened(open_speaker(ATTIC), tweeter=ENDS_LOW)


@pytest.fixture(scope="module")
def no_mid():
    return shortened(open_speaker(STUDIO), mid=ENDS_LOW)


def test_a_bypass_tells_the_twin_of_each_channel_for_itself(no_tweeter):
    """Before, the woofer's was refused too."""
    study = study_bypass(no_tweeter, "original", F, with_map=False)
    assert study.channels["woofer"].twin.worst_db < 1.0
    twin = study.channels["tweeter"].twin
    assert not twin.known
    assert math.isnan(twin.gain_db)
    assert twin.bands == ()
    assert to_plain(twin)["polarity"] is None
    assert study.twin_sum is None
    whole = study_bypass(open_speaker(ATTIC), "original", F, with_map=False)
    assert whole.channels["tweeter"].twin.known


def test_a_load_that_is_not_known_where_the_channel_plays_does_not_fit(no_tweeter):
    study = study_bypass(no_tweeter, "original", F, with_map=False)
    assert study.channels["woofer"].load.verdict.level is LoadLevel.FITS
    assert study.channels["tweeter"].load.verdict.level is LoadLevel.UNKNOWN
    assert study.verdict.startswith("not to be told: the impedance of tweeter is known from 20 Hz")
    assert math.isnan(study.channels["tweeter"].power.average_power_w)
    assert study.channels["woofer"].power.average_power_w > 1.0


def test_no_level_is_set_by_a_sum_in_which_a_channel_is_missing():
    """Before, the tweeter was to be turned down by 93 dB: nothing held its gain."""
    speaker = shortened(open_speaker(STUDIO), curve="response", woofer=(20, 200))
    study = study_bypass(speaker, "original", F, with_map=False)
    assert study.reached is None
    assert "too little response of woofer" in study.gaps[0].words
    assert all(abs(s.gain_db) < 10.0 for s in study.settings.values())


def test_decide_passes_no_load_and_no_change_on_a_part_of_the_band(no_tweeter):
    decided = study_decide(no_tweeter, Catalogue(), options=(Rung.LEAVE, Rung.REWIRE, Rung.TRIM))
    leave = {c.name: c for c in decided.options[Rung.LEAVE].criteria}
    assert leave[Aspect.LOAD].verdict is Verdict.UNKNOWN
    assert leave[Aspect.EPDR].verdict is Verdict.UNKNOWN
    assert "is known from" in leave[Aspect.LOAD].note
    assert leave[Aspect.VOICING].verdict is not Verdict.PASS
    assert "of 200 Hz to 15 kHz only" in decided.options[Rung.TRIM].why_not
    assert decided.picked.rung is Rung.NONE_YET


def test_coils_may_not_touch_where_what_they_do_is_not_known(no_mid):
    found = {p.name: p for p in study_crosstalk(no_mid, "found", F).pairs}
    assert found["L3:L4"].apart_m is None
    assert not found["L3:L4"].known
    assert found["L1:L2"].known
    whole = study_crosstalk(open_speaker(STUDIO), "found", F)
    assert all(p.known for p in whole.pairs)


def test_no_rating_is_enough_for_what_is_known_of_a_third(no_mid):
    verdicts = {name: r.verdict for name, r in study_stress(no_mid, "found").ratings.items()}
    assert verdicts["R1"] is verdicts["C3"] is RatingVerdict.NOT_KNOWN
    assert verdicts["R2"] is RatingVerdict.ENOUGH


def test_a_refresh_says_which_drive_it_does_not_know(no_mid):
    study = refresh(no_mid, Catalogue(), F)
    assert study.thin == ("mid",)
    assert "every drive but that of mid" in study.headline
    assert any("is not seen; sweep the impedance" in words for words in study.warnings)


def test_nothing_is_designed_for_an_octave():
    """Before, +-0.7 dB of one octave was told as the sum of the speaker."""
    short = shortened(open_speaker(ATTIC), tweeter=(1000, 2000))
    with pytest.raises(OptionError, match=r"tweeter is known from 1 kHz to 1.98 kHz only, less than half of 200 Hz"):
        redesign(short, Catalogue(), Wish(), circuits=("present",))


CUTS = {"up to 300": (10, 300), "from 1k": (1e3, 40e3)}


@pytest.mark.parametrize("cut", CUTS)
@pytest.mark.parametrize("driver", ["woofer", "tweeter"])
@pytest.mark.parametrize("curve", ["impedance", "response"])
def test_questions_end_with_an_answer(curve, driver, cut):
    """A small share of tests/benchmarks/all_cuts.py; that warnings are errors is what fails here most."""
    speaker = shortened(open_speaker(ATTIC), curve=curve, **{driver: CUTS[cut]})
    answers = [study_condition(speaker, F), study_load(speaker, "found", F), study_stress(speaker, "found", F)]
    answers += [study_crosstalk(speaker, "found", F), refresh(speaker, Catalogue(), F)]
    for answer in answers:
        assert json.dumps(to_plain(answer), allow_nan=False)


def test_a_warning_that_escapes_is_told_in_one_line(monkeypatch, capsys):
    """The status stays that of the answer."""

    def answer(_arguments):
        for _ in range(2):
            warnings.warn_explicit("divide by zero encountered in log10", RuntimeWarning, "/a/xover/bypass/x.py", 7)
        return 1

    monkeypatch.setattr(main_module, "_run", answer)
    with warnings.catch_warnings():
        warnings.simplefilter("always")
        assert main_module.main(["predict"]) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert "a fault of xover itself" in err
    assert "divide by zero encountered in log10 (bypass/x.py, line 7)" in err
    assert "XOVER_DEBUG=1" in err


def test_a_warning_in_another_process_comes_home():
    with warnings.catch_warnings(record=True) as raised:
        warnings.simplefilter("always")
        assert list(each(_warns, [1, 2], jobs=2)) == [1, 2]
    assert len(raised) == 2
    assert str(raised[0].message) == "doubtful"


def _warns(item):
    warnings.warn_explicit("doubtful", RuntimeWarning, "here.py", item)
    return item
