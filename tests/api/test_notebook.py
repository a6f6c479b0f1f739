"""The example notebook, cell by cell."""

import ast
import json
import re
import shutil
from contextlib import redirect_stdout
from io import StringIO
from xml.etree import ElementTree

import pytest

import xover


def cells(script):
    """(heading, code) of each cell of code, the heading from the words above it."""
    heading = ""
    for cell in re.split(r"(?m)^# %%", script)[1:]:
        kind, _, body = cell.partition("\n")
        if "[markdown]" in kind:
            assert all(line.startswith("#") or not line for line in body.splitlines())
            heading = next(line for line in body.splitlines() if line.startswith("# #")).strip("# ")
        else:
            yield heading, body


def run_cell(code, space):
    """What the cell writes, and what its last line gives, as a notebook would show it."""
    tree = ast.parse(code)
    last = ast.Expression(tree.body.pop().value) if isinstance(tree.body[-1], ast.Expr) else None
    out = StringIO()
    with redirect_stdout(out):
        exec(compile(tree, "notebook.py", "exec"), space)
        value = eval(compile(last, "notebook.py", "eval"), space) if last is not None else None
    return out.getvalue(), value


@pytest.fixture(scope="module")
def story(examples, tmp_path_factory):
    place = tmp_path_factory.mktemp("notebook")
    shutil.copytree(examples / "attic-two-way", place / "attic-two-way")
    shutil.copy(examples / "stock.csv", place)
    space = {"__name__": "__main__"}
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(place)
        script = (examples / "notebook.py").read_text(encoding="utf-8")
        shown = {heading: run_cell(code, space) for heading, code in cells(script)}
    return place, space, shown


def test_it_says_that_its_data_are_invented(examples):
    first = (examples / "notebook.py").read_text(encoding="utf-8").split("# %%")[1]
    assert "invented; there is no such loudspeaker" in first


def test_every_cell_shows_something(story):
    _, _, shown = story
    assert len(shown) == 9
    for heading, (out, value) in shown.items():
        assert out.strip() or value is not None, heading
    figures = [value for _, value in shown.values() if isinstance(value, xover.Figure)]
    assert len(figures) == 6
    assert figures[0]._repr_png_().startswith(b"\x89PNG")


def test_the_figures_are_saved(story):
    place, _, _ = story
    saved = sorted((place / "figures").glob("*.svg"))
    assert [path.stem for path in saved] == ["condition", "decision", "refresh", "sum"]
    for path in saved:
        assert ElementTree.parse(path).getroot().tag.endswith("}svg")


def test_the_numbers_hold_together(story):
    place, space, shown = story
    drifted = {part.name for part in space["condition"].parts if part.changed}
    assert drifted == {"C1", "C2", "R1"}  # as found.cir and original.cir differ
    # Put right, C2 brings the sum nearer to the original, but not onto it.
    before = space["speaker"].compare("found", "original")
    assert 0.3 < space["difference"].rms_db < before.rms_db
    refreshed = space["refreshed"]
    assert refreshed.refreshed.worst_db <= 0.5 < before.rms_db
    assert space["decision"].answer in shown["Leave it, or refresh it?"][0]
    assert json.loads((place / "figures" / "decision.json").read_text())["recommendation"] == "refresh"
    assert not list(place.rglob("trial.cir"))
