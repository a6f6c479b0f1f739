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
    assert 0 < answer["worst_drive_difference_db"] <= 0.5
    pick = answer["frontier"][answer["picked"]]
    assert pick["nominal_db"] == answer["worst_drive_difference_db"]
    assert pick["parts"] == sum(line["quantity"] for line in answer["bill"])
    assert {"parts", "nominal_db", "built_db", "cost", "words"} <= set(pick)
    assert answer["cost"] == pytest.approx(sum(line["price"] * line["quantity"] for line in answer["bill"]))
    assert answer["netlist"].startswith("* Hall horn")
    assert answer["netlist"].rstrip().endswith(".end")


def test_page_fits_and_warns_of_old_oil(run, examples, stock):
    done = run("refresh", examples / "hall-horn-two-way", "--stock", stock, *ARGUMENTS)
    assert done.status == 0
    assert max(map(len, done.out.splitlines())) <= 80
    for words in ("plain swap", "as it is now", "cost", "L1"):
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
    done = run("refresh", attic, "--stock", poor, "--within", "0.1", "--strict", *ARGUMENTS)
    assert done.status == 1
    assert "the nearest that these parts can give" in " ".join(done.out.split())


def test_the_answer_fits_a_screen_and_all_of_it_is_there_on_request(run, attic, examples, stock):
    folders = [
        attic,
        examples / "attic-two-way" / "right",
        examples / "hall-horn-two-way",
        examples / "studio-three-way",
    ]
    for folder in folders:
        done = run("refresh", folder, "--stock", stock, *ARGUMENTS)
        assert len(done.out.splitlines()) <= 44
        assert ".end" not in done.out
    more = run("refresh", attic, "--stock", stock, "--all", *ARGUMENTS)
    assert ".end" in more.out
    assert "What each step fits" in more.out
    assert max(map(len, more.out.splitlines())) <= 80


def test_both_of_a_pair(run, attic, examples, stock):
    right = examples / "attic-two-way" / "right"
    done = run("refresh", attic, "--mate", right, "--stock", stock, "--json", *ARGUMENTS)
    assert done.status == 0, done.err
    answer = json.loads(done.out)
    assert answer["mate"]["worst_drive_difference_db"] <= 0.5
    assert answer["mate"]["netlist"].rstrip().endswith(".end")
    told = run("refresh", attic, "--mate", right, "--stock", stock, *ARGUMENTS)
    assert "Attic two-way, right (invented): the same parts in the same places" in " ".join(told.out.split())
    assert max(map(len, told.out.splitlines())) <= 80


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
        (("--mate", "no-such-folder"), "no-such-folder"),
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
