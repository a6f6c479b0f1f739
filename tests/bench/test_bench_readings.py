"""Readings of figures: their numbers against the curves themselves, their length, honesty where nothing is known."""

import math
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from xover.bench import readings
from xover.bench.readings import LONGEST, one_sentence
from xover.curve import log_grid
from xover.parts.catalogue import Catalogue
from xover.sound.prediction import predict
from xover.speaker import Speaker
from xover.studies.aged.condition.study import study_condition
from xover.studies.bears.crosstalk.study import study_crosstalk
from xover.studies.bears.stress.study import study_stress
from xover.studies.bears.tolerance.study import study_tolerance
from xover.studies.change.decide.study import study_decide
from xover.studies.change.refresh.study import refresh
from xover.studies.does.angles.study import study_off_axis
from xover.studies.does.load.study import study_load
from xover.studies.does.sensitivity.study import study_sensitivity

GRID = log_grid(20.0, 20_000.0, 12)


def numbers(text):
    return [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", text)]


def sound(text):
    assert len(text) <= LONGEST
    assert text[0].isupper() or not text[0].isalpha()
    assert text.endswith((".", "..."))
    assert ". " not in text
    assert "nan" not in text.lower().replace("dominan", "")
    return text


@pytest.fixture(scope="module")
def predicted(attic):
    return predict(attic, "found", GRID)


def test_clauses_are_left_out_whole():
    assert one_sentence("first thing", "second thing.") == "First thing; second thing."
    assert one_sentence("one. Two and C2. C1 too") == "One; two and C2; C1 too."
    assert one_sentence("a " * 60, "b " * 60, "c") == sound(one_sentence("a " * 60, "b " * 60, "c"))
    assert "b" not in one_sentence("a " * 60, "b " * 60, "c")
    assert one_sentence("a " * 60, "b " * 60, "c").endswith("; c.")
    cut = sound(one_sentence("word " * 80))
    assert cut.endswith("word...")


def test_the_sum(predicted):
    """Half the range of the level from 200 Hz to 15 kHz, its lowest place, and the null of the reversed sum."""
    text = sound(readings.read_prediction(predicted))
    inside = (GRID >= 200.0) & (GRID <= 15_000.0)
    level = predicted.total.level_db[inside]
    half = numbers(text.partition("+-")[2])[0]
    assert half == pytest.approx(np.ptp(level) / 2.0, abs=0.06)
    null = re.search(r"with tweeter reversed the null is (\d+) dB deep at ([\d.]+) kHz", text)
    at = float(null[2]) * 1e3
    deep = np.interp(np.log(at), np.log(GRID), predicted.total.level_db - predicted.total.reversed_level_db)
    assert float(null[1]) == pytest.approx(deep, abs=3.0)  # between rows
    assert "it is lowest at an end of that" in text


def test_a_dip_and_two_nulls(predicted):
    """The deepest dip where it is no end of the band; two crossovers have two nulls, one may be complete."""
    band = replace(predicted.band, lowest_at_hz=2900.0, lowest_deviation_db=-7.04)
    first = replace(predicted.crossovers[0], null_depth_db=21.3, null_at_hz=450.0)
    second = replace(predicted.crossovers[0], null_depth_db=math.inf, null_at_hz=3000.0)
    text = sound(readings.read_prediction(replace(predicted, band=band, crossovers=(first, second))))
    assert "its deepest dip is -7.0 dB from its mean, at 2.9 kHz" in text
    assert text.endswith("the nulls are 21 dB deep at 450 Hz and complete at 3 kHz.")


def test_a_sum_that_is_not_known(hall, started):
    text = sound(readings.read_prediction(predict(hall, "found", GRID)))
    assert text.startswith("The sum lies somewhere between its best and its worst: the phases were measured")
    sheet = started("two-way-second-order")
    flat = sound(readings.read_prediction(predict(sheet, "found", GRID)))
    assert flat.startswith("The sound of woofer and tweeter was not measured")
    silent = {n: replace(d, datasheet=replace(d.datasheet, sensitivity_db=None)) for n, d in sheet.drivers.items()}
    none = sound(readings.read_prediction(predict(Speaker(sheet.file, silent), "found", GRID)))
    assert none.startswith("The sound of woofer and tweeter is not known: only the drives are shown")


def test_the_load(attic, started):
    study = study_load(attic, "found", GRID)
    text = sound(readings.read_load(study))
    z = np.abs(study.channels["in"].impedance_ohm)
    assert numbers(text)[0] == pytest.approx(z.min(), rel=0.01)
    assert "above the 4 ohm that the amplifier allows" in text
    assert f"EPDR falls to {study.channels['in'].reading.lowest_epdr_ohm:.2f} ohm" in text
    two = started("two-way-bi-amp")
    assert "on bass falls to 6.05 ohm" in sound(readings.read_load(study_load(two, "found", GRID)))
    dear = study_load(attic, "found", GRID)
    verdict = replace(dear.channels["in"].verdict, limit_broken=True)
    broken = replace(dear, channels={"in": replace(dear.channels["in"], verdict=verdict)})
    assert "below the 4 ohm" in readings.read_load(broken)


def test_what_age_has_done(attic, started):
    text = sound(readings.read_condition(study_condition(attic, GRID)))
    assert "most to blame is C2 (+30 %)" in text  # 6.1 for 4.7 uF
    assumed = sound(readings.read_condition(study_condition(attic, GRID, assume=True)))
    assert assumed.startswith("Nothing was measured; typical drift of all parts could move the sum by ")
    sheet = started("two-way-second-order")
    same = sound(readings.read_condition(study_condition(sheet, GRID)))
    assert same == "Found and original agree to the last digit: nothing has moved, or nothing was measured."


def test_tolerance_and_sensitivity(attic):
    study = study_tolerance(attic, "found", GRID, builds=200)
    text = sound(readings.read_tolerance(study))
    assert f"{100 * study.passing.count / study.passing.of:.0f} % of builds keep within 1 dB" in text
    row = int(np.argmin(np.abs(GRID - study.widest_sum.at_hz)))
    assert f"lie {study.total.change_db[0][row]:+.1f} to {study.total.change_db[-1][row]:+.1f} dB" in text
    ranked = study_sensitivity(attic, "found", GRID)
    first = sound(readings.read_sensitivity(ranked))
    most = max(ranked.parts, key=lambda p: abs(p.total.worst.change)).name
    assert first.startswith(f"{most} matters most: 1 % of {most} moves the sum by at most ")
    deaf = replace(ranked, total_known=False)
    assert "ranked by the drives" in sound(readings.read_sensitivity(deaf))
    assert sound(readings.read_sensitivity(replace(ranked, parts=()))) == "There is no part whose value could change."
    assert "is not known" in sound(readings.read_tolerance(replace(study, total_known=False)))


def test_stress(attic):
    study = study_stress(attic, "found", GRID)
    text = sound(readings.read_stress(study))
    resistors = {p.name: study.full.stress.of(p.name).power_w for p in attic.network("found").resistors}
    most = max(resistors, key=resistors.get)
    assert text.startswith(f"At full level {most} turns {resistors[most]:.2g} W of music into heat")
    assert text.endswith("rated too low: C2.")


def test_coils(attic, started):
    study = study_crosstalk(attic, "found", GRID)
    text = sound(readings.read_crosstalk(study))
    assert numbers(text.partition("k = ")[2])[0] == pytest.approx(study.pairs[0].smaller, rel=0.04)
    assert "L1 and L2 need most care" in text
    free = replace(study.pairs[0], k_positive=None, k_negative=None)
    assert "no coupling between any two coils" in sound(readings.read_crosstalk(replace(study, pairs=(free,)))).lower()
    one = started("two-way-series-first-order")
    assert "not two coils" in sound(readings.read_crosstalk(study_crosstalk(one, "found", GRID)))


def test_off_the_axis(attic, started):
    study = study_off_axis(attic, "found", GRID)
    text = sound(readings.read_off_axis(study))
    worst = np.nanmin(study.vertical.relative_db)
    assert numbers(text)[0] == pytest.approx(-worst, abs=0.51)
    assert "first minima at +" in text
    sheet = started("two-way-second-order")
    lost = sound(readings.read_off_axis(study_off_axis(sheet, "found", GRID)))
    assert lost.startswith("Off the axis nothing is told: no position_mm for woofer, tweeter")


def test_refresh(attic):
    study = refresh(attic, Catalogue(None), GRID)
    text = sound(readings.read_refresh(study))
    fitted = math.ceil(100 * study.refreshed.worst_db) / 100  # no figure reads better than it is
    assert numbers(text)[0] == pytest.approx(fitted)
    before, naive = (math.ceil(100 * moved.worst_db) / 100 for moved in (study.before, study.naive))
    assert f"against {before:.2f} dB as it is now and {naive:.2f} dB with worn parts" in text
    alone = sound(readings.read_refresh(replace(study, before=None)))
    assert "as it is now" not in alone


def test_a_decision(started, attic):
    template = study_decide(started("two-way-second-order"), Catalogue(None), options=("leave",), frequency_hz=GRID)
    text = sound(readings.read_decision(template))
    assert text.startswith("No verdict yet: woofer and tweeter: still the template's values")
    assert "it rests on what was not measured" in text
    study = study_decide(attic, Catalogue(None), options=("leave",), frequency_hz=GRID)
    assert sound(readings.read_decision(study)).startswith("Leave it as it is: age has moved its sound by ")
    long = replace(study, reasons=("because " * 40, "short"))
    assert sound(readings.read_decision(long)) == "Leave it as it is; short."


def test_a_bypass(predicted):
    """Half the range of the sum behind the crossover, and the flattest cell of all maps; only what it reads is made."""
    cells = [SimpleNamespace(best_slope=n, best_hz=f, best_db=d) for n, f, d in (("LR2", 2e3, 0.8), ("B3", 3e3, 0.5))]
    band = replace(predicted.band, highest_deviation_db=3.0, lowest_deviation_db=-2.0)
    study = SimpleNamespace(
        verdict="yes, if its 8 cautions are heeded",
        reached=SimpleNamespace(band=band),
        coherent=True,
        crossover=SimpleNamespace(corners_hz=(450.0, 3500.0), slope=SimpleNamespace(name="LR4")),
        maps=[*cells, SimpleNamespace(best_slope="", best_hz=math.nan, best_db=math.nan)],
    )
    assert sound(readings.read_bypass(study)) == (
        "Yes, if its 8 cautions are heeded; with LR4 at 450 Hz and 3.5 kHz the sum keeps within +-2.5 dB; "
        "flattest: B3 at 3 kHz, 0.5 dB rms."
    )
    study.reached, study.maps = None, []
    assert sound(readings.read_bypass(study)).endswith("the sum behind the crossover is not known.")


def test_hostile_names_stay_within_two_lines(predicted):
    names = tuple(f"<script>{'x' * 56}{i}" for i in range(4))
    total = replace(predicted.total, reversed_keys=names)
    text = sound(readings.read_prediction(replace(predicted, total=total)))
    assert text.startswith("The sum lies within")
