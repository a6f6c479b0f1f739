"""How far a judged figure may be off: what falls out of a difference, what does not, and how often it holds.

All speakers here are the invented examples, with invented errors of the instruments.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from xover.curve import Curve, Unit, log_grid
from xover.driver.minimum_phase import minimum_phase_curve
from xover.rules.bands import LEAST_KNOWN
from xover.rules.instruments import Instrument
from xover.sound.change import largest_sum_change
from xover.sound.deviation import sum_deviation
from xover.sound.doubt import (
    _chance,
    _half_ranges_db,
    _smooth,
    deviation_gain,
    deviation_known,
    unready,
    voicing_gain,
)
from xover.sound.prediction import sound_of_network
from xover.speaker import Speaker, open_speaker

EXAMPLES = Path(__file__).parents[2] / "examples"
F = log_grid(100.0, 20_000.0, 24)
HELD = (Instrument.CALIBRATED, Instrument.UNCALIBRATED, Instrument.PHONE)


@pytest.fixture(scope="module")
def attic():
    return open_speaker(EXAMPLES / "attic-two-way" / "left")


def by(speaker, instrument, **factors):
    """The speaker as that instrument shows it: its responses times the factor of their rows."""
    drivers = {}
    for name, d in speaker.drivers.items():
        curve = d.response
        wrong = factors.get(name, np.ones_like)(curve.frequency_hz)
        drivers[name] = replace(d, response=replace(curve, value=curve.value * wrong), response_instrument=instrument)
    return Speaker(speaker.file, drivers)


def other(network, chance, spread):
    """The network with each value moved by chance."""
    parts = []
    for part in network.parts:
        field = {"R": "ohm", "L": "henry", "C": "farad"}[part.name[0].upper()]
        moved = getattr(part, field) * np.exp(spread * chance.uniform(-1, 1))
        parts.append(replace(part, **{field: moved}))
    return replace(network, parts=tuple(parts))


def test_the_figures_are_those_of_the_sum(attic):
    found, original = attic.network("found"), attic.network("original")
    sums = {n.title: sound_of_network(attic, n, F).total.level_db for n in (found, original)}
    half = {n: sum_deviation(F, level).half_range_db for n, level in sums.items()}
    assert deviation_known(attic, found, F).value_db == pytest.approx(half[found.title], abs=1e-9)
    gain = deviation_gain(attic, found, original, F).value_db
    assert gain == pytest.approx(half[found.title] - half[original.title], abs=1e-9)
    moved = abs(largest_sum_change(F, sums[original.title], sums[found.title]).change)
    assert voicing_gain(attic, original, found, original, F).value_db == pytest.approx(moved, abs=1e-9)
    assert gain > 0.5
    assert moved > 1.0


@pytest.mark.parametrize("instrument", HELD)
def test_what_two_networks_share_falls_out(attic, instrument):
    speaker = by(attic, instrument)
    found, original = speaker.network("found"), speaker.network("original")
    level = deviation_known(speaker, found, F)
    assert deviation_gain(speaker, found, found, F) == deviation_gain(speaker, original, original, F)
    assert deviation_gain(speaker, found, found, F).uncertainty_db == 0.0
    difference = voicing_gain(speaker, original, found, original, F)
    # Seen: 0.02 of 0.86 dB calibrated, 0.02 of 2.7 dB uncalibrated, 0.1 of 19 dB by phone.
    assert difference.sure
    assert difference.uncertainty_db < 0.1 * level.uncertainty_db
    a_little = replace(
        original, parts=tuple(replace(p, farad=1.05 * p.farad) if hasattr(p, "farad") else p for p in original.parts)
    )
    assert deviation_gain(speaker, original, a_little, F).uncertainty_db < 0.3 * level.uncertainty_db


def test_a_worse_instrument_knows_less(attic):
    off = [deviation_known(by(attic, i), attic.network("found"), F).uncertainty_db for i in HELD]
    assert off == sorted(off)
    assert off[0] < 1.2
    assert off[2] > 10.0


def test_alike_at_every_call_and_whatever_else_there_is(attic):
    found = attic.network("found")
    turned = Speaker(attic.file, dict(reversed(attic.drivers.items())))
    assert deviation_known(turned, found, F) == deviation_known(attic, found, F)


def test_no_verdict_on_what_says_nothing(attic):
    found, original = attic.network("found"), attic.network("original")
    for kind in (Instrument.PLACEHOLDER, Instrument.ASSUMED):
        speaker = by(attic, kind)
        for known in (deviation_known(speaker, found, F), deviation_gain(speaker, found, original, F)):
            assert np.isnan([known.value_db, known.uncertainty_db]).all()
            assert not known.sure
    assert unready(by(attic, Instrument.PLACEHOLDER), ("woofer",)) == ("woofer",)
    assert unready(attic, ("woofer", "tweeter")) == unready(by(attic, Instrument.ASSUMED), ("woofer",)) == ()
    # The drives do not rest on the sound, but on the impedance.
    assert voicing_gain(by(attic, Instrument.ASSUMED), original, found, original, F).sure
    blank = {n: replace(d, impedance_instrument=Instrument.PLACEHOLDER) for n, d in attic.drivers.items()}
    assert np.isnan(voicing_gain(Speaker(attic.file, blank), original, found, original, F).value_db)


def test_too_little_of_the_band(attic):
    grid = log_grid(400.0, 8000.0, 24)
    assert np.isnan(deviation_known(attic, attic.network("found"), grid).value_db)


def test_without_one_time_reference_no_sum_but_the_drives():
    hall = open_speaker(EXAMPLES / "hall-horn-two-way")
    found, original = hall.network("found"), hall.network("original")
    assert np.isnan(deviation_gain(hall, found, original, F).value_db)
    assert voicing_gain(hall, original, found, original, F).sure


def test_an_assumed_impedance_leaves_the_drives_less_known(attic):
    found, original = attic.network("found"), attic.network("original")

    def doubt(kind):
        drivers = {
            n: replace(d, impedance_instrument=kind, response_instrument=Instrument.ASSUMED)
            for n, d in attic.drivers.items()
        }
        return voicing_gain(Speaker(attic.file, drivers), original, found, original, F).uncertainty_db

    off = [doubt(i) for i in (Instrument.CALIBRATED, Instrument.DATASHEET, Instrument.ASSUMED)]
    assert off == sorted(off)
    assert off[2] > 3.0 * off[0]


@given(
    arrays(float, (3, 40), elements=st.floats(-40.0, 40.0)),
    st.lists(st.integers(0, 39), max_size=2),
    st.floats(20.0, 180.0),
    st.floats(16e3, 40e3),
)
def test_the_half_range_is_that_of_sum_deviation(levels, missing, low, high):
    """On any curve, with rows missing, whichever ends the grid has; a stack of three is read as three."""
    grid = np.geomspace(low, high, 40)
    levels[:, missing] = np.nan
    alone = [sum_deviation(grid, row) for row in levels]
    read = _half_ranges_db(grid, levels)
    for got, band in zip(read, alone, strict=True):
        if band.known_share < LEAST_KNOWN:
            assert np.isnan(got)
        else:
            assert got == pytest.approx(band.half_range_db, abs=1e-9)


def test_errors_are_of_minimum_phase():
    """Bode's integral over six decades, by another module, gives the same phase in the middle."""
    f = log_grid(1.0, 1e6, 24)
    off = 0.1 * _smooth(_chance("any"), f)[0]
    curve = Curve(f, np.exp(off.real).astype(complex), Unit.RATIO, has_phase=False)
    rebuilt, _ = minimum_phase_curve(curve)
    middle = (f > 200.0) & (f < 5000.0)
    assert np.ptp(off.imag[middle]) > 0.05
    assert np.max(np.abs(np.angle(rebuilt.value)[middle] - off.imag[middle])) < 0.02


