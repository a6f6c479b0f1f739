"""The figure of the sound off the axis shows the levels of the study, says what it cannot tell, and can be read."""

from dataclasses import replace

import numpy as np
import pytest

from xover.curve import log_grid
from xover.drawing.does import angle_name, draw_off_axis, lean_words
from xover.studies.does.angles.study import AngleLevels, study_off_axis

F = log_grid(20.0, 20e3, 12)


@pytest.fixture(scope="module")
def study_of(results, remembered):
    return remembered(lambda name: study_off_axis(results.speaker(name), "found", F))


@pytest.fixture(scope="module")
def figure_of(study_of, drawn, remembered):
    """Drawn once, to be looked at only."""
    return remembered(lambda name: drawn(draw_off_axis(study_of(name))))


@pytest.mark.parametrize("name", ["attic left", "hall horn", "studio"])
def test_levels_are_drawn_as_computed(study_of, figure_of, name):
    study, d = study_of(name), figure_of(name)
    for axes, plane, sides in (
        (d.upper, study.vertical, ("up", "down")),
        (d.lower, study.horizontal, ("right", "left")),
    ):
        names = [n for n in d.names(axes) if n != "crossover line"]
        assert names == [angle_name(a, sides) for a in plane.angle_deg]
        for line, level in zip(names, plane.level_db, strict=True):
            x, y = d.line(line, axes)
            np.testing.assert_array_equal(x, F)
            np.testing.assert_array_equal(y, level)
        low, high = axes.get_ylim()
        assert high - low == 50.0
        assert sorted(d.labels(axes)[: len(names)]) == sorted(names)
    assert d.upper.get_position().height == pytest.approx(d.lower.get_position().height)
    d.assert_legible(30)


def test_the_lobe_is_named_at_its_crossover(study_of, figure_of):
    d = figure_of("studio")
    lobes = study_of("studio").lobes
    assert [line.get_xdata()[0] for line in d.upper.lines if line.get_label() == "crossover line"] == [
        lobe.crossover_hz for lobe in lobes
    ]
    assert d.labels(d.upper)[-2:] == ["398 Hz\nlobe ahead", "3.71 kHz\nlobe 2° up"]
    text = d.all_text()
    assert "first minima at 3.71 kHz: 22° up (19 dB below the axis), 17° down (26 dB below the axis)" in text
    assert "pistons in an infinite baffle: upper 205 mm, lower 205 mm, mid 110 mm, tweeter 28 mm" in text


def test_without_a_common_time_it_says_so(figure_of):
    d = figure_of("hall horn")
    assert d.upper.get_title(loc="left").startswith("Highest sum above and below")
    assert "not known: where the lobe points" in d.all_text()
    assert "crossover line" not in d.names(d.upper)


def test_the_same_angle_up_and_down_has_one_colour_and_two_dashes(figure_of):
    d = figure_of("attic left")
    lines = {line.get_label(): line for line in d.upper.lines}
    looks = {}
    for name in ("10° up", "10° down", "15° up", "15° down", "30° up", "30° down"):
        looks[name] = (lines[name].get_color(), str(lines[name]._dash_pattern))
    for angle in ("10°", "15°", "30°"):
        up, down = looks[f"{angle} up"], looks[f"{angle} down"]
        assert up[0] == down[0]
        assert up[1] != down[1]
    assert len(set(looks.values())) == 6
    assert lines["axis"].get_linewidth() > 1.5 * lines["10° up"].get_linewidth()


def test_a_name_stands_where_its_line_goes_its_own_way(figure_of):
    """At low frequencies all angles are one line: no name may stand there."""
    d = figure_of("attic left")
    for text in d.upper.texts:
        if text.get_text().endswith(("up", "down")) and "lobe" not in text.get_text():
            assert text.xy[0] > 800.0, text.get_text()


def test_what_is_not_known_leaves_an_empty_panel(study_of, drawn):
    study = study_of("attic left")
    nothing = np.full((1, F.size), np.nan)
    lost = AngleLevels(np.array([0.0]), nothing, nothing)
    study = replace(study, vertical=lost, horizontal=lost, lobes=(), unknown=("anything off the axis: no position",))
    d = drawn(draw_off_axis(study))
    assert d.labels(d.upper) == ["not known"]
    assert "not known: anything off the axis: no position" in d.all_text()
    d.assert_legible(15)


@pytest.mark.parametrize(("angle", "words"), [(0.0, "axis"), (15.0, "15° up"), (-7.5, "7.5° down"), (90.0, "90° up")])
def test_angles_in_words(angle, words):
    assert angle_name(angle, ("up", "down")) == words


@pytest.mark.parametrize(("angle", "words"), [(0.4, "lobe ahead"), (-5.2, "lobe 5° down"), (1.9, "lobe 2° up")])
def test_lobes_in_words(angle, words):
    assert lean_words(angle) == words
