"""The figures of a recording show what was worked out, and can be read: a response with its gate, and distortion."""

from types import SimpleNamespace

import numpy as np
import pytest

from xover.drawing.recorded import draw_distortion, draw_recorded
from xover.errors import InputError
from xover.recordings.gate import Arrival, gate_at
from xover.recordings.rattle import Distortion
from xover.studies.desk.response.result import NearField, RecordedResponse, Splice

F = np.geomspace(22.0, 3500.0, 90)


def distorted(rattle):
    """A driver whose harmonics fall, and something that rattles at 200 Hz."""
    harmonics = np.array([-30.0 - 8 * n - 10 * np.log10(F / 22.0) for n in range(4)])
    harmonics[3, 60:] = np.nan
    above = np.full(90, np.nan)
    if rattle:
        above[30:42] = -40.0 - 2.0 * np.abs(np.arange(12) - 6)
    loud = F > 40.0
    return Distortion(F, harmonics, np.full(90, -30.0), above, -62.0 - 3 * np.log10(F), loud)


@pytest.mark.parametrize("rattle", [True, False])
def test_what_is_known_is_drawn(drawn, rattle):
    d = distorted(rattle)
    figure = drawn(draw_distortion(SimpleNamespace(source="a/woofer.wav", distortion=d)))
    x, y = figure.line("harmonic 3")
    np.testing.assert_array_equal(x, F)
    np.testing.assert_array_equal(y, np.where(d.loud, d.harmonics_db[1], np.nan))
    np.testing.assert_array_equal(figure.line("above", figure.lower)[1], np.where(d.loud, d.higher_db, np.nan))
    assert {"second", "third", "fourth", "fifth"} <= set(figure.labels(figure.upper))
    assert ("above the fifth" in figure.labels(figure.lower)) is rattle
    assert "woofer.wav" in figure.all_text()
    figure.assert_legible(20)
    assert figure.crossed(figure.upper) == []
    assert figure.crossed(figure.lower) == []


def test_a_table_tells_no_distortion():
    with pytest.raises(InputError, match="no recording"):
        draw_distortion(SimpleNamespace(source="a.csv", distortion=None))


def recorded_response(**more):
    """A response through a gate of 4.5 ms, with noise 40 dB below it; invented."""
    f = np.geomspace(25.0 if "near" in more else 223.0, 20_000.0, 300)
    t = np.arange(-48, 336) / 48_000
    pulse = np.exp(-((t / 1e-4) ** 2)) + 0.3 * np.exp(-(((t - 4.67e-3) / 1e-4) ** 2))
    noise = np.full(len(f), 0.04)
    gate = 0.6 * 223.0 / f
    return RecordedResponse(
        "a/woofer.wav",
        f,
        -5.0 * np.log10(1 + f / 3000),
        None,
        noise,
        gate,
        Arrival(3e-3, 4.67e-3),
        4.48e-3,
        False,
        2.9e-3,
        1.0,
        distorted(True),
        (),
        None,
        False,
        (t, pulse),
        (),
        ("woofer.wav", "sweep.wav"),
        **more,
    )


def test_a_response_is_drawn_with_its_gate(drawn):
    got = recorded_response()
    figure = drawn(draw_recorded(got))
    level = figure.figure.axes[1]
    t, gate = figure.line("gate")
    np.testing.assert_array_equal(gate, gate_at(t, 4.48e-3))
    assert gate[np.argmin(np.abs(t - 2e-3))] == 1.0
    assert gate[t > 4.5e-3].max() == 0.0
    assert [float(x) for x in figure.line("direct sound")[0]] == [0.0]
    (x,), (y,) = figure.line("first reflection 4.67 ms")
    assert x == pytest.approx(4.67e-3, abs=2e-5)
    assert y == pytest.approx(0.3, abs=0.01)
    np.testing.assert_array_equal(figure.line("level", level)[1], got.level_db)
    # 0.08 dB of two standard deviations are 40.7 dB below.
    np.testing.assert_allclose(figure.line("noise", level)[1] - got.level_db, -40.7, atol=0.05)
    edge = figure.line("edge", level)[0]
    assert edge[0] == pytest.approx(1 / 4.48e-3)
    (shade,) = [p for p in level.patches if p.get_label() == "unknown"]
    assert shade.get_x() + shade.get_width() == pytest.approx(1 / 4.48e-3)
    assert "1/gate = 223 Hz" in figure.labels(level)
    assert {"gate 4.48 ms", "first reflection 4.67 ms", "direct sound"} <= set(figure.labels(figure.upper))
    figure.assert_legible(20)
    for panel in figure.figure.axes:
        assert figure.crossed(panel) == []


def test_where_a_near_field_is_joined_nothing_is_shaded(drawn):
    got = recorded_response(near=NearField(0.165, None, 660.0, 0.25), splice=Splice(300.0, 27.0, 0.1, None))
    figure = drawn(draw_recorded(got))
    level = figure.figure.axes[1]
    assert "near field up to 300 Hz" in figure.labels(level)
    assert [p for p in level.patches if p.get_label() == "unknown"] == []
    figure.assert_legible(20)
