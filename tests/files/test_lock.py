"""One writer at a time: each lock holds the others off, waits no longer than it says, and leaves nothing behind."""

import errno
import os
import sys
import threading
import time
from pathlib import Path

import pytest

from xover.errors import InputError
from xover.files.lock import LOCK_FILE, STALE_S, locked


def refuse(*_: object) -> None:
    raise OSError(errno.ENOLCK, "No locks available")


@pytest.fixture(params=["folder", "file"])
def how(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """The folder itself, and a file where a file system locks no folders."""
    if request.param == "file" and sys.platform != "win32":
        monkeypatch.setattr("fcntl.flock", refuse)
    return request.param


def test_a_second_one_waits_and_says_so(tmp_path: Path, how: str) -> None:
    with locked(tmp_path):
        assert [p.name for p in tmp_path.iterdir()] == ([LOCK_FILE] if how == "file" else [])
        began = time.monotonic()
        said = r"is being written by another xover, for 0\.2 s and more; try again"
        with pytest.raises(InputError, match=said), locked(tmp_path, wait_s=0.2):
            pass
        assert 0.2 <= time.monotonic() - began < 2.0
    with locked(tmp_path, wait_s=0.0):
        pass
    assert list(tmp_path.iterdir()) == []


@pytest.mark.usefixtures("how")
def test_one_at_a_time(tmp_path: Path) -> None:
    inside, most = [0], [0]

    def work() -> None:
        for _ in range(10):
            with locked(tmp_path):
                inside[0] += 1
                most[0] = max(most[0], inside[0])
                time.sleep(0.001)
                inside[0] -= 1

    workers = [threading.Thread(target=work) for _ in range(4)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert most == [1]


@pytest.mark.usefixtures("how")
def test_it_is_given_back_whatever_happens(tmp_path: Path) -> None:
    with pytest.raises(KeyboardInterrupt), locked(tmp_path):
        raise KeyboardInterrupt
    with locked(tmp_path, wait_s=0.0):
        pass


def test_a_lock_file_of_one_that_was_killed_does_not_hold_for_ever(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fcntl.flock", refuse)
    (tmp_path / LOCK_FILE).touch()
    with pytest.raises(InputError, match="another xover"), locked(tmp_path, wait_s=0.05):
        pass
    long_ago = time.time() - STALE_S - 1.0
    os.utime(tmp_path / LOCK_FILE, (long_ago, long_ago))
    with locked(tmp_path, wait_s=0.5):
        pass
    assert list(tmp_path.iterdir()) == []


def test_no_such_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="none: does not exist"), locked(tmp_path / "none"):
        pass


def test_what_a_killed_writer_left_is_cleared_and_nothing_else(tmp_path: Path) -> None:
    old = time.time() - 2 * STALE_S
    left, young, other = (tmp_path / n for n in (f".{'a1' * 8}.tmp", f".{'b2' * 8}.tmp", ".mine.tmp"))
    link, target = tmp_path / f".{'c3' * 8}.tmp", tmp_path / "target"
    for path in (left, young, other, target):
        path.write_text("whole")
    link.symlink_to(target)
    for path in (left, other, target):
        os.utime(path, (old, old))
    with locked(tmp_path):
        pass
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(p.name for p in (young, other, link, target))
