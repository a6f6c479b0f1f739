"""The figure of the tolerances shows the numbers of the study and can be read."""

from dataclasses import replace

import numpy as np
import pytest

from xover.curve import log_grid
from xover.drawing.bears import draw_tolerance
from xover.drawing.save import save_figure
from xover.speaker import open_speaker
from xover.studies.bears.tolerance.study import study_tolerance

F = log_grid(20.0, 20e3, 6)


@pytest.fixture(scope="module")
def study_of(results):
    kept = {}

    def study(name):
        if name not in kept:
            kept[name] = study_tolerance(results.speaker(name), "original", F, builds=300)
        return kept[name]

    return study


@pytest.fixture(scope="module")
def figure_of(study_of, drawn):
    kept = {}

    def figure(name):
        """Drawn once, to be looked at only."""
        if name not in kept:
            kept[name] = drawn(draw_tolerance(study_of(name)))
        return kept[name]

    return figure


@pytest.mark.parametrize("name", ["attic left", "hall horn"])
def test_bands_corners_and_pairs_are_drawn_as_computed(study_of, figure_of, name):
    study, d = study_of(name), figure_of(name)
    lines = {
        "2.5 %": study.total.change_db[0],
        "median": study.total.change_db[2],
        "97.5 %": study.total.change_db[4],
        "lowest corner": study.corners.total.lowest_db,
        "highest corner": study.corners.total.highest_db,
    }
    for label, expected in lines.items():
        x, y = d.line(label)
        np.testing.assert_array_equal(x, F)
        np.testing.assert_array_equal(y, expected)
    for label, pair in (("any two builds", study.independent), ("parts paired to 1 %", study.matched)):
        np.testing.assert_array_equal(d.line(f"rare {label}", d.lower)[1], pair.difference_db[4])
        np.testing.assert_array_equal(d.line(f"usual {label}", d.lower)[1], pair.difference_db[2])
    for sign in (1, -1):
        x, y = d.line(f"limit {sign:+d}")
        np.testing.assert_array_equal(x, F[study.in_band][[0, -1]])
        np.testing.assert_array_equal(y, [sign, sign])
    assert d.labels(d.upper).count("worst corner") == 2
    assert {"95 % of builds", "limit \u00b11 dB"} <= set(d.labels(d.upper))
    assert set(d.labels(d.lower)) == {"any two builds", "parts paired to 1 %"}
    end = d.upper.get_ylim()[1]
    assert end > np.nanmax(np.abs(study.total.change_db[:, study.in_band]))
    assert 0 < np.nanmax(study.independent.difference_db[4, study.in_band]) < d.lower.get_ylim()[1]
    assert f"{100 * study.passing.share:.1f} % of them keep within \u00b11 dB" in d.all_text()
    d.assert_legible(20)


def test_shades_hold_95_and_68_per_cent(study_of, figure_of):
    study = study_of("attic left")
    wide, narrow = figure_of("attic left").upper.collections
    for shade, (low, high) in ((wide, (0, 4)), (narrow, (1, 3))):
        points = {tuple(p) for p in shade.get_paths()[0].vertices}
        for row in (low, high):
            assert points.issuperset(zip(F, study.total.change_db[row], strict=True))


def test_what_the_sum_is_stands_above_it(figure_of):
    assert "The sum: how far builds lie" in figure_of("attic left").all_text()
    assert "The highest sum that any timing allows: how far" in figure_of("hall horn").all_text()


def test_without_corners_and_without_sum(study_of, drawn, tmp_path):
    study = study_of("attic left")
    d = drawn(draw_tolerance(replace(study, corners=replace(study.corners, total=None))))
    assert "worst corner" not in d.labels(d.upper)
    assert "97.5 %" in d.names(d.upper)
    (tmp_path / "found.cir").write_text("* t\nL1 in w 1mH\nC1 w 0 10uF\nXlow w 0 woofer\n")
    sheet = "[drivers.woofer.datasheet]\nre_ohm = 6\nfs_hz = 50\nqms = 4\nqes = 0.5\n"
    (tmp_path / "speaker.toml").write_text(sheet + '[networks.found]\ncircuit = "found.cir"\n')
    silent = study_tolerance(open_speaker(tmp_path), "found", F, builds=100)
    words = drawn(draw_tolerance(silent)).all_text()
    assert words.count("the sum is not known") >= 3
    assert "nan" not in words


def test_the_same_figure_gives_the_same_file(study_of, figure_of, tmp_path):
    save_figure(draw_tolerance(study_of("attic left")), tmp_path / "a.svg")
    save_figure(figure_of("attic left").figure, tmp_path / "b.svg")
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
    assert b"Left against right" in (tmp_path / "a.svg").read_bytes()
