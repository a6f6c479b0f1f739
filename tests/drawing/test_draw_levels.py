"""The figure of a prediction shows the numbers of the prediction, each under its name."""

from dataclasses import replace

import numpy as np
import pytest

from xover.acoustic.crossover import CrossoverReading
from xover.curve import log_grid
from xover.drawing import draw_prediction
from xover.drawing.levels import evidence_line, same_lines
from xover.sound.prediction import predict


def assert_same_where_finite(got, wanted):
    """Exactly the numbers of the result, and a gap wherever the result has none."""
    known = np.isfinite(wanted)
    assert known.sum() > 100
    np.testing.assert_array_equal(got[known], wanted[known])
    assert np.isnan(got[~known]).all()


def decibel(ratio):
    return 20.0 * np.log10(np.abs(ratio))


def test_every_driver_is_drawn_as_computed(results, case):
    p, d = results.prediction(*case), results.levels_figure(*case)
    assert len(p.branches) >= 2
    for branch in p.branches:
        x, y = d.line(f"driver {branch.key}", d.upper)
        np.testing.assert_array_equal(x, p.frequency_hz)
        assert_same_where_finite(y, branch.level_db)
        x, y = d.line(f"driver {branch.key}", d.lower)
        np.testing.assert_array_equal(x, p.frequency_hz)
        known = np.isfinite(y)
        assert known.sum() > 100
        np.testing.assert_allclose(y[known], decibel(p.drive[branch.key])[known], rtol=1e-12)


def test_every_driver_is_named_once_in_each_panel(results, case):
    p, d = results.prediction(*case), results.levels_figure(*case)
    for axes in (d.upper, d.lower):
        on_lines = [t for t in d.labels(axes) if "sum" not in t and "crossover" not in t]
        named = [name for text in on_lines for name in text.split(" and ")]
        assert sorted(named) == sorted(b.key for b in p.branches)


def test_a_known_timing_gives_one_sum_and_its_null(results):
    for name, upside_down in (("attic left", "tweeter"), ("studio", "mid")):
        p, d = results.prediction(name), results.levels_figure(name)
        assert_same_where_finite(d.line("sum")[1], p.total.level_db)
        assert_same_where_finite(d.line("reversed sum")[1], p.total.reversed_level_db)
        assert "sum" in d.labels(d.upper)
        assert f"sum, {upside_down} reversed" in d.labels(d.upper)
        widths = {line.get_label(): line.get_linewidth() for line in d.upper.lines}
        assert widths["sum"] > 1.5 * max(w for label, w in widths.items() if label.startswith("driver"))
        assert widths["reversed sum"] < min(w for label, w in widths.items() if label.startswith("driver"))


def test_an_unknown_timing_gives_a_band_and_no_sum(results):
    p, d = results.prediction("hall horn"), results.levels_figure("hall horn")
    assert not p.total.coherent
    assert "sum" not in d.names(d.upper)
    assert "reversed sum" not in d.names(d.upper)
    assert_same_where_finite(d.line("best")[1], p.total.best_level_db)
    assert_same_where_finite(d.line("worst")[1], p.total.worst_level_db)
    assert {"sum at best", "sum at worst"} <= set(d.labels(d.upper))
    (shade,) = d.upper.collections
    corners = {tuple(c) for path in shade.get_paths() for c in path.vertices}
    foot = d.upper.get_ylim()[0]
    for f, best, worst in zip(p.frequency_hz, p.total.best_level_db, p.total.worst_level_db, strict=True):
        assert (f, best) in corners
        assert (f, worst) in corners or worst < foot
    assert "timing between the drivers not known" in d.all_text()


def test_crossovers_are_marked_where_they_were_read(results):
    p, d = results.prediction("studio"), results.levels_figure("studio")
    marks = [line for line in d.upper.lines if line.get_label() == "crossover"]
    assert [(*m.get_xdata(), *m.get_ydata()) for m in marks] == [(c.frequency_hz, c.level_db) for c in p.crossovers]
    for axes in (d.upper, d.lower):
        drops = [line.get_xdata() for line in axes.lines if line.get_label() == "crossover line"]
        assert [list(x) for x in drops] == [[c.frequency_hz] * 2 for c in p.crossovers]


def test_a_null_is_put_in_words(results, drawn):
    depths = {200.0: None, 500.0: float("inf"), 1000.0: 12.4, 2000.0: 2.9, 5000.0: -5.0}
    readings = tuple(
        CrossoverReading(("woofer",), ("tweeter",), frequency_hz=hz, level_db=80.0, null_depth_db=depth)
        for hz, depth in depths.items()
    )
    d = drawn(draw_prediction(replace(results.prediction("attic left"), crossovers=readings)))
    assert [label for label in d.labels(d.upper) if label.startswith("crossover")] == [
        "crossover\n200 Hz",
        "crossover\n500 Hz\nfull null",
        "crossover\n1 kHz\nnull 12 dB",
        "crossover\n2 kHz\nno null",
        "crossover\n5 kHz\nno null",
    ]


