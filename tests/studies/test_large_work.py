"""What is large is refused in one line before it is begun, with what to ask for instead; what is not is let through."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

from benchmarks.large_folders import KINDS

from xover.curve import Evidence, log_grid
from xover.errors import OptionError
from xover.files.tables import read_impedance
from xover.network import solve, stamps
from xover.parts.catalogue import Catalogue
from xover.parts.stock import open_stock
from xover.rules.budgets import MOST_BYTES, MOST_SECONDS, hold
from xover.search import descent
from xover.speaker import open_speaker
from xover.studies.aged.verify.study import verify
from xover.studies.bears.crosstalk.study import study_crosstalk
from xover.studies.bears.tolerance.study import study_tolerance
from xover.studies.change.redesign.shelf import MOST_LISTED, part_lists
from xover.studies.change.redesign.study import redesign
from xover.studies.change.redesign.wish import Wish

GRID = log_grid(20.0, 20_000.0, 24)


@pytest.fixture(scope="module")
def ladder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("ladder") / "speaker"
    KINDS["ladder"].make(folder, 150)
    return open_speaker(folder)


def test_only_what_is_beyond_a_limit_is_refused():
    hold("ten of these", "ask for fewer", seconds=MOST_SECONDS, size_bytes=MOST_BYTES)
    with pytest.raises(OptionError, match=r"^ten of these take about 16 s; ask for fewer$"):
        hold("ten of these", "ask for fewer", seconds=16.0)
    with pytest.raises(OptionError, match=r"^ten of these take about 5 minutes; "):
        hold("ten of these", "ask for fewer", seconds=300.0)
    with pytest.raises(OptionError, match=r"^ten of these need about 0\.5 GB of memory; "):
        hold("ten of these", "ask for fewer", size_bytes=5e8)


def test_large_work_is_refused_before_it_is_begun(ladder, monkeypatch):
    """No candidate is solved: 4,534 faults with 235 tolerances each would take 6 GB."""
    sweep, _ = read_impedance(ladder.file.folder / "terminals-found.csv", Evidence.MEASURED)
    with pytest.raises(OptionError, match=r"faults with .* GB of memory; leave out"):
        verify(ladder, "found", sweep)
    with pytest.raises(OptionError, match=r"10000 builds of 150 parts .* take fewer"):
        study_tolerance(ladder, "found", GRID)
    with pytest.raises(OptionError, match=r"2775 pairs of coils .*; name the pairs"):
        study_crosstalk(ladder, "found", GRID)
    monkeypatch.setattr(descent, "descend", None)
    with pytest.raises(OptionError, match=r"'found' has too many parts in one section .*; name the circuits"):
        redesign(ladder, Catalogue(), Wish(), present="found")


def test_a_ladder_is_eliminated_in_as_many_steps_as_it_has_nodes(ladder):
    """All 76 nodes: no more ties than the ladder has, where a full matrix has 2,850."""
    solution = solve(ladder.network("found"), GRID, ladder.impedances_ohm(ladder.network("found"), GRID))
    block = max((b.block for b in solution.blocks), key=lambda b: b.size)
    assert block.size >= 75
    assert sum(len(tied) for _, tied in block.order) <= block.size
    assert solution.residual < 1e-12


def test_entries_and_full_matrices_give_the_same(ladder, monkeypatch):
    network = ladder.network("found")
    ohm = ladder.impedances_ohm(network, GRID)
    few = solve(network, GRID, ohm)
    monkeypatch.setattr(stamps, "_SPARSE", 1000)
    full = solve(network, GRID, ohm)
    for key, drive in full.drive.items():
        np.testing.assert_allclose(few.drive[key], drive, rtol=1e-9, atol=1e-13)


def test_a_long_list_is_thinned_and_keeps_what_is_near(tmp_path):
    KINDS["stock"].make(tmp_path / "speaker", 4_000)
    speaker = open_speaker(tmp_path / "speaker")
    network, catalogue = speaker.network("found"), Catalogue(open_stock(tmp_path / "speaker" / "stock.csv"))
    names = ("C1", "L1", "R1")
    for name, listed in part_lists(network, names, catalogue, {}, None).items():
        assert listed.value.size <= MOST_LISTED
        every = np.array([i.value for i in catalogue.stock.items if i.kind is listed.items[0].kind])
        own = next(network.numbers[n] for n in (name,))
        inside = listed.value[[listed.nearest(own)]]
        assert abs(np.log(inside[0] / own)) < 1.5 * np.min(np.abs(np.log(every / own))) + 1e-3
        assert listed.value[0] < 0.2 * own
        assert listed.value[-1] > 2.0 * own
