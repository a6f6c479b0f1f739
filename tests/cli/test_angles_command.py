"""xover angles, as a user sees it."""

import json
import math

import pytest
import typer
from typer.testing import CliRunner

from xover.cli.build import command
from xover.errors import InputError, OptionError
from xover.studies.does.angles import angles

app = typer.Typer(rich_markup_mode=None, pretty_exceptions_enable=False)
app.command()(command(angles))


def call(*arguments):
    done = CliRunner().invoke(app, [str(a) for a in arguments], catch_exceptions=False)
    assert done.exit_code == 0
    return done


@pytest.mark.parametrize("name", ["attic-two-way/left", "hall-horn-two-way", "studio-three-way"])
def test_tables_fit_80_columns(examples, name):
    done = call(examples / name, "--per-octave", "12", "--all")
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert "nan" not in done.stdout.lower().split()
    assert "infinite baffle" in " ".join(done.stderr.split())
    assert ("The lobe at each crossover" in done.stdout) == (name != "hall-horn-two-way")
    assert ("not known" in done.stdout) == (name == "hall-horn-two-way")


def test_the_table_holds_what_json_holds(examples):
    arguments = (examples / "attic-two-way" / "left", "--vertical", "-20, 10°", "--horizontal", "30deg")
    out = call(*arguments).stdout
    result = json.loads(call(*arguments, "--json").stdout)
    assert result["vertical"]["angle_deg"] == [-20, 10]
    assert result["horizontal"]["angle_deg"] == [30]
    row = min(range(len(result["frequency_hz"])), key=lambda i: abs(math.log(result["frequency_hz"][i] / 2000.0)))
    shown = [line.split() for line in out.splitlines() if line.split()[:1] == ["2000"]]
    assert [float(cell) for cell in shown[0][2:]] == pytest.approx(
        [level[row] for level in result["vertical"]["relative_db"]], abs=0.051
    )
    assert float(shown[1][2]) == pytest.approx(result["horizontal"]["relative_db"][0][row], abs=0.051)
    assert float(shown[0][1]) == pytest.approx(result["axis_db"][row], abs=0.051)
    assert min(float(cell) for cell in shown[0][2:]) < -1.0
    (lobe,) = result["lobes"]
    line = next(line.split() for line in out.splitlines() if line.split()[1:2] == ["kHz"])
    assert [int(line[i]) for i in (2, 4, 6)] == [
        round(lobe["lobe_deg"]),
        round(lobe["above_deg"]),
        round(lobe["below_deg"]),
    ]
    assert int(line[5]) == pytest.approx(-lobe["above_depth_db"], abs=0.51)


def test_a_distance_and_a_figure(examples, tmp_path):
    path = tmp_path / "angles.svg"
    arguments = (examples / "studio-three-way", "--distance", "1.5m", "--per-octave", "6", "--plot", path)
    done = call(*arguments)
    assert "1.5 m away" in done.stdout
    assert f"Figure written to {path}." in " ".join(done.stdout.split())
    assert "30° down" in path.read_text(encoding="utf-8")
    with pytest.raises(InputError, match="exists already"):
        call(*arguments)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--vertical", "up"], "--vertical: 'up' is not a number; write a number such as 15 deg"),
        (["--horizontal", "0,,30"], "--horizontal: "),
        (["--vertical", "95"], "a vertical angle of 95 degrees is behind the baffle"),
        (["--distance", "2kg"], "--distance: "),
        (["--distance", "0m"], "a distance of 0 m makes no sense"),
    ],
)
def test_bad_options(examples, arguments, message):
    with pytest.raises(OptionError, match=message):
        call(examples / "attic-two-way" / "left", *arguments)


def test_help_ends_with_an_example():
    assert "Example: xover angles" in call("--help").stdout
    doc = [line.strip() for line in angles.__doc__.strip().splitlines()]
    assert len(doc[0]) <= 62
    assert any(line.startswith("Example: ") for line in doc)
