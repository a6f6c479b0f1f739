"""A circuit under other names is found again; another circuit is not."""

import random
import re

import numpy as np
import pytest

from xover.files.netlist import parse_netlist
from xover.network import build_network, solve
from xover.network.alike import named_like

F = np.geomspace(30.0, 15_000.0, 13)
OHM = {"woofer": np.full(F.size, 6 + 1j), "tweeter": np.full(F.size, 5 + 0.5j)}
BOARD = """L1 in w 1mH dcr=0.3
C1 w 0 10uF df=0.05
Xlow w 0 woofer
C2 in t 4.7uF
L2 t s 0.2mH dcr=0.2
L3 s 0 0.3mH dcr=0.2
K1 L2 L3 0.9
R1 t p 2.2
R2 p 0 33
C3 p 0 1uF
C4 p 0 0.22uF
Xhigh 0 p tweeter
"""
ANEW = {"L1": "La", "C1": "Ca", "C2": "Cb", "L2": "Lx", "L3": "Ly", "R1": "Ra", "R2": "Rb", "C3": "Cc", "C4": "Cd"}
ANEW |= {"K1": "Kz", "Xlow": "Xb", "Xhigh": "Xt", "w": "n1", "t": "n2", "s": "n3", "p": "n4"}


def network(text):
    return build_network(parse_netlist(text))


def anew(text, seed=0):
    """The same with other names and nodes, its cards shuffled and its two-poles turned."""
    lines = [[ANEW.get(word, word) for word in line.split()] for line in text.splitlines()]
    draw = random.Random(seed)
    for words in lines:
        if words[0][0] in "RC" and draw.random() < 0.5:
            words[1:3] = words[2:0:-1]
    draw.shuffle(lines)
    return "\n".join(sorted((" ".join(words) for words in lines), key=lambda line: line[0] == "K")) + "\n"


@pytest.mark.parametrize("seed", range(5))
def test_the_same_circuit_is_found_under_its_other_names(seed):
    design, today = network(BOARD), network(anew(BOARD, seed).replace("4.7uF", "3.3uF"))
    told = named_like(design, today)

    values = {ANEW[p.name]: type(p) for p in design.parts}
    assert {p.name: type(p) for p in told.parts} == values
    for key, drive in solve(design, F, OHM).drive.items():
        np.testing.assert_allclose(solve(told, F, OHM).drive[key], drive, rtol=1e-9)


def test_of_two_that_could_change_places_those_nearest_in_value_belong_together():
    told = named_like(network(BOARD), network(anew(BOARD)))
    farads = {p.name: p.farad for p in told.capacitors}
    assert (farads["Cc"], farads["Cd"]) == pytest.approx((1e-6, 0.22e-6))


def test_a_driver_that_was_turned_keeps_the_wires_of_the_design():
    design, today = network(BOARD), network(anew(BOARD).replace("Xt 0 n4", "Xt n4 0"))
    told = named_like(design, today)
    assert told.drivers[1].name == "Xt"
    assert (told.drivers[1].plus, told.drivers[1].minus) == ("0", "n4")


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text,  # nothing is drawn anew
        lambda text: anew(text) + "R9 n1 0 100\n",  # a part more
        lambda text: re.sub("Rb .*", "Rb n2 0 33", anew(text)),  # a part elsewhere
        lambda text: anew(text).replace("Ra", "Ca2").replace(" 2.2", " 2.2uF"),  # a part of another kind
    ],
)
def test_another_circuit_is_left_as_it_is(change):
    design = network(BOARD)
    assert named_like(design, network(change(BOARD))) is design
