"""Sweeps and responses that end early: what cannot be told is blank or refused in a line, no fault of the program."""

import math
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "sound"))

from test_beyond import shortened

from xover.curve import Curve, Unit, log_grid
from xover.errors import OptionError
from xover.parts.catalogue import Catalogue
from xover.rules.triage import Rung
from xover.sound.doubt import voicing_gain
from xover.sound.prediction import predict
from xover.speaker import open_speaker
from xover.studies.aged.condition.study import study_condition
from xover.studies.aged.verify.sound import hear
from xover.studies.change.bypass.study import study_bypass
from xover.studies.change.decide.setup import sum_criterion
from xover.studies.change.decide.study import study_decide

ATTIC = Path(__file__).parents[2] / "examples" / "attic-two-way" / "left"
F = log_grid(20.0, 20e3, 12)


def test_bypass_flattens_nothing_where_no_sum_is_known_in_the_band():
    speaker = shortened(open_speaker(ATTIC), curve="response", woofer=(10, 200))
    study = study_bypass(speaker, "found", with_map=False)
    assert not any(s.bands for s in study.better.settings.values())


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
