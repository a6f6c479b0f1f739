"""xover bypass as a user sees it."""

import json
import math

import numpy as np
import pytest

import xover.studies.change.bypass.capacitor
import xover.studies.change.bypass.study
import xover.studies.change.bypass.twin
from xover.curve import log_grid
from xover.sound.prediction import sound_of
from xover.speaker import open_speaker

EXAMPLES = ["attic-two-way/left", "studio-three-way"]

SHEETS = """title = "Datasheets only (invented)"
[amplifier]
minimum_load_ohm = {limit}
rated_power_w = 40
{more}
[drivers.woofer.datasheet]
re_ohm = 6
fs_hz = 50
qms = 4
qes = 0.5
le_mh = 0.5
[drivers.tweeter.datasheet]
re_ohm = 5
fs_hz = 1000
qms = 2
qes = 1
le_mh = 0.05
[networks.found]
circuit = "found.cir"
"""
NETWORK = "* t\nL1 in w 1mH\nXlow w 0 woofer\nC1 in t 8.2uF\nL2 t 0 0.5mH\nXhigh 0 t tweeter\n"


@pytest.fixture(scope="module", autouse=True)
def commands(remembered):
    """Each study and each twin worked out once."""
    kept = remembered(
        xover.studies.change.bypass.study.study_bypass,
        lambda speaker, *given, **named: (speaker.file.speaker, given, named),
    )
    twins = remembered(xover.studies.change.bypass.twin.fit_twin)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(xover.studies.change.bypass.study, "study_bypass", kept)
        patch.setattr(xover.studies.change.bypass.twin, "fit_twin", twins)
        patch.setattr(xover.studies.change.bypass.capacitor, "fit_twin", twins)
        yield


@pytest.fixture
def sheets(tmp_path):
    def folder(limit=4, more=""):
        (tmp_path / "found.cir").write_text(NETWORK)
        (tmp_path / "speaker.toml").write_text(SHEETS.format(limit=limit, more=more))
        return tmp_path

    return folder


@pytest.mark.parametrize("name", EXAMPLES)
def test_tables_fit_80_columns(run, examples, name):
    done = run("bypass", examples / name, "--all")
    assert done.status == 0, done.err
    widest = max(done.out.splitlines(), key=len)
    assert len(widest) <= 80, widest
    assert "nan" not in done.out.lower().split()
    for heading in (
        "Cautions",
        "Channels: the load of the bare drivers",
        "the twin of network 'original'",
        "The sum from 200 Hz to 15 kHz",
        "rms deviation of the sum in dB against corner and slope",
        "What the old network also did",
        "Protection capacitor of tweeter",
        "Watts for ",
        "Notes",
    ):
        assert heading in " ".join(done.out.split()) or heading in done.out, heading
    # The answer comes first, then what it rests on.
    assert done.out.splitlines()[2].split()[:2] == ["safe?", "yes,"]
    assert done.out.index("Cautions") < done.out.index("Channels:") < done.out.index("Notes")


def cookbook(band, f, rate):
    """Response of a band by the digital formulas of the audio EQ cookbook (R. Bristow-Johnson)."""
    w = 2 * math.pi * band["frequency_hz"] / rate
    a = 10 ** ((band["gain_db"] or 0.0) / 40)
    cos, kind = math.cos(w), band["kind"]
    z = np.exp(-2j * np.pi * f / rate)
    if kind in ("low_pass_1", "high_pass_1"):  # one pole, bilinear transform, prewarped
        k = math.tan(w / 2)
        top = k * (1 + z) if kind == "low_pass_1" else 1 - z
        return top / (k * (1 + z) + 1 - z)
    alpha = math.sin(w) / (2 * band["q"])
    root = 2 * math.sqrt(a) * alpha
    b, d = {
        "peaking": ((1 + alpha * a, -2 * cos, 1 - alpha * a), (1 + alpha / a, -2 * cos, 1 - alpha / a)),
        "low_pass": (((1 - cos) / 2, 1 - cos, (1 - cos) / 2), (1 + alpha, -2 * cos, 1 - alpha)),
        "high_pass": (((1 + cos) / 2, -1 - cos, (1 + cos) / 2), (1 + alpha, -2 * cos, 1 - alpha)),
        "all_pass": ((1 - alpha, -2 * cos, 1 + alpha), (1 + alpha, -2 * cos, 1 - alpha)),
        "low_shelf": (
            (
                a * (a + 1 - (a - 1) * cos + root),
                2 * a * (a - 1 - (a + 1) * cos),
                a * (a + 1 - (a - 1) * cos - root),
            ),
            (a + 1 + (a - 1) * cos + root, -2 * (a - 1 + (a + 1) * cos), a + 1 + (a - 1) * cos - root),
        ),
        "high_shelf": (
            (
                a * (a + 1 + (a - 1) * cos + root),
                -2 * a * (a - 1 + (a + 1) * cos),
                a * (a + 1 + (a - 1) * cos - root),
            ),
            (a + 1 - (a - 1) * cos + root, 2 * (a - 1 - (a + 1) * cos), a + 1 - (a - 1) * cos - root),
        ),
    }[kind]
    return (b[0] + b[1] * z + b[2] * z * z) / (d[0] + d[1] * z + d[2] * z * z)