def peak(f, at_hz, q, db):
    a, s = 10 ** (db / 40), 1j * f / at_hz
    return (s * s + s * a / q + 1) / (s * s + s / (a * q) + 1)


def roll_off(f, low_hz, high_hz, q):
    low, high = 1j * f / low_hz, 1j * f / high_hz
    return low * low / (low * low + low / q + 1) / (high * high + high / q + 1)


def errors_of(instrument, chance):
    """Errors of another kind than those that are drawn: (in common, of the woofer, of the tweeter), each of Hz."""
    u = chance.uniform
    level, own = (1.0, 1.0) if instrument is Instrument.PHONE else (0.5, 0.6)
    place, q, gain = np.exp(u(np.log(300), np.log(12e3), 3)), u(0.7, 4.0, 3), u(-1.0, 1.0, 3)
    shift = 10 ** (u(-level, level, 2) / 20)
    corners = u(60, 200), u(5e3, 14e3), u(0.5, 1.0)
    capsule = u(7e3, 14e3), u(0.7, 2.0), u(-4.0, 4.0)
    common = {
        Instrument.CALIBRATED: lambda f: peak(f, place[2], q[2], 0.8 * gain[2]),
        Instrument.UNCALIBRATED: lambda f: peak(f, *capsule) * peak(f, place[2], q[2], 2.0 * gain[2]),
        Instrument.PHONE: lambda f: roll_off(f, *corners) * peak(f, place[2], q[2], 5.0 * gain[2]),
    }[instrument]
    return common, *(lambda f, i=i: shift[i] * peak(f, place[i], q[i], own * gain[i]) * common(f) for i in range(2))


