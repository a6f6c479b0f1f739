"""What `import xover` gives, and what it costs."""

import ast
import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import xover
from xover.api.loudspeaker import Loudspeaker

ROOT = Path(xover.__file__).parents[1]
METHODS = [name for name, _ in inspect.getmembers(Loudspeaker, inspect.isfunction) if not name.startswith("_")]
FUNCTIONS = [name for name in xover.__all__ if inspect.isfunction(getattr(xover, name)) and name != "log_grid"]
# Those whose example would take long, or write a file.
NOT_RUN = {"add_network", "bypass", "check", "decide", "formula", "new", "pair", "redesign", "refresh", "save", "spice"}
NOT_RUN |= {"record", "response", "sweep", "undo"}
NOT_RUN |= {"circuit", "judge", "response"}  # lcapy's; see tests/studies/test_formula_in_time.py
NOT_RUN |= {"angles", "compare", "crosstalk", "draw", "infer", "jig", "report", "to_json", "tolerance", "verify"}


def test_importing_it_loads_nothing_heavy():
    code = (
        "import sys; import xover; "
        "print(sorted(m for m in sys.modules if m.startswith('xover')), 'numpy' in sys.modules); "
        "xover.circuits(); print('matplotlib' in sys.modules, 'scipy' in sys.modules, "
        "any(m.startswith('xover.studies.') and m.endswith('.study') for m in sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == ["['xover'] False", "False False False"]


def test_the_names_are_complete_and_sorted():
    assert xover.__all__ == sorted(xover.__all__)
    assert dir(xover) == xover.__all__
    for name in xover.__all__:
        assert getattr(xover, name) is not None
    assert callable(xover.open)


def test_a_type_checker_sees_the_same_names():
    tree = ast.parse(Path(xover.__file__).read_text(encoding="utf-8"))
    seen = {
        alias.name: node.module
        for block in tree.body
        if isinstance(block, ast.If) and ast.unparse(block.test) == "TYPE_CHECKING"
        for node in block.body
        for alias in node.names
    }
    assert {*seen, "__version__"} == set(xover.__all__)
    assert {name: f"xover.{home}" for name, home in xover._HOME_OF.items()} == seen


def test_a_wrong_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="no attribute 'speker'"):
        _ = xover.speker


def test_there_is_a_method_for_each_command_of_a_speaker():
    from xover.studies import HOMES as COMMANDS

    of_no_speaker = {"new", "sweep", "record", "jig", "response", "values", "coil", "capacitor"}
    assert set(COMMANDS) - of_no_speaker <= set(METHODS)
    assert of_no_speaker <= set(FUNCTIONS)


@pytest.mark.parametrize("name", [*METHODS, *FUNCTIONS])
def test_each_says_units_errors_and_an_example_and_is_typed(name):
    function = getattr(Loudspeaker, name) if name in METHODS else getattr(xover, name)
    words = function.__doc__
    assert ">>> " in words
    assert "Raises" in words or name == "circuits"
    assert "return" in function.__annotations__
    parameters = [p for p in inspect.signature(function).parameters.values() if p.name != "self"]
    assert all(p.annotation is not inspect.Parameter.empty for p in parameters)
    optional = [p for p in parameters if p.default is not inspect.Parameter.empty]
    by_place = [p.name for p in optional if p.kind is not inspect.Parameter.KEYWORD_ONLY]
    assert by_place in ([], ["network"], ["circuit"], ["name"], ["target"], ["played"])
    assert [p.name for p in optional if p.name not in words and p.name not in ("network", "frequency_hz")] == []


@pytest.mark.parametrize("name", [n for n in [*METHODS, *FUNCTIONS] if n not in NOT_RUN])
def test_the_examples_run(name, speaker, monkeypatch):
    monkeypatch.chdir(ROOT)
    function = getattr(Loudspeaker, name) if name in METHODS else getattr(xover, name)
    lines = [line.strip()[4:] for line in function.__doc__.splitlines() if line.strip().startswith(">>> ")]
    assert len(lines) == 1
    space = {"xover": xover, "speaker": speaker}
    statement = ast.parse(lines[0]).body[0]
    if isinstance(statement, ast.Expr):
        assert eval(lines[0], space) is not None
    else:
        exec(lines[0], space)
        assert isinstance(space["speaker"], Loudspeaker)
