"""A driver exchanged: what comes from the new one, what stays of the old one, and what is then known."""

import numpy as np
import pytest

from xover.curve import Evidence, log_grid
from xover.driver.model import DriverModel
from xover.errors import InputError, OptionError
from xover.sound.prediction import card_response
from xover.speaker import PhaseSource, open_speaker
from xover.speaker.swap import with_driver

F = log_grid(20.0, 20e3, 12)
ONE_KHZ = np.array([1000.0])


def impedance_table(path, fs_hz, ohm=6.0):
    z = DriverModel.from_thiele_small(ohm, fs_hz, 3.0, 1.0, 1e-4).impedance_ohm(F)
    rows = zip(F, np.abs(z), np.degrees(np.angle(z)), strict=True)
    path.write_text("Hz, ohm, deg\n" + "".join(f"{f:.6g}, {m:.8g}, {p:.6f}\n" for f, m, p in rows))


def response_table(path, level_db, phase_deg=None):
    """A response that falls by 2 dB a decade from `level_db` at 1 Hz."""
    tail = "" if phase_deg is None else f", {phase_deg}"
    head = "Hz, dB" + ("" if phase_deg is None else ", deg")
    path.write_text(f"{head}\n" + "".join(f"{f:.6g}, {level_db - 2 * np.log10(f):.5f}{tail}\n" for f in F))


def folder(path, drivers, head=""):
    """A speaker folder; `drivers` by name: (fs, level, phase in degrees or None, further lines)."""
    path.mkdir()
    text = f'title = "Invented {path.name}"\n{head}\n'
    for name, (fs_hz, level_db, phase_deg, lines) in drivers.items():
        impedance_table(path / f"{name}-z.csv", fs_hz)
        response_table(path / f"{name}-p.csv", level_db, phase_deg)
        text += f'[drivers.{name}]\nimpedance = "{name}-z.csv"\nresponse = "{name}-p.csv"\n{lines}\n'
    cards = "".join(f"X{name[0]} {name[0]} 0 {name}\n" for name in drivers)
    (path / "found.cir").write_text("* two\nL1 in w 1mH\nC1 in t 5uF\n" + cards)
    (path / "speaker.toml").write_text(text + '[networks.found]\ncircuit = "found.cir"\n')
    return path


@pytest.fixture
def rebuilt(tmp_path):
    """All phases rebuilt, all places known: the sum is."""
    return open_speaker(
        folder(
            tmp_path / "own",
            {
                "woofer": (50.0, 90.0, None, "position_mm = [0, -90, -20]\ndiameter_mm = 165"),
                "tweeter": (900.0, 92.0, None, "position_mm = [10, 70, -4]\ndiameter_mm = 25"),
            },
        )
    )


@pytest.fixture
def other(tmp_path):
    """Somebody else's, with phases that were measured there."""
    drivers = {
        "tweeter": (1500.0, 95.0, -60.0, "position_mm = [0, 500, -11]\ndiameter_mm = 19"),
        "mid": (400.0, 97.0, 30.0, ""),
    }
    return folder(tmp_path / "other", drivers, 'timing = "common"')


def test_the_new_driver_comes_with_its_own_values_and_stands_where_the_old_one_stood(rebuilt, other):
    new = with_driver(rebuilt, "tweeter", str(other)).drivers["tweeter"]
    assert abs(new.impedance_ohm(np.array([1500.0]))[0]) == pytest.approx(6 * (1 + 3.0), rel=0.01)  # Re (1 + Qms/Qes)
    assert 20 * np.log10(abs(new.pressure(ONE_KHZ)[0])) == pytest.approx(95 - 6, abs=1e-3)
    # The hole is the old one, the depth of the acoustic centre and the piston are the driver's own.
    assert new.position_mm == (10.0, 70.0, -11.0)
    assert new.diameter_mm == 19.0
    assert any("another driver here: tweeter of Invented other" in n for n in new.notes)
    assert rebuilt.drivers["tweeter"].diameter_mm == 25.0


def test_a_phase_that_was_timed_elsewhere_is_left_out(rebuilt, other):
    """-2 dB a decade is f^-0.1, and the minimum phase of f^a is 90 a degrees (Bode)."""
    new = with_driver(rebuilt, "tweeter", str(other))
    driver = new.drivers["tweeter"]
    assert driver.phase_source is PhaseSource.MINIMUM
    assert np.angle(driver.pressure(ONE_KHZ)[0], deg=True) == pytest.approx(-9.0, abs=0.05)
    assert new.timing_is_known(new.network("found"))[0]


def test_beside_measured_phases_the_sum_is_not_known(tmp_path, other):
    place = "position_mm = [0, 0, 0]"
    speaker = open_speaker(
        folder(
            tmp_path / "timed",
            {"woofer": (50.0, 90.0, -30.0, place), "tweeter": (900.0, 92.0, 20.0, place)},
            'timing = "common"',
        )
    )
    network = speaker.network("found")
    assert speaker.timing_is_known(network)[0]
    known, why = with_driver(speaker, "tweeter", str(other)).timing_is_known(network)
    assert not known
    assert "some phases are measured and some rebuilt" in why


