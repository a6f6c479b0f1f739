"""xover infer, as a user types it; the examples' sweeps were made by arithmetic that shares nothing with xover."""

import json
import shutil

import numpy as np
import pytest

from xover.files.netlist import read_netlist
from xover.network import build_network, value_of
from xover.speaker import open_speaker


@pytest.mark.parametrize(
    ("name", "sweep", "hidden"),
    [
        ("attic-two-way/left", "terminals-found.csv", set()),
        ("hall-horn-two-way", "terminals-found.csv", {"L2", "L3"}),
        ("studio-three-way", "terminals-found.txt", {"R1"}),
    ],
)
def test_json_by_contract_and_the_truth_of_the_examples(run, examples, name, sweep, hidden):
    folder = examples / name
    done = run("infer", folder, "--impedance", folder / sweep, "--json")
    assert done.status == 0, done.err
    answer = json.loads(done.out)
    assert {"parts", "topology_fits", "noise", "rivals"} <= set(answer)
    assert answer["topology_fits"] is True
    assert answer["network"] == "original"
    assert answer["rivals"] == []
    assert answer["noise"] == pytest.approx(0.004, rel=0.2)
    true = build_network(read_netlist(folder / "found.cir"))
    inside = 0
    for part, told in answer["parts"].items():
        assert {"value", "low", "high", "marked", "seen"} <= set(told)
        truth = value_of(true.part(part))
        inside += told["low"] <= truth <= told["high"]
        assert told["marked"] == pytest.approx(value_of(open_speaker(folder).network("original").part(part)))
        if told["seen"]:
            assert told["value"] == pytest.approx(truth, rel=0.05)
    assert inside >= len(answer["parts"]) - 1
    assert {part for part, told in answer["parts"].items() if not told["seen"]} == hidden


def test_page_fits_and_says_what_to_do_next(run, examples, tmp_path):
    left = examples / "attic-two-way" / "left"
    *_, head, first = (rows := (left / "terminals-found.csv").read_text().splitlines())[:4]
    assert first[0].isdigit()
    stated = "".join(f"{row},{'0.7' if i else '2.4'}\n" for i, row in enumerate(rows[3:]))
    (tmp_path / "terminals.csv").write_text(f"{head},uncertainty (%)\n{stated}")
    done = run("infer", left, "--impedance", tmp_path / "terminals.csv", "--all")
    assert done.status == 0
    assert max(map(len, done.out.splitlines())) <= 80
    text = " ".join(done.out.split())
    for words in (
        "The network fits, and every part is seen",
        "give it as ratio tweeter=FILE",
        "causal yes",
        "sure to 2.4 % at worst, as its table says",
    ):
        assert words in text
    # With drivers that stay as they were swept; else the woofer's Re has a part in the sum.
    still = run("infer", left, "--impedance", left / "terminals-found.csv", "--driver-drift", "0")
    text = " ".join(still.out.split())
    assert "The resistance of L1 and the leads cannot be told apart: only their sum shows" in text
    assert "+30 %" in text
    assert "a scale error of 1 %" in " ".join(done.err.split())


def test_a_part_that_is_open_is_told_and_no_values(run, examples):
    left = examples / "attic-two-way" / "left"
    arguments = ("infer", left, "--impedance", left / "terminals-rebuilt.csv", "--strict")
    done = run(*arguments, "--json")
    assert done.status == 1
    answer = json.loads(done.out)
    assert answer["topology_fits"] is False
    assert all(told["value"] is None and told["low"] is None for told in answer["parts"].values())
    assert answer["netlist"] is None
    assert answer["rivals"][0]["network"] == "R2 open"
    assert answer["rivals"][0]["fits"] is True
    assert [r["network"] for r in answer["rivals"] if r["tied"]] == ["R2 open"]


def test_write_gives_a_network_for_condition_and_refuses_a_wrong_one(run, attic, monkeypatch):
    arguments = ("infer", attic, "--impedance", attic / "terminals-found.csv")
    done = run(*arguments, "--write", "today")
    assert done.status == 0, done.err
    written = open_speaker(attic).network("today")
    found = open_speaker(attic).network("found")
    for part in written.parts:
        assert value_of(part) == pytest.approx(value_of(found.part(part.name)), rel=0.02)
        assert part.evidence == "inferred"
        assert part.tolerance is None
    # What does not show is left as marked.
    assert written.part("L2").dcr_ohm == 0.38
    before = (attic / "today.cir").read_bytes()
    monkeypatch.setattr("xover.studies.aged.infer.study.try_rivals", lambda *_: ((), 0))  # they take the longest
    again = run("infer", attic, "--impedance", attic / "terminals-rebuilt.csv", "--write", "today", "--force")
    assert again.status == 2
    assert "not written, as the network does not fit" in again.err
    assert (attic / "today.cir").read_bytes() == before


