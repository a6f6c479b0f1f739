"""Which drivers are one way. All drivers here are invented."""

import sys
from pathlib import Path

import numpy as np
import pytest

from xover.files.netlist import parse_netlist
from xover.network import build_network
from xover.rules.likeness import ONE_WAY_OCTAVES
from xover.sound.meeting import WayOfDrivers, present_crossovers, ways
from xover.sound.prediction import predict
from xover.speaker import open_speaker
from xover.studies.change.bypass.study import study_bypass
from xover.studies.change.redesign.design import polarities, topology
from xover.studies.change.redesign.wish import Wish, grid, prepare_goal

sys.path.insert(0, str(Path(__file__).parents[1]))
from two_woofers import ODD, PARALLEL, TWEETER, WOOFER, F, write_folder

TREBLE = "C2 in t 4.7uF\nL2 t 0 0.35mH\nXhigh 0 t tweeter\n"
DRIVERS = {"woofer": WOOFER, "woofer2": ODD, "tweeter": TWEETER}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write_folder(tmp_path_factory.mktemp("two") / "left", DRIVERS, PARALLEL.format(second="woofer2"))


@pytest.fixture(scope="module")
def speaker(folder):
    return open_speaker(folder)


def names(speaker, cards):
    return [way.names for way in ways(speaker, build_network(parse_netlist("* t\n" + cards)), F)]


def test_two_names_on_the_same_wires_are_one_way(speaker):
    low, high = ways(speaker, speaker.network("found"), F)
    assert low == WayOfDrivers(("woofer", "woofer2"), ("woofer", "woofer2"))
    assert (low.name, high.name) == ("woofer+woofer2", "tweeter")
    assert len(present_crossovers(speaker, speaker.network("found"), F)) == 1


@pytest.mark.parametrize(
    "woofers",
    [
        "L1 in w 1mH\nXa w m woofer\nXb m 0 woofer2\n",  # in series
        "L1 in w 1mH\nXa w 0 woofer\nXb 0 w woofer2\n",  # one of them reversed: a fault, and no crossover
        "L1 in w 1mH\nXa w 0 woofer\nL3 in v 1.1mH\nXb v 0 woofer2\n",  # each behind a coil of its own, alike
        "Xa in 0 woofer\nR1 in v 3\nXb v 0 woofer2\n",  # the odd one padded
        "L1 in w 1mH\nXa w 0 woofer\nL3 in v 1.8mH\nXb v 0 woofer2\n",  # centres half an octave apart
    ],
)
def test_one_way_however_they_hang(speaker, woofers):
    assert names(speaker, woofers + TREBLE) == [("woofer", "woofer2"), ("tweeter",)]


def test_a_two_and_a_half_way_stays_two_ways_where_an_octave_lies_between(speaker):
    """The half one's coil alone, 12 mH on 6 ohm, falls from 80 Hz."""
    cards = "L1 in w 0.5mH\nXa w 0 woofer\nL3 in v 12mH\nC3 v 0 500uF\nXb v 0 woofer2\n" + TREBLE
    network = build_network(parse_netlist("* t\n" + cards))
    assert [w.names for w in ways(speaker, network, F)] == [("woofer2",), ("woofer",), ("tweeter",)]
    assert ONE_WAY_OCTAVES == 1.0


def test_woofer_and_tweeter_that_nothing_splits_are_two_ways(speaker):
    assert names(speaker, "Xa in 0 woofer\nXhigh in 0 tweeter\n") == [("woofer",), ("tweeter",)]
    assert names(speaker, "Xa in m woofer\nXhigh m 0 tweeter\n") == [("woofer",), ("tweeter",)]


def test_drivers_on_channels_of_their_own_are_ways_of_their_own(speaker):
    cards = "Vlow a 0\nVhigh b 0\nXa a 0 woofer\nXb b 0 woofer2\n"
    assert len(names(speaker, cards)) == 2


