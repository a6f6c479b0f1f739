"""xover capacitor as a user sees it."""

import json

import pytest

S4 = ["4.7uF", "--esr", "1.7@1kHz", "--esr", "0.28@10kHz"]


@pytest.mark.parametrize(
    "arguments",
    [
        [*S4, "--meter", "constant-current", "--reading", "5.41uF", "--amplifier", "60W@8ohm", "--bypass", "0.1uF"],
        ["10uF", "--df", "5%@1kHz", "--meter", "rc"],
        ["10uF", "--kind", "oil", "--meter", "lcr-parallel", "--reading", "10.3uF"],
        ["10uF", "--meter", "lcr", "--meter-hz", "120", "--bypass", "1uF"],
        ["3.3uF", "--kind", "film"],
        ["22uF", "--q", "20@1kHz", "--q", "9@10kHz", "--df", "0.06@120"],
    ],
)
def test_tables_fit_80_columns(run, arguments):
    done = run("capacitor", *arguments)
    assert done.status == 0, done.err
    widest = max((done.out + done.err).splitlines(), key=len)
    assert len(widest) <= 80, widest
    assert "nan" not in done.out.lower().split()


def test_what_a_multimeter_reading_means(run):
    done = run("capacitor", *S4, "--meter", "constant-current", "--reading", "5.41uF", "--amplifier", "60W@8ohm")
    said = " ".join(done.out.split())
    assert "C1 a b 4.7uF loss=1.7@1kHz,0.28@10kHz" in said
    assert "5.41 uF means 4.14 uF to 5.19 uF at 1 kHz" in said
    assert "4.7 uF lies in that range: the reading alone shows no drift" in said
    assert "common practice, no published source" in said
    assert "31 V peak: with a margin of 30 % 40.3 V, take 50 V" in said
    rows = [line.split() for line in done.out.splitlines() if " kHz " in line or " Hz " in line]
    ohms = {" ".join(row[:2]): float(row[2]) for row in rows if len(row) == 6 and row[1] in ("Hz", "kHz")}
    # 0.122 + 0.0466/(2 pi f 4.7 uF): by hand 15.9 at 100 Hz and 0.201 at 20 kHz.
    assert ohms == pytest.approx({"100 Hz": 15.9, "1 kHz": 1.7, "10 kHz": 0.28, "20 kHz": 0.201})


def test_one_reading_is_said_to_be_one(run):
    said = " ".join(run("capacitor", "4.7uF", "--esr", "1.7@1kHz").out.split())
    assert "0.17 to 1.7 ohm at 10 kHz; read it again a decade away" in said


def test_safety(run):
    oil = " ".join(run("capacitor", "4uF", "--kind", "oil").err.split())
    assert "PCBs" in oil
    assert "nitrile gloves" in oil
    meter = " ".join(run("capacitor", "4uF", "--kind", "film", "--meter", "lcr").err.split())
    assert "never play a tweeter without its capacitor" in meter
    assert "PCBs" not in meter


def test_nothing_known_is_said(run):
    done = run("capacitor", "4.7uF", "--amplifier", "100W@8")
    assert done.status == 0
    assert "not known" in done.out
    assert "ESR ohm" not in done.out
    assert "take 63 V" in done.out
    assert "give readings" in done.err


def test_json(run):
    done = run(
        "capacitor",
        *S4,
        "--meter",
        "constant-current",
        "--reading",
        "5.41uF",
        "--amplifier",
        "60W@8ohm",
        "--bypass",
        "0.1uF",
        "--json",
    )
    assert done.status == 0
    assert done.err == ""
    result = json.loads(done.out)
    assert result["capacitance_f"] == 4.7e-6
    assert result["evidence"] == "measured"
    assert result["frequency_hz"] == [100.0, 1000.0, 10000.0, 20000.0]
    assert result["esr_ohm"][1:3] == pytest.approx([1.7, 0.28])
    assert result["believable"]["frequency_hz"] == [1000.0, 5000.0]
    assert result["believable"]["lowest_farad"][0] < 4.7e-6 < result["believable"]["highest_farad"][0]
    assert result["voltage"]["rating_v"] == 50
    assert result["bypass"]["change_db"] == pytest.approx([-0.183] * 3, abs=0.003)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ([], "Missing argument 'VALUE'"),
        (["4.7mH"], "VALUE: '4.7mH'"),
        (["4.7pF"], "give a capacitance from 1 nF to 10 mF"),
        (["4.7uF", "--esr", "1.7"], "--esr: '1.7' is no OHM@HZ"),
        (["4.7uF", "--esr", "1.7@0"], "--esr: '0' is no frequency"),
        (["4.7uF", "--df", "5@1kHz"], "write 6 % as 0.06"),
        (["4.7uF", "--q", "x@1kHz"], "--q: 'x'"),
        (["4.7uF", "--esr", "1@1k", "--df", "0.1@1k"], "two loss readings are at one frequency"),
        (["4.7uF", "--kind", "electrolitic"], "did you mean electrolytic?"),
        (["4.7uF", "--meter", "constant-curent"], "did you mean constant-current?"),
        (["4.7uF", "--reading", "5uF"], "--reading needs the meter"),
        (["4.7uF", "--meter-hz", "abc"], "--meter-hz: 'abc' is not a frequency"),
        (["4.7uF", "--meter-hz", "120"], "--meter-hz is of an LCR meter; give --meter lcr"),
        (["4.7uF", "--meter", "lcr", "--through", "1k"], "--through is of an RC timing"),
        (["4.7e-6F"], "write 4.7uF\n"),
        (["4.7uF", "--amplifier", "60W"], "write it as W@OHM"),
        (["4.7uF", "--amplifier", "60V@8"], "--amplifier: '60V'"),
        (["4.7uF", "--meter", "rc", "--through", "0"], "--through is 0"),
    ],
)
def test_bad_arguments_end_in_one_line_and_status_2(run, arguments, message):
    done = run("capacitor", *arguments)
    assert done.status == 2
    assert done.out == ""
    assert done.err.count("\n") == 1
    assert done.err.startswith("error: ")
    assert message in done.err


def test_help_has_an_example(run):
    done = run("capacitor", "--help")
    assert done.status == 0
    assert "Example: xover capacitor" in done.out
