"""The help of the whole and of each command."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import xover
from xover.studies import GROUPS, HOMES, first_sentence, question

WIDTH = 80


@pytest.fixture(autouse=True)
def a_usual_terminal(monkeypatch):
    monkeypatch.setenv("COLUMNS", str(WIDTH))


def test_the_groups_stand_in_the_order_of_the_job(run):
    done = run("--help")
    assert (done.status, done.err) == (0, "")
    lines = done.out.splitlines()
    heads = [line.removesuffix(":") for line in lines if line.endswith(":") and line[:-1] in GROUPS]
    assert heads == list(GROUPS)
    assert lines.index("Start:") < lines.index("Options:")
    for heading, commands in GROUPS.items():
        first = lines.index(f"{heading}:") + 1
        rows = [line.split(maxsplit=1) for line in lines[first : first + len(commands)]]
        assert rows == [[name, first_sentence(name)] for name in commands]


def test_help_has_two_names_and_is_what_one_gets_without_a_word(run):
    assert run("--help").out == run("-h").out == run().out
    assert run("predict", "--help").out == run("predict", "-h").out


@pytest.mark.parametrize("command", HOMES)
def test_the_help_of_a_command_is_short_and_has_an_example(run, command):
    done = run(command, "-h")
    assert (done.status, done.err) == (0, "")
    assert max(map(len, done.out.splitlines())) <= WIDTH
    assert done.out.startswith(f"Usage: xover {command} ")
    assert f"Example: xover {command} " in done.out
    assert first_sentence(command) == question(command).__doc__.splitlines()[0]
    assert len(first_sentence(command)) <= WIDTH - 4 - max(map(len, HOMES))


def test_every_question_of_a_command_is_listed():
    """A folder that declares a question with an example for the command line stands in the list."""
    found = set()
    for path in Path(xover.__file__).parent.rglob("*.py"):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and "Example: xover" in (ast.get_docstring(node) or ""):
                found.add(node.name)
    assert found == set(HOMES)


def test_a_slip_of_the_pen_gets_the_nearest_command(run):
    done = run("predit")
    assert done.status == 2
    assert done.err == "error: No such command 'predit'. Did you mean 'predict'? See 'xover --help'.\n"
    assert "Did you mean" not in run("qqqqqqq").err


def test_help_loads_no_command():
    code = (
        "import sys; from xover.cli.main import main; status = main(['--help']); "
        "print(sorted({'numpy', 'scipy'} & set(sys.modules)), "
        "sorted(m for m in sys.modules if m.startswith('xover.cli.')), file=sys.stderr); sys.exit(status)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("Usage: xover ")
    assert done.stderr.strip() == "[] ['xover.cli.group', 'xover.cli.main', 'xover.cli.streams']"
