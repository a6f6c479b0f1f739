"""Generated symbols inside, readable names outside, and nothing that was typed is ever evaluated."""

from __future__ import annotations

import builtins
import keyword
import re
from dataclasses import replace

import numpy as np
import pytest
import sympy
from symbolic_cases import CIRCUITS, FREQUENCY, all_measured_like, circuit, letters, network_of, worst_difference

from xover.network import Network
from xover.network.closed_form import compile_closed_form
from xover.network.rational import evaluate, expression
from xover.network.symbolic import solve_symbolic
from xover.network.symbols import Quantity, SymbolKind, numbers, symbol_table

HOSTILE = [
    ("L", "__import__"),
    ("R", "exec"),
    ("C", "__class__.__base__"),
    ("L", "ambda"),
    ("L", "imit"),
    ("R", "ational"),
    ("C", "omplement"),
    ("R", "/0"),
    ("C", "#1"),
    ("L", "-1+1"),
    ("R", "ä"),
    ("C", "os"),
    ("L", "x" * 63),
    ("R", "²"),
]


def hostile() -> Network:
    """A chain of parts with those names before a driver with another."""
    unit = {"R": "4", "L": "1mH dcr=0.1", "C": "9uF esr=0.2 df=0.01"}
    cards = [f"{letter}{rest} n{k} n{k + 1} {unit[letter]}" for k, (letter, rest) in enumerate(HOSTILE)]
    last = len(HOSTILE)
    text = "\n".join(["* Invented", "R0 in n0 1", *cards, f"Xlow n{last} 0 print", f"Rzz n{last} 0 50"])
    network = network_of(text)
    # No file can bring these in; whoever builds a network in Python can.
    odd = replace(network.drivers[0], driver="__import__('os').system('false')", key="a b")
    return replace(network, drivers=(odd,))


def test_display_names_are_safe_and_unique():
    table = symbol_table(hostile())
    names = list(table.display.values())
    assert len(set(names)) == len(names) > len(HOSTILE)
    for name in names:
        assert re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*", name), name
        assert not keyword.iskeyword(name)
        assert not hasattr(sympy, name)
        assert not hasattr(builtins, name)


def test_altered_names_are_listed():
    altered = symbol_table(hostile()).altered
    assert altered["Lambda"] == "Lambda_"
    assert altered["Limit"] == "Limit_"
    assert altered["Rational"] == "Rational_"
    assert altered["Complement"] == "Complement_"
    assert altered["R/0"] == "R_0"
    assert altered["L-1+1"] == "L_1_1"
    assert "L__import__" not in altered  # harmless: a letter like any other
    assert "Rexec" not in altered


def test_names_that_fall_together_are_kept_apart():
    """R.1, R#1 and R_1: the one that needs no change keeps its name."""
    network = network_of("* Invented\nR.1 in a 1\nR#1 a b 2\nR_1 b c 4\nXlow c 0 woofer\n")
    table = symbol_table(network)
    assert table.display[Quantity(SymbolKind.VALUE, "R_1")] == "R_1"
    assert {table.display[Quantity(SymbolKind.VALUE, n)] for n in ("R.1", "R#1")} == {"R_1_", "R_1__"}
    assert sum(numbers(network).values()) == 7.0


def test_a_loss_and_a_part_may_want_one_name():
    network = network_of("* Invented\nL1 in a 1mH dcr=0.25\nL1_dcr a b 2mH\nXlow b 0 woofer\n")
    values = numbers(network)
    assert sorted(values.values()) == [0.001, 0.002, 0.25]
    assert sorted(values) == ["L1", "L1_dcr", "L1_dcr_"]


def test_two_cards_of_one_driver_share_its_letter():
    network = network_of("* Invented\nL1 in w 1mH\nXa w 0 woofer\nXb w 0 woofer\n")
    assert symbol_table(network).driver_names == {"woofer": "Z_woofer"}


def test_a_reader_gets_the_same_formula_back():
    """Also for hostile names: sympify of the printed text has the same letters and the same terms."""
    networks = [circuit(path) for path in CIRCUITS if "three-way-third" in path.stem or "autotransformer" in path.stem]
    assert len(networks) == 2
    for network in (*networks, hostile()):
        solution = solve_symbolic(network)
        for rational in (*solution.drive.values(), *(y for load in solution.load.values() for _, y in load.admittance)):
            found = expression(rational)
            again = sympy.sympify(str(found))
            assert again == found
            assert {str(x) for x in again.free_symbols} == set(rational.names)


def test_hostile_names_give_the_right_numbers():
    network = hostile()
    solution = solve_symbolic(network)
    impedance = all_measured_like(network)
    assert worst_difference(network, solution, impedance) < 1e-9
    values = letters(network, impedance, solution)
    some = evaluate(solution.drive["a b"], 2j * np.pi * FREQUENCY, values)
    assert np.all(np.abs(some) > 0)


def test_nothing_typed_reaches_a_parser(monkeypatch):
    """Every string that goes into sympy's or Python's parsers while a hostile network is solved."""
    parsed: list[str] = []

    def spy(module, name):
        real = getattr(module, name)

        def watched(text, *args, **kwargs):
            parsed.append(str(text))
            return real(text, *args, **kwargs)

        monkeypatch.setattr(module, name, watched)

    import sympy.parsing.sympy_parser as parser

    spy(parser, "parse_expr")
    spy(builtins, "eval")
    spy(builtins, "exec")
    spy(builtins, "compile")
    network = hostile()
    solution = solve_symbolic(network)
    for rational in solution.drive.values():
        expression(rational)
    form = compile_closed_form(network, FREQUENCY, all_measured_like(network), ["Rexec", "L__import__"])
    form.at({"Rexec": [3.0, 5.0], "L__import__": 0.002})
    sympy.sympify("1 + x0")
    monkeypatch.undo()
    assert "1 + x0" in parsed  # the watch itself works
    typed = [letter + rest for letter, rest in HOSTILE] + ["print", "__import__('os')"]
    assert not [text for text in parsed if any(name in text for name in typed)]


@pytest.mark.parametrize("path", CIRCUITS, ids=[p.stem for p in CIRCUITS])
def test_the_ready_circuits_keep_their_names(path):
    network = circuit(path)
    table = symbol_table(network)
    assert not table.altered
    assert set(table.value) == set(numbers(network)) >= {p.name for p in network.parts}
