"""Bands are proposed where the response is known, cuts before boosts, no boost near a driver's resonance."""

import math
from itertools import combinations

import numpy as np
import pytest

from xover.acoustic.level import sensitivity
from xover.acoustic.summing import make_branch
from xover.amplifier.programme import programme_weights
from xover.curve import log_grid
from xover.electronic.biquad import Band, BandKind, parse_slope, response
from xover.rules.instruments import RESPONSE_SPREADS, Instrument
from xover.speaker import open_speaker
from xover.studies.change.bypass.channels import Voices
from xover.studies.change.bypass.crossover import Crossover, best_sum
from xover.studies.change.bypass.flatten import BOOST_OVER_RESONANCE, BOOST_Q, flatten
from xover.studies.change.bypass.known import unsure_db
from xover.studies.change.bypass.study import study_bypass

F = log_grid(20.0, 20e3, 24)
RATE = 48_000.0


class NoPlaces:
    """A speaker of which nothing is asked but where the listener sits."""

    listening = None


def ripple(at_hz, db, q=1.5):
    """Level of a driver with one hump (db > 0) or dip."""
    return response([Band(BandKind.PEAKING, at_hz, db, q)], F, RATE)


def flattened(low, high, *, unsure=(0.5, 0.5), resonance=(40.0, 900.0)):
    """Bands by channel for two flat drivers with these ripples behind LR4 at 2.5 kHz, and the sums before and after."""
    pressure = 10.0**4.5 * np.stack([low, high])
    names, one = ("low", "high"), np.ones(F.size, dtype=complex)
    branches = tuple(make_branch(n, one, p, timing_known=True) for n, p in zip(names, pressure, strict=True))
    bound = np.zeros(pressure.shape)
    voices = Voices(F, names, branches, ((0,), (1,)), pressure, bound, True, "", (), (200.0, 15e3))
    crossover = Crossover((2500.0,), parse_slope("LR4"), "", False)
    start = best_sum(NoPlaces, voices, crossover, RATE)
    sizes = {n: np.full(F.size, u) for n, u in zip(voices.names, unsure, strict=True)}
    fs = dict(zip(voices.names, resonance, strict=True))
    found = flatten(NoPlaces, voices, crossover, start, RATE, sizes, fs)
    return {n: s.bands for n, s in found.settings.items()}, start.band.rms_deviation_db, found.band.rms_deviation_db


def test_a_hump_is_cut_and_a_dip_beside_it_is_not_boosted_first():
    flat = np.ones(F.size, dtype=complex)
    bands, before, after = flattened(ripple(700.0, 5.0), ripple(7000.0, 5.0))
    assert [b.gain_db < 0 for n in bands for b in bands[n]] == [True, True]
    assert bands["low"][0].frequency_hz == pytest.approx(700.0, rel=0.1)
    assert bands["high"][0].frequency_hz == pytest.approx(7000.0, rel=0.1)
    assert after < 0.3 * before
    assert flattened(flat, flat)[0] == {"low": (), "high": ()}


@pytest.mark.parametrize(("at_hz", "db", "q"), [(8000.0, -4.0, 2.0), (500.0, -3.0, 2.0), (14_000.0, -5.0, 4.0)])
def test_a_dip_is_boosted_by_3_db_at_most_and_clear_of_the_resonance(at_hz, db, q):
    flat, dip = np.ones(F.size, dtype=complex), ripple(at_hz, db, q)
    low = at_hz < 2500.0

    def boosts(resonance):
        bands, before, after = flattened(dip if low else flat, flat if low else dip, resonance=resonance)
        assert after <= before
        return [b for own in bands.values() for b in own if b.gain_db > 0]

    (boost,) = boosts((40.0, 900.0))
    assert boost.frequency_hz == pytest.approx(at_hz, rel=0.1)
    assert 1.0 < boost.gain_db <= 3.0 + 1e-6
    assert boost.q <= 2.0 + 1e-6
    # A driver whose resonance lies higher is boosted an octave above it or not at all; where it is not known, never.
    assert all(b.frequency_hz >= 1.2 * at_hz * (1 - 1e-6) for b in boosts((0.6 * at_hz, 0.6 * at_hz)))
    assert boosts((math.nan, math.nan)) == []


