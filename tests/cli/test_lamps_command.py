"""xover lamps as a user sees it."""

import json

import pytest

LAMP = "kind=lamp cold=1 hot=10 watts=5"


@pytest.fixture
def lit(attic):
    """The attic speaker with an invented lamp before its tweeter's pad."""

    def build(fields=LAMP):
        text = (attic / "found.cir").read_text()
        assert text.count("R1    t  p") == 1
        (attic / "found.cir").write_text(text.replace("R1    t  p", f"R3 t q {fields}\nR1 q p"))
        return attic

    return build


def test_tables_fit_80_columns_and_say_what_json_says(run, lit):
    folder = lit()
    done = run("lamps", folder, "--network", "found", "--all")
    assert done.status == 0, done.err
    assert max(map(len, done.out.splitlines())) <= 80
    assert "nan" not in done.out.lower().split()
    found = json.loads(run("lamps", folder, "--json").out)
    lines = done.out.split("As the level rises")[1].splitlines()
    assert " ".join(lines[1].split()) == "V rms R3 ohm R3 W tweeter dB tweeter W tweeter W bare lowest ohm"
    for line, level in zip(lines[3:6], found["levels"], strict=True):
        volts, ohm, watts, change, power, bare, lowest = map(float, line.split())
        assert volts == level["voltage_rms_v"]
        assert ohm == pytest.approx(level["lamps"]["R3"]["resistance_ohm"], rel=0.06)
        assert watts == pytest.approx(level["lamps"]["R3"]["power_w"], rel=0.06)
        assert change == pytest.approx(level["drivers"]["tweeter"]["programme_db"], abs=0.006)
        assert power == pytest.approx(level["drivers"]["tweeter"]["power_w"], rel=0.06)
        assert bare == pytest.approx(level["drivers"]["tweeter"]["bare_power_w"], rel=0.06)
        assert lowest == pytest.approx(level["lowest"]["in"]["impedance_ohm"], abs=0.006)
    assert [level["voltage_rms_v"] for level in found["levels"]] == [1.0, 10.0, 20.0]
    change = found["levels"][-1]["drivers"]["tweeter"]["programme_db"]
    assert f"At 20 V of programme R3 moves tweeter by {change:+.1f} dB from where it is cold." in done.out
    assert "Not changed: woofer." in done.out
    assert "Change of the drive at 20 V against cold, dB" in done.out
    assert "+0.40 dB on average" in done.out
    assert "a plain resistor of 1 ohm for " in done.out
    assert "without the lamp nothing holds the watts back" in done.out


def test_volts_may_be_repeated_and_too_much_is_marked(run, lit):
    done = run("lamps", lit(), "--volts", "60", "--volts", "2.83")
    assert done.status == 0
    lines = done.out.split("As the level rises")[1].splitlines()
    assert lines[3].split()[0] == "2.83"
    assert "!" not in lines[3]
    assert lines[4].split()[0] == "60"
    assert lines[4].split()[2].endswith("!")


def test_an_unknown_law_leaves_dashes(run, lit):
    done = run("lamps", lit("kind=lamp cold=1"))
    assert done.status == 0
    assert "What R3 does as it gets hot is not known." in done.out
    lines = done.out.split("As the level rises")[1].splitlines()
    assert lines[3].split()[:5] == ["1", "-", "-", "-", "-"]
    assert "R3 states no watts: when it bites is not known" in " ".join(done.err.split())
    assert "a plain resistor of 1 ohm" in done.out


def test_an_assumed_hot_resistance_is_marked(run, lit):
    done = run("lamps", lit("kind=lamp cold=1.5 watts=5"))
    assert done.status == 0
    lines = done.out.splitlines()
    assert next(line for line in lines if line.split()[:1] == ["R3"]).split() == ["R3", "1.5", "15?", "5"]
    assert "15 ohm is assumed, 10 times the cold one" in " ".join(done.err.split())


def test_no_lamp_is_one_clear_sentence(run, attic):
    done = run("lamps", attic)
    assert done.status == 0
    assert "This network has no lamp and no resettable fuse" in done.out
    plain = json.loads(run("lamps", attic, "--json").out)
    assert (plain["lamps"], plain["levels"], plain["removals"]) == ({}, [], [])


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--volts", "loud"], "--volts: 'loud'"),
        (["--volts", "0"], "give 0.001 to 1000 V"),
        (["--spectrum", "white"], "give programme or pink"),
        (["--network", "fuond"], "did you mean found?"),
    ],
)
def test_bad_arguments_end_in_one_line_and_status_2(run, attic, arguments, message):
    done = run("lamps", attic, *arguments)
    assert done.status == 2
    assert done.out == ""
    assert done.err.count("\n") == 1
    assert message in done.err


def test_help_has_an_example(run):
    done = run("lamps", "--help")
    assert done.status == 0
    assert "Example: xover lamps" in done.out
