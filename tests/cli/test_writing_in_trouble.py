"""No room for a file, and a working folder that has gone: a command answers, or says in a line what it cannot do.

Full disks and folders that cannot be written to: `python tests/benchmarks/killed_writers.py`.
"""

import contextlib
import resource
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


@contextlib.contextmanager
def no_file_longer_than(size):
    """What is longer finds no room, as on a full disk (Python lets the signal pass)."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.parametrize(
    "words",
    [
        ["refresh", "{left}", "--write", "new"],
        ["spice", "{left}", "-o", "{left}/found.cir", "--force"],
        ["load", "{left}", "--plot", "{left}/load.svg"],
        ["new", "{left}/sub"],
        ["new", "{left}", "--force"],
    ],
    ids=" ".join,
)
@pytest.mark.parametrize("size", [0, 300])
def test_no_room(run, examples, tmp_path, words, size):
    """None at all, and none for the whole of a file."""
    shutil.copytree(examples / "attic-two-way", tmp_path / "attic")
    before = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    with no_file_longer_than(size):
        done = run(*(word.format(left=tmp_path / "attic" / "left") for word in words))
    after = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    assert done.status == 2
    assert "cannot be written: file too large" in done.err.splitlines()[-1]
    assert after == before
    assert not (tmp_path / "attic" / "left" / "sub").exists()