def test_what_is_left_of_a_boost_at_the_resonance_is_half_of_it_at_most():
    for q in (BOOST_Q[0], 1.0, BOOST_Q[1]):
        boost = Band(BandKind.PEAKING, BOOST_OVER_RESONANCE * 1000.0, 3.0, q)
        assert 20 * np.log10(np.abs(response([boost], F[F <= 1000.0], RATE))).max() <= 1.5


def test_bands_of_one_channel_do_not_stand_on_each_other():
    flat = np.ones(F.size, dtype=complex)
    for db, q in ((-5.0, 4.0), (-8.0, 2.0), (9.0, 1.0)):
        for own in flattened(flat, ripple(9000.0, db, q))[0].values():
            assert sum(b.gain_db > 0 for b in own) <= 1
            assert all(abs(math.log2(a.frequency_hz / b.frequency_hz)) >= 0.5 for a, b in combinations(own, 2))


def test_a_band_stands_only_where_it_corrects_more_than_what_is_not_known():
    hump = ripple(7000.0, 3.0)
    flat = np.ones(F.size, dtype=complex)
    assert flattened(flat, hump, unsure=(1.0, 1.0))[0]["high"]
    assert flattened(flat, hump, unsure=(1.0, 4.0))[0] == {"low": (), "high": ()}
    assert flattened(flat, hump, unsure=(1.0, math.inf))[0] == {"low": (), "high": ()}
    assert flattened(hump, flat, unsure=(1.0, math.inf))[0]["high"] == ()


@pytest.mark.parametrize("instrument", ["phone", "uncalibrated", "calibrated"])
def test_phone_levels_are_matched_and_never_corrected(make, instrument):
    toml = make(levels=(90.0, 93.0)).file.path
    table = toml.parent / "high.csv"
    rows = [line.split() for line in table.read_text().splitlines()[1:]]
    # A hump of 6 dB at 7 kHz on the tweeter.
    made = [(float(f), float(v) + 6.0 * math.exp(-((math.log2(float(f) / 7000.0) / 0.5) ** 2)), a) for f, v, a in rows]
    table.write_text("Hz dB deg\n" + "".join(f"{f:.9g} {v:.9g} {a}\n" for f, v, a in made))
    text = toml.read_text().replace('phase = "measured"', f'phase = "measured"\nresponse_instrument = "{instrument}"')
    toml.write_text(text)
    found = study_bypass(open_speaker(toml), None, log_grid(20.0, 20e3, 24), with_map=False)
    assert found.instruments == dict.fromkeys(("woofer", "tweeter"), Instrument(instrument))
    bands = {n: s.bands for n, s in found.settings.items()}
    if instrument == "phone":
        assert bands == {"woofer": (), "tweeter": ()}
        assert any("calibrated microphone" in gap.remedy for gap in found.gaps)
    else:
        (band,) = bands["tweeter"]
        assert band.frequency_hz == pytest.approx(7000.0, rel=0.1)
        assert band.gain_db < -3.0
        assert not found.gaps
    # The level is matched whatever it was heard with: 3 dB louder, more with the hump, less with its cut.
    assert -6.0 < found.settings["tweeter"].gain_db < -2.0
    assert found.heard
    # Watts are those of what is proposed, its bands counted.
    weights, best = programme_weights(found.frequency_hz), found.better
    assert found.power.sensitivity_db == pytest.approx(sensitivity(found.frequency_hz, best.total.level_db).level_db)
    volts = found.power.reference_v * np.sqrt(np.sum(weights * np.abs(best.filters["tweeter"]) ** 2))
    assert found.channels["tweeter"].power.voltage_rms_v == pytest.approx(volts)


def test_what_is_not_known_is_the_rule_s_of_the_worst_driver(make):
    toml = make().file.path
    text = toml.read_text().replace('phase = "measured"', 'phase = "measured"\nresponse_instrument = "uncalibrated"', 1)
    toml.write_text(text)
    drivers = open_speaker(toml).drivers
    assert drivers["woofer"].response_instrument is Instrument.UNCALIBRATED
    spread = RESPONSE_SPREADS[Instrument.UNCALIBRATED]
    at_10k = math.hypot(spread.common_db[-1][1], spread.own_shape_db[-1][1])
    both = unsure_db([drivers["woofer"], drivers["tweeter"]], np.array([1000.0, 10_000.0]))
    assert both[1] == pytest.approx(at_10k)
    assert both[0] < both[1]
    assert unsure_db([drivers["tweeter"]], np.array([10_000.0]))[0] < at_10k
