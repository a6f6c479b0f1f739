"""The command that decide prints builds exactly what decide judged, and a shell reads it as it stands."""

import re
import shlex
import shutil
from contextlib import chdir
from dataclasses import replace
from pathlib import Path

import pytest
from advice_run import ROOT, STOCK, advise, command
from cases import CASES
from demands import BUILDS, Told
from speakers import HALVED, HORN

EXAMPLES = ("attic-two-way/left", "attic-two-way/right", "hall-horn-two-way", "studio-three-way")
TRIED = (
    "one dry electrolytic",
    "15 for a pair, two dry",
    "horn 5 dB hot",
    "horn reversed by design",
    "reversed tweeter",
    "poor design",
    "tweeter known from 300 Hz, poor design",
    "no money, two amplifiers, poor design",
)
"""Cases whose answer is something to build."""


def cards(netlist: str) -> list[str]:
    """A netlist's cards, sorted, without title, comments, and what separates words."""
    lines = (line.split(";")[0].split() for line in netlist.splitlines())
    return sorted(" ".join(words) for words in lines if words and not words[0].startswith(("*", ".")))


def run_next(folder: Path, told: Told) -> list[Path]:
    """Run the printed command as a shell would split it; the netlists that are new then."""
    words = shlex.split(told.json["next"])
    assert words[0] == "xover", words
    before = {path: path.read_bytes() for path in folder.glob("*.cir")}
    with chdir(folder.parent):
        command(*words[1:])
    return [path for path in folder.glob("*.cir") if before.get(path) != path.read_bytes()]


def check(folder: Path) -> Told:
    """Advise, run what is printed, and hold what it writes to the netlist that was judged."""
    told = advise(folder)
    judged = told.pick.get("netlist") if told.pick is not None else None
    if told.rung in BUILDS and told.rung != "bypass":
        assert judged, f"{told.rung} has no netlist"
    if not judged or told.rung == "leave":
        # Nothing to solder: the command shows or dials in, and leaves the folder alone.
        assert told.json["next"] == "" or run_next(folder, told) == []
        return told
    (written,) = run_next(folder, told)
    built = cards(written.read_text())
    assert built == cards(judged)
    assert built != cards((folder / "found.cir").read_text()), "the old board by another name"
    return told


@pytest.mark.parametrize("name", EXAMPLES)
def test_examples(name, tmp_path):
    top = name.split("/")[0]
    shutil.copytree(ROOT / "examples" / top, tmp_path / top)
    check(tmp_path / name)


@pytest.mark.parametrize("name", TRIED)
def test_cases(name, tmp_path):
    (case,) = (case for case in CASES if case.name == name)
    assert check(case.make(tmp_path)).rung in (*BUILDS, "mend")


@pytest.mark.parametrize("name", ["old speaker's left", 'the "good" one; $HOME & (more)'])
def test_names_are_quoted_for_a_shell(name, tmp_path):
    folder = replace(HALVED, name=name).write(tmp_path)
    assert name in shlex.split(advise(folder).json["next"])
    assert check(folder).rung in BUILDS


def test_the_list_of_parts_is_named_in_the_command(tmp_path):
    folder = replace(HORN.marked(R1="t p 1.5 watts=20", R2="p 0 8.2 watts=20"), name="horn").write(tmp_path)
    words = shlex.split(advise(folder).json["next"])
    assert STOCK.name in words


def test_the_text_prints_the_command_of_the_json(tmp_path):
    folder = HALVED.write(tmp_path)
    told = advise(folder)
    printed = re.sub(r"[\s\\]+", "", told.text)
    assert re.sub(r"\s+", "", told.json["next"]) in printed


def test_nothing_is_written_by_the_advice_itself(tmp_path):
    folder = HALVED.write(tmp_path)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    advise(folder)
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
