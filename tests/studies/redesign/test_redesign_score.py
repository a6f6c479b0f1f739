"""Residuals, their squares and their derivatives."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from known_speakers import FREQUENCY, known_speaker

from xover.sound.meeting import present_crossovers, ways
from xover.sound.resonance import driver_resonance_hz
from xover.speaker import open_speaker
from xover.studies.change.redesign.design import Design, openable
from xover.studies.change.redesign.goal import least_score, read, residuals, residuals_and_slopes, score
from xover.studies.change.redesign.wish import Weights, Wish, grid, prepare_goal

EXAMPLES = Path(__file__).parents[3] / "examples"


@pytest.fixture(scope="module")
def attic():
    """The attic speaker with every kind of residual at work."""
    speaker = open_speaker(EXAMPLES / "attic-two-way" / "left")
    network = speaker.network("original")
    f = grid()
    wish = Wish(minimum_load_ohm=6.5, epdr_floor_ohm=3.2, may_lose_db=-0.5, tilt_db_per_octave=-0.3)
    corners = present_crossovers(speaker, network, np.geomspace(20, 20_000, 300))
    goal = prepare_goal(speaker, network.drivers, wish, network, corners, f)
    # So low that the tweeter breaks it somewhere.
    goal = replace(goal, most_drive_db=goal.most_drive_db - 15.0)
    coils = {c.name: (c.henry, c.dcr_ohm) for c in network.coils}
    return Design(network, goal, openable(network), coils)


def test_slopes_are_the_differences_of_the_residuals(attic):
    x, h = np.log(attic.start), 1e-6
    value, slope = residuals_and_slopes(attic.goal, *attic.solve_with_slopes(np.exp(x)))
    np.testing.assert_allclose(value, residuals(attic.goal, *attic.solve(np.exp(x)[None]))[0], rtol=1e-12, atol=1e-12)
    for column, step in enumerate(np.eye(x.size) * h):
        up, down = (residuals(attic.goal, *attic.solve(np.exp(x + sign * step)[None]))[0] for sign in (1, -1))
        np.testing.assert_allclose(slope[:, column], (up - down) / (2 * h), rtol=2e-5, atol=2e-6)
    assert np.abs(slope).max() > 0.1


@pytest.mark.parametrize("kind", ["total", "together", "slopes", "off_axis", "level", "load", "below_resonance"])
def test_every_weight_counts_by_itself(attic, kind):
    """Each group is at work here, and twice its weight is twice its part of the score."""
    nothing = dict.fromkeys(attic.goal.weights, 0.0)
    solved = attic.solve(attic.start[None])
    one = score(replace(attic.goal, weights=nothing | {kind: 1.0}), *solved)[0]
    two = score(replace(attic.goal, weights=nothing | {kind: 2.0}), *solved)[0]
    assert one > 0
    assert two == pytest.approx(2 * one, rel=1e-9)


def test_score_is_the_sum_of_squares_and_never_below_its_part(attic):
    values = attic.start * np.exp(0.5 * np.random.default_rng(1).standard_normal((40, attic.start.size)))
    drive, load = attic.solve(values)
    total = score(attic.goal, drive, load)
    np.testing.assert_allclose(total, np.sum(residuals(attic.goal, drive, load) ** 2, axis=1), rtol=1e-12)
    part = least_score(attic.goal, drive)
    assert np.all(part > 0)
    assert np.all(part <= total * (1 + 1e-12))


def test_readings_are_what_a_person_reads_off():
    design, values = known_speaker(3)
    drive, load = design.solve(values[None])
    reading = read(design.goal, drive, load)
    # Linkwitz-Riley: the sum is flat.
    assert reading.deviation_db[0] == pytest.approx(0.0, abs=1e-9)
    assert reading.rms_db[0] == pytest.approx(0.0, abs=1e-9)
    assert reading.level_db[0] == pytest.approx(0.0, abs=1e-9)
    assert reading.lowest_ohm[0] == pytest.approx(np.abs(load).min())
    # Known: the tweeter 3 dB up lifts the top by 3 dB against the bottom: half the range is 1.5 dB.
    louder = replace(design.goal, response=design.goal.response * np.array([[1.0], [10 ** (3 / 20)]]))
    assert read(louder, drive, load).deviation_db[0] == pytest.approx(1.5, abs=0.02)
    assert score(design.goal, drive, load)[0] == pytest.approx(0.0, abs=1e-12)


def test_a_target_that_tilts_moves_the_score_not_the_network():
    design, values = known_speaker(4)
    solved = design.solve(values[None])
    tilted = replace(design.goal, shape_db=-0.5 * np.log2(FREQUENCY / 1000))
    octaves = np.log2(FREQUENCY[design.goal.in_band][[0, -1]])
    expected = 0.5 * (octaves[1] - octaves[0]) / 2
    assert read(tilted, *solved).deviation_db[0] == pytest.approx(expected, rel=1e-6)


def test_order_of_the_ways_and_resonance():
    speaker = open_speaker(EXAMPLES / "studio-three-way")
    assert [w.name for w in ways(speaker, speaker.network("found"), grid())] == ["woofer", "mid", "tweeter"]
    assert len(present_crossovers(speaker, speaker.network("found"), np.geomspace(20, 20_000, 300))) == 2
    fs = driver_resonance_hz(speaker.drivers["tweeter"])
    sweep = speaker.drivers["tweeter"].impedance
    window = (sweep.frequency_hz > 300) & (sweep.frequency_hz < 6000)
    peak = sweep.frequency_hz[window][np.argmax(np.abs(sweep.value[window]))]
    assert fs == pytest.approx(peak, rel=0.05)


def test_a_weight_below_zero_is_refused():
    from xover.errors import OptionError

    with pytest.raises(OptionError, match="together"):
        Weights(together=-1.0)
    with pytest.raises(OptionError, match="rising"):
        Wish(band_hz=(1000.0, 500.0))
