"""Folders for the bench studies: the examples, and invented ones made of a netlist and two datasheets."""

from pathlib import Path

import pytest

from xover.speaker import open_speaker
from xover.studies.desk.new.study import start_folder

EXAMPLES = Path(__file__).parents[2] / "examples"
SHEETS = """
[drivers.woofer.datasheet]
re_ohm = 6.0
fs_hz = 55
qms = 4.0
qes = 0.6
le_mh = 0.6

[drivers.tweeter.datasheet]
re_ohm = 5.0
fs_hz = 1000
qms = 2.2
qes = 1.1
le_mh = 0.03

[networks.found]
circuit = "found.cir"
"""


@pytest.fixture(scope="session")
def attic():
    return open_speaker(EXAMPLES / "attic-two-way" / "left")


@pytest.fixture(scope="session")
def attic_mate():
    return open_speaker(EXAMPLES / "attic-two-way" / "right")


@pytest.fixture(scope="session")
def hall():
    return open_speaker(EXAMPLES / "hall-horn-two-way")


@pytest.fixture
def folder(tmp_path):
    """Make a speaker of a netlist's cards, of two drivers known by datasheet, and of more toml."""

    def make(cards, toml="", sheets=SHEETS):
        (tmp_path / "found.cir").write_text("* invented\n" + cards)
        (tmp_path / "speaker.toml").write_text('title = "Invented"\n' + toml + sheets)
        return open_speaker(tmp_path)

    return make


@pytest.fixture
def started(tmp_path):
    """The folder that `xover new` makes of a ready circuit."""

    def make(circuit):
        start_folder(tmp_path / circuit, circuit)
        return open_speaker(tmp_path / circuit)

    return make
