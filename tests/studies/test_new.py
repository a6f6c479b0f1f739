"""A new folder: every ready circuit gives one that opens, and that nobody has touched yet."""

import pytest

from xover.files.netlist import circuit_names
from xover.sound.doubt import unready
from xover.speaker import open_speaker
from xover.speaker.untouched import untouched
from xover.studies.desk.new.study import start_folder


@pytest.mark.parametrize("circuit", circuit_names())
def test_all_of_it_is_a_placeholder(tmp_path, circuit):
    start_folder(tmp_path / "s", circuit)
    text = (tmp_path / "s" / "speaker.toml").read_text()
    speaker = open_speaker(tmp_path / "s")
    names = tuple(speaker.drivers)
    assert text.count('\ninstrument = "placeholder"') == len(names)
    assert untouched(speaker).drivers == unready(speaker, names) == names
    assert untouched(speaker).networks == ("found", "original")


def test_a_meter_makes_a_driver_of_a_placeholder(tmp_path):
    """As the new file says: delete the table, and take the sign of comment from re_ohm."""
    start_folder(tmp_path / "s", "two-way-first-order")
    path = tmp_path / "s" / "speaker.toml"
    head, *tables = path.read_text().split("[drivers.")
    woofer, _, tweeter, sheet = tables
    rest = sheet[sheet.index("[networks.found]") :]
    text = head + "".join("[drivers." + t.replace("# re_ohm", "re_ohm") for t in (woofer, tweeter)) + rest
    path.write_text(text)
    speaker = open_speaker(tmp_path / "s")
    assert "datasheet" not in text
    assert [d.re_ohm for d in speaker.drivers.values()] == [5.8, 5.8]
    assert untouched(speaker).drivers == ()
