"""xover tolerance as a user sees it."""

import json

import pytest

FEW = ["--builds", "200", "--per-octave", "3"]


@pytest.mark.parametrize("name", ["hall-horn-two-way", "studio-three-way"])
def test_the_answer_fits_80_columns(run, examples, name):
    done = run("tolerance", examples / name, "--network", "original", "--all", *FEW)
    assert done.status == 0, done.err
    widest = max((done.out + done.err).splitlines(), key=len)
    assert len(widest) <= 80, widest
    assert "nan" not in done.out.lower().split()
    assert "200 builds within tolerance" in done.out
    for words in ("within 1 dB", "left against right", "lowest load", "Which part to buy tighter", "beyond corners"):
        assert words in done.out
    assert done.err.startswith("note: ")


def test_rows_and_ranking_are_those_of_the_json(run, examples):
    arguments = ["tolerance", examples / "attic-two-way/left", "--limit", "0.4 dB", "--paired-to", "2%", *FEW]
    done, as_json = run(*arguments, "--all"), run(*arguments, "--json")
    assert (as_json.status, as_json.err) == (0, "")
    result = json.loads(as_json.out)
    assert (result["builds"], result["seed"], result["distribution"]) == (200, 1, "uniform")
    assert (result["limit_db"], result["match"], result["network"]) == (0.4, 0.02, "found")
    ranked = [p["name"] for p in result["shares"]["ranking"]]
    table = done.out.split("Which part")[1].split("share:")[0]
    rows = [line.split() for line in table.splitlines() if line.strip().startswith(("R", "L", "C"))]
    assert [row[0] for row in rows] == ranked
    assert {row[-3] for row in rows} == {"assumed"}
    shown = float(rows[0][-2])
    assert shown == pytest.approx(100 * result["shares"]["ranking"][0]["share"], abs=0.06)
    assert f"{100 * result['yield']['share']:.1f} % (" in done.out
    assert "parts paired to 2 %" in done.out
    hz = result["frequency_hz"]
    nearest = min(range(len(hz)), key=lambda i: abs(hz[i] / 2000 - 1))
    row = next(line.split() for line in done.out.splitlines() if line.split()[:1] == ["2000"])
    expected = [result["sum"]["change_db"][q][nearest] for q in ("0.025", "0.16", "0.5", "0.84", "0.975")]
    assert [float(cell) for cell in row[2:7]] == pytest.approx(expected, abs=0.0051)
    assert float(row[7]) == pytest.approx(result["sum"]["corner"]["lowest_db"][nearest], abs=0.0051)
    assert "tolerance assumed, as the cards state none" in " ".join(done.err.split())


def test_strict_holds_the_builds_to_the_yield(run, examples):
    speaker = examples / "attic-two-way/left"
    some = ["tolerance", speaker, "--limit", "0.6", *FEW, "--yield"]
    assert run(*some, "100%").status == 0
    broken = run(*some, "100%", "--strict")
    assert broken.status == 1
    assert "100 % is asked for: not reached" in " ".join(broken.out.split())
    kept = run(*some, "0.05", "--strict")
    assert kept.status == 0
    assert "5 % is asked for: reached" in " ".join(kept.out.split())
    assert run(*some, "100%", "--strict", "--json").status == 1


def test_an_uncertain_yield_is_told(run, examples):
    some = ["tolerance", examples / "attic-two-way/left", "--limit", "0.6", *FEW]
    share = json.loads(run(*some, "--json").out)["yield"]["share"]
    assert 0.2 < share < 0.95
    done = run(*some, "--yield", f"{share - 0.01:.3f}")
    assert "so few builds cannot tell for certain" in " ".join(done.out.split())


def test_plot(run, examples, tmp_path):
    figure = tmp_path / "figure.png"
    arguments = ["tolerance", examples / "attic-two-way/left", "--plot", figure, *FEW]
    assert run(*arguments).status == 0
    assert figure.read_bytes().startswith(b"\x89PNG")
    again = run(*arguments)
    assert again.status == 2
    assert "--force" in again.err


def test_without_sound_drives_and_load_are_shown(run, tmp_path):
    (tmp_path / "found.cir").write_text("* t\nL1 in w 1mH\nC1 w 0 10uF\nXlow w 0 woofer\n")
    sheet = "[drivers.woofer.datasheet]\nre_ohm = 6\nfs_hz = 50\nqms = 4\nqes = 0.5\n"
    (tmp_path / "speaker.toml").write_text(sheet + '[networks.found]\ncircuit = "found.cir"\n')
    done = run("tolerance", tmp_path, *FEW)
    assert done.status == 0
    assert "The sum is not known there: only the drives and the load are shown." in done.out
    assert "left against right" not in done.out
    assert "nan" not in done.out
    assert run("tolerance", tmp_path, *FEW, "--yield", "1%", "--strict").status == 1


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ([], "Missing argument 'SPEAKER'"),
        (["{attic}", "--network", "fuond"], "did you mean found?"),
        (["{attic}", "--builds", "5"], "--builds is 5; give 100 to 200000"),
        (["{attic}", "--distribution", "gauss"], "give uniform or normal"),
        (["{attic}", "--limit", "loud"], "--limit"),
        (["{attic}", "--limit", "-1"], "--limit is -1; give a value above 0 dB"),
        (["{attic}", "--paired-to", "120%"], "--paired-to is 120%; give 0% to 100%"),
        (["{attic}", "--yield", "90"], "--yield is 90; give a value above 0%, up to 100%"),
        (["{attic}", "--strict"], "--strict has no limit to hold it to; add --yield"),
        (["{attic}", "--from", "2k", "--to", "1k"], "swap them"),
        (["{attic}", "--to", "100"], "no frequency lies in the band from 200 Hz to 20 kHz"),
    ],
)
def test_bad_arguments_end_in_one_line_and_status_2(run, attic, arguments, message):
    done = run("tolerance", *[a.format(attic=attic) for a in arguments])
    assert done.status == 2
    assert done.out == ""
    assert done.err.count("\n") == 1
    assert done.err.startswith("error: ")
    assert message in done.err


def test_help_has_an_example(run):
    done = run("tolerance", "--help")
    assert done.status == 0
    assert "Example: xover tolerance" in done.out


def test_processes_are_a_number_of_one_or_more(run, examples):
    done = run("tolerance", examples / "attic-two-way/left", "--builds", "200", "--per-octave", "3", "--jobs", "0")
    assert done.status == 2
    assert "give 1 or more, or -1 for every core" in done.err
