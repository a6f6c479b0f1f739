"""Pads: the textbook pair, the best pair for a curve, and the nearest that can be bought."""

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from xover.errors import InputError
from xover.parts.pad import (
    PadAim,
    PadResistors,
    PadWeights,
    aim_of_drop,
    aim_of_pad,
    best_pad,
    pad_cost,
    pad_load_ohm,
    pad_power,
    pad_transfer,
    preferred_pad,
    textbook_pad,
)

F = np.geomspace(500.0, 20_000.0, 40)
E3 = (0.1, 0.22, 0.47, 1.0, 2.2, 4.7, 10.0, 22.0, 47.0, 100.0, 220.0, 470.0, 1000.0)


def tweeter(re=5.5, le=5e-5, fs=1100.0, res=9.0, q=2.0):
    s = 1j * F / fs
    return re + 2j * np.pi * F * le + res * (s / q) / (s * s + s / q + 1)


def test_on_a_resistor_the_best_pair_is_the_textbook_pair():
    book = textbook_pad(8.0, 6.0)
    best = best_pad(aim_of_drop(F, np.full(F.shape, 8.0 + 0j), 6.0))
    assert best.series_ohm == pytest.approx(book.series_ohm, rel=2e-6)
    assert best.parallel_ohm == pytest.approx(book.parallel_ohm, rel=2e-6)
    assert book.series_ohm == pytest.approx(3.9905, abs=1e-4)


def test_what_a_pad_does_by_hand():
    # 4 ohm before 12 || 6 = 4 ohm: half the voltage, 8 ohm.
    assert pad_transfer(4.0, 12.0, np.array([6.0 + 0j])) == pytest.approx(0.5)
    assert pad_load_ohm(4.0, 12.0, np.array([6.0 + 0j])) == pytest.approx(8.0)
    assert pad_load_ohm(4.0, math.inf, np.array([6.0 + 3j])) == pytest.approx(10 + 3j)
    assert pad_transfer(0.0, math.inf, np.array([6.0 + 3j])) == pytest.approx(1.0)
    assert pad_transfer(4.0, 0.0, np.array([6.0 + 3j])) == 0


def test_cost_by_hand():
    # Half the voltage is -6.0206 dB for a wanted -4; 8 ohm for a wanted 6 is 2.4988 dB, at half weight.
    aim = aim_of_drop(np.array([1000.0]), np.array([6.0 + 0j]), 4.0)
    assert pad_cost(4.0, 12.0, aim) == pytest.approx(2.0206**2 + (0.5 * 2.4988) ** 2, rel=1e-4)
    assert pad_cost(4.0, 12.0, aim, PadWeights(1.0, 0.0)) == pytest.approx(2.0206**2, rel=1e-4)


@settings(max_examples=25)
@example(drop=14.0, le=2e-4, fs=2500.0, res=24.811, load=1.6667)  # two hollows: the deeper one is no grid point's best
@example(drop=13.772, le=0.0, fs=2345.87, res=23.405, load=2.0)
@given(
    drop=st.floats(1.0, 14.0),
    le=st.floats(0.0, 2e-4),
    fs=st.floats(400.0, 2500.0),
    res=st.floats(0.0, 30.0),
    load=st.floats(0.1, 2.0),
)
def test_no_pair_beats_the_best_pair(drop, le, fs, res, load):
    """Against a simplex search from the textbook pair, and the order that must hold: best, bought, and textbook."""
    from scipy.optimize import minimize

    z, weights = tweeter(le=le, fs=fs, res=res), PadWeights(1.0, load)
    aim = aim_of_drop(F, z, drop)
    best, book, bought = best_pad(aim, weights), textbook_pad(6.0, drop), preferred_pad(aim, "E6", weights)
    least = float(pad_cost(best.series_ohm, best.parallel_ohm, aim, weights))

    def cost(log_ohms):
        return float(pad_cost(*np.exp(log_ohms), aim, weights))

    start = [math.log(book.series_ohm), math.log(book.parallel_ohm)]
    found = minimize(cost, start, method="Nelder-Mead", options={"xatol": 1e-6, "fatol": 1e-10, "maxfev": 200})
    assert least <= found.fun * (1 + 1e-9) + 1e-9
    assert least <= pad_cost(bought.series_ohm, bought.parallel_ohm, aim, weights)
    assert least <= pad_cost(book.series_ohm, book.parallel_ohm, aim, weights)


def test_the_search_over_preferred_values_is_full():
    aim = aim_of_drop(F, tweeter(), 5.0)
    pairs = [(rs, rp) for rs in (0.0, *E3) for rp in (*E3, math.inf)]
    costs = [float(pad_cost(rs, rp, aim)) for rs, rp in pairs]
    assert preferred_pad(aim, "E3") == PadResistors(*pairs[int(np.argmin(costs))])
    alone = [pair for pair in pairs if math.isinf(pair[1])]
    best_alone = min(alone, key=lambda pair: float(pad_cost(*pair, aim)))
    assert preferred_pad(aim, "E3", series_only=True) == PadResistors(*best_alone)


def test_a_pad_is_its_own_best_copy():
    aim = aim_of_pad(F, tweeter(), PadResistors(4.7, 10.0))
    assert preferred_pad(aim, "E6") == PadResistors(4.7, 10.0)
    best = best_pad(aim)
    assert (best.series_ohm, best.parallel_ohm) == pytest.approx((4.7, 10.0), rel=1e-5)


def test_power_adds_up_and_follows_the_currents():
    z = tweeter()
    split = pad_power(PadResistors(3.3, 10.0), z)
    assert split.series + split.parallel + split.driver == pytest.approx(1.0, rel=1e-12)
    # One volt at every frequency: heat of each by its own current.
    current = 1 / (3.3 + 1 / (1 / 10.0 + 1 / z))
    at_driver = 1 - 3.3 * current
    heat = [np.abs(current) ** 2 * 3.3, np.abs(at_driver) ** 2 / 10.0, np.abs(at_driver / z) ** 2 * z.real]
    assert [split.series, split.parallel, split.driver] == pytest.approx([h.sum() / sum(heat).sum() for h in heat])
    assert split.series_most == pytest.approx((heat[0] / sum(heat)).max(), rel=1e-9)
    assert split.series_most > split.series > 0.2
    alone = pad_power(PadResistors(0.0, math.inf), z)
    assert (alone.series, alone.parallel, alone.driver) == (0.0, 0.0, 1.0)
    assert pad_power(PadResistors(8.0, 0.0), z).series == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: textbook_pad(0.0, 6.0), "impedance is 0 ohm"),
        (lambda: textbook_pad(8.0, 0.0), "drop is 0 dB"),
        (lambda: textbook_pad(8.0, 61.0), "drop is 61 dB"),
        (lambda: PadResistors(-1.0, 8.0), "pad of -1 and 8 ohm"),
        (lambda: PadResistors(math.inf, 8.0), "cannot be built"),
        (lambda: aim_of_drop(F, np.where(F > 1000, 8.0 + 0j, np.nan), 6.0), "not known over the whole band"),
        (lambda: PadAim(F[:0], F[:0] + 0j, F[:0], F[:0] + 0j), "not known over the whole band"),
    ],
)
def test_bad_input(call, message):
    with pytest.raises(InputError, match=message):
        call()
