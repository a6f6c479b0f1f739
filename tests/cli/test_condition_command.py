"""xover condition as a user sees it."""

import json

import pytest

COARSE = ("--per-octave", "8")


def narrow(done):
    assert done.status == 0, done.err
    widest = max((done.out + done.err).splitlines(), key=len)
    assert len(widest) <= 80, widest
    assert "nan" not in done.out.lower().replace(":", " ").split()
    return done.out


@pytest.mark.parametrize("name", ["hall-horn-two-way", "studio-three-way"])
def test_tables_fit_80_columns(run, examples, name):
    out = narrow(run("condition", examples / name, *COARSE))
    for heading in ("Parts, as marked and as found", "What it does, from 200 Hz to 20 kHz", "Which part did it"):
        assert heading in out
    assert "All together move the " in out
    assert "as marked: leave them" in out


def test_the_tables_of_the_attic(run, examples):
    out = narrow(run("condition", examples / "attic-two-way/left", "--all", *COARSE))
    rows = {line.split()[0]: line.split() for line in out.splitlines() if line.strip()}
    c1 = next(line for line in out.splitlines() if line.strip().startswith("C1  electrolytic"))
    assert c1.split(maxsplit=1)[1] == "electrolytic   6.8 uF   8.4 uF  +24 %  1.40 > 2.10  drifted, lossy"
    assert rows["load"][1] == "lowest"
    assert "L1, L2, R2: as marked: leave them" in out
    assert "null 24 dB deep" in out
    assert "(+1.58)" in out  # the tweeter's drive far below its highest


def test_assumed(run, examples):
    out = narrow(run("condition", examples / "hall-horn-two-way", "--assume", *COARSE))
    assert "how far age may have moved it" in out
    assert "(common practice, no published source)" in out
    assert "-5..+25 %" in out
    assert "Not worth measuring, 0.25 dB or less each: L1, L2, L3." in out


def test_json(run, examples):
    done = run("condition", examples / "attic-two-way/left", "--json", "--from", "100", "--to", "10k", *COARSE)
    assert (done.status, done.err) == (0, "")
    result = json.loads(done.out)
    n = len(result["frequency_hz"])
    assert (result["frequency_hz"][0], result["frequency_hz"][-1]) == (100.0, 10000.0)
    assert {key: len(curve) for key, curve in result["drive_difference_db"].items()} == {"woofer": n, "tweeter": n}
    by_name = {part["name"]: part for part in result["parts"]}
    assert by_name["C2"]["drift"] == pytest.approx(6.1 / 4.7 - 1, rel=1e-9)
    assert result["summary"]["band_hz"] == [200.0, 10000.0]


def test_strict_holds_the_limit_against_it(run, examples):
    left = examples / "attic-two-way/left"
    broken = run("condition", left, "--strict", *COARSE)
    assert broken.status == 1
    assert "Limit of 1 dB" in broken.out
    assert "the sum changes by -1.7 dB at " in broken.out
    held = run("condition", left, "--strict", "--limit", "3", *COARSE)
    assert held.status == 0
    assert "holds" in held.out.split("Limit of 3 dB")[1]
    assert run("condition", left, "--limit", "0.1", "--json", *COARSE).status == 0


def test_plot(run, examples, tmp_path):
    figure = tmp_path / "condition.svg"
    done = run("condition", examples / "attic-two-way/left", "--plot", figure, *COARSE)
    assert done.status == 0, done.err
    assert b"Change of the drives and of the sum" in figure.read_bytes()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--found", "fuond"], "did you mean found?"),
        (["--found", "original"], "--found and --original are both 'original'; name two networks"),
        (["--found", "found", "--assume"], "contradict each other"),
        (["--limit", "0"], "--limit is 0; give a value above 0 dB"),
        (["--limit", "nan"], "--limit: 'nan' is not a number"),
        (["--from", "2k", "--to", "1k"], "swap them"),
    ],
)
def test_bad_arguments_end_in_one_line_and_status_2(run, examples, arguments, message):
    done = run("condition", examples / "attic-two-way/left", *arguments)
    assert (done.status, done.out, done.err.count("\n")) == (2, "", 1)
    assert done.err.startswith("error: ")
    assert message in done.err


def test_a_board_wired_differently_is_told(run, attic):
    path = attic / "found.cir"
    path.write_text(path.read_text().replace("R2    p  0   15     watts=5\n", ""))
    done = run("condition", attic, *COARSE)
    out = " ".join(narrow(done).split())
    assert "The networks are wired differently, so the parts are judged together only: R2 is" in out
    assert "missing now" in out
    assert "note: wired differently: R2 is not in the found network\n" in done.err


def test_help_has_an_example(run):
    done = run("condition", "--help")
    assert done.status == 0
    assert "Example: xover condition" in done.out
