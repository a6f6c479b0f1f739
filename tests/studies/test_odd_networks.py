"""Odd but legal networks: each command ends with an answer, or says which one is missing; what nothing reaches is told.

All of it is counted by `python tests/benchmarks/odd_networks.py`; here a share of it.
"""

import json
import re
import sys
from pathlib import Path
from random import Random

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))
sys.path.insert(0, str(Path(__file__).parents[1] / "network"))

from odd_networks import FOLDERS, Asked, ask, asked, oddities, plain, write_folder
from random_networks import random_network

from xover.files.netlist import parse_netlist
from xover.judge.kinds import Fault
from xover.network import solve
from xover.network.cards import build_network
from xover.sound.pairing import drives_like, not_compared
from xover.speaker import open_speaker
from xover.studies.desk.check.study import study_check

ATTIC = FOLDERS["attic"][1]
ODD = dict(oddities(ATTIC))
QUICK = ("predict", "load", "condition", "refresh", "stress", "compare", "pad", "delay")
SHARE = (
    *("missing-in-found", "twice-in-found", "twice-fed-unlike", "one-in-series-with-itself", "none-between-dummy"),
    *("between-channels", "never-grounded", "never-grounded-both", "coupled-tightly", "only-woofers", "all-silent"),
)
F = np.geomspace(20, 20e3, 61)


@pytest.fixture
def folder(tmp_path):
    return lambda name: write_folder(tmp_path / name, "attic", ODD[name])


@pytest.mark.parametrize("name", SHARE)
def test_each_command_ends_with_an_answer_or_says_what_is_missing(folder, name, monkeypatch):
    place = folder(name)
    monkeypatch.chdir(place)
    for run in asked("attic", name, ODD[name], QUICK):
        if "--json" in run.words and run.command not in ("refresh", "stress"):
            continue
        outcomes, told, _ = ask(run, place)
        story = f"{run.command} {run.words}: {outcomes}\n{told}"
        assert outcomes[0] in ("answer", "says what is missing", "refused, 2"), story
        assert not {"WARNING", "FAULT, 3"} & set(outcomes), story
        if outcomes[0] == "refused, 2":
            assert told.startswith("error: "), story
            assert told.count("\n") == 1, story
        elif "--json" not in run.words:
            assert not re.search(r"\bnan\b|\binf\b|e-\d\d", told), story


def test_a_driver_that_is_missing_or_stands_twice_is_told(folder):
    one = {f.fault: f for f in study_check(open_speaker(folder("missing-in-found"))).findings}
    assert one[Fault.NO_DRIVER].driver == "tweeter"
    assert Fault.DRIVER_COUNT not in one  # said once
    two = {f.fault: f for f in study_check(open_speaker(folder("twice-in-found"))).findings}
    assert two[Fault.DRIVER_COUNT].facts["cards"] == {"original": ("Xhigh",), "found": ("Xhigh", "Xhigh2")}
    assert "Xhigh, Xhigh2" in two[Fault.DRIVER_COUNT].text
    assert Fault.DRIVER_COUNT not in {f.fault for f in study_check(open_speaker(folder("plain"))).findings}


def both(speaker, first="original", other="found"):
    networks = [speaker.network(n) for n in (first, other)]
    drives = [solve(n, F, speaker.impedances_ohm(n, F)).drive for n in networks]
    return networks[0], drives[0], networks[1], drives[1]


def test_a_driver_that_stands_twice_is_compared_where_both_are_fed_alike(folder):
    pair = both(open_speaker(folder("twice-in-found")))
    like = drives_like(*pair)
    assert set(like) == {"woofer", "tweeter"}
    assert np.array_equal(like["tweeter"], pair[3]["high"], equal_nan=True)
    assert not not_compared(*pair)
    back = drives_like(*pair[2:], *pair[:2])
    assert np.array_equal(back["high2"], pair[1]["tweeter"], equal_nan=True)


def test_fed_unlike_it_is_compared_by_card_and_the_other_card_is_told(folder):
    pair = both(open_speaker(folder("twice-fed-unlike")))
    assert np.array_equal(drives_like(*pair)["woofer"], pair[3]["low"], equal_nan=True)
    (lone,) = not_compared(*pair)
    assert (lone.driver, lone.lone) == ("woofer", ("low9",))
    assert "low9 not compared" in lone.told("original", "found")


