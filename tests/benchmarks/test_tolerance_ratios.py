"""Speed of many builds, as ratios of two ways measured side by side in one run.

    python -m pytest tests/benchmarks/test_tolerance_ratios.py --benchmark-enable

Ordinary test runs only check, on fewer builds, that both ways give the same answer.
"""

from pathlib import Path

import numpy as np
import pytest

from xover.curve import log_grid
from xover.files.netlist import parse_netlist
from xover.network import build_network, solve
from xover.search.builds import Distribution, build_solver, built_values, draw_names, part_spreads, standard_draws
from xover.speaker import open_speaker
from xover.studies.bears.tolerance.study import study_tolerance

ATTIC = Path(__file__).parents[2] / "examples" / "attic-two-way" / "left"
F = log_grid(20.0, 20e3, 24)[:240]
W = 2 * np.pi * F
TEN_PARTS = """* Two-way of ten parts (invented)
L1 in w 1.0mH dcr=0.40 core=air tol=5%
C1 w k 3.9uF df=0.04@1kHz kind=electrolytic tol=10%
R1 k 0 0.47 tol=5%
R2 w z 6.2 tol=5%
C2 z 0 18uF df=0.05@1kHz kind=electrolytic tol=10%
Xlow w 0 woofer
C3 in t 5.1uF df=0.001@1kHz kind=film tol=5%
L2 t 0 0.68mH dcr=0.40 core=air tol=5%
R3 t p 2.0 tol=5%
R4 p 0 9.1 tol=5%
C4 t p 3.3uF df=0.001@1kHz kind=film tol=5%
Xhigh 0 p tweeter
"""


def lumped(re, le, res, fs, q):
    return re + 1j * W * le + res / (1 + 1j * q * (F / fs - fs / F))


DRIVERS = {"woofer": lumped(6.2, 0.7e-3, 20, 55, 3), "tweeter": lumped(5.4, 0.05e-3, 6, 900, 1.5)}


@pytest.fixture(scope="module")
def ten():
    network = build_network(parse_netlist(TEN_PARTS))
    assert len(network.parts) == 10
    return network


def one_by_one(network, values, count):
    rows = [{name: float(v[i]) for name, v in values.items()} for i in range(count)]
    return [solve(network, F, DRIVERS, row) for row in rows]


@pytest.mark.benchmark(group="builds of 10 parts x 240 frequencies: together against one by one")
@pytest.mark.parametrize("way", ["together", "one by one"])
def test_builds(benchmark, ten, way):
    count = 1000 if benchmark.enabled else 50
    spreads = part_spreads(ten)
    draws = standard_draws(np.random.default_rng(9), count, len(draw_names(spreads)), Distribution.UNIFORM)
    values = built_values(spreads, draws)
    if way == "one by one":
        found = benchmark.pedantic(one_by_one, (ten, values, count), rounds=3)
        assert len(found) == count
        return
    solver = build_solver(ten, F, DRIVERS, tuple(values))
    drive, ohm = benchmark.pedantic(solver.at, (values,), {"loads": True}, rounds=3, warmup_rounds=1)
    for row, single in enumerate(one_by_one(ten, values, 50)):
        for key in ("woofer", "tweeter"):
            np.testing.assert_allclose(drive[key][row], single.drive[key][0], rtol=1e-9)
        np.testing.assert_allclose(ohm["in"][row], single.impedance_ohm["in"][0], rtol=1e-9)


@pytest.mark.benchmark(group="whole study: 10,000 builds of a two-way of 10 parts x 240 (goal 2 s)")
def test_whole_study(benchmark, tmp_path):
    import shutil

    shutil.copytree(ATTIC, tmp_path / "ten")
    (tmp_path / "ten" / "found.cir").write_text(TEN_PARTS)
    toml = (ATTIC / "speaker.toml").read_text(encoding="utf-8")
    head, _, rest = toml.partition("[networks.original]")
    (tmp_path / "ten" / "speaker.toml").write_text(head + rest.partition("\n\n")[2], encoding="utf-8")
    speaker = open_speaker(tmp_path / "ten")
    builds = 10_000 if benchmark.enabled else 200
    found = benchmark.pedantic(study_tolerance, (speaker, "found", F), {"builds": builds}, rounds=3, warmup_rounds=1)
    assert len(found.spreads) == 10
    assert 0 < found.passing.share <= 1
