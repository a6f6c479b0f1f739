"""xover sensitivity as a user sees it."""

import json

import pytest

EXAMPLES = ["attic-two-way/left", "attic-two-way/right", "hall-horn-two-way", "studio-three-way"]


@pytest.mark.parametrize("name", EXAMPLES)
@pytest.mark.parametrize("network", ["found", "original"])
def test_tables_fit_80_columns(run, examples, name, network):
    done = run("sensitivity", examples / name, "--network", network, "--all")
    assert done.status == 0, done.err
    widest = max(done.out.splitlines(), key=len)
    assert len(widest) <= 80, widest
    assert "nan" not in done.out.lower().split()
    assert " matters most: 1 % of " in done.out
    assert " moves the sum by at most 0." in done.out
    for heading in ("Parts, each 1 % larger", "Losses, each larger", "Drivers, the whole impedance 1 % larger"):
        assert heading in done.out
    assert done.err.startswith("note: ")


def test_every_part_has_its_row_and_the_first_is_the_sentence(run, examples):
    done = run("sensitivity", examples / "attic-two-way/left", "--all")
    table = done.out.split("Parts, each")[1].split("  drive:")[0].splitlines()[3:]
    rows = [line.split() for line in table if line.strip()]
    assert sorted(row[0] for row in rows) == ["C1", "C2", "L1", "L2", "R1", "R2"]
    first = next(line for line in done.out.splitlines() if "matters most" in line)
    assert first.split()[0] == first.split()[6] == rows[0][0]
    shown = float(first.split("at most ")[1].split(" dB")[0])
    assert shown == pytest.approx(abs(float(rows[0][3])), abs=0.001)
    assert shown > 0.02


def test_json(run, examples):
    done = run(
        "sensitivity", examples / "studio-three-way", "--json", "--from", "100", "--to", "10k", "--per-octave", "6"
    )
    assert done.status == 0
    assert done.err == ""
    result = json.loads(done.out)
    assert result["network"] == "found"
    n = len(result["frequency_hz"])
    assert (result["frequency_hz"][0], result["frequency_hz"][-1]) == (100.0, 10000.0)
    ranked = [name for names in result["ranking"].values() for name in names]
    assert sorted(ranked) == sorted(result["sensitivity"])
    for one in result["sensitivity"].values():
        assert one["drive"].keys() == {"upper", "lower", "mid", "tweeter"}
        for change in (one["sum"], *one["drive"].values()):
            assert len(change["level_db"]) == len(change["phase_deg"]) == n
        assert len(one["load"]["percent"]) == n
    # A coil in the woofers' branch turns both woofers alike, and no other driver.
    coil = result["sensitivity"]["L1"]["drive"]
    assert coil["upper"] == coil["lower"]
    assert coil["upper"]["worst"]["change"] < -0.05
    assert set(coil["tweeter"]["level_db"]) == {0.0}


@pytest.mark.parametrize("suffix", ["png", "svg", "pdf"])
def test_plot(run, examples, tmp_path, suffix):
    figure = tmp_path / f"figure.{suffix}"
    done = run("sensitivity", examples / "attic-two-way/left", "--per-octave", "12", "--plot", figure)
    assert done.status == 0, done.err
    assert figure.read_bytes().startswith({"png": b"\x89PNG", "svg": b"<?xml", "pdf": b"%PDF"}[suffix])


def test_plot_keeps_an_old_file(run, examples, tmp_path):
    figure = tmp_path / "figure.svg"
    figure.write_bytes(b"old")
    done = run("sensitivity", examples / "attic-two-way/left", "--per-octave", "12", "--plot", figure)
    assert done.status == 2
    assert "--force" in done.err
    assert figure.read_bytes() == b"old"


def test_without_sound_it_ranks_by_drive(run, tmp_path):
    (tmp_path / "found.cir").write_text("* t\nL1 in w 1mH\nC1 w 0 10uF\nXlow w 0 woofer\n")
    sheet = "[drivers.woofer.datasheet]\nre_ohm = 6\nfs_hz = 50\nqms = 4\nqes = 0.5\n"
    (tmp_path / "speaker.toml").write_text(sheet + '[networks.found]\ncircuit = "found.cir"\n')
    done = run("sensitivity", tmp_path)
    assert done.status == 0
    assert "The sound is not known, so the parts are ranked by the drives." in done.out
    assert " moves the sum " not in done.out


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["sensitivity"], "Missing argument 'SPEAKER'"),
        (["sensitivity", "{attic}", "--network", "fuond"], "did you mean found?"),
        (["sensitivity", "{attic}", "--from", "2k", "--to", "1k"], "swap them"),
        (["sensitivity", "{attic}", "--plot", "x.gif"], "png"),
    ],
)
def test_bad_arguments_end_in_one_line_and_status_2(run, attic, arguments, message):
    done = run(*[a.format(attic=attic) for a in arguments])
    assert done.status == 2
    assert done.out == ""
    assert done.err.count("\n") == 1
    assert done.err.startswith("error: ")
    assert message in done.err


def test_names_that_clash_are_told(run, attic):
    (attic / "found.cir").write_text("* t\nL1 in w 1mH\nL1_dcr w x 1mH\nXlow x 0 woofer\n")
    done = run("sensitivity", attic)
    assert done.status == 2
    assert "L1_dcr is both" in done.err


def test_help_has_an_example(run):
    done = run("sensitivity", "--help")
    assert done.status == 0
    assert "Example: xover sensitivity" in done.out