@pytest.mark.parametrize("name", EXAMPLES)
def test_what_json_says_to_dial_in_gives_the_old_voltages(run, examples, name):
    """Gain, delay, polarity and bands of every channel, by the cookbook, against the network solved."""
    done = run("bypass", examples / name, "--json")
    assert (done.status, done.err) == (0, "")
    found = json.loads(done.out)
    f = log_grid(20.0, 20e3, 48)
    passive = sound_of(open_speaker(examples / name), "original", f)
    level = passive.total.level_db
    keys = {b.group: b.key for b in passive.branches}
    ratios = {}
    for channel, told in found["channels"].items():
        twin = told["polarity"] * 10 ** (told["gain_db"] / 20) * np.exp(-2j * np.pi * f * told["delay_s"])
        for band in told["bands"]:
            twin = twin * cookbook(band, f, found["sample_rate_hz"])
        own = np.sum([b.pressure for b in passive.branches if b.group == channel], axis=0)
        heard = np.nan_to_num(20 * np.log10(np.abs(own)), nan=-200.0) >= level - 6.0
        ratios[channel] = (twin / passive.solution.drive[keys[channel]], heard)
    # A delay that all channels share is no error: the twin's is counted from the earliest.
    first, rows = next(iter(ratios.values()))
    common = np.polyfit(f[rows], np.unwrap(np.angle(first[rows])), 1)[0]
    for channel, (ratio, heard) in ratios.items():
        assert heard.sum() > 50
        assert np.max(np.abs(20 * np.log10(np.abs(ratio[heard])))) < 0.7, channel
        assert np.max(np.abs(np.degrees(np.angle(ratio * np.exp(-1j * common * f))[heard]))) < 12.0, channel


def test_json_keeps_to_the_blueprint(run, examples):
    found = json.loads(run("bypass", examples / "attic-two-way/left", "--json").out)
    assert {
        "minimum_load_ohm",
        "at_hz",
        "gain_db",
        "delay_s",
        "polarity",
        "bands",
        "protection_capacitor_f",
        "power_w",
    } <= found["channels"]["woofer"].keys()
    assert found["channels"]["woofer"]["protection_capacitor_f"] is None
    assert found["channels"]["tweeter"]["protection_capacitor_f"] == 22e-6
    for channel in found["channels"].values():
        for band in channel["bands"]:
            assert {"kind", "frequency_hz", "gain_db", "q"} <= band.keys()
        assert channel["polarity"] in (1, -1)
    for finding in found["findings"]:
        assert finding["severity"] in ("stop", "caution", "note")
        assert len(finding["text"]) > 20
    assert found["crossover"] == {
        "frequency_hz": [3000.0],
        "slope": "LR4",
        "source": "[bypass] of speaker.toml",
        "assumed": False,
    }


def rows(text, heading):
    table = text.split(heading)[1].split("---\n", 1)[1]
    lines = [line.split() for line in table.splitlines()]
    return {line[0]: line for line in lines[: next(i for i, line in enumerate(lines) if len(line) < 3)]}


def test_the_tables_say_what_json_says(run, examples):
    folder = examples / "attic-two-way/left"
    text, found = run("bypass", folder, "--all").out, json.loads(run("bypass", folder, "--json").out)
    loads = text.split("Channels: the load")[1]
    for name, told in found["channels"].items():
        (line,) = [x.split() for x in loads.splitlines()[1:5] if x.split()[:1] == [name]]
        assert float(line[1]) == pytest.approx(told["minimum_load_ohm"], abs=0.006)
        (dial,) = [x.split() for x in text.split("voltage\nas it was")[1].splitlines()[:5] if x.split()[:1] == [name]]
        assert float(dial[1]) == pytest.approx(told["gain_db"], abs=0.06)
        assert dial[3] == ("normal" if told["polarity"] > 0 else "reversed")
        (watts,) = [x.split() for x in text.split("Watts for")[1].splitlines()[:6] if x.split()[:1] == [name]]
        assert float(watts[5]) == pytest.approx(told["power_w"], rel=0.06)
    chart = text.split("against corner and slope")[1].splitlines()[3:16]
    (cells,) = [line for line in chart if line.split()[:2] == ["3", "kHz"]]
    at = found["maps"][0]["slopes"].index("LR4")
    assert cells.split()[2 + at] == f"{found['maps'][0]['rms_deviation_db'][6][at]:.2f}"
    assert found["maps"][0]["frequency_hz"][6] == pytest.approx(3000.0)


