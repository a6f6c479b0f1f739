"""Whole files in and out: what is refused, what is kept, what is never left behind."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

import pytest

from xover.errors import InputError
from xover.files import atomic
from xover.files.atomic import read_text, write_bytes, write_text
from xover.files.budget import TEXT_FILE, Budget


def names(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def test_write_then_read(tmp_path: Path) -> None:
    write_text(tmp_path / "a.cir", "* Ω\nR1 in 0 8\n")
    assert (tmp_path / "a.cir").read_bytes() == b"* \xce\xa9\nR1 in 0 8\n"
    assert read_text(tmp_path / "a.cir") == "* Ω\nR1 in 0 8\n"
    assert names(tmp_path) == ["a.cir"]


def test_existing_file_is_kept_without_force(tmp_path: Path) -> None:
    (tmp_path / "a.cir").write_text("old")
    with pytest.raises(InputError, match=r"a\.cir: exists already; give force to overwrite it"):
        write_text(tmp_path / "a.cir", "new")
    assert (tmp_path / "a.cir").read_text() == "old"
    assert names(tmp_path) == ["a.cir"]


def test_force_overwrites_and_keeps_permissions(tmp_path: Path) -> None:
    (tmp_path / "a.cir").write_text("a longer old text")
    os.chmod(tmp_path / "a.cir", 0o640)
    write_text(tmp_path / "a.cir", "new", force=True)
    assert (tmp_path / "a.cir").read_text() == "new"
    assert stat.S_IMODE((tmp_path / "a.cir").stat().st_mode) == 0o640


@pytest.mark.parametrize(("mask", "mode"), [(0o022, 0o644), (0o077, 0o600)])
def test_new_file_respects_the_umask(tmp_path: Path, mask: int, mode: int) -> None:
    before = os.umask(mask)
    try:
        write_bytes(tmp_path / "a.png", b"\x89")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "a.png").stat().st_mode) == mode


@pytest.fixture(params=["nameless", "named", "no descriptors"])
def system(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Linux, a file system without nameless files, and a system that cannot work in an opened folder."""
    if request.param != "nameless":
        monkeypatch.setattr(atomic, "_nameless", lambda _: None)
    if request.param == "no descriptors":
        monkeypatch.delattr(os, "O_PATH")


@pytest.mark.usefixtures("system")
def test_written_and_overwritten_on_any_system(tmp_path: Path) -> None:
    write_text(tmp_path / "a.cir", "old")
    os.chmod(tmp_path / "a.cir", 0o640)
    write_text(tmp_path / "a.cir", "new", force=True)
    assert (tmp_path / "a.cir").read_text() == "new"
    assert stat.S_IMODE((tmp_path / "a.cir").stat().st_mode) == 0o640
    assert names(tmp_path) == ["a.cir"]


@pytest.mark.usefixtures("system")
@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_failed_write_leaves_the_old_file_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str) -> None:
    (tmp_path / "a.cir").write_text("old")

    def fail(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(atomic.os, step, fail)
    with pytest.raises(InputError, match=r"a\.cir: cannot be written: no space left on device; check"):
        write_text(tmp_path / "a.cir", "new", force=True)
    assert (tmp_path / "a.cir").read_text() == "old"
    assert names(tmp_path) == ["a.cir"]


def test_interrupt_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(atomic.os, "fsync", interrupt)
    with pytest.raises(KeyboardInterrupt):
        write_text(tmp_path / "a.cir", "new")
    assert names(tmp_path) == []


def test_symbolic_link_stays_and_its_target_is_written(tmp_path: Path) -> None:
    (tmp_path / "real.cir").write_text("old")
    (tmp_path / "link.cir").symlink_to("real.cir")
    with pytest.raises(InputError, match="exists already"):
        write_text(tmp_path / "link.cir", "new")
    write_text(tmp_path / "link.cir", "new", force=True)
    assert (tmp_path / "link.cir").is_symlink()
    assert (tmp_path / "real.cir").read_text() == "new"


def test_missing_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"a\.cir: its folder '.*none' does not exist; create the folder first"):
        write_text(tmp_path / "none" / "a.cir", "x")


@pytest.mark.parametrize("force", [False, True])
def test_folder_in_place_of_a_file(tmp_path: Path, force: bool) -> None:
    (tmp_path / "sub").mkdir()
    with pytest.raises(InputError, match="sub: is a folder where a file is to be written"):
        write_text(tmp_path / "sub", "x", force)
    with pytest.raises(InputError, match="sub: is a folder where a file belongs; name the file inside it"):
        read_text(tmp_path / "sub")


def test_pipe_is_neither_read_nor_replaced(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(InputError, match="pipe: is not a regular file; save the data to a file first"):
        read_text(tmp_path / "pipe")
    with pytest.raises(InputError, match="pipe: is not a regular file; give the name of a file"):
        write_text(tmp_path / "pipe", "x", force=True)
    assert stat.S_ISFIFO((tmp_path / "pipe").stat().st_mode)


def test_no_permission_to_write(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a.cir").write_text("old")
    monkeypatch.setattr(atomic.os, "access", lambda *_: False)  # root may do everything, so say no in its place
    with pytest.raises(InputError, match=r"a\.cir: cannot be written: no permission; change its permissions"):
        write_text(tmp_path / "a.cir", "new", force=True)
    assert (tmp_path / "a.cir").read_text() == "old"


def test_no_permission_to_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    (tmp_path / "a.cir").write_text("old")
    monkeypatch.setattr(atomic.os, "stat", refuse)
    with pytest.raises(InputError, match=r"a\.cir: cannot be read: no permission"):
        read_text(tmp_path / "a.cir")


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.csv: does not exist; check the name and the folder"):
        read_text(tmp_path / "none.csv")
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match=r"a\.csv: does not exist"):
        read_text(tmp_path / "file" / "a.csv")


@pytest.mark.parametrize("name", ["a\0b", "\ud800"])
def test_impossible_name(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match="is not a possible file name"):
        read_text(tmp_path / name)
    with pytest.raises(InputError, match="is not a possible file name"):
        write_text(tmp_path / name, "x")


def test_too_long_name(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read: file name too long; check the name"):
        read_text(tmp_path / ("x" * 300))


def test_link_in_a_circle(tmp_path: Path) -> None:
    (tmp_path / "loop").symlink_to("loop")
    with pytest.raises(InputError, match="loop: cannot be read: too many levels of symbolic links"):
        read_text(tmp_path / "loop")
    with pytest.raises(InputError, match="loop: cannot be written"):
        write_text(tmp_path / "loop", "x", force=True)


def test_text_that_utf8_cannot_hold(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="holds a character that UTF-8 cannot hold"):
        write_text(tmp_path / "a.cir", "name \udcff")
    assert names(tmp_path) == []


def test_largest_size(tmp_path: Path) -> None:
    assert TEXT_FILE.most_bytes == 64 * 1024 * 1024
    with open(tmp_path / "huge.csv", "wb") as stream:
        stream.truncate(TEXT_FILE.most_bytes + 1)  # sparse: takes no room
    with pytest.raises(InputError, match=r"huge\.csv: is larger than 64 MB"):
        read_text(tmp_path / "huge.csv")
    (tmp_path / "four.csv").write_bytes(b"1234")
    assert read_text(tmp_path / "four.csv", Budget(4, 1, "")) == "1234"


def test_binary_file_is_named(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR")
    with pytest.raises(
        InputError, match=r"a\.csv: is not a text file: it holds NUL bytes; export the data as plain text"
    ):
        read_text(tmp_path / "a.csv")