def test_a_missing_crossover_is_explained(results, drawn):
    reading = CrossoverReading(("woofer",), ("tweeter",), reason="woofer and tweeter never meet")
    d = drawn(draw_prediction(replace(results.prediction("attic left"), crossovers=(reading,))))
    assert "crossover" not in d.names(d.upper)
    assert "no crossover: woofer and tweeter never meet" in d.all_text()


def test_scales_are_those_of_the_trade(results, case):
    p, d = results.prediction(*case), results.levels_figure(*case)
    for axes in (d.upper, d.lower):
        assert axes.get_xscale() == "log"
        assert axes.get_xlim() == (20.0, 20_000.0)
    written = [t.get_text() for t in d.lower.get_xticklabels()]
    assert written == ["20", "50", "100", "200", "500", "1k", "2k", "5k", "10k", "20k"]
    bottom, top = d.upper.get_ylim()
    assert top - bottom == 50.0
    loudest = np.nanmax([b.level_db for b in p.branches])
    assert loudest + 2.0 <= top <= loudest + 20.0
    assert np.subtract(*d.lower.get_ylim()) == -30.0
    # the same decibels to the inch in both panels
    tall = [a.get_window_extent().height / np.ptp(a.get_ylim()) for a in (d.upper, d.lower)]
    assert tall[0] == pytest.approx(tall[1], rel=1e-9)


def test_the_head_says_what_was_drawn(results):
    text = results.levels_figure("attic left", "original").all_text()
    assert "Attic two-way, left (invented)" in text
    assert 'network "original" · 2.83 V, 1 m, on the design axis' in text
    assert "impedance and responses measured; all phases are measured against one time reference" in text


def test_an_output_resistance_is_said(results, drawn):
    p = replace(results.prediction("attic left"), output_ohm=1.6)
    assert "behind an amplifier's output of 1.6 ohm" in drawn(draw_prediction(p)).all_text()


def test_unlike_evidence_is_told_apart(results):
    p = results.prediction("attic left")
    sources = {
        "woofer": {"impedance": "measured", "response": "measured"},
        "tweeter": {"impedance": "assumed", "response": "datasheet"},
    }
    line = evidence_line(replace(p, evidence=sources, timing_reason="because"))
    assert line == (
        "impedance measured (woofer), assumed (tweeter); responses measured (woofer), datasheet (tweeter); because"
    )


def test_a_silent_driver_is_no_measured_one(results, drawn):
    p = results.prediction("attic left")
    silent = [replace(b, pressure=np.full(b.pressure.shape, np.nan)) for b in p.branches]
    half = replace(p, branches=(p.branches[0], silent[1]))
    assert "responses measured (woofer), not known (tweeter)" in evidence_line(half)
    d = drawn(draw_prediction(half))
    assert "tweeter" not in d.labels(d.upper)
    assert "tweeter" in d.labels(d.lower)
    mute = replace(p.total, **{k: np.full(480, np.nan, dtype=complex) for k in ("pressure", "reversed_pressure")})
    d = drawn(draw_prediction(replace(p, branches=tuple(silent), total=mute, crossovers=())))
    assert "the sound of no driver is known" in d.all_text()


def test_gaps_are_said_before_all_else(results, drawn):
    p = replace(results.prediction("attic left"), warnings=("a lamp", "a driver's note"))
    text = drawn(draw_prediction(p)).all_text()
    gap = "tweeter is not known from 20 Hz to 198 Hz"
    assert text.index(gap) > 0
    assert text.index("a lamp") > text.index(gap)


def test_several_channels_are_said(results):
    text = results.levels_figure("bi-amp").all_text()
    assert "no electronic crossover is in these curves" in text


def test_no_voltage_is_said(results, drawn):
    p = results.prediction("attic left")
    drive = {**p.drive, "tweeter": np.zeros(480, dtype=complex)}
    d = drawn(draw_prediction(replace(p, drive=drive)))
    assert "no voltage reaches tweeter" in d.all_text()
    assert "tweeter" not in d.labels(d.lower)


def test_curves_that_coincide_share_a_label():
    curve = np.linspace(60.0, 90.0, 200)
    gap = np.where(np.arange(200) < 20, np.nan, curve)
    curves = {"a": curve, "b": curve + 0.1, "c": curve + 5.0, "d": gap, "e": gap + 0.2, "f": np.full(200, np.nan)}
    assert same_lines(curves) == [("a", "b"), ("c",), ("d", "e"), ("f",)]


def test_the_null_is_named_where_it_differs_from_the_sum(results, drawn):
    """Also where the lines end inside the figure, with much room beside the end they share."""
    speaker = results.speaker("attic left")
    wide = drawn(draw_prediction(predict(speaker, "found", log_grid(5.0, 40_000.0, 12))))
    for d in (wide, results.levels_figure("attic left"), results.levels_figure("studio")):
        (name,) = [t for t in d.upper.texts if t.get_text().endswith("reversed")]
        x, normal = d.line("sum")
        turned = d.line("reversed sum")[1]
        near = np.argsort(np.abs(np.log(x / name.xy[0])))[:3]
        assert np.min(np.abs(normal[near] - turned[near])) > 1.0
