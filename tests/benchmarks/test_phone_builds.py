"""A share of `phone_builds.py`: wrong builds are heard, right ones raise no alarm; and the commands say so."""

import json
from collections import Counter

import pytest
from benchmarks import phone_builds

from xover.cli.main import main


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A speaker whose tweeter got twice its resistor."""
    folder = tmp_path_factory.mktemp("levels") / "speaker"
    assert not phone_builds.hold(50_000, "double pad", folder).agrees
    return folder


@pytest.fixture
def run(capsys):
    def call(*given):
        return main([str(a) for a in given]), *capsys.readouterr()

    return call


def test_right_and_wrong_builds_in_rooms(tmp_path):
    found = {
        build: Counter(phone_builds.outcome(60_000 + i, build, tmp_path / build)[0] for i in range(4))
        for build in ("right", "double pad")
    }
    assert found["right"]["differs"] == 0
    assert found["double pad"]["differs"] >= 3


def test_compare_tells_the_octaves(folder, run):
    pair = ("compare", f"{folder}:rebuilt", f"{folder}:found", "--levels", folder / "levels.csv")
    status, out, _ = run(*pair)
    assert status == 0
    said = " ".join(out.split())
    assert "Heard with a phone From found to rebuilt: " in said
    assert "; NOT as predicted at " in said
    heard = json.loads(run(*pair, "--json")[1])["heard"]
    assert "does not agree" in [o["held"] for o in heard["octaves"]]


def test_verify_takes_levels_beside_the_sweep(folder, run):
    given = ("verify", folder, "--network", "rebuilt", "--impedance", folder / "sweep.txt")
    status, out, _ = run(*given, "--levels", folder / "levels.csv")
    assert status == 0
    # The sweep alone could be of a tweeter that has changed; that would fall out of what the phone heard.
    alone = json.loads(run(*given, "--json")[1])
    assert (alone["verdict"], alone["heard"]) == ("drivers or jig", None)
    assert "The build does not do what was predicted: R23 about 2.15 ohm in place of 1.08 ohm" in " ".join(out.split())
    assert "; NOT as predicted at " in " ".join(out.split())


@pytest.mark.parametrize(
    ("second", "header", "said"),
    [
        ("examples/attic-two-way/left:found", None, "two networks of one speaker"),
        ("{}:found", "band Hz, silence, old, rebuilt", "has no column 'found', only silence, old, rebuilt"),
    ],
)
def test_levels_that_do_not_fit_are_refused(folder, run, tmp_path, second, header, said):
    levels = tmp_path / "levels.csv"
    lines = (folder / "levels.csv").read_text().splitlines()
    lines = [header or line if line.startswith("band") else line for line in lines]
    levels.write_text("\n".join([*lines, ""]))
    status, out, err = run("compare", f"{folder}:rebuilt", second.format(folder), "--levels", levels)
    assert (status, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1
