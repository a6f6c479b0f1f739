"""xover crosstalk, and the part of xover coil that tells of a second coil, as a user sees them."""

import json

import pytest
import typer
from typer.testing import CliRunner

from xover.cli.build import command
from xover.errors import InputError, OptionError
from xover.studies.bears.crosstalk import crosstalk
from xover.studies.desk.coil import coil

app = typer.Typer(rich_markup_mode=None, pretty_exceptions_enable=False)
app.command()(command(crosstalk))


def call(*arguments):
    done = CliRunner().invoke(app, [str(a) for a in arguments], catch_exceptions=False)
    assert done.exit_code == 0
    return done


def test_limits_fit_80_columns_and_are_ranked(examples):
    done = call(examples / "studio-three-way")
    assert max(map(len, done.stdout.splitlines())) <= 80
    table = done.stdout.split("moves the sum by 0.1 dB\n")[1].splitlines()[2:]
    rows = [line.split() for line in table if line.startswith("  L")]
    assert {row[0] for row in rows} == {"L1:L2", "L1:L3", "L1:L4", "L2:L3", "L2:L4", "L3:L4"}
    least = [min(float(row[1]), -float(row[2])) for row in rows]
    assert least == sorted(least)
    assert 0.001 < least[0] < 0.1
    assert f"Keep {' and '.join(rows[0][0].split(':'))} {rows[0][-1]} mm apart" in done.stdout
    assert "note: L1, L2: not said to be air coils" in done.stderr


def test_couple_shows_both_signs(examples):
    done = call(examples / "studio-three-way", "--couple", "l3:L4=5%", "--per-octave", "12")
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert "With k = +0.05 of L3:L4" in done.stdout
    assert "With k = -0.05 of L3:L4" in done.stdout
    assert done.stdout.count("pass dB") == 2
    woofer = next(line for line in done.stdout.splitlines() if "upper" in line).split()
    assert woofer[:2] == ["upper", "0"]  # both coils lie in other branches
    tweeter = next(line for line in done.stdout.splitlines() if "tweeter" in line).split()
    assert -3 < float(tweeter[1]) < -0.3


def test_many_signs_show_the_worst(examples):
    couples = [o for pair in ("L1:L2", "L1:L3", "L3:L4") for o in ("--couple", f"{pair}=0.02")]
    done = call(examples / "studio-three-way", *couples, "--per-octave", "6")
    assert "The worst of 8 combinations of signs" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80
    result = json.loads(call(examples / "studio-three-way", *couples, "--per-octave", "6", "--json").stdout)
    assert len(result["cases"]) == 8
    largest = max(abs(case["sum"]["worst"]["change"]) for case in result["cases"])
    shown = next(line for line in done.stdout.splitlines() if line.startswith("  sum ")).split()[1]
    assert abs(float(shown)) == pytest.approx(largest, abs=0.006)
    assert largest > 0.1


def test_tied_coils_are_told(examples):
    out = " ".join(call(examples / "hall-horn-two-way", "--per-octave", "6").stdout.split())
    assert "L1:L2 reaches L1:L3 too" in out
    assert "coupled already L2:L3: their K cards stay as they are" in out
    assert "moves the highest sum that any timing allows by 0.1 dB" in out


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--couple", "L1L2=0.1"], "write two coils and their coupling, as L1:L2=0.02"),
        (["--couple", "L1:L2"], "write it as L1:L2=K"),
        (["--couple", "L1:L2=lots"], "--couple: 'lots' is not a number"),
        (["--couple", "L1:L7=0.1"], "no part L7"),
        (["--limit", "loud"], "--limit: 'loud' is not a number"),
        (["--limit", "-1dB"], "--limit is -1dB; give a value above 0 dB"),
    ],
)
def test_bad_options(examples, arguments, message):
    with pytest.raises(OptionError, match=message):
        call(examples / "studio-three-way", *arguments)


def test_help_has_an_example():
    assert "Example: xover crosstalk" in call("--help").stdout


