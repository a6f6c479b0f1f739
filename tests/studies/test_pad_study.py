"""Pads on the example speakers' drivers, in their networks."""

from pathlib import Path

import numpy as np
import pytest

from xover.errors import InputError, OptionError
from xover.files.netlist import parse_netlist
from xover.network import build_network, solve
from xover.parts.pad import ControlKind
from xover.speaker import open_speaker
from xover.studies.desk.pad.study import Control, study_pad

EXAMPLES = Path(__file__).parents[2] / "examples"
RHEOSTAT = Control(ControlKind.RHEOSTAT, 16.0, 0.4)


@pytest.fixture(scope="module")
def hall():
    return open_speaker(EXAMPLES / "hall-horn-two-way")


@pytest.fixture(scope="module")
def down(hall):
    return study_pad(6.0, hall, "horn")


@pytest.fixture(scope="module")
def control(hall):
    return study_pad(RHEOSTAT, hall, "horn")


def test_the_best_pair_is_nearer_than_the_textbook_pair(down):
    assert [d.name for d in down.designs] == ["textbook", "best fit", "E24", "E12"]
    rms = {d.name: d.rms_error_db for d in down.designs}
    assert 0.1 < rms["best fit"] < rms["E24"] < rms["textbook"]
    assert rms["best fit"] < rms["E12"]
    assert down.attenuation_db == 6.0
    for d in down.designs:
        assert 2.0 < d.least_drop_db < d.most_drop_db < 10.0
        assert -d.level_db.max() == pytest.approx(d.least_drop_db)
        assert d.lowest_load_ohm == pytest.approx(d.load_ohm.min())
        assert d.level_error_db == pytest.approx(np.abs(d.level_db + 6.0).max())


def test_the_band_is_where_the_network_lets_the_driver_play(hall, down):
    assert down.network == "found"
    opened = hall.network("found")
    f = np.array([down.frequency_hz[0], down.frequency_hz[0] / 1.1, 4000.0])
    level = 20 * np.log10(np.abs(solve(opened, f, hall.impedances_ohm(opened, f)).drive["horn"]))
    highest = 20 * np.log10(
        np.abs(solve(opened, down.frequency_hz, hall.impedances_ohm(opened, down.frequency_hz)).drive["horn"]).max()
    )
    assert highest - 10.1 < level[0]
    assert level[1] < highest - 9.9
    asked = study_pad(6.0, hall, "horn", band_hz=(2000.0, 8000.0))
    assert (asked.frequency_hz[0], asked.frequency_hz[-1]) == pytest.approx((2000.0, 8000.0))
    assert asked.band_words == "as asked"


def test_the_pad_in_the_network_is_the_network_with_its_cards(hall, down):
    """The found netlist with the E24 pair written into it, solved as a network of its own."""
    pair = down.design("E24")
    text = (EXAMPLES / "hall-horn-two-way" / "found.cir").read_text()
    # The horn is fed reversed, from 0 to p: the pad goes between p and its minus.
    padded = text.replace(
        "Xhigh  0  p   horn", f"R8 p q {pair.series_ohm!r}\nR9 q 0 {pair.parallel_ohm!r}\nXhigh 0 q horn"
    )
    assert padded != text
    f = down.frequency_hz
    before = solve(hall.network("found"), f, hall.impedances_ohm(hall.network("found"), f)).drive["horn"]
    network = build_network(parse_netlist(padded))
    after = solve(network, f, hall.impedances_ohm(network, f)).drive["horn"]
    change = 20 * np.log10(np.abs(after / before))
    assert (pair.network_least_db, pair.network_most_db) == pytest.approx((change.min(), change.max()), rel=1e-9)
    assert -7.0 < pair.network_least_db < pair.network_most_db < -4.0


def test_fixed_resistors_for_a_rheostat(control):
    exact, e24, pad = control.design("control"), control.design("E24"), control.design("L-pad")
    assert (exact.series_ohm, exact.parallel_ohm) == (6.4, np.inf)
    assert exact.level_error_db == 0
    assert exact.network_most_db == 0
    assert np.isinf(e24.parallel_ohm)
    assert e24.series_ohm in (6.2, 6.8)
    assert 0.0 < e24.level_error_db < 0.3
    # A constant-impedance pad of the same mean drop moves the load, and so the sound.
    assert pad.load_error > 0.4
    assert max(abs(pad.network_least_db), abs(pad.network_most_db)) > 1.0
    assert any("something else" in s for s in control.sentences)
    assert any("hot" in s for s in control.sentences)


def test_a_potentiometer_is_matched_by_a_pair(hall):
    study = study_pad(Control(ControlKind.POTENTIOMETER, 16.0, 0.4), hall, "horn")
    exact, e24 = study.design("control"), study.design("E24")
    assert (exact.series_ohm, exact.parallel_ohm) == pytest.approx((9.6, 6.4))
    assert e24.series_ohm in (9.1, 10.0)
    assert e24.level_error_db < 0.2


def test_a_resistor_stands_in_and_says_so():
    study = study_pad(6.0, nominal_ohm=8.0)
    book = study.design("textbook")
    assert (book.series_ohm, book.parallel_ohm) == pytest.approx((3.9905, 8.0381), abs=1e-4)
    assert book.level_error_db < 1e-9
    assert np.isnan(book.network_least_db)
    assert "measure its impedance" in study.warnings[0]


def test_the_ends_of_a_control(hall):
    loud = study_pad(Control(ControlKind.RHEOSTAT, 16.0, 0.0), hall, "horn")
    assert loud.design("E12").series_ohm == 0
    assert [d.name for d in loud.designs] == ["control", "E24", "E12"]
    with pytest.raises(OptionError, match="silent end"):
        study_pad(Control(ControlKind.POTENTIOMETER, 16.0, 0.0), hall, "horn")


@pytest.mark.parametrize(
    ("arguments", "error", "message"),
    [
        ({"driver": "hron"}, OptionError, "did you mean horn"),
        ({"driver": None}, OptionError, "it has woofer, horn"),
        ({"driver": "horn", "band_hz": (5000.0, 5000.0)}, OptionError, "band from 5 kHz to 5 kHz is empty"),
        ({"driver": "horn", "band_hz": (1.0, None)}, OptionError, "is known from"),
        ({"driver": "horn", "network": "fuond"}, OptionError, "did you mean found"),
        ({"driver": "horn", "nominal_ohm": -8.0}, InputError, "impedance is -8 ohm"),
    ],
)
def test_bad_input(hall, arguments, error, message):
    with pytest.raises(error, match=message):
        study_pad(6.0, hall, **arguments)


def test_neither_driver_nor_ohms():
    with pytest.raises(OptionError, match="neither a driver nor its ohms"):
        study_pad(6.0)