def test_a_driver_put_in_its_own_place_changes_nothing(rebuilt):
    same = with_driver(rebuilt, "tweeter", str(rebuilt.file.path))
    for card in rebuilt.network("found").drivers:
        np.testing.assert_allclose(card_response(same, card, F), card_response(rebuilt, card, F), rtol=1e-12)
        np.testing.assert_array_equal(
            same.drivers[card.driver].impedance_ohm(F), rebuilt.drivers[card.driver].impedance_ohm(F)
        )


def test_another_name_and_the_only_driver(rebuilt, other, tmp_path):
    named = with_driver(rebuilt, "tweeter", f"{other}:mid").drivers["tweeter"]
    assert 20 * np.log10(abs(named.pressure(ONE_KHZ)[0])) == pytest.approx(97 - 6, abs=1e-3)
    assert named.name == "tweeter"
    # Nothing is said of its place there: as far forward as the old one, and as wide.
    assert (named.position_mm, named.diameter_mm) == ((10.0, 70.0, -4.0), 25.0)
    only = folder(tmp_path / "one", {"wide": (700.0, 88.0, None, "")})
    found = with_driver(rebuilt, "tweeter", str(only / "speaker.toml")).drivers["tweeter"]
    assert 20 * np.log10(abs(found.pressure(ONE_KHZ)[0])) == pytest.approx(88 - 6, abs=1e-3)


def test_tables(rebuilt, tmp_path):
    z, p = tmp_path / "z, new.csv", tmp_path / "p.csv"
    impedance_table(z, 1200.0, ohm=4.0)
    response_table(p, 93.0, phase_deg=170.0)
    both = with_driver(rebuilt, "tweeter", f"{z},{p}").drivers["tweeter"]
    assert abs(both.impedance_ohm(np.array([1200.0]))[0]) == pytest.approx(4 * (1 + 3.0), rel=0.01)
    assert np.angle(both.pressure(ONE_KHZ)[0], deg=True) == pytest.approx(-9.0, abs=0.05)
    assert (both.impedance_evidence, both.position_mm) == (Evidence.MEASURED, (10.0, 70.0, -4.0))
    silent = with_driver(rebuilt, "tweeter", str(z))
    assert silent.drivers["tweeter"].phase_source is PhaseSource.NONE
    assert np.isnan(silent.drivers["tweeter"].pressure(F)).all()
    assert not silent.timing_is_known(silent.network("found"))[0]
    assert any("nothing is known of the sound of the new tweeter" in n for n in silent.drivers["tweeter"].notes)


def test_touchstone(rebuilt, tmp_path):
    """A Z file in ohm, real and imaginary: the values stand in it as they are."""
    rows = "".join(f"{f:.6g} {5 + f / 1000:.6f} {f / 500:.6f}\n" for f in F)
    (tmp_path / "t.z1p").write_text("# Hz Z RI R 1\n" + rows)
    new = with_driver(rebuilt, "tweeter", str(tmp_path / "t.z1p")).drivers["tweeter"]
    assert new.impedance_ohm(ONE_KHZ)[0] == pytest.approx(6 + 2j, rel=1e-4)


def test_each_card_of_several_keeps_its_place(tmp_path, other):
    pair = folder(tmp_path / "pair", {"woofer": (50.0, 90.0, None, ""), "tweeter": (900.0, 92.0, None, "")})
    text = (pair / "speaker.toml").read_text()
    places = "[drivers.tweeter.positions_mm]\nupper = [0, 300, -5]\nlower = [0, -300, -5]\n"
    (pair / "speaker.toml").write_text(text.replace("[networks.found]", f"{places}[networks.found]"))
    new = with_driver(open_speaker(pair), "tweeter", str(other)).drivers["tweeter"]
    assert (new.place_mm("upper"), new.place_mm("LOWER")) == ((0.0, 300.0, -11.0), (0.0, -300.0, -11.0))


@pytest.mark.parametrize(
    ("name", "source", "words"),
    [
        ("tweater", "{other}", "no driver 'tweater' to replace; did you mean tweeter"),
        ("woofer", "{other}", "no driver 'woofer'; it has tweeter, mid; write woofer=FOLDER:NAME"),
        ("tweeter", "{other}:mit", "no driver 'mit'; did you mean mid"),
        ("tweeter", "no-such-thing", "neither a speaker folder nor a table 'no-such-thing'"),
        ("tweeter", "z.csv,p.csv", "neither a speaker folder nor a table 'z.csv'"),
    ],
)
def test_faults_name_what_is_missing(rebuilt, other, name, source, words):
    with pytest.raises(OptionError, match=words):
        with_driver(rebuilt, name, source.format(other=other))


def test_a_response_that_is_missing_is_named(rebuilt, other):
    with pytest.raises(InputError, match=r"nowhere\.csv"):
        with_driver(rebuilt, "tweeter", f"{other / 'mid-z.csv'},nowhere.csv")
