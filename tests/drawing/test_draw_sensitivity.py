"""The figure of the sensitivity shows the numbers of the study, on the parts that matter most, and can be read."""

from dataclasses import replace

import numpy as np
import pytest

from xover.curve import log_grid
from xover.drawing.does import MOST_CURVES, draw_sensitivity
from xover.drawing.page import change_axis
from xover.drawing.save import save_figure
from xover.sound.change import Worst
from xover.speaker import open_speaker
from xover.studies.does.sensitivity.study import study_sensitivity

NAMES = ["attic left", "attic right", "hall horn", "studio", "bi-amp"]
F = log_grid(20.0, 20e3, 24)


@pytest.fixture(scope="module")
def study_of(results):
    kept = {}

    def study(name):
        if name not in kept:
            kept[name] = study_sensitivity(results.speaker(name), "found", F)
        return kept[name]

    return study


@pytest.fixture(scope="module")
def figure_of(study_of, drawn):
    """Drawn once, to be looked at only."""
    kept = {}

    def figure(name):
        if name not in kept:
            kept[name] = drawn(draw_sensitivity(study_of(name)))
        return kept[name]

    return figure


@pytest.mark.parametrize("name", NAMES)
def test_the_parts_that_matter_most_are_drawn_as_computed(study_of, figure_of, name):
    study, d = study_of(name), figure_of(name)
    shown = study.parts[:MOST_CURVES]
    assert len(shown) >= 3 or name == "bi-amp"
    for s in shown:
        x, y = d.line(f"level {s.name}")
        np.testing.assert_array_equal(x, F)
        np.testing.assert_array_equal(y, s.total.level_db)
        x, y = d.line(f"load {s.name}", d.lower)
        loads = [load.percent for load in s.load.values()]
        assert any(np.array_equal(y, load) for load in loads)
        assert np.nanmax(np.abs(y)) == max(np.nanmax(np.abs(load)) for load in loads)
        x, y = d.line(f"worst {s.name}")
        assert (*x, *y) == (s.total.worst.at_hz, s.total.worst.change)
    drawn_names = [n for n in d.names(d.upper) if n.startswith("level")]
    assert len(drawn_names) == len(shown)
    d.assert_legible(20)


def test_figures_are_put_in_words(study_of, drawn):
    study = study_of("attic left")
    first, second = study.parts[:2]
    up = replace(first, total=replace(first.total, worst=Worst(0.0712, 2850.0)))
    down = replace(second, total=replace(second.total, worst=Worst(-0.0449, 1500.0)))
    d = drawn(draw_sensitivity(replace(study, parts=(up, down))))
    assert set(d.labels(d.upper)) == {f"{first.name} +0.071 dB", f"{second.name} \u22120.045 dB"}
    assert set(d.labels(d.lower)) == {first.name, second.name}


def test_the_rest_is_counted(study_of, figure_of, drawn):
    study = study_of("studio")
    left = len(study.parts) - MOST_CURVES
    assert left > 1
    assert f"{left} more parts matter less, not shown here" in figure_of("studio").all_text()
    six = replace(study, parts=study.parts[: MOST_CURVES + 1])
    assert "1 more part matters less, not shown here" in drawn(draw_sensitivity(six)).all_text()
    five = replace(study, parts=study.parts[:MOST_CURVES])
    assert "not shown here" not in drawn(draw_sensitivity(replace(five, warnings=()))).all_text()


def test_a_load_on_the_zero_line_has_no_name(study_of, drawn):
    study = study_of("attic left")
    part = next(s for s in study.parts if s.name == "R2")  # moves the load by 0.09 %, C2 by 1.75 %
    others = tuple(s for s in study.parts if s is not part)[: MOST_CURVES - 1]
    d = drawn(draw_sensitivity(replace(study, parts=(*others, part))))
    assert "load R2" in d.names(d.lower)
    assert "R2" not in d.labels(d.lower)
    assert "C2" in d.labels(d.lower)


def test_an_unknown_timing_is_said(figure_of):
    assert "Change of the highest sum that any timing allows, dB" in figure_of("hall horn").all_text()
    assert "Change of the sum, dB" in figure_of("attic left").all_text()


def test_without_a_sum_the_drives_are_drawn(drawn, tmp_path):
    (tmp_path / "found.cir").write_text("* t\nL1 in w 1mH\nC1 w 0 10uF\nXlow w 0 woofer\n")
    sheet = "[drivers.woofer.datasheet]\nre_ohm = 6\nfs_hz = 50\nqms = 4\nqes = 0.5\n"
    (tmp_path / "speaker.toml").write_text(sheet + '[networks.found]\ncircuit = "found.cir"\n')
    study = study_sensitivity(open_speaker(tmp_path), "found", F)
    d = drawn(draw_sensitivity(study))
    np.testing.assert_array_equal(d.line("level L1")[1], study.parts[0].drive["woofer"].level_db)
    assert "Change of the drive that each moves most, dB" in d.all_text()
    assert "no sum is known: drives are shown" in d.all_text()
    assert any(label.startswith("L1, woofer ") for label in d.labels(d.upper))


@pytest.mark.parametrize(
    ("size", "end", "step"), [(0.07, 0.0875, 0.02), (1.75, 2.1875, 0.5), (4.0, 5.0, 1.0), (0.3, 0.375, 0.1)]
)
def test_the_scale_has_round_numbers_to_both_sides(size, end, step):
    from matplotlib.figure import Figure

    axes = Figure().add_subplot()
    change_axis(axes, [np.array([0.0, -size, np.nan]), np.array([np.inf, 0.5 * size, 0.0])])
    assert axes.get_ylim() == pytest.approx((-end, end))
    ticks = axes.get_yticks()
    np.testing.assert_allclose(np.diff(ticks), step)
    np.testing.assert_allclose(ticks, -ticks[::-1], atol=1e-12)
    assert max(ticks) <= end < max(ticks) + step
    words = [t.get_text() for t in axes.get_yticklabels()]
    assert words[len(words) // 2] == "0"
    assert words[-1] == f"+{max(ticks):g}"
    assert words[0] == f"\u2212{max(ticks):g}"


def test_a_scale_without_data():
    from matplotlib.figure import Figure

    axes = Figure().add_subplot()
    change_axis(axes, [np.full(3, np.nan), np.zeros(3)])
    assert axes.get_ylim() == (-1.25, 1.25)


def test_names_are_plain_text(study_of, drawn):
    study = study_of("attic left")
    first = study.parts[0]
    odd = replace(first, parameter=replace(first.parameter, part="$C_2$" + "x" * 50))
    d = drawn(draw_sensitivity(replace(study, title=r"$\frac{1}{2}$ <b>", parts=(odd, *study.parts[1:]))))
    d.assert_legible(20)
    assert any(label.startswith("$C_2$xx") and "…" in label for label in d.labels(d.upper))
    assert r"$\frac{1}{2}$ <b>" in d.all_text()


def test_the_same_figure_gives_the_same_file(study_of, tmp_path):
    save_figure(draw_sensitivity(study_of("attic left")), tmp_path / "a.svg")
    save_figure(draw_sensitivity(study_of("attic left")), tmp_path / "b.svg")
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
    assert b"Change of the sum" in (tmp_path / "a.svg").read_bytes()
