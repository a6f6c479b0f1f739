"""Speed of the symbolic layer: all formulas of the largest circuits, and closed forms against the batched solve.

    python -m pytest tests/benchmarks/test_symbolic_ratios.py --benchmark-enable

The table's figure in brackets is the ratio to the fastest of its group. Ordinary runs only check that both ways
give the same answer, and leave out what takes a minute.
"""

import subprocess
import sys
import warnings

import numpy as np
import pytest
import sympy
from sympy.polys.rings import PolyRing

from xover.curve import log_grid
from xover.files.netlist import circuits_folder, read_netlist
from xover.network import Capacitor, Inductor, Resistor, build_network, solve
from xover.network.closed_form import compile_closed_form
from xover.network.network import find_sections
from xover.network.rational import expression
from xover.network.symbolic import solve_symbolic

F = log_grid(20.0, 20e3, 24)[:240]
W = 2 * np.pi * F
A_MINUTE = 60.0


def lumped(re, le, res, fs, q):
    return re + 1j * W * le + res / (1 + 1j * q * (F / fs - fs / F))


DRIVERS = {"woofer": lumped(6.2, 0.7e-3, 20, 55, 3), "tweeter": lumped(5.4, 0.05e-3, 6, 900, 1.5)}
LARGEST = {"two-way": ("two-way-second-order-full", 20, 1.0), "three-way": ("three-way-second-order-full", 19, 3.0)}


def network_of(stem):
    return build_network(read_netlist(circuits_folder() / f"{stem}.cir"))


@pytest.fixture(scope="module")
def two_way():
    return network_of(LARGEST["two-way"][0])


def all_formulas(network):
    """Every driver's transfer function, every section's admittance and every part's current, as polynomials."""
    solution = solve_symbolic(network)
    return solution, [solution.current(e.name) for e in (*network.parts, *network.drivers)]


@pytest.mark.benchmark(group="all formulas of the largest circuit with losses (goals: two-way 1 s, three-way 3 s)")
@pytest.mark.parametrize("ways", LARGEST)
def test_all_formulas(benchmark, ways):
    stem, parts, goal_s = LARGEST[ways]
    network = network_of(stem)
    assert len(network.parts) == parts
    solution, currents = benchmark.pedantic(all_formulas, (network,), rounds=5, warmup_rounds=1)
    assert len(currents) == parts + len(network.drivers)
    assert all(len(r.denominator) > 5 for r in solution.drive.values())
    if benchmark.enabled:
        assert benchmark.stats.stats.max < goal_s


def test_all_formulas_as_expressions(benchmark, two_way):
    """What it costs beside that to have sympy expressions in display names of drives and admittances."""
    solution = solve_symbolic(two_way)
    rationals = [*solution.drive.values(), *(y for load in solution.load.values() for _, y in load.admittance)]
    found = benchmark.pedantic(lambda: [expression(r) for r in rationals], rounds=3, warmup_rounds=1)
    assert all(f.has(sympy.Symbol("s")) for f in found)


def section_cards(network, number):
    """A section as stock lcapy has it: L, C and R, each loss a resistor in series, the driver an impedance."""
    names = set(find_sections(network)[number].elements)
    node = {"0": "0", "in": "1"}
    cards, out = [], ("", "")
    for k, e in enumerate((*network.parts, *network.drivers)):
        if e.name not in names:
            continue
        a, b = (node.setdefault(n, str(len(node))) for n in (e.a, e.b))
        if isinstance(e, Resistor):
            cards.append(f"R{k} {a} {b} {{x{k}}}")
        elif isinstance(e, Inductor | Capacitor):
            letter = "L" if isinstance(e, Inductor) else "C"
            cards += [f"{letter}{k} {a} {100 + k} {{x{k}}}", f"R{100 + k} {100 + k} {b} {{x{100 + k}}}"]
        else:
            cards.append(f"Z{k} {a} {b} {{x{k}}}")
            out = (a, b)
    return cards, out


BARE_LOW_PASS = (["L1 1 2 {x1}", "R1 2 3 {x2}", "C1 3 0 {x3}", "R3 2 4 {x5}", "C2 4 0 {x6}", "Z1 2 0 {x4}"], ("2", "0"))
BARE_CARDS = "* same\nL1 in w 1mH\nR1 w k 0.5\nC1 k 0 5uF\nR3 w z 6\nC2 z 0 9uF\nXlow w 0 woofer\n"


