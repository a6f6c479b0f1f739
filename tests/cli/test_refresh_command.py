"""xover refresh, as a user types it."""

import json

import pytest

ARGUMENTS = ("--per-octave", "12")


@pytest.fixture
def stock(examples):
    return examples / "stock.csv"


def test_json_by_contract(run, examples, stock):
    done = run("refresh", examples / "hall-horn-two-way", "--stock", stock, "--json", *ARGUMENTS)
    assert done.status == 0, done.err
    answer = json.loads(done.out)
    assert {"netlist", "worst_drive_difference_db", "naive_drive_difference_db", "bill", "cost"} <= set(answer)
    assert 0 < answer["worst_drive_difference_db"] <= 0.1 < answer["naive_drive_difference_db"]
    assert answer["cost"] == pytest.approx(sum(line["price"] * line["quantity"] for line in answer["bill"]))
    assert answer["netlist"].startswith("* Hall horn")
    assert answer["netlist"].rstrip().endswith(".end")


def test_page_fits_and_warns_of_old_oil(run, examples, stock):
    done = run("refresh", examples / "hall-horn-two-way", "--stock", stock, *ARGUMENTS)
    assert done.status == 0
    assert max(map(len, done.out.splitlines())) <= 80
    for words in ("naive swap", "as it is now", "cost", "L1"):
        assert words in done.out
    assert "PCBs" in done.err
    assert "tweeter without its capacitor" in " ".join(done.err.split())


def test_write_adds_a_network_that_predict_reads(run, attic, stock, tmp_path):
    figure = tmp_path / "figure.png"
    done = run("refresh", attic, "--stock", stock, "--write", "better", "--plot", figure, *ARGUMENTS)
    assert done.status == 0, done.err
    assert figure.stat().st_size > 10_000
    assert "[networks.better]" in (attic / "speaker.toml").read_text()
    assert run("predict", attic, "--network", "better").status == 0
    before = (attic / "better.cir").read_bytes()
    again = run("refresh", attic, "--stock", stock, "--write", "better", *ARGUMENTS)
    assert again.status == 2
    assert "--force" in again.err
    assert (attic / "better.cir").read_bytes() == before


def test_strict_tells_by_status_that_the_tolerance_is_not_kept(run, attic, tmp_path):
    poor = tmp_path / "poor.csv"
    poor.write_text("kind,value,price,df\nfilm,8.2uF,2,0.0005\nfilm,3.9uF,1,0.0005\nresistor,5.1,0.4,\n")
    done = run("refresh", attic, "--stock", poor, "--strict", *ARGUMENTS)
    assert done.status == 1
    assert "the nearest that these parts can give" in " ".join(done.out.split())


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--renew", "al"), "did you mean all"),
        (("--capacitors", "paper"), "film or any"),
        (("--within", "0"), "above 0"),
        (("--within", "nan"), "is not a number"),
        (("--reference", "orginal"), "--reference"),
        (("--network", "fuond"), "did you mean found"),
        (("--stock", "no-such.csv"), "no-such.csv"),
        (("--write", "a/b"), "no name for a network"),
    ],
)
def test_faults_are_one_line_and_touch_nothing(run, attic, arguments, words):
    before = {p: p.read_bytes() for p in attic.rglob("*") if p.is_file()}
    done = run("refresh", attic, *arguments, *ARGUMENTS)
    assert done.status == 2
    assert done.out == ""
    assert done.err.count("\n") == 1
    assert words in done.err
    assert {p: p.read_bytes() for p in attic.rglob("*") if p.is_file()} == before
