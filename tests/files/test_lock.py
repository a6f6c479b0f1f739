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
