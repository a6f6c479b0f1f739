"""The figure of a bypass shows the sums and voltages of the study, and can be read."""

from dataclasses import replace

import numpy as np
import pytest

from xover.curve import log_grid
from xover.drawing.bypass import draw_bypass, drives_of, sums_of
from xover.rules.severity import Severity
from xover.studies.change.bypass.result import BypassFinding
from xover.studies.change.bypass.study import study_bypass

F = log_grid(20.0, 20e3, 24)


@pytest.fixture(scope="module")
def study_of(results, remembered):
    return remembered(lambda name: study_bypass(results.speaker(name), None, F, with_map=False))


@pytest.fixture(scope="module")
def figure_of(study_of, drawn, remembered):
    """Drawn once, to be looked at only."""
    return remembered(lambda name: drawn(draw_bypass(study_of(name))))


def test_sums_are_drawn_over_their_own_means(study_of, figure_of):
    study, d = study_of("attic left"), figure_of("attic left")
    names = ["old network", "its twin", "LR4 at 3 kHz", "with bands"]
    assert [n for n in d.names(d.upper) if n != "corner"] == names
    for name, total, band in (
        ("old network", study.passive_total, study.passive),
        ("its twin", study.twin_sum.total, study.twin_sum.band),
        ("LR4 at 3 kHz", study.reached.total, study.reached.band),
        ("with bands", study.better.total, study.better.band),
    ):
        x, y = d.line(name)
        np.testing.assert_array_equal(x, F)
        np.testing.assert_allclose(y, total.level_db - band.mean_db)
        inside = (F >= 200.0) & (F <= 15e3)
        assert abs(np.mean(y[inside])) < 0.2  # 0 dB is the mean in the band
    assert {"LR4 at 3 kHz", "with bands"} <= set(d.labels(d.upper))
    d.assert_legible(20)


def test_voltages_are_those_of_network_and_crossover(study_of, figure_of):
    study, d = study_of("attic left"), figure_of("attic left")
    for name, channel in study.channels.items():
        _, old = d.line(f"network {name}", d.lower)
        np.testing.assert_allclose(old, 20 * np.log10(np.abs(channel.twin.target)))
        _, new = d.line(f"crossover {name}", d.lower)
        np.testing.assert_allclose(new, 20 * np.log10(np.abs(study.reached.filters[name])))
    assert d.labels(d.lower) == ["woofer", "tweeter", "3 kHz"]
    x, _ = d.line("corner", d.lower)
    assert list(x) == [3000.0, 3000.0]
    text = d.all_text()
    assert 'network "original" · LR4 at 3 kHz · [bypass] of speaker.toml' in text
    assert f"old network {study.passive.rms_deviation_db:.2f} dB" in text
    assert "lowest loads: woofer 6.63 ohm, tweeter" in text.replace("\n", " ")


def test_without_a_common_time_the_network_is_drawn_as_what_it_may_be(study_of, figure_of):
    study, d = study_of("hall horn"), figure_of("hall horn")
    names = d.names(d.upper)
    assert {"old network at best", "old network at worst", "its twin at best", "its twin at worst"} <= set(names)
    assert "old network" not in names
    _, best = d.line("old network at best")
    np.testing.assert_allclose(best, study.passive_total.best_level_db - study.passive.mean_db)
    assert len(d.upper.collections) == 1  # the shade between them
    text = d.all_text().replace("\n", " ")
    assert "with the best delays" in text
    assert "its twin 1" not in text  # no figure is given for one case among many
    d.assert_legible(20)


def test_without_sound_only_voltages_are_drawn_and_stops_are_told(study_of, drawn):
    study = study_of("attic left")
    halt = BypassFinding(Severity.STOP, "bridged outputs", "The minus of a bridged output carries the signal.")
    silent = replace(
        study,
        passive=None,
        passive_total=None,
        twin_sum=None,
        reached=None,
        better=None,
        findings=(halt, *study.findings),
    )
    assert sums_of(silent) == {}
    np.testing.assert_allclose(
        drives_of(silent)["crossover tweeter"], 20 * np.log10(np.abs(study.channels["tweeter"].slope))
    )
    d = drawn(draw_bypass(silent))
    assert d.labels(d.upper) == ["the sound of a driver is not known: no sum"]
    assert "bridged outputs: The minus of a bridged output carries the signal." in d.all_text()
    d.assert_legible(20)
