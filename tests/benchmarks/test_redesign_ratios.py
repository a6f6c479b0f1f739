"""The redesign's searches against a general one of the trade: differential evolution, ten times as long.

python -m pytest tests/benchmarks/test_redesign_ratios.py --benchmark-enable -s
"""

import sys
import time
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "studies" / "redesign"))
from known_speakers import known_speaker

from xover.search.descent import find_optima
from xover.sound.meeting import present_crossovers
from xover.speaker import open_speaker
from xover.studies.change.redesign.design import Design, bounds, openable
from xover.studies.change.redesign.goal import score
from xover.studies.change.redesign.wish import Wish, grid, prepare_goal

EXAMPLES = Path(__file__).parents[2] / "examples"


def example(name):
    speaker = open_speaker(EXAMPLES / name)
    network = speaker.network("original")
    corners = present_crossovers(speaker, network, np.geomspace(20, 20_000, 300))
    goal = prepare_goal(speaker, network.drivers, Wish(minimum_load_ohm=4.0), network, corners, grid())
    coils = {c.name: (c.henry, c.dcr_ohm) for c in network.coils if c.dcr_ohm > 0}
    return Design(network, goal, openable(network), coils)


CASES = {
    "known": lambda: known_speaker(11)[0],
    "attic": lambda: example("attic-two-way/left"),
    "studio": lambda: example("studio-three-way"),
}


@pytest.mark.parametrize("name", CASES)
def test_never_worse_than_differential_evolution_for_ten_times_as_long(name, request):
    if not request.config.getoption("--benchmark-enable"):
        pytest.skip("a benchmark: give --benchmark-enable")
    from scipy.optimize import differential_evolution

    design = CASES[name]()
    began = time.perf_counter()
    ours = find_optima(design, [design.start * 1.5], starts=8)[0]
    seconds = time.perf_counter() - began
    low, high = (np.log(edge) for edge in bounds(design.network.part(n) for n in design.open_parts))
    until = time.perf_counter() + 10 * seconds

    def objective(x):
        return score(design.goal, *design.solve(np.exp(x.T)))

    def enough(*_args, **_more):
        return time.perf_counter() > until

    theirs = differential_evolution(
        objective,
        list(zip(low, high, strict=True)),
        seed=1,
        vectorized=True,
        updating="deferred",
        maxiter=100_000,
        popsize=10,
        tol=0,
        polish=False,
        callback=enough,
    )
    print(f"\n{name}: {ours.score:.6f} in {seconds:.1f} s, differential evolution {theirs.fun:.6f} in 10 times that")
    assert ours.score <= theirs.fun * (1 + 1e-3) + 1e-6
