"""From a working folder that has gone, a command answers, or says in a line what it cannot find."""

import shutil

import pytest


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (["load", "{left}"], 0),
        (["refresh", "{left}", "--write", "new"], 0),
        (["refresh", "{left}", "--write", "new", "--plot", "x.svg"], 2),
        (["spice", "{left}", "-o", "{left}/spice.cir"], 0),
        (["spice", "{left}", "-o", "spice.cir"], 2),
        (["new", "{left}/sub"], 0),
        (["new", "sub"], 2),
        (["undo", "{left}"], 2),
        (["undo", "left"], 2),
        (["check", "left"], 2),
        (["report", "{left}", "-o", "page.html"], 2),
        (["compare", "{left}/found.cir", "found.cir"], 2),
    ],
    ids=lambda words: " ".join(words) if isinstance(words, list) else None,
)
def test_from_nowhere(run, examples, tmp_path, monkeypatch, words, status):
    shutil.copytree(examples / "attic-two-way", tmp_path / "attic")
    (tmp_path / "gone").mkdir()
    monkeypatch.chdir(tmp_path / "gone")
    (tmp_path / "gone").rmdir()
    done = run(*(word.format(left=tmp_path / "attic" / "left") for word in words))
    assert done.status == status, done.err
    assert "Traceback" not in done.err
    if status:
        assert done.err.splitlines()[-1].startswith("error: ")
