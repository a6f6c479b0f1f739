"""Drivers that differ from their like, and what each remedy leaves. All drivers are invented."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from xover.judge.odd import OddRemedyKind, Trait, odd_drivers
from xover.judge.odd_words import differs_words, odd_sentence, remedy_words
from xover.network import solve
from xover.rules.audibility import HARD_DB
from xover.rules.instruments import Instrument
from xover.sound.prediction import predict
from xover.speaker import open_speaker

sys.path.insert(0, str(Path(__file__).parents[1]))
from two_woofers import ODD, PARALLEL, TWEETER, WOOFER, write_folder

TWO = PARALLEL.format(second="woofer2")
ONE = "* t\nL1 in w 1.5mH\nC1 w 0 12uF\nXlow w 0 woofer\nC2 in t 4.7uF\nL2 t 0 0.35mH\nXhigh t 0 tweeter\n"


@pytest.fixture(scope="module")
def cabinet(tmp_path_factory):
    def make(network=TWO, places=True, **drivers):
        folder = tmp_path_factory.mktemp("cabinet")
        return open_speaker(write_folder(folder, {**drivers, "tweeter": TWEETER}, network, places=places))

    return make


@pytest.fixture(scope="module")
def left(cabinet):
    return cabinet(woofer=WOOFER, woofer2=ODD)


@pytest.fixture(scope="module")
def right(cabinet):
    return cabinet(woofer=WOOFER, woofer2=WOOFER)


def found(one, other=None):
    mate = () if other is None else (other, other.network("found"))
    return odd_drivers(one, one.network("found"), *mate)


def kinds(odd):
    return {r.kind: r for r in odd.remedies}


def test_the_replaced_woofer_is_found_by_its_mate(left, right):
    (odd,) = found(left, right)
    assert (odd.driver, odd.like, odd.in_mate, odd.sure, odd.way) == (
        "woofer2",
        "woofer",
        False,
        True,
        "woofer+woofer2",
    )
    assert set(odd.traits) == {Trait.LEVEL, Trait.RESONANCE, Trait.DC_RESISTANCE}
    assert odd.level_db == pytest.approx(ODD.level_db - WOOFER.level_db, abs=0.2)
    assert (odd.resonance_hz, odd.like_resonance_hz) == pytest.approx((ODD.fs_hz, WOOFER.fs_hz), rel=1e-3)
    assert (odd.dc_ohm, odd.like_dc_ohm) == pytest.approx((ODD.re_ohm, WOOFER.re_ohm), rel=0.02)


def test_it_is_the_same_driver_whichever_cabinet_is_asked_about(left, right):
    (here,), (there,) = found(left, right), found(right, left)
    assert (there.in_mate, there.driver, there.sure) == (True, "woofer2", True)
    for kind, remedy in kinds(here).items():
        assert kinds(there)[kind].left_db == pytest.approx(remedy.left_db, abs=1e-9)


def test_like_drivers_are_not_odd(right):
    assert found(right) == found(right, right) == ()


def test_alone_the_cabinet_does_not_tell_which_is_the_original(left):
    (odd,) = found(left)
    assert (odd.driver, odd.sure, odd.mate_known) == ("woofer2", False, False)
    (named,) = found(left, None)
    assert "do not tell" in differs_words(named)


def test_left_as_it_is_the_pair_differs_as_the_two_predictions_do(left, right):
    """Two parallel woofers, one of them 2.4 dB louder: the mean of the bass rises by 20 lg((1 + 1.32)/2) = 1.3 dB."""
    (odd,) = found(left, right)
    f = np.geomspace(20.0, 20e3, 600)
    levels = [predict(s, "found", f).total.level_db for s in (left, right)]
    band = (f > 200.0) & (f < 2000.0)
    by_hand = float(np.max(np.abs(levels[0] - levels[1])[band]))
    accept = odd.remedies[0]
    assert accept.kind is OddRemedyKind.ACCEPT
    assert accept.left_db == pytest.approx(by_hand, abs=0.15)
    assert (accept.parts, accept.drivers) == (0, 0)


def test_each_remedy_and_what_it_leaves(left, right):
    (odd,) = found(left, right)
    remedy = kinds(odd)
    assert set(remedy) == set(OddRemedyKind) - {OddRemedyKind.MOVE}  # one odd driver cannot make two cabinets alike
    left_db = {kind: r.left_db for kind, r in remedy.items()}
    assert left_db[OddRemedyKind.ACCEPT] > 1.2
    assert left_db[OddRemedyKind.BALANCE] < 0.6 * left_db[OddRemedyKind.ACCEPT]
    assert left_db[OddRemedyKind.PAD] < 0.6 * left_db[OddRemedyKind.ACCEPT]
    assert left_db[OddRemedyKind.MATE] == pytest.approx(0.0, abs=1e-6)
    assert left_db[OddRemedyKind.SECOND] == pytest.approx(0.0, abs=1e-6)
    assert remedy[OddRemedyKind.BALANCE].gain_db == pytest.approx(-left_db[OddRemedyKind.ACCEPT] / 2.0, abs=0.1)
    own = [r.own_db for r in odd.remedies]
    assert np.isfinite(own).all()
    assert remedy[OddRemedyKind.MATE].own_db == pytest.approx(
        predict(right, "found", np.geomspace(20.0, 20e3, 240)).band.half_range_db, abs=0.1
    )


def test_the_pad_stands_in_the_odd_drivers_lead_alone(left, right):
    """Behind 3.3 ohm the odd one gets less, its parallel neighbour as much as before but for the lighter load."""
    (odd,) = found(left, right)
    pad = odd.remedy(OddRemedyKind.PAD)
    assert (pad.at, pad.in_mate, pad.parts) == (("woofer2",), False, 1)
    f = np.array([300.0])
    drives = [solve(n, f, left.impedances_ohm(n, f)).drive for n in (left.network("found"), pad.network)]
    z = left.drivers["woofer2"].impedance_ohm(f)
    wanted = 20.0 * np.log10(abs(z / (z + pad.pad_ohm)))[0]
    got = [20.0 * np.log10(abs(d["woofer2"] / d["woofer"]))[0] for d in drives]
    assert got[1] - got[0] == pytest.approx(wanted, abs=1e-9)
    assert wanted < -2.0


def test_two_odd_ones_in_one_cabinet_are_shared_out(cabinet, right):
    both = cabinet(woofer=ODD, woofer2=ODD)
    (odd,) = found(both, right)
    assert (odd.keys, odd.like_in_mate, odd.sure) == (("woofer", "woofer2"), True, False)
    remedy = kinds(odd)
    move = remedy[OddRemedyKind.MOVE]
    assert (move.parts, move.drivers, move.at) == (0, 0, ("woofer2",))
    assert move.left_db == pytest.approx(0.0, abs=1e-6)
    assert remedy[OddRemedyKind.ACCEPT].left_db > 2.0
    assert remedy[OddRemedyKind.MATE].drivers == remedy[OddRemedyKind.SECOND].drivers == 2
    assert odd.remedies[1].kind is OddRemedyKind.MOVE


def test_names_need_not_be_those_of_the_mate(left, cabinet):
    """The untouched cabinet still has one name on both of its cards."""
    places = {
        "woofer": "[drivers.woofer.positions_mm]\nupper = [0, 170, 0]\nlower = [0, -170, 0]\n",
        "tweeter": "position_mm = [0, 0, 0]\n",
    }
    (odd,) = found(left, cabinet(PARALLEL.format(second="woofer"), places=places, woofer=WOOFER))
    assert (odd.driver, odd.sure) == ("woofer2", True)
    assert odd.remedy(OddRemedyKind.SECOND).at in {("upper",), ("lower",)}
    assert odd.remedy(OddRemedyKind.SECOND).left_db == pytest.approx(0.0, abs=1e-6)


def test_one_woofer_in_each_cabinet(cabinet):
    odd_one, other = cabinet(ONE, woofer=ODD), cabinet(ONE, woofer=WOOFER)
    (odd,) = found(odd_one, other)
    assert (odd.driver, odd.like_in_mate, odd.sure) == ("woofer", True, False)
    assert OddRemedyKind.MOVE not in kinds(odd)
    # Nothing stands beside it, so that the whole bass differs; a resistor also moves the corner, and mends a part only.
    assert odd.remedies[0].left_db > 2.0
    assert 0.5 * odd.remedies[0].left_db < odd.remedy(OddRemedyKind.PAD).left_db < 0.8 * odd.remedies[0].left_db
    assert found(other) == ()


def test_a_quieter_one_is_matched_in_the_other_cabinet(cabinet):
    odd_one, other = cabinet(ONE, woofer=WOOFER), cabinet(ONE, woofer=ODD)
    (odd,) = found(odd_one, other)
    assert odd.level_db < -HARD_DB
    pad = odd.remedy(OddRemedyKind.PAD)
    assert (pad.in_mate, pad.at) == (True, ("woofer",))
    assert "the other cabinet" in remedy_words(odd, pad)


def test_other_loudspeakers_are_no_pair(cabinet):
    one = cabinet(ONE, woofer=WOOFER)
    other = replace(TWEETER, fs_hz=1500.0, level_db=88.0)
    folder = write_folder(one.file.folder.parent / "strange", {"woofer": ODD, "tweeter": other}, ONE)
    assert found(one, open_speaker(folder)) == ()


@pytest.mark.parametrize("instrument", [Instrument.PLACEHOLDER, Instrument.DATASHEET])
def test_what_is_not_known_of_a_driver_makes_it_not_odd(left, instrument):
    """2.4 dB, a quarter in resonance and a tenth in resistance lie within what datasheets differ by."""
    vague = {
        n: replace(d, impedance_instrument=instrument, response_instrument=instrument) for n, d in left.drivers.items()
    }
    assert found(replace(left, drivers=vague)) == ()


def test_told_in_few_words(left, right):
    (odd,) = found(left, right)
    said = odd_sentence(odd)
    assert "2.4 dB louder, resonance 48 Hz against 38 Hz" in said
    for remedy in odd.remedies:
        assert f"{remedy.left_db:.1f} dB" in said
    assert len(said) < 600
