"""xover undo: what was written last is taken back, told before and after."""

import json
import shutil

import pytest

from xover.files.changes import JOURNAL


@pytest.fixture
def left(examples, tmp_path):
    shutil.copytree(examples / "attic-two-way", tmp_path / "attic")
    return tmp_path / "attic" / "left"


def files(folder):
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def test_a_written_network_is_taken_back(run, left):
    before = files(left)
    assert run("refresh", left, "--write", "refreshed").status == 0
    after = files(left)
    assert set(after) - set(before) == {"refreshed.cir", JOURNAL}
    done = run("undo", left, "--look")
    assert (done.status, done.err) == (0, "")
    assert done.out == "Would be undone: refreshed.cir removed, speaker.toml put back as it was.\n"
    assert files(left) == after
    done = run("undo", left)
    assert (done.status, done.out) == (0, "Undone: refreshed.cir removed, speaker.toml put back as it was.\n")
    assert files(left) == before
    done = run("undo", left / "speaker.toml")
    assert (done.status, done.out) == (2, "")
    assert done.err.startswith("error: there is nothing to undo in ")
    assert done.err.count("\n") == 1


def test_a_folder_started_over_another_is_taken_back(run, left):
    before = files(left)
    assert run("new", left, "--force").status == 0
    told = json.loads(run("undo", left, "--json").out)
    assert told == {
        "folder": str(left),
        "looked": False,
        "removed": ["original.cir"],
        "put_back": ["speaker.toml", "found.cir"],
        "left": 0,
    }
    assert files(left) == before


def test_it_works_where_the_folder_cannot_be_opened_and_not_where_it_was_edited(run, left):
    before = files(left)
    assert run("refresh", left, "--write", "refreshed").status == 0
    (left / "refreshed.cir").write_text("nonsense\n")
    done = run("undo", left)
    assert done.status == 2
    assert "refreshed.cir: has changed since xover wrote it, so nothing was undone; mend it by hand" in done.err
    (left / "refreshed.cir").unlink()
    assert run("check", left).status == 2
    assert run("undo", left).status == 0
    assert files(left) == before
    assert run("undo", left / "none").err.endswith("none: does not exist; check the name and the folder\n")
