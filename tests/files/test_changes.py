"""Several files as one change, and the last changes taken back, whatever a stranger put into the folder."""

import base64
import hashlib
import json
import os
import stat
from pathlib import Path

import pytest

from xover.errors import InputError, OptionError
from xover.files import changes
from xover.files.changes import JOURNAL, LARGEST_BYTES, MOST_CHANGES, put, read_changes, take_back
from xover.files.toml_edit import add_network

TOML = '# mine\r\n[drivers.woofer]\r\nre_ohm = 6\r\n[networks.found]\r\ncircuit = "found.cir"'
CARDS = "* board\nL1 in w 1mH\nXlow w 0 woofer\n.end\n"


@pytest.fixture
def toml(tmp_path: Path) -> Path:
    folder = tmp_path / "speaker"
    folder.mkdir()
    (folder / "speaker.toml").write_bytes(TOML.encode())
    (folder / "found.cir").write_text(CARDS)
    (tmp_path / "beside.cir").write_text("mine\n")
    return folder / "speaker.toml"


def files(toml: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in toml.parent.iterdir()}


def sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def journal(toml: Path, *entries: dict[str, tuple[bytes | None, bytes]]) -> None:
    """What a stranger might put there."""
    kept = [
        {
            n: {"before": None if b is None else base64.b64encode(b).decode(), "written": sha(w)}
            for n, (b, w) in e.items()
        }
        for e in entries
    ]
    (toml.parent / JOURNAL).write_text(json.dumps({"changes": kept}))


def test_a_network_is_taken_back_byte_by_byte_and_nothing_is_left(toml: Path) -> None:
    before = files(toml)
    add_network(toml, "better", CARDS)
    written = files(toml)
    assert stat.S_IMODE((toml.parent / JOURNAL).stat().st_mode) == 0o600
    told = take_back(toml, look=True)
    assert (told.removed, told.put_back, told.left) == (("better.cir",), ("speaker.toml",), 0)
    assert files(toml) == written
    assert take_back(toml) == told
    assert files(toml) == before
    with pytest.raises(OptionError, match="there is nothing to undo in"):
        take_back(toml)


def test_steps_back_one_by_one(toml: Path) -> None:
    states = [files(toml)]
    add_network(toml, "a", CARDS)
    states.append(files(toml))
    add_network(toml, "a", CARDS + "* again\n", force=True)
    states.append(files(toml))
    add_network(toml, "b", CARDS)
    for left, state in zip((2, 1, 0), reversed(states), strict=True):
        assert take_back(toml).left == left
        assert files(toml) == state


@pytest.mark.parametrize("name", ["better.cir", "speaker.toml"])
def test_what_has_changed_since_is_left_alone(toml: Path, name: str) -> None:
    add_network(toml, "better", CARDS)
    with open(toml.parent / name, "ab") as stream:
        stream.write(b"# edited\n")
    before = files(toml)
    with pytest.raises(InputError, match=rf"{name}: has changed since xover wrote it, so nothing was undone; mend"):
        take_back(toml)
    assert files(toml) == before


def test_what_was_deleted_since_is_left_alone_where_it_was_another_file(toml: Path) -> None:
    add_network(toml, "better", CARDS)
    add_network(toml, "better", CARDS + "* 2\n", force=True)
    (toml.parent / "better.cir").unlink()
    with pytest.raises(InputError, match="has changed since"):
        take_back(toml)


