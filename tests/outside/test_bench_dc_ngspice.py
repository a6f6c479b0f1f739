"""Every ohmmeter reading of a build order, on every half-built board, judged by ngspice: 1 A between the pads."""

from __future__ import annotations

import math
import tempfile
from pathlib import Path

import numpy as np
import pytest
from ngspice_judge import run

from xover.bench.build_steps import build_order
from xover.bench.wiring import RAIL
from xover.curve import log_grid
from xover.network import Capacitor, Inductor
from xover.speaker import open_speaker
from xover.studies.desk.new.study import start_folder

GRID = log_grid(20.0, 20_000.0, 3)
RE_OHM = {"woofer": 6.0, "mid": 6.2, "horn": 6.4, "tweeter": 5.4}
"""As `xover new` writes them into the folder."""
LEAK_OHM = 1e12
"""From each node to ground, as a simulator wants a way for direct current: far beyond what is read."""


def node_of(pad):
    return "0" if pad.startswith(RAIL) else pad


def nodes_of(network, check):
    """The two nodes of a check; a driver's own terminals are named after its key."""
    first, second = check.between
    if second == "minus":
        card = network.driver_card(first.removesuffix(" plus"))
        return card.plus, card.minus
    return node_of(first), node_of(second)


def deck(network, parts, drivers, nodes, copy):
    """One half-built board as cards of its own, with a source of 1 A between two nodes."""
    names = {}

    def spice(node):
        # Nothing is grounded by name: the meter floats.
        return names.setdefault(node, f"k{copy}n{len(names)}")

    cards = []
    for i, part in enumerate(p for p in network.parts if p.name in parts):
        a, b = spice(part.a), spice(part.b)
        if isinstance(part, Capacitor):
            cards.append(f"C{copy}x{i} {a} {b} {part.farad!r}")
        elif isinstance(part, Inductor):
            cards += [f"L{copy}x{i} {a} {a}m{i} {part.henry!r}", f"R{copy}x{i} {a}m{i} {b} {part.dcr_ohm!r}"]
        else:
            cards.append(f"R{copy}x{i} {a} {b} {part.ohm!r}")
    for i, card in enumerate(d for d in network.drivers if d.name in drivers):
        cards.append(f"Rd{copy}x{i} {spice(card.plus)} {spice(card.minus)} {RE_OHM[card.driver]!r}")
    plus, minus = (spice(n) for n in nodes)
    cards.append(f"I{copy} {minus} {plus} DC 1")
    cards.append(f"V{copy} {minus} 0 DC 0")
    cards += [f"Rleak{copy}x{i} {n} 0 {LEAK_OHM!r}" for i, n in enumerate(names.values())]
    return cards, f"v({plus})"


def readings(network, order):
    """(parts, drivers, check) for every check, in the order of the build."""
    parts = set()
    for section in order.sections:
        for step in section.steps:
            parts |= set(step.parts)
            drivers = set() if step.parts else {network.driver_card(key).name for key in section.drivers}
            yield from ((set(parts), drivers, check) for check in step.checks)
    everything = {d.name for d in network.drivers}
    yield from ((set(parts), everything, check) for check in order.whole_dc)


@pytest.mark.parametrize(
    ("circuit", "least"),
    [("two-way-second-order-l-pad", 14), ("three-way-second-order", 18), ("two-way-horn-swamped", 12)],
)
def test_every_reading(circuit, least, tmp_path):
    start_folder(tmp_path / "folder", circuit)
    speaker = open_speaker(tmp_path / "folder")
    network = speaker.network("found")
    order = build_order(network, speaker, frequency_hz=GRID)
    cases = list(readings(network, order))
    assert len(cases) >= least
    cards, asked = [], []
    for copy, (parts, drivers, check) in enumerate(cases):
        own, volts = deck(network, parts, drivers, nodes_of(network, check), copy)
        cards += own
        asked.append(volts)
    with tempfile.TemporaryDirectory() as name:
        printed = run(cards, ["op", *(f"print {v}" for v in asked)], Path(name))
    read = {
        line.split(" = ")[0].strip(): float(line.split(" = ")[1])
        for line in printed.splitlines()
        if line.startswith("v(k")
    }
    finite = 0
    for volts, (_, _, check) in zip(asked, cases, strict=True):
        if math.isinf(check.expected_ohm):
            assert read[volts] > 1e9, check.sentence
            continue
        finite += 1
        assert read[volts] == pytest.approx(check.expected_ohm, rel=1e-6), check.sentence
        assert check.low_ohm < read[volts] < check.high_ohm
    assert finite > least / 2
    # The judge read many different resistances, not one and the same.
    assert len(np.unique(np.round(list(read.values()), 9))) > 5
