"""Formulas: their text against the numeric solve, their readings against hand arithmetic."""

import builtins
import importlib
import json
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import sympy
from hypothesis import given
from hypothesis import strategies as st

from xover.curve import log_grid
from xover.driver.model import DriverModel, LossyInductance, Resonance, impedance_polynomials
from xover.files.netlist import circuit_names, parse_netlist, read_circuit
from xover.network import build_network, solve
from xover.plain import to_plain
from xover.speaker import open_speaker
from xover.studies.does.formula import words
from xover.studies.does.formula.study import ALIGNMENTS, Showing, nearest_alignment, study_formula
from xover.studies.does.formula.terminated import TerminatedNetwork, terminated_speaker

F = log_grid(20.0, 20e3, 3)
S = 2j * np.pi * F
LR2 = "* LR2 at 2 kHz, 8 ohm\nL1 in w 1.2732395mH\nC1 w 0 4.9735919uF\nXlow w 0 woofer\nC2 in t 4.9735919uF\n"
LR2 += "L2 t 0 1.2732395mH\nXhigh 0 t tweeter\n"


def network(text):
    return build_network(parse_netlist(text))


def read_back(text, numbers, drivers):
    """What a reader does with the JSON: sympy reads the text, numbers go in; Python itself where sympy takes long."""
    values = {**numbers, **{f"Z_{k}": v for k, v in drivers.items()}, "s": S}
    if len(text) > 15_000:
        return eval(text, {"__builtins__": {}}, {"I": 1j, "sqrt": math.sqrt, **values})
    expression = sympy.sympify(text)
    letters = sorted(expression.free_symbols, key=str)
    function = sympy.lambdify(letters, expression, "numpy")
    return function(*(values[str(letter)] for letter in letters))


@pytest.mark.parametrize("name", circuit_names())
def test_text_read_by_sympy_is_the_solve(name):
    net = build_network(read_circuit(name))
    drivers = {d: (6 + i) + 0.2j * np.sqrt(F) for i, d in enumerate(net.driver_names)}
    study = json.loads(json.dumps(to_plain(study_formula(TerminatedNetwork(net, name, dict.fromkeys(drivers, 6.0))))))
    solution = solve(net, F, drivers)
    for key, text in study["transfer"].items():
        got = read_back(text, study["numbers"], drivers)
        np.testing.assert_allclose(got, solution.drive[key], rtol=1e-9)
    loads = study["load"] if isinstance(study["load"], dict) else {net.channels[0].name: study["load"]}
    for channel, text in loads.items():
        got = read_back(text, study["numbers"], drivers)
        np.testing.assert_allclose(got, solution.impedance_ohm[channel], rtol=1e-9)


def test_second_order_readings_by_hand():
    """LR2 of 8 ohm at 2 kHz: two real poles at 2 kHz, -12 dB/octave, gain one (definition)."""
    study = study_formula(TerminatedNetwork(network(LR2), "found", {"woofer": 8.0, "tweeter": 8.0}))
    low, high = study.transfer["woofer"], study.transfer["tweeter"]
    assert low.ideal_text == "(Z_woofer)/(s**2*L1*C1*Z_woofer + s*L1 + Z_woofer)"
    assert high.ideal_text == "(-s**2*C2*L2*Z_tweeter)/(s**2*C2*L2*Z_tweeter + s*L2 + Z_tweeter)"
    assert (low.resistive.at_zero, low.resistive.at_infinity) == (0, -2)
    assert (high.resistive.at_zero, high.resistive.at_infinity) == (2, 0)
    assert low.resistive.low_gain == pytest.approx(1.0)
    assert high.resistive.high_gain == pytest.approx(-1.0)
    w0 = 2 * math.pi * 2000
    assert low.resistive.high_gain == pytest.approx(w0**2, rel=1e-6)
    for formula in (low, high):
        places = [p.frequency_hz for p in formula.resistive.poles]
        # A double root is known to the root of the rounding only.
        assert places == pytest.approx([2000.0] * len(places), rel=2e-3)
        assert formula.nearest.name == "LR2"
        assert formula.nearest.frequency_hz == pytest.approx(2000.0, rel=1e-3)
        assert formula.nearest.worst_db < 0.01
    assert low.nearest.low_pass
    assert not high.nearest.low_pass


def test_load_shape_is_the_load():
    net = network(LR2)
    study = study_formula(TerminatedNetwork(net, "found", {"woofer": 8.0, "tweeter": 8.0}))
    z = solve(net, F, {"woofer": np.full(F.size, 8.0), "tweeter": np.full(F.size, 8.0)}).impedance_ohm["in"]
    np.testing.assert_allclose(study.load["in"].resistive.value(F), z, rtol=1e-9)


def test_fitted_model_goes_in_as_polynomials():
    model = DriverModel(6.2, 0.3e-3, (LossyInductance(4.0, 1e-3),), (Resonance(45.0, 60.0, 5.0),))
    top, bottom = impedance_polynomials(model)
    np.testing.assert_allclose(np.polyval(top, S) / np.polyval(bottom, S), model.impedance_ohm(F), rtol=1e-12)
    net = network(LR2.replace("C1 w 0 4.9735919uF", "C1 w 0 4.9735919uF esr=0.3").replace("mH\nC1", "mH dcr=0.4\nC1"))
    study = study_formula(
        TerminatedNetwork(net, "found", {"woofer": 6.2, "tweeter": 6.2}, {"woofer": model, "tweeter": model})
    )
    z = model.impedance_ohm(F)
    solution = solve(net, F, {"woofer": z, "tweeter": z})
    for key in ("woofer", "tweeter"):
        np.testing.assert_allclose(study.transfer[key].modelled.value(F), solution.drive[key], rtol=1e-8)
    np.testing.assert_allclose(study.load["in"].modelled.value(F), solution.impedance_ohm["in"], rtol=1e-8)


