"""Speed, as ratios of two ways measured side by side in one run.

    python -m pytest tests/benchmarks --benchmark-enable

The table's figure in brackets is the ratio to the fastest of its group. Ordinary test runs only check that
both ways give the same answer.
"""

import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from xover.curve import log_grid
from xover.files.netlist import circuits_folder, read_netlist
from xover.network import build_network, solve
from xover.network.network import find_sections
from xover.network.stamps import known_voltages, make_block, needs_current

ROOT = Path(__file__).parents[2]
F = log_grid(20.0, 20e3, 24)[:240]
W = 2 * np.pi * F


def lumped(re, le, res, fs, q):
    return re + 1j * W * le + res / (1 + 1j * q * (F / fs - fs / F))


DRIVERS = {"woofer": lumped(6.2, 0.7e-3, 20, 55, 3), "tweeter": lumped(5.4, 0.05e-3, 6, 900, 1.5)}


@pytest.fixture(scope="module")
def network():
    """The largest two-way that ships: 20 parts with losses."""
    found = build_network(read_netlist(circuits_folder() / "two-way-second-order-full.cir"))
    assert len(found.parts) == 20
    return found


def spice_text(network):
    """The same network for ngspice, its drivers lumped, written by hand here and not by xover."""
    lines = ["twenty parts", "V1 in 0 AC 1"]
    for n, p in enumerate(network.parts):
        mid = f"m{n}"
        if hasattr(p, "ohm"):
            lines.append(f"R{n} {p.a} {p.b} {p.ohm!r}")
        elif hasattr(p, "henry"):
            lines += [f"L{n} {p.a} {mid} {p.henry!r}", f"R{n} {mid} {p.b} {p.dcr_ohm!r}"]
        else:
            lines += [f"C{n} {p.a} {mid} {p.farad!r}", f"R{n} {mid} {p.b} {max(p.esr_ohm, 1e-3)!r}"]
    for n, d in enumerate(network.drivers):
        re, le, res, fs, q = (6.2, 0.7e-3, 20, 55, 3) if d.driver == "woofer" else (5.4, 0.05e-3, 6, 900, 1.5)
        w = 2 * np.pi * fs
        lines += [f"Rd{n} {d.plus} x{n} {re}", f"Ld{n} x{n} y{n} {le}", f"Rp{n} y{n} {d.minus} {res}"]
        lines += [f"Cp{n} y{n} {d.minus} {q / (w * res)!r}", f"Lp{n} y{n} {d.minus} {res / (w * q)!r}"]
    lines += [".control", "ac dec 80 20 20000", "print v(w)", "quit 0", ".endc", ".end"]
    return "\n".join(lines) + "\n"


@pytest.mark.benchmark(group="20 parts x 240 frequencies: in process against a whole ngspice run (goal 20 times)")
@pytest.mark.parametrize("way", ["in process", "whole ngspice run"])
def test_against_ngspice(benchmark, network, tmp_path, way):
    if way == "in process":
        assert benchmark(solve, network, F, DRIVERS).residual < 1e-12
        return
    if shutil.which("ngspice") is None:
        pytest.skip("ngspice is not installed")
    deck = tmp_path / "twenty.cir"
    deck.write_text(spice_text(network))
    done = benchmark(subprocess.run, ["ngspice", "-b", str(deck)], capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert "v(w)" in done.stdout


@pytest.fixture(scope="module")
def candidates(network):
    rng = np.random.default_rng(7)
    return {p.name: p.farad * rng.uniform(0.8, 1.25, 1000) for p in network.capacitors[:3]}


@pytest.fixture(scope="module")
def bare(network):
    """The matrices that the candidates' sections need, ready made, as numpy wants them."""
    known, floating = known_voltages(network)
    stacks = []
    for section in find_sections(network):
        block = make_block(network, frozenset(section.elements), known, floating, needs_current(network, frozenset()))
        impedance = {p.name: p.impedance_ohm(W) for p in network.parts}
        impedance |= {d.name: DRIVERS[d.driver] for d in network.drivers}
        once = np.array([1 / impedance[n] for n in block.names])[:, None, :]
        y = np.repeat(once, 1000, axis=1).reshape(len(block.names), -1)
        matrix, source = block.assemble(y)
        stacks.append(
            (np.ascontiguousarray(np.moveaxis(matrix, -1, 0)), np.ascontiguousarray(np.moveaxis(source, -1, 0)))
        )
    return stacks


@pytest.mark.benchmark(group="1,000 candidates x 240: whole batched solve against bare numpy.linalg.solve (goal 2)")
@pytest.mark.parametrize("way", ["batched solve, all of it", "bare numpy.linalg.solve"])
def test_candidates(benchmark, network, candidates, bare, way):
    if way.startswith("bare"):
        out = benchmark.pedantic(lambda: [np.linalg.solve(a, b) for a, b in bare], rounds=3, warmup_rounds=1)
        assert all(np.isfinite(x).all() for x in out)
        return
    solution = benchmark.pedantic(solve, (network, F, DRIVERS, candidates), rounds=3, warmup_rounds=1)
    assert solution.drive["woofer"].shape == (1000, 240)
    assert solution.residual < 1e-12


COLD = {
    "xover predict": [
        sys.executable,
        "-c",
        "import sys; from xover.cli.main import main; sys.exit(main(sys.argv[1:]))",
    ],
    "python -c 'import numpy'": [sys.executable, "-c", "import numpy"],
}


@pytest.mark.benchmark(group="cold start: xover predict on an example (goal under 1 s) beside importing numpy alone")
@pytest.mark.parametrize("way", COLD)
def test_cold(benchmark, way):
    command = list(COLD[way])
    if way == "xover predict":
        command += ["predict", str(ROOT / "examples" / "attic-two-way" / "left"), "--json"]
    done = benchmark.pedantic(
        subprocess.run, (command,), {"capture_output": True, "check": False}, rounds=5, warmup_rounds=1
    )
    assert done.returncode == 0