def test_a_missing_driver_is_not_compared(folder):
    (gone,) = not_compared(*both(open_speaker(folder("missing-in-found"))))
    assert gone.told("original", "found") == (
        "tweeter is in 'original' and not in 'found': its drive cannot be compared"
    )


def test_a_network_that_meets_no_minus_is_found_and_its_levels_are_nothing(folder, monkeypatch):
    place = folder("never-grounded")
    (cut,) = [f for f in study_check(open_speaker(place)).findings if f.fault is Fault.NO_CIRCUIT]
    assert cut.where == "found"
    assert "they meet the amplifier at node in only" in cut.text
    assert cut.remedy == "join one of the nodes w, mm, t, p to 0"
    monkeypatch.chdir(place)
    said = {}
    for command in ("predict", "load"):
        _, told, _ = ask(Asked("attic", "", command, (".", "--network", "found", "--json")), place)
        said[command] = json.loads(told.splitlines()[0])
    assert {v for d in said["predict"]["drive"].values() for v in d["magnitude_db"]} == {None}
    assert {v for d in said["predict"]["acoustic"].values() for v in d.get("level_db", [])} == {None}
    assert set(said["load"]["load"]["impedance_ohm"]) == {None}
    assert said["load"]["summary"]["channels"]["in"]["verdict"]["sentence"].startswith("the amplifier has no load")


@pytest.mark.parametrize(
    ("name", "command", "said"),
    [
        ("never-grounded-both", "refresh", "no voltage reaches a driver in 'original'"),
        ("never-grounded-both", "redesign", "no voltage reaches a driver in 'found'"),
        ("never-grounded-both", "infer", "no current flows in the network: a sweep tells nothing"),
        ("never-grounded-both", "verify", "no current flows in the network: a sweep tells nothing"),
    ],
)
def test_what_has_no_answer_is_refused_in_a_line(folder, name, command, said, monkeypatch):
    place = folder(name)
    monkeypatch.chdir(place)
    run = next(asked("attic", name, ODD[name], (command,)))
    outcomes, told, _ = ask(run, place)
    assert outcomes == ("refused, 2",)
    assert told.startswith(f"error: {said}; ")


def test_only_rounding_is_told_as_nothing():
    """150 random networks without their ground give exactly nothing; a fourth order far down keeps its level."""
    for seed in range(150):
        drawn = random_network(Random(seed))
        cards = [line.split() for line in drawn.text().splitlines()[1:]]
        for card in cards:
            if card[0][0] in "RLCX":
                card[1:3] = ["g" if node == "0" else node for node in card[1:3]]
        network = build_network(parse_netlist("* no ground\n" + "\n".join(" ".join(c) for c in cards)))
        found = solve(network, F, drawn.impedances(F))
        assert not any(drive.any() for drive in found.drive.values()), seed
        assert np.isinf(next(iter(found.impedance_ohm.values()))).all(), seed
    ladder = build_network(parse_netlist("C1 in a 1uF\nL1 a 0 0.1mH\nC2 a b 1uF\nL2 b 0 0.1mH\nX1 b 0 t\n"))
    low = np.array([2.0])
    w = 2 * np.pi * low[0]
    # Far below its corner each section passes w^2 L C of what it gets, the drivers and the next section no matter.
    assert solve(ladder, low, {"t": np.array([8.0])}).drive["t"][0] == pytest.approx((w**2 * 1e-10) ** 2, rel=1e-3)
    assert 20 * np.log10((w**2 * 1e-10) ** 2) < -300.0


def test_words_of_the_results_are_no_drivers(folder):
    network = build_network(parse_netlist(plain(ATTIC).replace("Xlow", "Xload").replace("Xhigh", "Xload2")))
    assert solve(network, F, {n: np.full(61, 8.0) for n in ATTIC}).drive  # the drivers' names are the keys
    with pytest.raises(Exception, match="stand under 'sum'"):
        open_speaker(folder("driver-called-sum")).network("found")
