"""The figure of the condition shows the numbers of the study, and can be read."""

from dataclasses import replace

import numpy as np
import pytest

from xover.curve import log_grid
from xover.drawing.aged import LEAST_DB, draw_condition
from xover.drawing.does import MOST_CURVES
from xover.sound.change import Worst
from xover.studies.aged.condition.study import study_condition

F = log_grid(20.0, 20e3, 12)


@pytest.fixture(scope="module")
def figure_of(study_of, drawn):
    """Drawn once, to be looked at only."""
    kept = {}

    def figure(name, assume=False):
        if (name, assume) not in kept:
            kept[name, assume] = drawn(draw_condition(study_of(name, assume)))
        return kept[name, assume]

    return figure


@pytest.fixture(scope="module")
def study_of(results):
    kept = {}

    def study(name, assume=False):
        if (name, assume) not in kept:
            kept[name, assume] = study_condition(results.speaker(name), F, assume=assume)
        return kept[name, assume]

    return study


@pytest.mark.parametrize("name", ["hall horn", "studio"])
def test_changes_are_drawn_as_computed(study_of, figure_of, name):
    study, d = study_of(name), figure_of(name)
    np.testing.assert_array_equal(d.line("sum")[1], study.total_difference_db)
    assert (d.line("sum worst 0")[1][0], d.line("sum worst 0")[0][0]) == (
        study.total_worst.change,
        study.total_worst.at_hz,
    )
    for key, change in study.drive_difference_db.items():
        x, y = d.line(f"drive {key}")
        np.testing.assert_array_equal(x, F)
        near = study.near[key]
        assert 5 < near.sum() < F.size
        np.testing.assert_array_equal(y[near], change[near])
        assert np.isnan(y[~near]).all()
    shown = [p for p in study.blame.parts if abs(p.alone.change) >= LEAST_DB][:MOST_CURVES]
    assert len(shown) >= 3
    assert len([n for n in d.names(d.lower) if n.startswith("part") and "worst" not in n]) == len(shown)
    for p in shown:
        np.testing.assert_array_equal(d.line(f"part {p.name}", d.lower)[1], p.alone_db)
        assert d.line(f"part {p.name} worst 0", d.lower)[1][0] == p.alone.change
    assert {label.split()[0] for label in d.labels(d.lower)} == {p.name for p in shown}
    assert study.conclusion in d.all_text().replace("\n", " ")
    d.assert_legible(20)


def test_figures_are_put_in_words(study_of):
    study = study_of("attic left")
    odd = replace(
        study,
        title=r"$\frac{1}{2}$",
        total_worst=Worst(-1.26, 7400.0),
        drive_worst={"woofer": Worst(0.0, float("nan")), "tweeter": Worst(0.345, 2300.0)},
        blame=None,
        blame_reason="wired differently",
    )
    figure = draw_condition(odd)
    (only,) = figure.axes
    assert {t.get_text() for t in only.texts} == {"sum \u22121.3 dB", "tweeter +0.34 dB"}
    texts = [t.get_text() for t in figure.texts]
    assert "wired differently" in texts
    assert r"$\frac{1}{2}$" in texts


def test_one_name_for_drives_that_coincide(figure_of):
    d = figure_of("studio")
    labels = [label for label in d.labels(d.upper) if "upper" in label]
    assert labels == ["upper and lower \u22122.5 dB"]
    assert {"drive upper", "drive lower"} <= set(d.names(d.upper))


def test_assumed_drift_is_shaded(study_of, figure_of):
    study, d = study_of("attic left", assume=True), figure_of("attic left", assume=True)
    envelope = study.envelope
    assert len(d.upper.collections) == 3  # two drives and the sum
    np.testing.assert_array_equal(d.line("sum low")[1], envelope.total_low_db)
    np.testing.assert_array_equal(d.line("sum high")[1], envelope.total_high_db)
    near = study.near["tweeter"]
    np.testing.assert_array_equal(d.line("drive tweeter high")[1][near], envelope.drive_high_db["tweeter"][near])
    first = envelope.parts[0]
    np.testing.assert_array_equal(d.line(f"part {first.name} low", d.lower)[1], first.low_db)
    assert "drift assumed, nothing measured" in d.all_text()
    assert len(d.lower.collections) == 3
    d.assert_legible(20)
