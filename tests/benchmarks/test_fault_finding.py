"""The fault-finding study: 100 single faults on the examples' networks, and builds without any.

    python -m pytest tests/benchmarks/test_fault_finding.py --benchmark-enable -s

The builds are those of tests/studies/known_builds.py: parts anywhere within tolerance, drivers up to 1 % off their
own sweeps, 0.4 % of noise and mains hum on every sweep, the jig's gain off by up to 1 %. A fault counts as first where
it stands in the first group of those that the sweep cannot tell apart (a shorted capacitor across a woofer and a
shorted woofer are one thing at the terminals); how often it is the very first line is counted too, and how large the
groups are. Ordinary test runs look at a few of the same.
"""

import sys
import time
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "studies"))

from known_builds import DRIVERS, SPEAKERS, built, catalogue, place_of

from xover.studies.aged.verify.study import verify

GOAL_FIRST, GOAL_THREE, GOAL_S = 0.90, 0.98, 2.0


def drawn_faults(rng, count):
    every = [(name, fault) for name in DRIVERS for fault in catalogue(SPEAKERS[name].network("original"))]
    return [every[i] for i in rng.permutation(len(every))[:count]]


@pytest.mark.benchmark(group="single faults")
def test_single_faults(benchmark):
    count = 100 if benchmark.enabled else 2
    rng = np.random.default_rng(2024)
    first = very_first = three = explained = 0
    groups, seconds = [], []
    wanted = drawn_faults(rng, count)
    sweeps = [built(name, fault, rng) for name, fault in wanted]

    def all_of_them():
        for (name, _), sweep in zip(wanted, sweeps, strict=True):
            began = time.process_time()
            yield verify(SPEAKERS[name], "original", sweep)
            seconds.append(time.process_time() - began)

    studies = benchmark.pedantic(lambda: list(all_of_them()), rounds=1)
    for (name, fault), study in zip(wanted, studies, strict=True):
        place, tie = place_of(study, fault)
        assert not study.agrees, (name, fault)
        if place is None:
            continue
        first += tie == 0
        very_first += place == 0
        three += tie < 3
        explained += study.faults[place].explains
        groups.append(len(study.tied))
    print(
        f"\n{count} faults: first {first}, of them the very first line {very_first}, among three {three}, explained "
        f"{explained}; groups of 1, 2, 3, ..: {np.bincount(groups)[1:].tolist()}; "
        f"CPU s mean {np.mean(seconds):.2f}, most {np.max(seconds):.2f}"
    )
    assert first >= GOAL_FIRST * count
    assert three >= GOAL_THREE * count
    assert np.mean(groups) < 2.5
    if benchmark.enabled:
        assert max(seconds) < GOAL_S


@pytest.mark.benchmark(group="builds without a fault")
def test_builds_without_a_fault(benchmark):
    count = 60 if benchmark.enabled else 1
    rng = np.random.default_rng(2025)
    names = [list(DRIVERS)[i % len(DRIVERS)] for i in range(count)]
    found = benchmark.pedantic(
        lambda: [verify(SPEAKERS[n], "original", built(n, None, rng)).agrees for n in names], rounds=1
    )
    print(f"\n{count} builds without a fault: {found.count(False)} false alarms")
    assert found.count(True) >= 0.97 * count
