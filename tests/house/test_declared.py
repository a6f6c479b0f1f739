"""A question is declared once: each kind of quantity is read alike by every option of every command that takes it."""

import subprocess
import sys
from pathlib import Path

import pytest

from xover.cli.main import main
from xover.declare import Ask, Grid, asked_of, question_of
from xover.errors import OptionError
from xover.studies import GROUPS, HOMES, question
from xover.units import BAND, DB

DB_SPELLINGS = ("0.1", "0.1dB", "0.1 dB", "0.1DB", "0,1 dB")
BAND_SPELLINGS = ("200:18k", "200..18k", "200-18k", "200 - 18 kHz", "0.2k..18kHz", "200 Hz:18000")


def asks():
    """(command, parameter, what is asked) of every option of every question, those that only change the words too."""
    for name in HOMES:
        function = question(name)
        for asked in asked_of(function):
            if isinstance(asked.ask, Ask):
                yield name, asked.name, asked.ask
        for parameter, (ask, _) in question_of(function).shows.items():
            yield name, parameter, ask


ALL = list(asks())
OF_DB = [pytest.param(p, a, id=f"{c}-{p}") for c, p, a in ALL if a.unit.metavar == DB.metavar]
OF_BAND = [pytest.param(p, a, id=f"{c}-{p}") for c, p, a in ALL if a.unit.metavar == BAND.metavar]


def test_every_command_is_declared():
    assert [n for group in GROUPS.values() for n in group] == list(HOMES)
    assert len(HOMES) == 33
    assert len(ALL) > 90
    assert len(OF_DB) >= 7
    assert len(OF_BAND) >= 4


@pytest.mark.parametrize(("parameter", "ask"), OF_DB)
def test_decibels_are_read_alike_by_every_option(parameter, ask):
    assert {ask.value(parameter, [text] if ask.many else text) for text in DB_SPELLINGS} == {
        (0.1,) if ask.many else 0.1
    }
    with pytest.raises(OptionError, match=r"'much' is not a number; write a number such as 0\.5 dB"):
        ask.value(parameter, "much")


@pytest.mark.parametrize(("parameter", "ask"), OF_BAND)
def test_bands_are_read_alike_by_every_option(parameter, ask):
    assert {ask.value(parameter, text) for text in BAND_SPELLINGS} == {(200.0, 18000.0)}
    with pytest.raises(OptionError, match=r"'200' is no band; write two frequencies, such as 200\.\.18k"):
        ask.value(parameter, "200")
    with pytest.raises(OptionError, match="does not rise; write the lower frequency first"):
        ask.value(parameter, "18k-200")


def test_the_same_flag_means_the_same_kind_of_thing():
    kinds = {}
    for command, parameter, ask in ALL:
        if not ask.place:
            kinds.setdefault(ask.flag_of(parameter), {}).setdefault(ask.unit.metavar, []).append(command)
    assert {flag: units for flag, units in kinds.items() if len(units) > 1} == {}


@pytest.mark.parametrize("name", HOMES)
def test_a_refusal_names_the_flag_on_the_command_line_and_the_parameter_in_python(name, capsys):
    """Each option that cannot be any text is given one; both faces say the same of it, each with its own name."""
    function = question(name)
    tried = 0
    for asked in asked_of(function):
        ask = asked.ask
        if isinstance(ask, Grid) or ask is None or ask.place or ask.unit.exact or isinstance(asked.default, bool):
            continue
        flag = ask.flag_of(asked.name)
        try:
            ask.value(asked.name, ["nonsense=!"] if ask.many else "nonsense=!")
        except OptionError as error:
            python = error.spelled(str)
            shell = error.spelled({asked.name: flag}.__getitem__)
            assert asked.name in python
            assert "--" not in python
            places = ["4.7uF" for a in asked_of(function) if isinstance(a.ask, Ask) and a.ask.place and a.required]
            first = ["nowhere"] if question_of(function).opens else []
            needed = [
                word
                for a in asked_of(function)
                if isinstance(a.ask, Ask) and a.required and not a.ask.place and a is not asked
                for word in (a.ask.flag_of(a.name), "1")
            ]
            assert main([name, *first, *places, *needed, flag, "nonsense=!"]) == 2
            said = capsys.readouterr()
            assert said.out == ""
            assert said.err == f"error: {shell}\n"
            tried += 1
    assert (tried == 0) == (name in WITHOUT_SUCH)


WITHOUT_SUCH = {"new", "check", "undo", "schematic", "sensitivity", "phone"}
"""They ask for names and files, or for frequencies alone."""


def test_no_question_bears_the_name_of_a_module_beside_it():
    """Loading that module would put it in the place of the function."""
    for name in HOMES:
        home = Path(sys.modules[question(name).__module__].__file__)
        functions = {n for n, v in vars(sys.modules[question(name).__module__]).items() if hasattr(v, "__question__")}
        assert not functions & {p.stem for p in home.parent.glob("*.py")} or home.name != "__init__.py", name


def test_declarations_load_no_numpy():
    code = (
        "import sys; from xover.studies import HOMES, question; [question(n) for n in HOMES]; "
        "print(sorted({'numpy', 'scipy', 'sympy', 'matplotlib'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
