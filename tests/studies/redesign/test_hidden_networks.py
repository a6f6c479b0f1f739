"""A speaker for which a good network exists, and is not known: it is found without naming a crossover."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from hidden_speakers import HIDDEN, hidden_speaker, netlist, off_by

from xover.files.netlist import parse_netlist
from xover.network import build_network, solve
from xover.parts.catalogue import Catalogue
from xover.sound.sums import sum_level_db
from xover.studies.change.redesign.design import PRESENT, topology
from xover.studies.change.redesign.study import continuous
from xover.studies.change.redesign.task import make_task
from xover.studies.change.redesign.wish import Wish

JUDGED = np.geomspace(200.0, 15_000.0, 500)


def half_range_db(speaker, network):
    level = sum_level_db(speaker, network, solve(network, JUDGED, speaker.impedances_ohm(network, JUDGED)))
    return (level.max() - level.min()) / 2


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("name", HIDDEN)
def test_from_a_factor_of_one_and_a_half_off_in_every_value(tmp_path, name, seed):
    """Within 0.1 dB of flat, half of the range from 200 Hz to 15 kHz, on a grid that the search does not know."""
    speaker = hidden_speaker(tmp_path / "off", name, off_by(name, 1.5, seed))
    known = build_network(parse_netlist(netlist(name)))
    assert half_range_db(speaker, known) < 0.03
    reference = speaker.network("found")
    before = half_range_db(speaker, reference)
    task = make_task(speaker, Catalogue(), Wish(), reference)
    found = continuous(task, topology(PRESENT, reference, task.order))
    after = half_range_db(speaker, found[0].network)
    assert before > 0.7
    assert after <= 0.1