def test_repeats_and_more_sweeps(run, attic):
    table = np.genfromtxt(attic / "terminals-found.csv", delimiter=",", comments="#", skip_header=0)
    rows = table[np.isfinite(table).all(axis=1)]
    random = np.random.default_rng(1)
    for name in ("again.csv", "third.csv"):
        moved = rows * [1, 1, 1]
        moved[:, 1] *= 1 + 0.006 * random.standard_normal(len(rows))
        moved[:, 2] += np.degrees(0.006) * random.standard_normal(len(rows))
        np.savetxt(attic / name, moved, delimiter=",", fmt="%.6g", header="frequency_hz,impedance_ohm,phase_deg")
    first = ("infer", attic, "--impedance", attic / "again.csv", "--json")
    done = run(*first, "--repeat", attic / "third.csv")
    assert done.status == 0, done.err
    measured = json.loads(done.out)["measurement"]
    assert "2 sweeps" in measured["noise_source"]
    # Of the mean of two.
    assert measured["noise_magnitude"] == pytest.approx(0.006 / np.sqrt(2), rel=0.12)
    shutil.copy(attic / "terminals-rebuilt.csv", attic / "short.csv")
    lines = (attic / "short.csv").read_text().splitlines()
    (attic / "short.csv").write_text("\n".join(lines[:200]))
    fault = run(*first, "--repeat", attic / "short.csv")
    assert fault.status == 2
    assert "other frequencies than again.csv" in fault.err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--prior", "usal"), "did you mean usual"),
        (("--disconnected", "tweeter"), "--disconnected: 'tweeter' is no DRIVER=FILE; write it as DRIVER=FILE"),
        (("--disconnected", "twetter=terminals-found.csv"), "no driver twetter"),
        (("--shorted", "tweeter=no-such.csv"), "no-such.csv"),
        (("--noise", "2"), "--noise is 2"),
        (("--noise", "x"), "--noise"),
        (("--gain-error", "-1%"), "--gain-error"),
        (("--scale", "nan"), "--scale"),
        (("--lead-ohm", "-1"), "--lead-ohm"),
        (("--network", "orginal"), "did you mean original"),
        (("--channel", "bass"), "no channel 'bass'"),
        (("--write", "a/b"), "no name for a network"),
    ],
)
def test_faults_are_one_line_and_touch_nothing(run, attic, monkeypatch, arguments, words):
    monkeypatch.chdir(attic)
    before = {p: p.read_bytes() for p in attic.rglob("*") if p.is_file()}
    done = run("infer", attic, "--impedance", attic / "terminals-found.csv", *arguments)
    assert done.status == 2
    assert done.out == ""
    assert done.err.count("\n") == 1
    assert words in done.err
    assert {p: p.read_bytes() for p in attic.rglob("*") if p.is_file()} == before


def test_a_driver_without_a_sweep_is_refused(run, attic):
    toml = attic / "speaker.toml"
    text = toml.read_text().replace(
        'impedance = "tweeter-impedance.csv"', "re_ohm = 5.6\n[drivers.tweeter.datasheet]\nre_ohm = 5.6"
    )
    head, tail = text.split("[drivers.tweeter.datasheet]\nre_ohm = 5.6")
    toml.write_text(head + tail + "\n[drivers.tweeter.datasheet]\nre_ohm = 5.6\nfs_hz = 1050\nqms = 2.6\nqes = 1.9\n")
    done = run("infer", attic, "--impedance", attic / "terminals-found.csv")
    assert done.status == 2
    assert "'tweeter' has no impedance sweep" in done.err
    assert "drivers.tweeter.impedance" in done.err


def test_a_band_limits_the_rows(run, examples):
    left = examples / "attic-two-way" / "left"
    arguments = ("infer", left, "--impedance", left / "terminals-found.csv", "--json")
    done = run(*arguments, "--band", "100..10k")
    assert done.status == 0, done.err
    low, high = json.loads(done.out)["measurement"]["band_hz"]
    assert 100.0 <= low < 102.0
    assert 9800.0 < high <= 10_000.0
    empty = run(*arguments, "--band", "1..2")
    assert empty.status == 2
    assert len(empty.err.splitlines()) == 1
    assert "--band" in empty.err
