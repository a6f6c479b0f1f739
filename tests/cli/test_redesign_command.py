"""xover redesign, as a user types it: one small search, worked out once for all tests."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest

import xover.studies.change.redesign.study as core
from xover.cli.progress import ProgressBar
from xover.studies.change.redesign import judge

STOCK = """kind,value,price,watts,volts,dcr_ohm,tolerance
film,5.6uF,4,,250,,5%
film,6.8uF,5,,250,,5%
film,10uF,6,,250,,5%
film,15uF,8,,250,,5%
coil,0.33mH,3,,,0.3,5%
coil,0.47mH,3.5,,,0.35,5%
coil,1.8mH,7,,,0.6,5%
coil,2.7mH,9,,,0.8,5%
resistor,2.2,0.5,20,,,5%
resistor,4.7,0.5,20,,,5%
resistor,8.2,0.5,20,,,5%
resistor,15,0.5,20,,,5%
"""
FAST = ("--circuit", "present", "--starts", "0", "--crossover", "2.2k", "--weights", "off_axis=0")


@pytest.fixture(scope="module")
def searches():
    return {}


@pytest.fixture(autouse=True)
def searched_once(searches, monkeypatch):
    """The same question to the same speaker is answered by the same search."""
    search = core.redesign

    def once(speaker, catalogue, wish, **how):
        drivers = [(name, d.notes) for name, d in speaker.drivers.items()]
        key = repr((drivers, speaker.network("found").parts, wish, {k: v for k, v in how.items() if k != "progress"}))
        if key not in searches:
            searches[key] = search(speaker, catalogue, wish, **how)
        return searches[key]

    monkeypatch.setattr(core, "redesign", once)
    monkeypatch.setattr(judge, "BUILDS", 60)


@pytest.fixture
def redesign(run, attic, tmp_path, monkeypatch):
    """The command on a copy of the example, from the folder that holds it: short names."""
    assert attic == tmp_path / "attic" / "left"
    monkeypatch.chdir(tmp_path)
    (tmp_path / "parts.csv").write_text(STOCK)
    return lambda *more: run("redesign", "attic/left", "--stock", "parts.csv", *FAST, *more)


def test_json_by_contract_and_the_netlist_does_what_it_says(redesign, run, attic):
    done = redesign("--json", "--write", "better")
    assert (done.status, done.err) == (0, "")
    answer = json.loads(done.out)
    keys = {"name", "netlist", "deviation_db", "null_depth_db", "minimum_load_ohm", "parts", "cost", "yield"}
    assert answer["proposals"]
    assert all(keys <= set(p) for p in answer["proposals"])
    first = answer["proposals"][0]
    assert answer["picked"] == first["name"]
    assert answer["replacement"] is None
    assert (attic / "better.cir").read_text() == first["netlist"]
    # Read back and predicted, it is what was told.
    back = json.loads(run("predict", attic, "--network", "better", "--json").out)
    f, level = np.array(back["frequency_hz"]), np.array(back["acoustic"]["sum"]["level_db"], dtype=float)
    band = level[(f >= 200) & (f <= 15_000)]
    assert first["deviation_db"] == pytest.approx(np.ptp(band) / 2, abs=0.12)
    strays = back["summary"]["band"]
    assert first["deviation_db"] == pytest.approx(
        (strays["highest_deviation_db"] - strays["lowest_deviation_db"]) / 2, abs=1e-3
    )
    assert first["minimum_load_ohm"] == pytest.approx(min(back["load"]["impedance_ohm"]), rel=0.01)
    assert first["deviation_db"] < answer["before"]["deviation_db"]
    assert first["cost"] == pytest.approx(sum(line["price"] * line["quantity"] for line in first["bill"]))
    assert first["parts"] == 6


def test_the_page_fits_and_shows_old_and_new(redesign):
    short = redesign()
    assert short.status == 0, short.err
    assert max(map(len, short.out.splitlines())) <= 80
    # One screen, and in it what is to be bought.
    assert len(short.out.splitlines()) <= 24
    assert "Netlist" not in short.out
    assert re.search(r"buy +L1 1\.8 mH -> ", short.out)
    done = redesign("--all")
    assert done.status == 0, done.err
    assert max(map(len, (done.out + done.err).splitlines())) <= 80
    assert "nan" not in done.out.lower().split()
    for words in ("Side by side", "found, now", "*1 ", "better", "Netlist of 1", "Redesign".lower(), "turned round"):
        assert words in done.out
    assert re.search(r"C1 +8\.4 uF -> 1[05] uF, film, 5 %, 250 V", done.out)
    assert "resistors get hot" in done.err
    rows = [line.split() for line in done.out.split("Side by side")[1].splitlines()]
    answer = json.loads(redesign("--json").out)
    for number, proposal in enumerate(answer["proposals"], 1):
        row = next(r for r in rows if r and r[0].lstrip("*") == str(number))
        figures = row[1 + len(proposal["name"].split()) :]
        assert float(figures[0]) == pytest.approx(proposal["deviation_db"], abs=0.051)
        assert float(figures[4]) == pytest.approx(proposal["minimum_load_ohm"], abs=0.0051)
        assert float(figures[7]) == pytest.approx(proposal["cost"], abs=0.0051)


def test_pick_writes_another_one_and_never_over_what_is_there(redesign, attic, tmp_path):
    answer = json.loads(redesign("--json").out)
    figure = tmp_path / "figure.png"
    done = redesign("--pick", "2", "--write", "second", "--plot", figure)
    assert done.status == 0, done.err
    assert "Network 'second' written to" in done.out
    assert f"*2 {answer['proposals'][1]['name']}" in done.out
    assert figure.read_bytes().startswith(b"\x89PNG")
    netlist = (attic / "second.cir").read_text()
    assert netlist == answer["proposals"][1]["netlist"]
    again = redesign("--write", "second")
    assert (again.status, again.out) == (2, "")
    assert "--force" in again.err
    assert (attic / "second.cir").read_text() == netlist
    assert redesign("--write", "second", "--force").status == 0
    assert (attic / "second.cir").read_text() == answer["proposals"][0]["netlist"]


def test_a_number_that_is_not_there_shows_all_and_writes_nothing(redesign, attic):
    done = redesign("--pick", "9", "--write", "ninth")
    assert done.status == 2
    assert "found, now" in done.out
    assert "--pick is 9" in done.err
    assert not (attic / "ninth.cir").exists()


@pytest.fixture
def answered(redesign, searches, monkeypatch):
    """Let the search answer with the study of the plain question, changed."""

    def with_changes(**changes):
        if not searches:
            redesign("--json")
        study = next(iter(searches.values()))
        wish = replace(study.wish, **changes.pop("wish", {}))
        monkeypatch.setattr(core, "redesign", lambda *_given, **_how: replace(study, wish=wish, **changes))

    return with_changes


@pytest.mark.parametrize(
    ("changes", "status"),
    [
        ({}, 0),
        ({"suitable": False}, 1),
        ({"wish": {"minimum_load_ohm": 60.0}}, 1),
        ({"wish": {"most_cost": 1000.0}}, 0),
        ({"wish": {"most_cost": 0.1}}, 1),
        ({"wish": {"most_parts": 1}}, 1),
    ],
)
def test_strict_holds_the_choice_to_its_limits(redesign, answered, changes, status):
    answered(**{k: dict(v) if isinstance(v, dict) else v for k, v in changes.items()})
    assert redesign().status == 0
    done = redesign("--strict")
    assert done.status == status
    assert ("Over the most that it may cost, 0.10: every proposal" in done.out) is (
        changes.get("wish") == {"most_cost": 0.1}
    )
    assert ("Over the most parts, 1: every proposal" in done.out) is (changes.get("wish") == {"most_parts": 1})


def test_the_first_that_is_not_too_dear_is_picked(redesign, answered):
    answers = json.loads(redesign("--json").out)["proposals"]
    cheapest = min(range(len(answers)), key=lambda k: answers[k]["cost"])
    assert cheapest > 0
    answered(wish={"most_cost": answers[cheapest]["cost"]})
    assert json.loads(redesign("--json").out)["picked"] == answers[cheapest]["name"]


def test_stopping_shows_the_best_so_far(redesign, monkeypatch, searches):
    kept = dict(searches)
    searches.clear()

    def stop(_bar, _done, words=""):
        if "parts that exist" in words:
            raise KeyboardInterrupt

    monkeypatch.setattr(ProgressBar, "__call__", stop)
    done = redesign("--seed", "2")
    searches.clear()
    searches.update(kept)
    assert done.status == 0
    assert "Stopped before the end" in done.out
    assert "\n1 " in done.out


def test_another_driver(redesign):
    """The right side's tweeter, timed by itself: its level and load are known, the sum is not."""
    done = redesign("--replace", "tweeter=attic/right", "--json")
    assert done.status == 0, done.err
    answer = json.loads(done.out)
    assert answer["replacement"]["drivers"] == ["tweeter"]
    assert (answer["replacement"]["suitable"], answer["replacement"]["restored"]) == (None, None)
    criteria = {f["what"]: f["fit"] for f in answer["replacement"]["findings"]}
    assert criteria["level without a pad"] == criteria["lowest load"] == "pass"
    assert answer["tried"] == ["present"]
    page = redesign("--replace", "tweeter=attic/right", "--strict", "--all")
    assert page.status == 0
    assert max(map(len, (page.out + page.err).splitlines())) <= 80
    for words in ("Does it suit?", "with the old driver", "distance", "is not known"):
        assert words in page.out
    notes = " ".join(page.err.split())
    assert "its phase is rebuilt from its level" in notes
    assert "still names the old tweeter" in notes


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--slope", "LR5"), "LR5"),
        (("--crossover", "3k,300"), "does not rise"),
        (("--crossover", "300,3k"), "2 ways have 1 crossover"),
        (("--band", "200"), "such as 200..18k"),
        (("--band", "18k:200"), "lower frequency first"),
        (("--tilt", "steep"), "--tilt"),
        (("--voicing", "fuond"), "did you mean found"),
        (("--minimum-load", "0"), "above 0"),
        (("--most-parts", "0"), "1 or more"),
        (("--most-cost", "5", "--stock", "poor.csv"), "no prices"),
        (("--largest-coil", "3uF"), "--largest-coil"),
        (("--weights", "totl=1"), "did you mean total"),
        (("--weights", "total=1,total=2"), "twice"),
        (("--weights", "total=-1"), "the weight total is -1"),
        (("--weights", "total"), "is no NAME=N"),
        (("--starts", "-1"), "0 to 64"),
        (("--seed", "-1"), "0 or more"),
        (("--pick", "0"), "give 1 to 9"),
        (("--circuit", "two-way-no-such"), "two-way-no-such"),
        (("--circuit", "three-way-first-order"), "other drivers"),
        (("--network", "fuond"), "did you mean found"),
        (("--stock", "no-such.csv"), "no-such.csv"),
        (("--write", "a/b"), "no name for a network"),
        (("--write", "found"), "--force"),
        (("--plot", "figure.gif"), "end the name in .png"),
        (("--replace", "tweeter"), "is no DRIVER=SOURCE"),
        (("--replace", "tweeter=no-such"), "neither a speaker folder nor a table"),
        (("--replace", "tweater=attic/right"), "did you mean tweeter"),
        (("--replace", "tweeter=attic/right", "--replace", "tweeter=attic/right"), "names tweeter twice"),
        (("--replace", "tweeter=attic/right", "--voicing", "original"), "--voicing"),
    ],
)
def test_faults_are_one_line_and_touch_nothing(redesign, attic, tmp_path, arguments, words):
    (tmp_path / "poor.csv").write_text("kind,value\nfilm,8.2uF\n")
    before = {p: p.read_bytes() for p in attic.rglob("*") if p.is_file()}
    done = redesign(*arguments)
    assert done.status == 2
    assert done.out == ""
    assert done.err.count("\n") == 1
    assert words in done.err
    assert {p: p.read_bytes() for p in attic.rglob("*") if p.is_file()} == before


def test_help_has_an_example(run):
    done = run("redesign", "--help")
    assert done.status == 0
    assert "Example: xover redesign" in done.out
