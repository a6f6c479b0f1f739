"""xover compare as a user sees it."""

import json

import pytest

FEW = ["--per-octave", "12"]


def test_networks_before_and_after(run, examples):
    left = examples / "attic-two-way/left"
    done, as_json = (run("compare", f"{left}:found", f"{left}:original", *FEW, *more) for more in ([], ["--json"]))
    assert (done.status, as_json.status, as_json.err) == (0, 0, "")
    assert max(len(line) for line in (done.out + done.err).splitlines()) <= 80
    result = json.loads(as_json.out)
    assert {"frequency_hz", "difference_db", "octaves", "rms_db"} <= set(result)
    assert len(result["frequency_hz"]) == len(result["difference_db"])
    assert set(result["octaves"][0]) >= {"centre_hz", "difference_db"}
    octave = next(o for o in result["octaves"] if o["centre_hz"] == 8000)
    row = next(line.split() for line in done.out.splitlines() if line.split()[:1] == ["8000"])
    assert float(row[1]) == pytest.approx(octave["difference_db"], abs=0.006)
    assert "* heard in a direct comparison" in next(line for line in done.out.splitlines() if " 8000 " in line)
    assert "(common practice, no published source)" in done.out
    assert f"rms {result['rms_db']:.2f} dB" in done.out


def test_impedances_are_told_in_per_cent(run, examples):
    left = examples / "attic-two-way/left"
    done = run("compare", left / "terminals-found.csv", left, "--strict", *FEW)
    assert done.status == 0  # nobody hears an impedance
    assert "per cent" in done.out
    assert "as it is" in done.out
    assert "Beyond" not in done.out
    result = json.loads(run("compare", left / "terminals-found.csv", left, *FEW, "--json").out)
    assert (result["what"], result["offset_db"], result["audible"]) == ("impedance", 0.0, None)
    assert 0 < result["rms_db"] < 0.1  # 0.4 % of noise are 0.035 dB


def test_strict_tells_an_audible_difference(run, examples):
    left = examples / "attic-two-way/left"
    pair = ["compare", f"{left}:found", f"{left}:original", *FEW]
    assert run(*pair, "--strict").status == 1
    assert run(*pair, "--strict", "--threshold", "3").status == 0
    assert run(*pair).status == 0
    assert "Nothing: no octave" in run(*pair, "--threshold", "3").out


def test_two_speakers_unmatched(run, examples):
    pair = [examples / "attic-two-way" / side for side in ("left", "right")]
    matched, raw = (json.loads(run("compare", *pair, *FEW, "--json", *m).out) for m in ([], ["--match", "none"]))
    assert raw["offset_db"] == 0
    assert raw["match_band_hz"] is None
    # The right woofer is 1.8 dB louder (examples/README.md), and so is most of that band.
    assert matched["offset_db"] == pytest.approx(-1.5, abs=0.5)
    shift = raw["difference_db"][50] - matched["difference_db"][50]
    assert shift == pytest.approx(matched["offset_db"])


def test_plot(run, examples, tmp_path):
    figure = tmp_path / "difference.png"
    left = examples / "attic-two-way/left"
    done = run("compare", left, f"{left}:original", *FEW, "--plot", figure)
    assert done.status == 0, done.err
    assert figure.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["{attic}"], "Missing argument 'B'"),
        (["{attic}", "{attic}:fuond"], "did you mean found?"),
        (["{attic}", "{attic}/no.csv"], "no.csv"),
        (["{attic}", "{attic}", "--quantity", "som"], "did you mean sum?"),
        (["{attic}", "{attic}", "--match", "200"], "write two frequencies, such as 200..18k"),
        (["{attic}", "{attic}", "--match", "2k..1k"], "write the lower frequency first"),
        (["{attic}", "{attic}", "--threshold", "-1"], "give a value above 0 dB, up to 20 dB"),
        (["{attic}", "{attic}", "--unit", "volt"], "give dB or ohm"),
        (["{attic}", "{attic}/terminals-found.csv", "--quantity", "sum"], "is in ohm"),
        (["{attic}", "{attic}", "--from", "2k", "--to", "1k"], "swap them"),
    ],
)
def test_bad_arguments_end_in_one_line_and_status_2(run, attic, arguments, message):
    done = run("compare", *[a.format(attic=attic) for a in arguments])
    assert done.status == 2
    assert done.out == ""
    assert done.err.count("\n") == 1
    assert done.err.startswith("error: ")
    assert message in done.err


def test_help_has_an_example(run):
    done = run("compare", "--help")
    assert done.status == 0
    assert "Example: xover compare" in done.out
