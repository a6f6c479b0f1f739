"""The help of the whole and of each command."""

import ast
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

import xover.cli
from xover.cli.commands import COMMANDS, GROUPS
from xover.studies import HOMES, question

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
        assert rows == [[name, words] for name, words in commands.items()]


def test_help_has_two_names_and_is_what_one_gets_without_a_word(run):
    assert run("--help").out == run("-h").out == run().out
    assert run("predict", "--help").out == run("predict", "-h").out


@pytest.mark.parametrize("command", COMMANDS)
def test_the_help_of_a_command_is_short_and_has_an_example(run, command):
    done = run(command, "-h")
    assert (done.status, done.err) == (0, "")
    assert max(map(len, done.out.splitlines())) <= WIDTH
    assert done.out.startswith(f"Usage: xover {command} ")
    assert f"Example: xover {command} " in done.out
    function = question(command) if command in HOMES else getattr(import_module(f"xover.cli.{command}"), command)
    assert COMMANDS[command] == function.__doc__.splitlines()[0]
    assert len(COMMANDS[command]) <= WIDTH - 4 - max(map(len, COMMANDS))


def test_every_command_is_listed():
    found = set()
    for path in Path(xover.cli.__file__).parent.glob("*.py"):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            documented = isinstance(node, ast.FunctionDef) and node.name == path.stem
            if documented and "Example: xover" in (ast.get_docstring(node) or ""):
                found.add(path.stem)
    assert found | set(HOMES) == set(COMMANDS)


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
    assert done.stderr.strip() == "[] ['xover.cli.commands', 'xover.cli.group', 'xover.cli.main']"
