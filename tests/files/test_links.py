"""A link that lies in a speaker folder and leads out of it is never written through; the user's own are followed."""

import os
import threading
import time
from pathlib import Path

import pytest

from xover.cli.main import main
from xover.errors import InputError
from xover.files.atomic import read_text, write_text
from xover.files.links import opened_folder, real_path
from xover.files.toml_edit import add_network, set_numbers

SECRET = "alias ls=ls\n"
TOML = '[drivers.woofer]\nre_ohm = 6\n[networks.found]\ncircuit = "found.cir"\n'
CARDS = "* board\nL1 in w 1mH\nXlow w 0 woofer\n.end\n"


@pytest.fixture
def sent(tmp_path: Path) -> Path:
    """A speaker folder as a stranger sends it, and a home with a file that is nobody else's."""
    (tmp_path / "home").mkdir()
    (tmp_path / "home" / ".bashrc").write_text(SECRET)
    folder = tmp_path / "downloads" / "sent"
    folder.mkdir(parents=True)
    (folder / "speaker.toml").write_text(TOML)
    (folder / "found.cir").write_text(CARDS)
    return folder


def whole(sent: Path) -> bool:
    home = sent.parents[1] / "home"
    return (home / ".bashrc").read_text() == SECRET and os.listdir(home) == [".bashrc"]


def plant(sent: Path, name: str, way: str) -> Path:
    """A link to the file, by way of another link, or a folder on the way that is one; where one would write."""
    home = sent.parents[1] / "home"
    if way == "file":
        (sent / name).symlink_to("../../home/.bashrc")
    elif way == "absolute":
        (sent / name).symlink_to(home / ".bashrc")
    elif way == "two":
        (sent / "first").symlink_to("../../home/.bashrc")
        (sent / name).symlink_to("first")
    elif way == "nothing there yet":
        (sent / name).symlink_to("../../home/.profile")
    elif way == "above":
        (sent / name).symlink_to("../another.txt")
    else:
        (sent / "sub").symlink_to("../../home")
        return sent / "sub" / name
    return sent / name


WAYS = ["file", "absolute", "two", "nothing there yet", "above", "folder"]


@pytest.mark.parametrize("force", [False, True])
@pytest.mark.parametrize("way", WAYS)
def test_nothing_is_written_through_a_planted_link(sent: Path, way: str, force: bool) -> None:
    place = plant(sent, "page.html", way)
    with pytest.raises(InputError, match="a link in the speaker folder 'sent' that leads out of it; delete"):
        write_text(place, "evil", force)
    assert whole(sent)
    assert os.listdir(sent.parent) == ["sent"]


LINES = {
    "refresh": ["--write", "new"],  # which names no folder
    "load": ["--plot", "new.svg"],
    "spice": ["-o", "new.cir"],
    "report": ["-o", "new.html"],
}