@pytest.mark.benchmark(group="one transfer function of a section of 5 parts without losses")
@pytest.mark.parametrize("way", ["ours, all formulas", "stock lcapy, one transfer function"])
def test_small_section_beside_lcapy(benchmark, way):
    from xover.files.netlist import parse_netlist

    if way.startswith("ours"):
        solution, _ = benchmark.pedantic(all_formulas, (build_network(parse_netlist(BARE_CARDS)),), rounds=5)
        assert len(solution.drive["woofer"].denominator) > 5
        return
    if not benchmark.enabled:
        pytest.skip("loading lcapy changes sympy for every other test of this process")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        lcapy = pytest.importorskip("lcapy")
        circuit = "\n".join(BARE_LOW_PASS[0])
        found = benchmark.pedantic(lambda: lcapy.Circuit(circuit).transfer(1, 0, int(BARE_LOW_PASS[1][0]), 0), rounds=2)
        assert found.sympy.has(lcapy.s.sympy)


@pytest.mark.parametrize("number", [0, 1], ids=["woofer", "tweeter"])
def test_stock_lcapy_on_the_largest_two_way(benchmark, two_way, number):
    """One transfer function of one section, in a process of its own that may take a minute."""
    if not benchmark.enabled:
        pytest.skip("takes a minute")
    pytest.importorskip("lcapy")
    cards, out = section_cards(two_way, number)
    assert len(cards) > 12
    code = (
        "import warnings; warnings.simplefilter('ignore'); from lcapy import Circuit\n"
        f"print(Circuit({chr(10).join(cards)!r}).transfer(1, 0, {out[0]}, {out[1]}))"
    )
    try:
        done = benchmark.pedantic(
            subprocess.run,
            ([sys.executable, "-c", code],),
            {"capture_output": True, "timeout": A_MINUTE, "check": False},
            rounds=1,
        )
    except subprocess.TimeoutExpired:
        pytest.skip("stock lcapy did not finish this section in a minute")
    assert done.returncode == 0
    assert len(done.stdout) > 100


VARIED = {"one": ["C1"], "two": ["R4", "C7"], "three": ["L1", "C1", "R3"], "three in two sections": ["L1", "C1", "C5"]}


def candidates(network, names):
    generator = np.random.default_rng(7)
    own = {p.name: getattr(p, {"R": "ohm", "L": "henry", "C": "farad"}[p.name[0]]) for p in network.parts}
    return {name: own[name] * generator.uniform(0.8, 1.25, 1000) for name in names}


@pytest.mark.parametrize("way", ["closed form, ready", "closed form, compiling too", "batched solve"])
@pytest.mark.parametrize("which", VARIED)
def test_candidates(benchmark, two_way, which, way):
    """1,000 candidates at 240 frequencies, drives and load (goal: 5 times the batched solve)."""
    benchmark.group = f"1,000 candidates x 240, {which} varied: closed form against batched solve (goal 5)"
    names = VARIED[which]
    values = candidates(two_way, names)
    form = compile_closed_form(two_way, F, DRIVERS, names)
    if way == "batched solve":
        solution = benchmark.pedantic(solve, (two_way, F, DRIVERS, values), rounds=5, warmup_rounds=1)
    elif way == "closed form, ready":
        solution = benchmark.pedantic(form.at, (values,), rounds=20, warmup_rounds=2)
    else:
        solution = benchmark.pedantic(
            lambda: compile_closed_form(two_way, F, DRIVERS, names).at(values), rounds=10, warmup_rounds=1
        )
    judge = form.at(values) if way == "batched solve" else solve(two_way, F, DRIVERS, values)
    for key in DRIVERS:
        np.testing.assert_allclose(solution.drive[key], judge.drive[key], rtol=1e-9)
    np.testing.assert_allclose(solution.impedance_ohm["in"], judge.impedance_ohm["in"], rtol=1e-9)


def test_lambdified_expression_for_comparison(benchmark, two_way):
    """The other way to compile: sympy's lambdify with common subexpressions, one drive, one part varied.

    Its cost is in writing the function (seconds); the generated symbols are all that is evaluated.
    """
    benchmark.group = "1,000 candidates x 240, one varied: lambdify(cse) of one drive, written beforehand"
    rational = solve_symbolic(two_way).drive["woofer"]
    ring: PolyRing = rational.numerator.ring
    letters = [sympy.Symbol(str(g)) for g in ring.symbols]
    function = sympy.lambdify(letters, expression(rational, names="generated"), cse=True)
    table = rational.table
    values = candidates(two_way, ["C1"])
    given = []
    for quantity in rational.quantities:
        name = table.display[quantity]
        if name == "s":
            given.append(1j * W)
        elif name == "Z_woofer":
            given.append(DRIVERS["woofer"])
        elif name == "C1":
            given.append(values["C1"][:, None])
        else:
            given.append(1 + 1j * table.value[name] if name.endswith("_df") else table.value[name])
    found = benchmark.pedantic(function, given, rounds=3, warmup_rounds=1)
    wanted = compile_closed_form(two_way, F, DRIVERS, ["C1"]).at(values).drive["woofer"]
    np.testing.assert_allclose(found, wanted, rtol=1e-9)
