"""A figure shown twice is the same figure: one text for one thing, on every page and over all commands.

Each example's commands run in one process that listens to `xover.figures`, then its page is made. What was noted of
one thing (a network, a driver, a proposal) must be one text each time.
"""

from __future__ import annotations

import contextlib
import io
import re
from collections import defaultdict
from pathlib import Path

import pytest
from made_reports import FOLDERS, MORE, made_report

from xover.cli.main import main
from xover.figures import FIGURES, noting, written

EXAMPLES = Path(__file__).parents[2] / "examples"
COMMANDS = (
    "check {}",
    "predict {} --network found --all",
    "load {} --network found --all",
    "angles {} --network found",
    "sensitivity {} --network found",
    "condition {} --all",
    "tolerance {} --network found --builds 200",
    "bypass {} --network found --all",
)


def run(command: str, folder: Path) -> tuple[str, list[tuple[str, str, str]]]:
    """What a command writes, and the figures that it noted."""
    text = io.StringIO()
    words = [str(folder) if w == "{}" else w for w in command.split()]
    with noting() as notes, contextlib.redirect_stdout(text), contextlib.redirect_stderr(io.StringIO()):
        assert main(words) == 0, command
    return text.getvalue(), notes


def two_texts(notes: list[tuple[str, str, str]]) -> dict[tuple[str, str], set[str]]:
    """Figures of one thing that have more than one text; those that are not said to be of anything are left out."""
    texts = defaultdict(set)
    for figure, of, text in notes:
        if of:
            texts[figure, of].add(text)
    return {what: found for what, found in texts.items() if len(found) > 1}


@pytest.mark.parametrize("name", [*FOLDERS, *MORE])
def test_no_named_figure_has_two_texts(name, shared):
    """Over all commands and the page together: the networks of a page are those of the commands."""
    made = made_report(name, shared)
    notes = []
    for command in COMMANDS:
        text, noted = run(command, made.folder)
        notes += noted
        if command.startswith(("predict", "load")):
            assert noted
            assert all(written in text for _, _, written in noted)
    assert len({(figure, of) for figure, of, _ in notes if of}) >= 15
    shown = made.notes
    page = re.sub(r"<[^>]*>", " ", made.html)
    named_there = {figure for figure, of, _ in shown if of}
    assert {"sum deviation", "lowest load", "lowest EPDR", "null depth", "crossover"} <= named_there
    assert next(t for f, of, t in shown if (f, of) == ("lowest load", made.present)) in page
    assert two_texts([*notes, *shown]) == {}


BY_ITSELF = re.compile(
    r"(?:half_range_db|null_depth_db|\.deviation_db|reading\.minimum_ohm|\br\.minimum_ohm|lowest_epdr_ohm|judged\.lowest_ohm"
    r"|resonance_hz)\b(?:[^{},()]*:[.+]|\)\s*[}\"])"
)
ROUNDED = re.compile(
    r"\b(?:db|ohms?|hertz|money)\([\w.]*(?:half_range_db|null_depth_db|\.minimum_ohm|lowest_epdr_ohm|resonance_hz)\b"
)


def test_nobody_rounds_a_named_figure_by_himself():
    """The lowest load of a fault case is another figure: a driver is out, or shorted."""
    found = [
        f"{path.relative_to(EXAMPLES.parent)}:{number}: {line.strip()}"
        for path in sorted((EXAMPLES.parent / "xover").rglob("*.py"))
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if (ROUNDED.search(line) or re.search(BY_ITSELF, line))
        and "written(" not in line
        and "case.minimum_ohm" not in line
    ]
    assert found == []


def test_there_is_one_judged_band_and_one_of_changes():
    band = re.compile(r"\(200(?:\.0)?, *(?:1[58]|20)(?:_?000(?:\.0)?|e3)\)")
    found = [
        f"{path.name}: {line.strip()}"
        for path in sorted((EXAMPLES.parent / "xover").rglob("*.py"))
        for line in path.read_text(encoding="utf-8").splitlines()
        if band.search(line)
    ]
    assert found == [
        "bands.py: JUDGED_HZ: Final[Band] = (200.0, 15_000.0)",
        "bands.py: CHANGES_HZ: Final[Band] = (200.0, 20_000.0)",
        "bands.py: MICROPHONE_HZ: Final[Band] = (200.0, 15_000.0)",
    ]


def test_a_figure_with_two_values_is_found():
    with noting() as notes:
        written("lowest load", 5.71, "found")
        written("lowest load", 5.7141, "found")
        assert two_texts(notes) == {}
        written("lowest load", 5.7, "found")
    assert two_texts(notes) == {("lowest load", "found"): {"5.71", "5.70"}}


def test_roundings():
    assert written("drive moved", 0.1004) == "0.11"
    assert written("drive moved", 0.1) == "0.10"
    assert written("voicing moved", -1.74) == "1.7"
    assert written("null depth", 24.4, unit=True) == "24 dB"
    assert written("resonance", 1047.3) == "1.05 kHz"
    assert written("cost", None) == "-"
    assert written("sum deviation", float("nan"), unit=True) == "-"
    assert all(f.label for f in FIGURES.values())
