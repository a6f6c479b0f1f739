"""The figure of a decision shows its sums and can be read."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from xover.curve import log_grid
from xover.drawing.change import draw_decide, steps_shown
from xover.parts.catalogue import Catalogue
from xover.rules.triage import Rung
from xover.sound.prediction import predict
from xover.studies.change.decide.ladder import Why
from xover.studies.change.decide.study import study_decide

GRID = log_grid(20.0, 20_000.0, 12)


@pytest.fixture(scope="module")
def decision(results):
    """What is there, and a refresh that is 0.2 dB louder than the design; the latter is recommended."""
    found = study_decide(results.speaker("attic left"), Catalogue(), options=("leave",), frequency_hz=GRID)
    refreshed = replace(found.options[Rung.REFRESH], why_not="", level_db=found.design_level_db + 0.2)
    return replace(
        found,
        options={**found.options, Rung.REFRESH: refreshed},
        picked=replace(found.picked, rung=Rung.REFRESH, why=Why.BETTER),
        answer="refresh it, like for like",
    )


@pytest.fixture(scope="module")
def figure(decision, drawn):
    return drawn(draw_decide(decision))


def mean_over_octaves(level_db):
    """Trapezoids over log f from 200 Hz to 18 kHz."""
    u = np.log(np.geomspace(200.0, 15_000.0, 4000))
    shown = np.interp(u, np.log(GRID), level_db)
    return np.sum(np.diff(u) * (shown[:-1] + shown[1:]) / 2.0) / (u[-1] - u[0])


def test_sums_lie_on_their_mean(decision, figure):
    for name in ("leave", "refresh"):
        level = decision.options[Rung(name)].level_db
        f, shown = figure.line(name)
        np.testing.assert_array_equal(f, GRID)
        np.testing.assert_allclose(shown, level - mean_over_octaves(level), atol=2e-3)
        assert np.ptp(shown) > 5.0
    assert "bypass" not in figure.names(figure.upper)


def test_changes_are_those_from_the_design(decision, figure, results):
    level = predict(results.speaker("attic left"), "original", GRID).total.level_db
    leave = decision.options[Rung.LEAVE].level_db
    wanted = leave - mean_over_octaves(leave) - (level - mean_over_octaves(level))
    _, shown = figure.line("leave", figure.lower)
    np.testing.assert_allclose(shown, wanted, atol=2e-3)
    assert np.max(np.abs(shown)) > 1.0
    # A level that is the same everywhere is no change of the voicing.
    np.testing.assert_allclose(figure.line("refresh", figure.lower)[1], 0.0, atol=1e-9)


def test_limits_and_the_recommended_line_stand_out(decision, figure):
    for name, level in (("limit +3", 3.0), ("limit -3", -3.0)):
        f, shown = figure.line(name)
        assert list(f) == [200.0, 15_000.0]
        assert list(shown) == [level, level]
    width = {line.get_label(): line.get_linewidth() for line in figure.upper.lines}
    assert width["refresh"] > 1.5 * width["leave"] > 0
    assert decision.answer in figure.all_text()


def test_only_steps_that_matter_have_a_line(decision, drawn):
    """With a sum for each step, five are drawn; a driver that is still to be found has no sum."""
    level = decision.design_level_db
    every = {n: replace(o, why_not="", level_db=level) for n, o in decision.options.items()}
    shown = {
        Rung.REFRESH: ("leave", "refresh", "bypass", "redesign"),
        Rung.TRIM: ("leave", "trim", "refresh", "bypass", "redesign"),
        Rung.REVALUE: ("leave", "refresh", "bypass", "revalue"),
        Rung.DRIVER: ("leave", "refresh", "driver", "bypass", "redesign"),
    }
    for rung, names in shown.items():
        case = replace(decision, options=every, picked=replace(decision.picked, rung=rung))
        assert steps_shown(case) == names
        figure = drawn(draw_decide(case))
        assert set(figure.names(figure.upper)) & {str(n) for n in every} == set(names) - {"driver"}
    no_search = {**every, Rung.REDESIGN: replace(every[Rung.REDESIGN], why_not="not looked for")}
    assert steps_shown(replace(decision, options=no_search)) == ("leave", "refresh", "bypass", "revalue")


def test_no_sum_is_said_and_nothing_drawn(decision, drawn):
    nothing = np.full(GRID.shape, np.nan)
    silent = replace(
        decision,
        options={n: replace(o, level_db=nothing) for n, o in decision.options.items()},
        design_level_db=nothing,
        rests_on=("no response of woofer is known",),
    )
    figure = drawn(draw_decide(silent))
    assert "no sum is known" in figure.labels(figure.upper)
    assert "no change of the sum from the design is known" in figure.labels(figure.lower)
    assert not {"leave", "refresh"} & set(figure.names(figure.upper))
    assert "no response of woofer is known" in figure.all_text()


def test_words_do_not_overlap_and_stay_on_the_page(figure):
    width, height = figure.figure.canvas.get_width_height()
    boxes = [(text, figure.box(text)) for text in figure.words()]
    assert len(boxes) > 15
    for text, box in boxes:
        assert 0 <= box.x0 < box.x1 <= width, text
        assert 0 <= box.y0 < box.y1 <= height, text
    for (a, first), (b, second) in combinations(boxes, 2):
        assert not (first.x0 < second.x1 and second.x0 < first.x1 and first.y0 < second.y1 and second.y0 < first.y1), (
            a,
            b,
        )