@pytest.mark.parametrize("instrument", HELD)
def test_how_often_it_holds(attic, instrument):
    """On errors that are not of the kind that is drawn: single peaks of Q 0.7 to 4, a phone's roll-off at both ends.

    Sixty measurements of one true speaker, each with two networks whose values lie up to a factor 1.65 off. Seen: of
    the true figures (evenness, gain in evenness, gain in voicing) all lay within the uncertainty that was told, but for
    one gain in evenness in sixty by phone. So it is cautious: of a hundred calibrated ones, 95 lay within 0.44, 0.51
    and 0.12 dB, and 0.72, 0.82 and 0.17 dB were told. Gains in evenness that stood above it: calibrated 31,
    uncalibrated 5, by phone none; all of the right sign.
    """
    chance = np.random.default_rng(7)
    original = attic.network("original")
    deaf = by(attic, Instrument.ASSUMED)
    held = []
    sure = right = 0
    for _ in range(60):
        _, woofer, tweeter = errors_of(instrument, chance)
        speaker = by(attic, instrument, woofer=woofer, tweeter=tweeter)
        one, two = other(original, chance, 0.5), other(original, chance, 0.5)
        told, true = (
            (
                deviation_known(s, one, F),
                deviation_gain(s, one, two, F),
                voicing_gain(s, original, one, two, F),
            )
            for s in (speaker, attic)
        )
        # A figure of the drives is held to the drives.
        drives = voicing_gain(deaf, original, one, two, F)
        true = (*true[:2], drives if told[2] == drives else true[2])
        held.append([abs(a.value_db - b.value_db) <= a.uncertainty_db for a, b in zip(told, true, strict=True)])
        if abs(told[1].value_db) > told[1].uncertainty_db:
            sure += 1
            right += told[1].value_db * true[1].value_db > 0
    assert np.all(np.mean(held, axis=0) >= 0.95)
    assert right == sure
    assert (sure == 0) == (instrument is Instrument.PHONE)


def test_where_the_delays_come_from_positions():
    """Acoustic centres anywhere within 10 mm, not Gaussian: sixty true speakers behind one folder of rebuilt phases.

    Seen: 98 % of the evennesses, 95 % of the gains in it and 95 % of those in voicing within what was told; of the
    latter half were read from drives, which no position moves, so that 28 of 31 of the sum's were. The other three lay
    beside a null of a network far off, by up to 1.9 dB where 0.2 dB was told: a share is what is told, not a bound.
    """
    chance, grid = np.random.default_rng(5), log_grid(100.0, 20_000.0, 12)
    folder = by(open_speaker(EXAMPLES / "studio-three-way"), Instrument.CALIBRATED)
    deaf = by(folder, Instrument.ASSUMED)
    original = folder.network("original")
    assert folder.timing_is_known(original)[0]
    held = []
    for _ in range(60):
        drivers = {}
        for name, d in folder.drivers.items():
            shift = chance.uniform(-10, 10)
            cards = {card: (x, y, z + shift) for card, (x, y, z) in d.card_positions_mm.items()}
            place = d.position_mm and (*d.position_mm[:2], d.position_mm[2] + shift)
            drivers[name] = replace(d, position_mm=place, card_positions_mm=cards)
        one, two = other(original, chance, 0.5), other(original, chance, 0.5)
        told, true = (
            (
                deviation_known(s, one, grid),
                deviation_gain(s, one, two, grid),
                voicing_gain(s, original, one, two, grid),
            )
            for s in (folder, Speaker(folder.file, drivers))
        )
        drives = voicing_gain(deaf, original, one, two, grid)
        true = (*true[:2], drives if told[2] == drives else true[2])
        held.append([abs(a.value_db - b.value_db) <= a.uncertainty_db for a, b in zip(told, true, strict=True)])
    assert np.all(np.mean(held, axis=0) >= 0.93)
