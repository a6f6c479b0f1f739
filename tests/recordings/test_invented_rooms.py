"""The invented rooms do what rooms do, before anything is held to them: figures of handbooks come out by themselves."""

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from invented import rooms
from invented.rooms import CENTRE_HZ, LINES_HZ, Phone, Room, Session, Way

KHZ = int(np.argmin(np.abs(CENTRE_HZ - 1000)))
FLAT = np.zeros(LINES_HZ.size)
QUIET = np.full(CENTRE_HZ.size, -60.0)


@dataclass(frozen=True)
class Ideal(Way):
    """Half of a crossover at 1 kHz by formula, under a flat voice."""

    high: bool = False
    order: int = 4

    def drive(self, f):
        s = 1j * f / 1000.0
        if self.order == 4:
            both = (s**2 + np.sqrt(2) * s + 1) ** 2
        elif self.order == 2:
            both = (s + 1) ** 2
        else:
            both = s + 1 if self.order == 1 else (s + 1) * (s**2 + s + 1)
        return self.sign * (s**self.order if self.high else 1.0) / both


def ideal(order):
    """LR4 and LR2 (the latter with one driver turned, as it must be), Butterworth of order 1 or 3."""
    low, high = (
        Ideal(n, None, lambda f: np.ones_like(f, dtype=complex), (), 1, n == "tweeter", order) for n in ("w", "tweeter")
    )
    return (low, replace(high, sign=-1) if order == 2 else high)


def still(order, ratio_db=200.0, seed=0):
    """A session without noise or rounding, both drivers as far from the phone."""
    chance = np.random.default_rng(seed)
    room = Room.drawn(chance, 2, reach_s=0.06)
    middle = room.drivers_m.mean(axis=0) + np.array([2.0, 0.0, 0.0])
    room = replace(room, phone_m=middle, direct_over_room_db=ratio_db)
    return Session(chance, ideal(order), room, Phone(10, 1e-6, True, FLAT, rooms.skirts(None), QUIET))


def normal_less_reversed(session):
    net = session.network
    return session.band_db(session.power(net)) - session.band_db(session.power(rooms.reverse(net, "tweeter")))


@pytest.mark.parametrize(("order", "db", "within"), [(4, 17.6, 0.1), (2, 23.5, 0.1), (1, 0.0, 1e-6), (3, 0.0, 1e-6)])
def test_polarity_of_known_slopes(order, db, within):
    # Linkwitz 1976: in phase at the corner, so a null when reversed; Butterworth 1 and 3: in quadrature, so nothing.
    # Third octave about the corner, the drives' formulas averaged by hand.
    assert normal_less_reversed(still(order))[KHZ] == pytest.approx(db, abs=within)


def test_a_room_fills_the_null():
    # Diffuse field (Kuttruff, from memory): powers add, (1 + r/2) over (null + r/2): 4.6, 6.7 and 13.2 dB
    # for direct over reverberant sound of 0, 3 and 12 dB, if the drivers stand half a wavelength apart or more.
    sessions = [still(4, 0.0, seed) for seed in range(12)]
    for ratio_db, db in ((0, 4.7), (3, 6.7), (12, 13.3)):
        found = []
        for s in sessions:
            apart = np.array([[0.0, -0.5, -0.15], [0.0, 0.5, 0.15]]) + s.room.drivers_m.mean(axis=0)
            s = replace(s, room=replace(s.room, drivers_m=apart, direct_over_room_db=ratio_db), _heard={}, _scale=0.0)
            found.append(normal_less_reversed(s)[KHZ])
        assert np.mean(found) == pytest.approx(db, abs=1.0)


def test_noise_scatters_as_bandwidth_and_time_have_it():
    # Bendat and Piersol, Random Data (from memory): 4.34 dB/sqrt(B T); 60 readings of 24 bands know it to 2 %.
    chance = np.random.default_rng(3)
    session = Session(
        chance, ideal(4), Room.drawn(chance, 2, 0.02), Phone(10, 1e-6, False, FLAT, rooms.skirts(None), QUIET)
    )
    session.room = replace(session.room, direct_over_room_db=200.0)
    several = np.stack([session.read("found", session.network) for _ in range(60)])
    bands = slice(3, None)
    expected = 4.34 / np.sqrt(0.2316 * CENTRE_HZ[bands] * 10)
    assert np.median(several[:, bands].std(axis=0, ddof=1) / expected) == pytest.approx(1.0, abs=0.06)
    # In a reverberant field lines of a band are of unlike strength, so that fewer count: up to sqrt(2) times as much.
    session.room = replace(session.room, reach_s=0.1, direct_over_room_db=-20.0)
    session._heard, session._scale = {}, 0.0
    several = np.stack([session.read("found", session.network) for _ in range(60)])
    assert np.median(several[:, bands].std(axis=0, ddof=1) / expected) == pytest.approx(math.sqrt(2), abs=0.15)
    session.phone = replace(session.phone, periodic=True)
    assert np.ptp([session.read("found", session.network) for _ in range(3)], axis=0).max() < 0.001


def test_a_room_and_its_phone_cancel_where_one_driver_rules():
    worst = []
    for seed in range(4):
        chance = np.random.default_rng(seed)
        net = rooms.speaker(chance)
        phone = rooms.drawn_phone(chance, step_db=1e-6, periodic=True, background_db=QUIET)
        session = Session(chance, net, Room.drawn(chance, 2, 0.06), phone)
        other = (net[0], net[1].but(len(net[1].links) - 1, 0.5))
        found = session.read("found", net) - session.read("other", other)
        ruled = (session.rules_db(net)[0] > 30) & (session.rules_db(other)[0] > 30)
        drives, who = session.drive_change_db(net, other), session.rules_db(net)[1]
        worst.append(np.abs(found - drives[who, np.arange(found.size)])[ruled].max())
    assert np.median(worst) < 0.07
    # What the normal and the reversed sum come to together is what the drivers come to alone.
    columns = [session.band_db(session.power(n)) for n in (net, rooms.reverse(net, "tweeter"))]
    sums = [np.sum([10 ** (c / 10) for c in columns], axis=0) / 2]
    sums.append(np.sum([10 ** (session.band_db(session.power(rooms.alone(net, n.name))) / 10) for n in net], axis=0))
    assert sums[0] == pytest.approx(sums[1], rel=1e-9)
