"""xover jig as a user sees it."""

import json

import numpy as np
import pytest

F = np.geomspace(20.0, 20_000.0, 31)
Z = 6.0 + 2j * np.pi * F * 0.3e-3


@pytest.fixture
def ratio(tmp_path):
    h = Z / (Z + 10.0)
    rows = zip(F, 20 * np.log10(np.abs(h)), np.degrees(np.angle(h)), strict=True)
    path = tmp_path / "ratio.csv"
    path.write_text("Hz,dB,deg\n" + "".join(f"{a:.9g},{b:.9f},{c:.9f}\n" for a, b, c in rows))
    return path


def test_writes_a_table_that_other_commands_read(run, ratio, tmp_path):
    out = tmp_path / "z.csv"
    done = run("jig", ratio, "--resistor", "10", "-o", out)
    assert done.status == 0, done.err
    assert "impedance = of a driver" in " ".join(done.out.split())
    assert max(len(line) for line in done.out.splitlines()) <= 80
    assert "measure both on one point" in " ".join(done.err.split())
    rows = np.loadtxt(out, delimiter=",", skiprows=1)
    np.testing.assert_allclose(rows[:, 1] * np.exp(1j * np.radians(rows[:, 2])), Z, rtol=1e-5)
    before = out.read_bytes()
    again = run("jig", ratio, "--resistor", "10", "-o", out)
    assert again.status == 2
    assert "exists already" in again.err
    assert out.read_bytes() == before


def test_json(run, ratio):
    done = run("jig", ratio, "--resistor", "10ohm", "--json")
    told = json.loads(done.out)
    np.testing.assert_allclose(told["impedance_ohm"], np.abs(Z), rtol=1e-5)
    assert told["across"] == "driver"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--resistor", "0"], "--resistor is 0; give 0.01 to 100000 ohm"),
        (["--resistor", "10", "--across", "speaker"], "give driver or resistor"),
        (["--resistor", "10", "--known", "ten.csv"], "write it as TABLE=OHM"),
        (["--resistor", "10", "--across", "resistor", "--known", "ten.csv=10"], "ten.csv"),
    ],
)
def test_bad_input_is_one_line(run, ratio, arguments, words):
    done = run("jig", ratio, *arguments)
    assert done.status == 2
    assert done.err.startswith("error: ")
    assert done.err.count("\n") == 1
    assert words in done.err