@pytest.mark.parametrize("name", ALIGNMENTS)
@pytest.mark.parametrize("low_pass", [True, False])
def test_every_alignment_finds_itself(name, low_pass):
    grid = log_grid(2.0, 200e3, 12)
    s = 1j * grid / 1234.0
    level = -20 * np.log10(abs(np.polyval(ALIGNMENTS[name], s if low_pass else 1 / s)))
    found = nearest_alignment(grid, level, len(ALIGNMENTS[name]) - 1, low_pass)
    assert found.name == name
    assert found.frequency_hz == pytest.approx(1234.0, rel=1e-4)
    assert found.worst_db < 1e-3
    shifted = nearest_alignment(grid, level + 2.0, len(ALIGNMENTS[name]) - 1, low_pass)
    assert shifted.rms_db > 0.3


def test_band_pass_has_no_alignment():
    text = "* mid\nC1 in a 30uF\nL1 a m 1mH\nXmid m 0 mid\n"
    found = study_formula(TerminatedNetwork(network(text), "found", {"mid": 6.0})).transfer["mid"]
    assert found.nearest is None
    assert "band-pass" in found.notes[0]
    assert (found.resistive.at_zero, found.resistive.at_infinity) == (1, -1)


def test_speaker_formulas_use_its_own_drivers():
    folder = Path(__file__).parents[2] / "examples" / "attic-two-way" / "left"
    study = study_formula(terminated_speaker(open_speaker(folder), "found"))
    assert 5 < study.resistance_ohm["woofer"] < 7
    assert study.transfer["woofer"].modelled is not None
    assert any("misses its sweep" in w for w in study.warnings)


HOSTILE = [
    "L__import__('os')".replace("(", "").replace(")", "").replace("'", ""),
    "Lambda",
    "L1.evaluate",
    "Rexec",
    "L+oo",
    "L\u03b1",
]


@pytest.mark.parametrize("name", HOSTILE)
def test_names_reach_no_parser(name, monkeypatch):
    """Part names, values, parameters and titles: sympy's parser must never be called by us."""

    def forbidden(*_, **__):
        raise AssertionError("a string was parsed")

    # Every way from a string into sympy ends in this one function, and that in eval.
    monkeypatch.setattr(importlib.import_module("sympy.parsing.sympy_parser"), "parse_expr", forbidden)
    monkeypatch.setattr(builtins, "eval", forbidden)
    with pytest.raises(AssertionError, match="a string was parsed"):
        sympy.sympify("x + 1")
    part = f"{name} in w {{x}}" if name[0] == "L" else f"L1 in v {{x}}\n{name} v w 2"
    text = f"__import__('os').system('id')\n.param x=1m\n{part}\nXlow w 0 woofer\n"
    study = study_formula(TerminatedNetwork(network(text), "found", {"woofer": 8.0}))
    assert study.transfer["woofer"].terms > 0
    assert all(letter.isidentifier() and letter.isascii() for letter in study.numbers)
    assert study.title == "__import__('os').system('id')"


ALIKE = "* a\nR1 in a 1\nR_1 a b 2\nC1 b 0 4.7uF\nC.1 b c 1uF\nL12 c 0 1mH\nL1_2 c d 1mH\nR9 d e 1\n"
ALIKE += "Xs e 0 tweeter\nXt e 0 Tweeter\n"


def test_no_two_names_print_alike_in_latex():
    """sympy makes an index of the digits behind a letter, and of what stands behind an underscore."""
    study = study_formula(TerminatedNetwork(network(ALIKE), "found", {"tweeter": 8.0, "Tweeter": 8.0}))
    (first, *_), blocks = (list(words.tell(replace(study, showing=Showing(None, False, True)))) for _ in range(2))
    text = "\n".join(b.words for b in blocks)
    assert first.words == "% C.1 is C_1"
    for name in (
        r"\mathtt{R1}",
        r"\mathtt{R\_1}",
        r"\mathtt{C1}",
        r"\mathtt{C\_1}",
        r"\mathtt{L12}",
        r"\mathtt{L1\_2}",
    ):
        assert name in text
    assert "R_{9}" in text  # alone of its look: as ever
    assert "Z_{tweeter}" in text
    assert "Z_{Tweeter}" in text


@given(st.lists(st.from_regex(r"[A-Za-z_][A-Za-z0-9_]{0,3}", fullmatch=True), min_size=2, max_size=8, unique=True))
def test_latex_of_any_names_is_unique(names):
    symbols = [sympy.Symbol(name) for name in names if name != "s"]
    said = words.latex_names(symbols)
    printed = [said[s] if s in said else re.sub(r"[{}_^\s]", "", sympy.latex(s)) for s in symbols]
    assert len(set(printed)) == len(printed)