def test_a_file_that_cannot_be_written_leaves_all_as_they_were(toml: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    add_network(toml, "a", CARDS)
    before = files(toml)
    real = changes.write_bytes

    def fail(path: Path, data: bytes, *more: bool, **most: bool) -> None:
        if path == toml:
            raise InputError("cannot be written: no space left on device", "make room", path)
        real(path, data, *more, **most)

    monkeypatch.setattr(changes, "write_bytes", fail)
    for name, force in (("b", False), ("a", True)):
        contents = {f"{name}.cir": b"new", "speaker.toml": b"new"}
        with pytest.raises(InputError, match="no space left"):
            put(toml.parent, contents, ("speaker.toml", *([f"{name}.cir"] if force else [])))
        assert files(toml) == before


def test_killed_between_two_files_it_is_taken_back_all_the_same(toml: Path) -> None:
    """Whatever was written by then: nothing but the journal, the netlist, or the journal of what was taken back."""
    before = files(toml)
    add_network(toml, "better", CARDS)
    after = files(toml)
    toml.write_bytes(before["speaker.toml"])
    assert take_back(toml).removed == ("better.cir",)
    assert files(toml) == before
    (toml.parent / JOURNAL).write_bytes(after[JOURNAL])
    with pytest.raises(OptionError, match="nothing to undo"):
        take_back(toml)
    add_network(toml, "better", CARDS)
    assert take_back(toml).left == 1
    assert {**files(toml), JOURNAL: b""} == {**before, JOURNAL: b""}


@pytest.mark.parametrize("room", [LARGEST_BYTES, 12_000])
def test_it_stays_small(toml: Path, monkeypatch: pytest.MonkeyPatch, room: int) -> None:
    monkeypatch.setattr(changes, "LARGEST_BYTES", room)
    for number in range(MOST_CHANGES + 5):
        add_network(toml, f"n{number}", CARDS)
        assert (toml.parent / JOURNAL).stat().st_size <= room
    kept = len(read_changes(toml.parent))
    assert kept == MOST_CHANGES if room == LARGEST_BYTES else 1 < kept < MOST_CHANGES


def test_what_has_no_room_is_written_and_cannot_be_taken_back(toml: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(changes, "LARGEST_BYTES", 100)
    add_network(toml, "better", CARDS)
    assert JOURNAL not in files(toml)
    with pytest.raises(OptionError, match="nothing to undo"):
        take_back(toml)


NAMES = [
    "../beside.cir",
    "sub/found.cir",
    "/etc/passwd",
    ".bashrc",
    "",
    ".",
    "..",
    "found.csv",
    "found.cir\0",
    "other.toml",
]


@pytest.mark.parametrize("name", NAMES)
def test_a_journal_may_name_only_what_xover_writes_in_the_folder(toml: Path, name: str) -> None:
    journal(toml, {name: (b"evil", b"mine\n"), "found.cir": (None, CARDS.encode())})
    before = files(toml)
    with pytest.raises(InputError, match="is no file that xover writes, so it is not followed; delete it"):
        take_back(toml)
    assert files(toml) == before
    assert (toml.parents[1] / "beside.cir").read_text() == "mine\n"


@pytest.mark.parametrize("way", ["link out", "link within", "folder", "pipe"])
def test_a_journal_of_what_is_no_plain_file(toml: Path, way: str) -> None:
    place = toml.parent / "new.cir"
    if way == "link out":
        place.symlink_to("../beside.cir")
    elif way == "link within":
        place.symlink_to("found.cir")
    elif way == "folder":
        place.mkdir()
    else:
        os.mkfifo(place)
    for before in (None, b"evil"):
        journal(toml, {"new.cir": (before, b"mine\n" if way == "link out" else CARDS.encode())})
        with pytest.raises(InputError, match=r"new\.cir: (has become a link|is a folder|is not a regular)"):
            take_back(toml)
    assert (toml.parents[1] / "beside.cir").read_text() == "mine\n"
    assert (toml.parent / "found.cir").read_text() == CARDS


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "{}",
        '{"changes": 3}',
        '{"changes": [3]}',
        '{"changes": [{}]}',
        '{"changes": [{"found.cir": {"before": null}}]}',
        '{"changes": [{"found.cir": {"before": 3, "written": "' + "0" * 64 + '"}}]}',
        '{"changes": [{"found.cir": {"before": "!", "written": "' + "0" * 64 + '"}}]}',
        '{"changes": [{"found.cir": {"before": null, "written": "short"}}]}',
        '{"changes": [' + ", ".join(['{"a.cir": {"before": null, "written": "' + "0" * 64 + '"}}'] * 21) + "]}",
        '{"changes": [{' + ", ".join(f'"{n}.cir": {{"before": null, "written": "{n:064}"}}' for n in range(4)) + "}]}",
        '{"changes": ' + "[" * 100_000 + "]" * 100_000 + "}",
        '{"changes": ' + "9" * 100_000 + "}",
        "\xff\0",
        " " * (LARGEST_BYTES + 1),
    ],
    ids=range(16),
)
def test_a_journal_that_is_none_is_not_followed_and_hinders_no_writing(toml: Path, text: str) -> None:
    (toml.parent / JOURNAL).write_text(text, encoding="latin-1")
    before = files(toml)
    with pytest.raises(InputError, match=r"\.xover-undo: is none that xover wrote, so it is not followed; delete it"):
        take_back(toml)
    assert files(toml) == before
    add_network(toml, "better", CARDS)
    assert take_back(toml).left == 0


@pytest.mark.parametrize("target", ["../beside.cir", "found.cir", "../nothing"])
def test_a_journal_that_is_a_link_is_not_read_and_not_written_through(toml: Path, target: str) -> None:
    journal(toml, {"found.cir": (b"evil", CARDS.encode())})
    (toml.parent / JOURNAL).rename(toml.parents[1] / "journal")
    (toml.parent / JOURNAL).symlink_to("../journal")
    with pytest.raises(InputError, match="is none that xover wrote"):
        take_back(toml)
    (toml.parent / JOURNAL).unlink()
    (toml.parent / JOURNAL).symlink_to(target)
    add_network(toml, "better", CARDS)
    assert not (toml.parent / JOURNAL).is_symlink()
    assert (toml.parents[1] / "beside.cir").read_text() == "mine\n"
    assert (toml.parent / "found.cir").read_text() == CARDS
    assert not (toml.parents[1] / "nothing").exists()


@pytest.mark.parametrize("way", ["folder", "pipe"])
def test_a_journal_that_is_no_file_hinders_writing_with_a_line(toml: Path, way: str) -> None:
    make = os.mkdir if way == "folder" else os.mkfifo
    make(toml.parent / JOURNAL)
    with pytest.raises(InputError, match=r"\.xover-undo: is (a folder where a file|not a regular file)"):
        add_network(toml, "better", CARDS)
    with pytest.raises(InputError, match=r"\.xover-undo: is none that xover wrote"):
        take_back(toml)
    assert toml.read_bytes() == TOML.encode()
    assert not (toml.parent / "better.cir").exists()


def test_what_is_a_link_in_the_folder_is_written_and_not_taken_back(toml: Path) -> None:
    (toml.parent / "first.toml").write_bytes(TOML.encode())
    toml.unlink()
    toml.symlink_to("first.toml")
    add_network(toml, "better", CARDS)
    assert toml.is_symlink()
    with pytest.raises(OptionError, match="nothing to undo"):
        take_back(toml)
