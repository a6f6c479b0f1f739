"""Normal less reversed in the third octave at the corner: of plain slopes, and in a room; both worked out anew here.

Slopes: Butterworth's from scipy's poles; two of them one after the other where they meet in phase. The room: of each
driver a tail of its own, random from line to line, whose power against that driver's direct sound is given.
"""

import numpy as np
import pytest
from scipy.signal import butter, freqs

from xover.acoustic.bands import plain_slopes_db


def slopes(order, times):
    """Lower and upper way over one third octave, in equal steps of log frequency; 1 at the corner."""
    w = np.geomspace(10**-0.05, 10**0.05, 20_001)
    return [freqs(*butter(order, 1.0, kind, analog=True), w)[1] ** times for kind in ("low", "high")]


def reversed_db(low, high):
    """Normal less reversed, as noise of equal power in equal steps shows it."""
    normal, turned = (np.mean(np.abs(low + sign * high) ** 2) for sign in (1, -1))
    return 10 * np.log10(normal / turned)


@pytest.mark.parametrize(
    ("name", "order", "times", "told_db"),
    [("LR4", 2, 2, 17.6), ("LR2", 1, 2, -23.5), ("Butterworth 1", 1, 1, 0.0), ("Butterworth 3", 3, 1, 0.0)],
)
def test_plain_slopes(name, order, times, told_db):
    anew = reversed_db(*slopes(order, times))
    assert plain_slopes_db()[name] == pytest.approx(anew, abs=0.01)
    # Edges of 2^(1/6) in place of 10^0.05 move these figures by 0.03 dB.
    assert anew == pytest.approx(told_db, abs=0.08)


@pytest.mark.parametrize(("direct_over_room_db", "told_db"), [(0.0, 4.7), (3.0, 6.7), (12.0, 13.3)])
def test_a_room_fills_the_null(direct_over_room_db, told_db):
    chance = np.random.default_rng(1)
    found = []
    for way in slopes(2, 2):
        tail = (chance.normal(size=way.size) + 1j * chance.normal(size=way.size)) / np.sqrt(2.0)
        found.append(way * (1.0 + 10 ** (-direct_over_room_db / 20) * tail))
    assert reversed_db(*found) == pytest.approx(told_db, abs=0.3)
