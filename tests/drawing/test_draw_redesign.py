"""The figure of a redesign shows its numbers and can be read."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from xover.drawing.change import draw_redesign
from xover.network import Resistor, solve
from xover.parts.stock import make_bill
from xover.studies.change.redesign.judge import Judge
from xover.studies.change.redesign.result import Proposal, RedesignStudy, redesign_curves
from xover.studies.change.redesign.wish import Wish, grid


def resistors_scaled(network, by):
    parts = (replace(p, ohm=p.ohm * by) if isinstance(p, Resistor) else p for p in network.parts)
    return replace(network, parts=tuple(parts))


def study_of(speaker, networks, **wish):
    """A study whose proposals are given networks: nothing is searched."""
    wish = Wish(minimum_load_ohm=speaker.amplifier.minimum_load_ohm, **wish)
    judge = Judge(speaker, speaker.network("found"), wish, None, grid())
    proposals = tuple(
        Proposal(
            name=name,
            circuit="present",
            reversed=(),
            crossover_hz=(),
            network=network,
            judged=judge.judged(network),
            changed=(),
            parts=len(network.parts),
            bill=make_bill([]),
            yield_share=1.0,
            proved=True,
            better=(),
            worse=(),
        )
        for name, network in networks.items()
    )
    return RedesignStudy(
        title=speaker.title,
        present="found",
        wish=wish,
        source="a list",
        frequency_hz=judge.frequency_hz,
        target_db=judge.goal.shape_db,
        before=judge.judged(speaker.network("found")),
        proposals=proposals,
        tried=("present",),
        yield_limit_db=2.0,
        seed=1,
        stopped=False,
        suitable=True,
        headline="the one is better than the other",
        warnings=("measure it",),
    )


def drawn_study(results, drawn, name, number=1, **wish):
    speaker = results.speaker(name)
    found, original = speaker.network("found"), speaker.network("original")
    networks = {"as marked": original, "pads doubled": resistors_scaled(found, 2.0), "twin": original}
    study = study_of(speaker, networks, **wish)
    curves = redesign_curves(study, speaker)
    return study, curves, drawn(draw_redesign(study, curves, number))


@pytest.fixture(scope="module")
def attic(results, drawn):
    return drawn_study(results, drawn, "attic left", 2, tilt_db_per_octave=-0.3)


@pytest.fixture(scope="module")
def hall(results, drawn):
    return drawn_study(results, drawn, "hall horn")


def test_curves_of_loads_are_those_of_the_networks(results, attic):
    study, curves, _ = attic
    speaker = results.speaker("attic left")
    assert [c.name for c in curves] == ["found", "as marked", "pads doubled", "twin"]
    for curve, network in zip(curves[1:], (p.network for p in study.proposals), strict=True):
        solution = solve(network, study.frequency_hz, speaker.impedances_ohm(network, study.frequency_hz))
        np.testing.assert_allclose(curve.load_ohm, np.abs(solution.impedance_ohm["in"]), rtol=1e-12)
    # The resistors of the pad twice as large: the load is higher where the tweeter plays.
    high = study.frequency_hz > 8100
    assert (curves[2].load_ohm > 1.2 * curves[0].load_ohm)[high].all()


def test_sums_and_loads_are_drawn_as_they_are(attic):
    study, curves, figure = attic
    names = ["found, now", "1 as marked", "2 pads doubled", "3 twin"]
    sums = [study.before.level_curve_db, *(p.judged.level_curve_db for p in study.proposals)]
    for name, level, curve in zip(names, sums, curves, strict=True):
        x, y = figure.line(f"sum {name}", figure.upper)
        np.testing.assert_array_equal(x, study.frequency_hz)
        np.testing.assert_array_equal(y, level)
        np.testing.assert_array_equal(figure.line(f"load {name}", figure.lower)[1], curve.load_ohm)


def test_the_target_lies_in_the_band_at_the_level_of_the_one_picked(attic):
    study, _, figure = attic
    f, target = figure.line("target", figure.upper)
    assert 200.0 <= f[0] < 207.0
    assert 14_500.0 < f[-1] <= 15_000.0
    assert np.diff(target) / np.diff(np.log2(f)) == pytest.approx(-0.3, abs=1e-6)
    rows = np.isin(study.frequency_hz, f)
    picked = study.proposals[1].judged.level_curve_db[rows]
    assert np.mean(picked - target) == pytest.approx(0.0, abs=1e-9)
    # The pads doubled: the tweeter is fainter, so the target lies elsewhere for the first one.
    first = study.proposals[0].judged.level_curve_db[rows]
    assert abs(np.mean(first - target)) > 0.1


def test_the_one_picked_is_heavy(attic):
    widths = {line.get_label(): line.get_linewidth() for line in attic[2].upper.lines}
    assert widths["sum 2 pads doubled"] > 1.4 * max(widths["sum 1 as marked"], widths["sum found, now"])


def test_the_limit_of_the_load_is_drawn(attic):
    study, _, figure = attic
    assert set(figure.line("limit", figure.lower)[1]) == {4.0}
    assert any("lowest load allowed 4 ohm" in words for words in figure.labels(figure.lower))
    assert study.wish.minimum_load_ohm == 4.0


def test_curves_that_coincide_share_a_name(attic):
    words = attic[2].labels(attic[2].upper)
    assert "1 as marked and 3 twin" in words
    assert {"found, now", "2 pads doubled", "target"} <= set(words)


def test_the_window_shows_the_band_closely(attic):
    study, _, figure = attic
    low, high = figure.upper.get_ylim()
    assert 12.0 <= high - low <= 30.0
    f = study.frequency_hz
    peak = max(p.judged.level_curve_db[(f >= 200) & (f <= 18_000)].max() for p in study.proposals)
    assert low < peak < high


def test_without_a_sum_each_drivers_own_sound_is_shown(hall):
    study, curves, figure = hall
    names = figure.names(figure.upper)
    assert not [n for n in names if n.startswith(("sum", "target"))]
    for k in (0, 1):
        for key in ("woofer", "horn"):
            np.testing.assert_array_equal(
                figure.line(f"driver {key} {k}", figure.upper)[1], curves[k].driver_level_db[key]
            )
    assert "no one sum is right" in figure.all_text()
    assert not np.isfinite(study.before.level_curve_db).any()


@pytest.mark.parametrize("which", ["attic", "hall"])
def test_words_do_not_overlap_and_stay_on_the_page(which, request):
    figure = request.getfixturevalue(which)[2]
    width, height = figure.figure.canvas.get_width_height()
    boxes = [(text, figure.box(text)) for text in figure.words()]
    assert len(boxes) > 15
    for text, box in boxes:
        assert 0 <= box.x0 < box.x1 <= width, text
        assert 0 <= box.y0 < box.y1 <= height, text
    for (a, first), (b, second) in combinations(boxes, 2):
        apart = first.x0 >= second.x1 or second.x0 >= first.x1 or first.y0 >= second.y1 or second.y0 >= first.y1
        assert apart, (a, b)