def test_the_sum_turns_both_woofers_or_neither(speaker):
    prediction = predict(speaker, "found", np.geomspace(20.0, 20e3, 300))
    assert prediction.total.reversed_keys == ("tweeter",)
    (crossover,) = prediction.crossovers
    assert (crossover.lower, crossover.upper) == (("woofer", "woofer2"), ("tweeter",))
    assert 1500.0 < crossover.frequency_hz < 3500.0


def test_one_way_is_no_time_reference(tmp_path):
    """Without places the woofers may be timed anyhow: the envelope still holds their cancelling."""
    speaker = open_speaker(write_folder(tmp_path / "a", DRIVERS, PARALLEL.format(second="woofer2"), places=False))
    total = predict(speaker, "found", np.geomspace(100.0, 400.0, 40)).total
    assert not total.coherent
    assert np.all(total.best_level_db - total.worst_level_db > 10.0)


def test_bypass_gives_them_one_channel_with_their_joint_load(folder):
    """6 and 5.6 ohm in parallel: the load's lowest lies between half the lower and half the higher."""
    more = '[bypass]\nfrequency_hz = 2500\nslope = "LR4"\n[bypass.channels.woofer2]\nminimum_load_ohm = 2\n'
    other = folder.with_name("with-amplifiers")
    write_folder(other, DRIVERS, PARALLEL.format(second="woofer2"))
    toml = other / "speaker.toml"
    toml.write_text(toml.read_text() + more)
    study = study_bypass(open_speaker(other), "found", amplifier_gain_db={"woofer2": 26.0})
    assert tuple(study.channels) == ("woofer+woofer2", "tweeter")
    low = study.channels["woofer+woofer2"]
    assert (low.wiring.how, low.wiring.assumed) == ("in parallel", False)
    assert ODD.re_ohm / 2 < low.load.reading.minimum_ohm < WOOFER.re_ohm / 2 + 0.5
    assert low.load.verdict.minimum_load_ohm == 2.0  # by the name of either driver
    assert low.trim.amplifier_gain_db == 26.0
    assert low.fitness.resonance_hz == pytest.approx(ODD.fs_hz, rel=0.02)
    alone = study_bypass(
        open_speaker(
            write_folder(folder.with_name("like"), {**DRIVERS, "woofer2": WOOFER}, PARALLEL.format(second="woofer2"))
        ),
        "found",
    )
    named = study_bypass(
        open_speaker(write_folder(folder.with_name("same"), DRIVERS, PARALLEL.format(second="woofer"))), "found"
    )
    assert alone.channels["woofer+woofer2"].load.reading.minimum_ohm == pytest.approx(
        named.channels["woofer"].load.reading.minimum_ohm, rel=1e-9
    )
    assert alone.crossover == named.crossover


def test_a_circuit_for_two_woofers_fits_them(speaker):
    reference = speaker.network("found")
    order = ways(speaker, reference, F)
    fitted = topology("two-way-two-woofers", reference, order)
    assert [c.key for c in fitted.network.drivers] == ["woofer", "woofer2", "tweeter"]
    assert [t.reversed for t in polarities(fitted, order)] == [(), ("tweeter",)]
    goal = prepare_goal(speaker, fitted.network.drivers, Wish(), reference, (2500.0,), grid())
    assert np.array_equal(goal.slope_db[0], goal.slope_db[1], equal_nan=True)
    assert not np.array_equal(goal.slope_db[0], goal.slope_db[2], equal_nan=True)
    assert np.isfinite(goal.most_drive_db).any(axis=1).tolist() == [False, False, True]


def test_bypass_tells_the_odd_woofer_with_its_remedies(speaker):
    study = study_bypass(speaker, "found")
    (finding,) = [f for f in study.findings if f.about == "odd driver"]
    assert "2.4 dB louder" in finding.text
    assert "3.3 ohm in the lead of woofer2: 0.8 dB" in finding.text
