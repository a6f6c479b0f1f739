"""The figure of the stress shows the watts of the study, the hottest parts, and can be read."""

from dataclasses import replace

import numpy as np
import pytest

from xover.curve import log_grid
from xover.drawing.bears import MOST_CURVES, draw_stress, stairs, watt_axis
from xover.speaker import open_speaker
from xover.studies.bears.stress.study import study_stress

NAMES = ["attic left", "studio", "bi-amp"]
F = log_grid(20.0, 20e3, 24)


@pytest.fixture(scope="module")
def study_of(results):
    kept = {}

    def study(name):
        if name not in kept:
            kept[name] = study_stress(results.speaker(name), "found", F)
        return kept[name]

    return study


@pytest.fixture(scope="module")
def figure_of(study_of, drawn):
    kept = {}

    def figure(name):
        """Drawn once, to be looked at only."""
        if name not in kept:
            kept[name] = drawn(draw_stress(study_of(name)))
        return kept[name]

    return figure


@pytest.mark.parametrize("name", NAMES)
def test_watts_are_drawn_as_computed(study_of, figure_of, name):
    study, d = study_of(name), figure_of(name)
    full = study.full.stress
    shown = {e.key: e for e in full.elements}
    assert {n for n in d.names(d.upper) if n.startswith("driver")} == {
        f"driver {e.key}" for e in full.of_kind("driver")
    }
    parts = [n.removeprefix("part ") for n in d.names(d.lower) if n.startswith("part")]
    heated = sorted((e for e in full.elements if e.kind != "driver"), key=lambda e: -e.power_w)
    assert 0 < len(parts) <= MOST_CURVES
    assert parts == [e.key for e in heated[: len(parts)]]
    for axes, what in ((d.upper, "driver"), (d.lower, "part")):
        for line in [n for n in d.names(axes) if n.startswith(what)]:
            x, y = d.line(line, axes)
            drawn_at = np.isfinite(y)
            assert drawn_at.any(), line
            np.testing.assert_array_equal(x[1:-1:2], x[2::2])
            watts = np.repeat(shown[line.removeprefix(f"{what} ")].band_power_w, 2)
            np.testing.assert_array_equal(y[drawn_at], watts[drawn_at])
            top = max(e.band_power_w.max() for e in full.elements)
            assert np.all(watts[~drawn_at] < 0.005 * top)
        assert axes.get_ylim()[0] == 0.0
    d.assert_legible(20)


def test_names_carry_their_watts(study_of, figure_of):
    study, d = study_of("studio"), figure_of("studio")
    woofer = study.full.stress.of("Xupper").power_w
    # Two woofers in parallel are one line on paper.
    assert f"upper and lower {woofer:.3g} W each" in d.labels(d.upper)
    assert f"R2 {study.full.stress.of('R2').power_w:.2g} W" in d.labels(d.lower)
    assert 'network "found" · noise with the spectrum of programme' in d.all_text()
    assert "120 W into 8 ohm at its limit: peaks of 43.8 V" in d.all_text()


def test_the_rest_is_counted_and_limits_are_told(figure_of):
    assert "6 more parts get less heat, not shown here" in figure_of("studio").all_text()
    text = figure_of("attic left").all_text()
    assert "1 more part gets less heat, not shown here" in text
    assert "C2 bears 44.6 V at the peak of a full sine" in text


def test_nothing_to_heat_and_nothing_known(drawn, tmp_path):
    (tmp_path / "found.cir").write_text("* t\nXlow in 0 woofer\n")
    sheet = "[drivers.woofer.datasheet]\nre_ohm = 6\nfs_hz = 50\nqms = 4\nqes = 0.5\n"
    (tmp_path / "speaker.toml").write_text(sheet + '[networks.found]\ncircuit = "found.cir"\n')
    study = study_stress(open_speaker(tmp_path), "found", F, rms_v=5.0)
    full = study.full
    lost = replace(full.stress.elements[0], power_w=np.nan, band_power_w=np.zeros(31))
    unknown = replace(full, stress=replace(full.stress, elements=(lost,)))
    d = drawn(draw_stress(replace(study, levels=(unknown,))))
    assert d.labels(d.upper) == ["not known"]
    assert d.labels(d.lower) == ["no part turns power into heat"]


def test_stairs_and_scale():
    from matplotlib.figure import Figure

    x, y = stairs(np.arange(31.0))
    assert (x.size, y.size) == (62, 62)
    assert (x[0], x[-1]) == (pytest.approx(17.783, abs=1e-3), pytest.approx(22387, abs=1))
    assert list(y[:4]) == [0, 0, 1, 1]
    axes = Figure().add_subplot()
    watt_axis(axes, 0.42)
    assert axes.get_ylim() == (0.0, pytest.approx(0.546))
    assert [t.get_text() for t in axes.get_yticklabels()] == ["0", "0.1", "0.2", "0.3", "0.4", "0.5"]