@pytest.mark.parametrize(("command", "way"), [(c, w) for c in LINES for w in WAYS if (c, w) != ("refresh", "folder")])
def test_commands_refuse_it_before_they_work(sent: Path, command: str, way: str, capsys) -> None:
    flag, name = LINES[command]
    place = plant(sent, name if "." in name else f"{name}.cir", way)
    assert main([command, str(sent), flag, str(place) if "." in name else name, "--force"]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert "leads out of it" in said.err
    assert whole(sent)


def test_speaker_toml_that_is_a_link(sent: Path) -> None:
    """What it names may lie above; to be written it must not."""
    (sent.parent / "other.toml").write_text(TOML)
    (sent / "speaker.toml").unlink()
    (sent / "speaker.toml").symlink_to("../other.toml")
    with pytest.raises(InputError, match="leads out of it"):
        add_network(sent / "speaker.toml", "new", CARDS)
    with pytest.raises(InputError, match="leads out of it"):
        set_numbers(sent / "speaker.toml", {("drivers", "woofer", "gain_db"): 1.0})
    assert (sent.parent / "other.toml").read_text() == TOML
    assert sorted(os.listdir(sent)) == ["found.cir", "speaker.toml"]
    (sent / "speaker.toml").unlink()
    (sent / "speaker.toml").symlink_to("../../home/.bashrc")
    with pytest.raises(InputError, match=r"leads out of it; put a file in the place of the link"):
        read_text(sent / "speaker.toml")


def test_a_speaker_file_of_another_name_makes_a_speaker_folder_once_it_is_opened(sent: Path, capsys) -> None:
    (sent / "speaker.toml").rename(sent / "left.toml")
    plant(sent, "new.svg", "file")
    assert main(["load", str(sent / "left.toml"), "--plot", str(sent / "new.svg"), "--force"]) == 2
    assert "leads out of it" in capsys.readouterr().err
    assert whole(sent)


def test_links_within_the_folder_and_the_users_own_are_followed(sent: Path) -> None:
    (sent / "new.cir").symlink_to("found.cir")
    write_text(sent / "new.cir", "* new\n", force=True)
    assert (sent / "found.cir").read_text() == "* new\n"
    mine = sent.parents[1] / "home" / "page.html"
    mine.symlink_to("../downloads/page.html")
    write_text(mine, "mine", force=True)
    assert mine.is_symlink()
    assert (sent.parent / "page.html").read_text() == "mine"
    (sent.parent / "way").symlink_to("sent")  # a folder that is reached by a link of the user's
    write_text(sent.parent / "way" / "other.txt", "x")
    assert (sent / "other.txt").read_text() == "x"


def test_a_hard_link_is_replaced_and_its_other_name_kept(sent: Path) -> None:
    os.link(sent.parents[1] / "home" / ".bashrc", sent / "new.cir")
    write_text(sent / "new.cir", "new", force=True)
    assert whole(sent)
    assert (sent / "new.cir").read_text() == "new"


def test_a_link_put_there_at_the_last_moment_is_not_followed(sent: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that becomes a link is replaced; a folder that becomes one is refused."""
    place, sub = sent / "page.html", sent / "sub"
    place.write_text("old")
    sub.mkdir()
    real = real_path(sub)
    real_fsync = os.fsync

    def swap(handle: int) -> None:
        real_fsync(handle)
        place.unlink()
        place.symlink_to("../../home/.bashrc")

    monkeypatch.setattr(os, "fsync", swap)
    write_text(place, "new", force=True)
    assert not place.is_symlink()
    assert place.read_text() == "new"
    sub.rmdir()
    sub.symlink_to("../../home")
    if hasattr(os, "O_PATH"):
        with pytest.raises(NotADirectoryError), opened_folder(real):
            pass
    assert whole(sent)


def test_a_race_of_links_is_lost_by_who_plants_them(sent: Path) -> None:
    """A folder is now one, now a link that leads out, as fast as another thread can."""
    if not hasattr(os, "O_PATH"):
        pytest.skip("needs folders opened without following links")
    for name in ("a", "b"):
        (sent / name).mkdir()
    (sent / "b").rmdir()
    (sent / "link").symlink_to("../../home")
    over = threading.Event()

    def plant_and_take_away() -> None:
        while not over.is_set():
            (sent / "a").rename(sent / "b")
            (sent / "link").rename(sent / "a")
            (sent / "a").rename(sent / "link")
            (sent / "b").rename(sent / "a")
            time.sleep(0.0003)  # the folder is there for a while too, however the two threads are served

    planter = threading.Thread(target=plant_and_take_away)
    planter.start()
    written = refused = 0
    ends = time.monotonic() + 20.0
    try:
        while (written + refused < 400 or not (written and refused)) and time.monotonic() < ends:
            try:
                write_text(sent / "a" / "page.html", "x", force=True)
                written += 1
            except InputError:
                refused += 1
    finally:
        over.set()
        planter.join()
    assert written > 0
    assert refused > 0
    assert whole(sent)