def test_datasheets_alone_say_first_what_they_cannot_know(run, sheets):
    short = " ".join(run("bypass", sheets(), "--frequency", "3k").out.split())
    assert (
        "not known sum, delays and watts: no response of woofer and tweeter; the gains are the old network's" in short
    )
    done = run("bypass", sheets(), "--frequency", "3k", "--all")
    assert done.status == 0, done.err
    words = " ".join(done.out.split())
    assert words.index("What this cannot know - the sum, the best gains, delays and bands, and watts: no response") > 0
    assert "the impedance of woofer and tweeter is datasheet, not measured" in words
    assert "rms deviation" not in words
    assert "the twin of network 'found'" in words
    assert max(map(len, done.out.splitlines())) <= 80
    assert "nan" not in done.out.lower().split()
    found = json.loads(run("bypass", sheets(), "--frequency", "3k", "--json").out)
    assert found["sums"] == {"passive": None, "twin": None, "crossover": None, "better": None}
    assert found["channels"]["tweeter"]["polarity"] == -1


def test_strict_ends_in_status_1_at_a_stop_and_at_a_low_load(run, sheets):
    assert run("bypass", sheets(), "--frequency", "3k", "--strict").status == 0
    low = run("bypass", sheets(limit=6), "--frequency", "3k", "--strict")  # the tweeter has 5 ohm
    assert low.status == 1
    assert "STOP" not in low.out
    assert run("bypass", sheets(limit=6), "--frequency", "3k").status == 0
    joined = run("bypass", sheets(more="bridged = true"), "--frequency", "3k", "--strict")
    assert joined.status == 1
    assert joined.out.splitlines()[2].split() == ["safe?", "no:", "bridged", "outputs", "to", "be", "mended", "first"]
    assert joined.out.splitlines()[3].split()[:3] == ["STOP", "bridged", "outputs:"]


def test_gains_of_the_amplifiers_move_the_trims(run, sheets):
    args = ("bypass", sheets(), "--frequency", "3k", "--gain", "woofer=26dB", "--gain", "tweeter=32", "--json")
    told = {n: c["trim"]["twin_trim_db"] for n, c in json.loads(run(*args).out)["channels"].items()}
    alike = json.loads(run("bypass", sheets(), "--frequency", "3k", "--json").out)["channels"]
    apart = alike["tweeter"]["gain_db"] - alike["woofer"]["gain_db"]
    assert told["tweeter"] - told["woofer"] == pytest.approx(apart - 6.0, abs=1e-6)
    assert max(told.values()) == 0.0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--frequency", "3k,5k"], "--frequency has 2 corners (3000, 5000) for the channels woofer, tweeter"),
        (["--frequency", "drei"], "--frequency"),
        (["--slope", "LR9"], "no crossover slope is called 'LR9'"),
        (["--gain", "woofer"], "--gain: 'woofer' is no CHANNEL=DB; write it as CHANNEL=DB"),
        (["--gain", "woofer=1", "--gain", "woofer=2"], "--gain names woofer twice"),
        (["--gain", "woofer=loud"], "--gain: 'loud' is not a number"),
        (["--sample-rate", "8k"], "--sample-rate is 8k; give 44.1k to 768k"),
        (["--network", "nix"], "no network 'nix'"),
        (["--plot", "x.txt"], "end the name in .png, .svg or .pdf"),
    ],
)
def test_bad_input_is_one_line_and_status_2(run, sheets, arguments, said):
    done = run("bypass", sheets(), *arguments)
    assert (done.status, done.out) == (2, "")
    assert done.err.count("\n") == 1
    assert done.err.startswith("error: ")
    assert said in done.err


def test_figure_and_help(run, sheets, tmp_path):
    path = tmp_path / "bypass.svg"
    done = run("bypass", sheets(), "--frequency", "3k", "--plot", path)
    assert done.status == 0, done.err
    assert path.read_text().startswith("<?xml")
    assert run("bypass", sheets(), "--frequency", "3k", "--plot", path).status == 2  # never overwritten unasked
    shown = run("bypass", "--help")
    assert shown.status == 0
    assert "Example: xover bypass" in shown.out
