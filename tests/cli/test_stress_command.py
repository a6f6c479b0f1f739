"""xover stress as a user sees it."""

import json

import pytest

EXAMPLES = ["attic-two-way/left", "hall-horn-two-way", "studio-three-way"]


@pytest.mark.parametrize("name", EXAMPLES)
def test_tables_fit_80_columns(run, examples, name):
    done = run("stress", examples / name, "--all")
    assert done.status == 0, done.err
    widest = max(done.out.splitlines(), key=len)
    assert len(widest) <= 80, widest
    assert "nan" not in done.out.lower().split()
    for heading in ("Drivers: watts", "Resistors: watts of heat", "Capacitors: volts", "Coils: amperes", "Cautions"):
        assert heading in done.out
    assert "noise with the spectrum of programme (IEC 60268-1:1985, table II)" in done.out


def rows(text, heading):
    table = text.split(heading)[1].split("\n\n")[0].splitlines()
    return {line.split()[0]: line.split() for line in table[3:] if line.startswith("  ")}


def test_the_tables_say_what_json_says(run, examples):
    folder = examples / "attic-two-way/left"
    done, other = run("stress", folder, "--all"), run("stress", folder, "--json")
    assert (other.status, other.err) == (0, "")
    found = json.loads(other.out)
    bears = found["levels"]["rated"]["elements"]
    resistors = rows(done.out, "Resistors: watts of heat")
    assert resistors.keys() == {"R1", "R2"}
    for name, row in resistors.items():
        assert float(row[1]) == pytest.approx(bears[name]["power_w"], rel=0.06)
        assert float(row[3]) == pytest.approx(bears[name]["sine_power_w"], rel=0.06)
        assert row[-3:] == ["5", "5", "enough"]
    capacitors = rows(done.out, "Capacitors: volts")
    assert float(capacitors["C2"][3]) == pytest.approx(bears["C2"]["sine_voltage_peak_v"], rel=0.01)
    assert capacitors["C2"][-5:-1] == ["58.0", "63", "50", "thin"]
    drivers = rows(done.out, "Drivers: watts of the programme")
    assert float(drivers["tweeter"][1]) == pytest.approx(bears["Xhigh"]["power_w"], rel=0.06)
    assert float(drivers["woofer"][3]) == pytest.approx(100 * bears["Xlow"]["power_share"], abs=0.1)
    coils = rows(done.out, "Coils: amperes")
    assert float(coils["L1"][3]) == pytest.approx(bears["L1"]["sine_current_peak_a"], rel=0.06)


def test_strict_ends_in_status_1_where_a_card_states_too_little(run, attic):
    assert run("stress", attic, "--strict").status == 1  # C2 needs 58 V, its card states 50
    assert run("stress", attic).status == 0
    text = (attic / "found.cir").read_text()
    (attic / "found.cir").write_text(text.replace("volts=50", "volts=100"))
    done = run("stress", attic, "--strict")
    assert done.status == 0
    assert "Every rating that a card states is high enough." in done.out
    again = run("stress", attic, "--strict", "--power", "240W@8")
    assert again.status == 1
    assert "C2 bears 89.3 V at the peak of a full sine" in again.out


def test_options(run, attic):
    def peak(*options):
        done = run("stress", attic, "--json", *options)
        assert done.status == 0, done.err
        level = next(iter(json.loads(done.out)["levels"].values()))
        return level["channels"]["in"]["peak_v"], level["channels"]["in"]["rms_v"]

    assert peak("--power", "100@4") == pytest.approx((28.284, 7.071), abs=1e-3)
    assert peak("--power", "15W") == pytest.approx((15.492, 3.873), abs=1e-3)
    assert peak("--power", "100W@4ohm", "--crest", "2") == pytest.approx((28.284, 14.142), abs=1e-3)
    assert peak("--volts", "2.83") == pytest.approx((11.32, 2.83), abs=1e-3)
    pink = run("stress", attic, "--spectrum", "pink", "--all")
    assert "pink noise from 20 Hz to 20 kHz" in pink.out


def test_several_channels(run, attic, examples):
    text = (examples.parent / "circuits" / "two-way-bi-amp.cir").read_text()
    (attic / "found.cir").write_text(text)
    done = run("stress", attic)
    assert done.status == 0, done.err
    assert max(map(len, done.out.splitlines())) <= 80
    assert "listening" not in done.out
    assert "Coils" not in done.out
    assert "no electronic crossover is in these figures" in " ".join(done.err.split())


def test_plot(run, attic, tmp_path):
    figure = tmp_path / "figure.svg"
    done = run("stress", attic, "--plot", figure)
    assert done.status == 0, done.err
    assert "Figure written to" in done.out
    assert "Drivers: watts in each third octave" in figure.read_text()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--network", "fuond"], "did you mean found?"),
        (["--power", "60V@8"], "--power: "),
        (["--power", "60W@0"], "give 0.1 to 10000 ohm behind the @, such as 60W@8"),
        (["--power", "0@8"], "give 0.001 to 100000 W"),
        (["--power", "60W@8", "--volts", "3"], "both watts and volts are given; give one of them"),
        (["--volts", "0"], "give 0.001 to 1000 V"),
        (["--volts", "3 ohm"], "--volts: "),
        (["--crest", "0.5"], "--crest is 0.5; give 1 to 100"),
        (["--crest", "nan"], "--crest: 'nan' is not a number"),
        (["--spectrum", "brown"], "--spectrum: 'brown' is not known; give programme or pink"),
    ],
)
def test_bad_arguments_end_in_one_line_and_status_2(run, attic, arguments, message):
    done = run("stress", attic, *arguments)
    assert done.status == 2
    assert done.out == ""
    assert done.err.count("\n") == 1
    assert done.err.startswith("error: ")
    assert message in done.err


def test_an_amplifier_must_be_known(run, attic):
    toml = (attic / "speaker.toml").read_text()
    (attic / "speaker.toml").write_text(toml.replace("rated_power_w = 60\n", ""))
    done = run("stress", attic)
    assert done.status == 2
    assert "speaker.toml: does not say what amplifier drives channel in; add rated_power_w" in done.err
    assert "or give --power or --volts" in done.err
    assert run("stress", attic, "--volts", "10").status == 0


def test_help_has_an_example(run):
    done = run("stress", "--help")
    assert done.status == 0
    assert "Example: xover stress" in done.out