coils = typer.Typer(rich_markup_mode=None, pretty_exceptions_enable=False)
coils.command()(command(coil))


def beside(*arguments):
    """The second coil of the answer, and the text."""
    runs = [
        CliRunner().invoke(coils, ["1.8mH", "--dcr", "0.4", *arguments, *more], catch_exceptions=False)
        for more in (["--json"], [])
    ]
    assert [run.exit_code for run in runs] == [0, 0]
    return json.loads(runs[0].stdout)["beside"], runs[1].stdout


def test_beside_shows_the_card_and_the_places():
    told, out = beside("--beside", "0.33mH", "--distance", "80mm")
    result = design_beside(distance_m=0.08)
    assert max(map(len, out.splitlines())) <= 80
    words = " ".join(out.split())
    assert f"netlist card {result.card} (L1 the first coil, L2 the second)" in words
    assert -0.03 < result.k < -0.01  # equal 55 mm coils have 1.7 % at 75 mm, 0.7 % at 100
    assert told["k"] == pytest.approx(result.k, rel=1e-9)
    assert "k is zero with its axis at 90 degrees to the first's" in words
    rows = [line.split() for line in out.splitlines() if line.startswith("  ")]
    side = next(row for row in rows if row[:3] == ["side", "by", "side,"])
    apart = result.apart[0]
    assert int(side[-2]) - 1 < 1e3 * apart.distance_m <= int(side[-2])
    assert "right angles, on axis or mid-plane - 0 any -" in words
    assert told["second_coil"]["target_inductance_h"] == 0.33e-3


def design_beside(**place):
    return coil("1.8mH", dcr_ohm=0.4, beside_h=0.33e-3, **place).beside


def test_beside_as_close_as_they_go():
    whole = coil("1.8mH", dcr_ohm=0.4, beside_h=0.33e-3)
    radii = whole.winding.outer_radius_m + whole.beside.second.outer_radius_m
    assert radii <= whole.beside.pose.x_m < radii + 1e-3
    assert whole.beside.pose.x_m * 1e3 == pytest.approx(round(whole.beside.pose.x_m * 1e3))
    assert coil("1.8mH", dcr_ohm=0.4).beside is None


def test_beside_leaning_and_raised():
    told, out = beside("--beside", "0.33mH", "--distance", "80mm", "--angle", "90 deg", "--raised", "30mm")
    words = " ".join(out.split())
    assert "raised 30 mm, axis at 90 degrees to the first's" in words
    assert "leaning away from the first coil" in words
    assert told["k"] > 0.003


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("--distance", "80mm"), "--distance places a second coil, and there is none"),
        (("--angle", "90"), "--angle places"),
        (("--beside", "33uF"), "--beside: "),
        (("--beside", "0.33mH", "--distance", "80"), "without a unit"),
        (("--beside", "0.33mH", "--distance", "30mm"), "would stand in each other"),
        (("--beside", "0.33mH", "--distance", "80mm", "--angle", "flat"), "--angle: 'flat'"),
        (("--beside", "0.33mH", "--distance", "80mm", "--angle", "500"), "--angle is 500; give -180 to 180 degrees"),
        (("--beside", "0.33mH", "--distance", "80mm", "--raised", "up"), "--raised: 'up'"),
    ],
)
def test_bad_places(options, message):
    with pytest.raises(OptionError, match=message):
        CliRunner().invoke(coils, ["1.8mH", "--dcr", "0.4", *options], catch_exceptions=False)


def test_a_figure(examples, tmp_path):
    path = tmp_path / "coils.svg"
    arguments = (examples / "attic-two-way" / "left", "--per-octave", "6", "--plot", path)
    assert f"Figure written to {path}." in " ".join(call(*arguments).stdout.split())
    words = path.read_text(encoding="utf-8")
    assert "stray at tweeter" in words
    assert "limit ±0.1 dB" in words
    with pytest.raises(InputError, match="exists already"):
        call(*arguments)
    call(*arguments, "--force", "--couple", "L1:L2=0.1")
    assert "L1:L2 +0.1" in path.read_text(encoding="utf-8")
