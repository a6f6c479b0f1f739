"""The figure of a recording's distortion shows what was worked out, where the tone is loud, and can be read."""

from types import SimpleNamespace

import numpy as np
import pytest

from xover.drawing.recorded import draw_distortion
from xover.errors import InputError
from xover.recordings.rattle import Distortion

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
