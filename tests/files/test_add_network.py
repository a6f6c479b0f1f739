import tomllib

import pytest

from xover.errors import InputError, OptionError
from xover.files.budget import MOST_NETWORKS
from xover.files.speaker import read_speaker
from xover.files.toml_edit import add_network

CARDS = "* new\nL1 in w 1mH\nXlow w 0 woofer\n.end\n"
TOML = '# mine\ntitle = "A"\n\n[drivers.woofer.datasheet]\nre_ohm = 6\nfs_hz = 50\nqms = 4\nqes = 0.5'


@pytest.fixture
def toml(tmp_path):
    (tmp_path / "speaker.toml").write_text(TOML)
    return tmp_path / "speaker.toml"


def test_adds_a_file_and_a_table_and_keeps_every_word(toml):
    path = add_network(toml, "better", CARDS)
    assert path.read_text() == CARDS
    assert toml.read_text().startswith(TOML)
    assert read_speaker(toml).speaker.networks["better"].circuit == "better.cir"


def test_a_second_time_needs_force_and_adds_no_second_table(toml):
    add_network(toml, "better", CARDS)
    before = toml.read_text()
    with pytest.raises(OptionError, match="give force, or another name"):
        add_network(toml, "better", CARDS)
    add_network(toml, "better", CARDS + "* more\n", force=True)
    assert toml.read_text() == before
    assert (toml.parent / "better.cir").read_text().endswith("more\n")


def test_a_netlist_that_is_there_is_not_overwritten(toml):
    (toml.parent / "better.cir").write_text("mine")
    with pytest.raises(InputError, match="exists already"):
        add_network(toml, "better", CARDS)
    assert (toml.parent / "better.cir").read_text() == "mine"
    assert toml.read_text() == TOML


def test_another_file_under_that_name_is_left_alone(toml):
    toml.write_text(TOML + '\n[networks.better]\ncircuit = "../other.cir"\n')
    before = toml.read_text()
    with pytest.raises(OptionError, match="another name"):
        add_network(toml, "better", CARDS, force=True)
    assert toml.read_text() == before


@pytest.mark.parametrize("name", ["", "../up", "a b", "x" * 65, "a.b", "\n"])
def test_names_that_are_none(toml, name):
    with pytest.raises(OptionError, match="no name for a network"):
        add_network(toml, name, CARDS)
    assert sorted(p.name for p in toml.parent.iterdir()) == ["speaker.toml"]


def test_networks_written_on_one_line_cannot_be_added_to(toml):
    toml.write_text('networks = {found = {circuit = "found.cir"}}\n' + TOML)
    with pytest.raises(InputError, match="cannot stand at its end"):
        add_network(toml, "better", CARDS)
    assert sorted(p.name for p in toml.parent.iterdir()) == ["speaker.toml"]


def test_no_more_networks_than_are_read(toml):
    for number in range(MOST_NETWORKS):
        add_network(toml, f"n{number}", CARDS)
    before = toml.read_text()
    with pytest.raises(OptionError, match=r"has 64 networks already; delete one"):
        add_network(toml, "better", CARDS)
    assert toml.read_text() == before
    assert len(read_speaker(toml).speaker.networks) == MOST_NETWORKS


def test_speaker_toml_is_read_anew(toml):
    """Another writer's network, and one that it has taken away, since the folder was opened."""
    add_network(toml, "mine", CARDS)
    with open(toml, "a") as stream:
        stream.write('\n[networks.better]\ncircuit = "better.cir"\n')
    with pytest.raises(OptionError, match="has a network 'better' already"):
        add_network(toml, "better", CARDS)
    add_network(toml, "other", CARDS)
    assert list(read_lines(toml)) == ["mine", "better", "other"]


def read_lines(toml):
    return tomllib.loads(toml.read_text())["networks"]
