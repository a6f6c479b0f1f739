"""What stands on measurements, and what is missing: taken away one by one."""

from dataclasses import replace

import pytest

from xover.bench.missing import standing, what_is_missing
from xover.curve import Evidence
from xover.files.netlist import read_circuit
from xover.network import build_network
from xover.plain import to_plain
from xover.speaker import Speaker
from xover.speaker.untouched import is_ready_circuit

SHEET = "[drivers.{0}.datasheet]\nre_ohm = 6\nfs_hz = {1}\nqms = 4\nqes = 0.6\n"
CARDS = "* invented\nL1 in w 1.05mH dcr=0.4 core=air tol=5%\nXlow w 0 woofer\n"


def heads(speaker, name="found"):
    return [m.what for m in what_is_missing(speaker, name)]


def test_all_that_was_measured(attic):
    assert standing(attic, attic.network_names) == (
        "Measured: impedance and response of woofer and tweeter, the parts of network found; nothing is assumed."
    )
    assert not [h for h in heads(attic) if "sweep of" in h or "response of" in h or "found" in h or "terminals" in h]


def test_a_folder_of_datasheets_says_so_first(started):
    speaker = started("two-way-second-order")
    words = standing(speaker, speaker.network_names)
    assert words.startswith("Nothing was measured: ")
    assert "the impedance of woofer and tweeter comes from datasheets, their sound is assumed flat" in words
    first = heads(speaker)[:3]
    assert first[0] == "an impedance sweep of woofer and tweeter, in the cabinet"
    assert first[1] == "a response of woofer and tweeter"
    assert first[2] == "the values found on the board (network 'found' repeats the original, so it tells nothing)"
    assert any("'original' is a ready circuit as it came" in h for h in heads(speaker))


def test_one_reading_on_the_board_is_a_measurement(started):
    speaker = started("two-way-second-order")
    found = speaker.file.folder / "found.cir"
    found.write_text(found.read_text().replace("C1    w  0  3.9uF", "C1    w  0  4.4uF"))
    assert standing(speaker, speaker.network_names).startswith("Measured: the parts of network found; not measured: ")
    assert not any("network 'found'" in h for h in heads(speaker))
    # Without an original, a ready circuit as it came still tells nothing; with evidence on a card anything does.
    assert is_ready_circuit(build_network(read_circuit("two-way-third-order")))
    assert not is_ready_circuit(speaker.network("found"))
    found.write_text((speaker.file.folder / "original.cir").read_text())
    assert standing(speaker, ["found"]).startswith("Nothing was measured:")
    found.write_text(found.read_text().replace("C1    w  0  3.9uF", "C1    w  0  3.9uF evidence=measured"))
    assert "the parts of network found" in standing(speaker, ["found"])


def test_what_is_measured_of_some_drivers_only(attic):
    tweeter = replace(
        attic.drivers["tweeter"], impedance=replace(attic.drivers["tweeter"].impedance, evidence=Evidence.DATASHEET)
    )
    speaker = Speaker(attic.file, {"woofer": replace(attic.drivers["woofer"], response=None), "tweeter": tweeter})
    words = standing(speaker, ["found"])
    assert words.startswith("Measured: the impedance of woofer, the response of tweeter, the parts of network found; ")
    assert "not measured: the impedance of tweeter comes from datasheets, the sound of woofer is not known." in words
    assert heads(speaker)[:2] == ["an impedance sweep of tweeter, in the cabinet", "a response of woofer"]


def test_each_gap_is_named(tmp_path):
    (tmp_path / "found.cir").write_text(
        CARDS.replace(" dcr=0.4 core=air tol=5%", "") + "C1 w 0 5uF\nXhigh w 0 tweeter\n"
    )
    toml = SHEET.format("woofer", 50) + SHEET.format("tweeter", 900) + '[networks.found]\ncircuit = "found.cir"\n'
    (tmp_path / "speaker.toml").write_text(toml)
    from xover.speaker import open_speaker

    speaker = open_speaker(tmp_path)
    said = heads(speaker)
    for wanted in (
        "the values as marked (network 'original' is missing)",
        "minimum_load_ohm in [amplifier]",
        "rated_power_w and rated_load_ohm in [amplifier]",
        "output_ohm in [amplifier]",
        "level_db and distance_m in [listening]",
        "a sweep at the speaker's terminals",
        "kind= or core= on C1 and L1",
        "dcr= or loss= on L1 and C1",
        "volts= or watts= on C1",
        "tol= on L1 and C1",
        "position_mm of woofer and tweeter",
        "diameter_mm of woofer and tweeter",
        "[bypass.channels] of woofer and tweeter",
        "a stock list (--stock FILE)",
        "re_ohm of woofer and tweeter, read with a meter",
    ):
        assert wanted in said, wanted
    assert said.index("minimum_load_ohm in [amplifier]") < said.index("a stock list (--stock FILE)")
    (tmp_path / "terminals-found.csv").write_text("x")
    (tmp_path / "stock.csv").write_text("x")
    after = heads(speaker)
    assert "a sweep at the speaker's terminals" not in after
    assert "a stock list (--stock FILE)" not in after


def test_sentences(hall):
    items = what_is_missing(hall, "found")
    assert items[0].sentence.startswith(
        "one time reference for all drivers (the phases were measured, but speaker.toml "
    )
    assert items[0].sentence.endswith(": one sum with its null, in place of a best and a worst that it lies between.")
    assert to_plain(items)[0]["adds"].startswith("one sum")


@pytest.mark.parametrize("name", ["found", "original"])
def test_every_gap_has_its_use(hall, name):
    items = what_is_missing(hall, name)
    assert all(m.what and m.adds for m in items)
    assert len({m.what for m in items}) == len(items)


def test_a_list_that_was_given_is_not_asked_for(started):
    speaker = started("two-way-second-order")
    asked = heads(speaker)
    given = [m.what for m in what_is_missing(speaker, "found", listed=True)]
    assert [what for what in asked if what not in given] == ["a stock list (--stock FILE)"]
    assert len(given) == len(asked) - 1
