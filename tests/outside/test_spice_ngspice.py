"""Netlists of `study_spice`, run by ngspice as they are, against xover's own solution and prediction.

Three comparisons, each with a bound that is derived and not tuned. With the fitted models in place of the measured
impedances, both solve the same circuit: they differ by rounding and by how the dissipation factors are written. With
the measured impedances, they differ by what the fit misses at that frequency, exactly: a driver whose impedance is
(1 + e) times as large gets (1 + e)/(1 + (1 - S) e) times the drive, S = d ln H/d ln Z (bilinear theorem; derived). And
what the fit states as its worst miss bounds that difference everywhere.
"""

from __future__ import annotations

import re
import subprocess
from pathlib import Path
from random import Random

import numpy as np
import pytest
from drive_slopes import drive_sensitivity
from ngspice_judge import ac, require_ngspice
from random_networks import Driver, random_network

from xover.driver.model import DriverModel, Resonance
from xover.files.netlist import circuits_folder, parse_netlist
from xover.network import build_network, solve
from xover.network.adjoint import impedance_sensitivity
from xover.sound.prediction import predict
from xover.speaker import open_speaker
from xover.studies.desk.new.study import start_folder
from xover.studies.desk.spice.cards import network_cards
from xover.studies.desk.spice.study import study_spice

pytestmark = pytest.mark.outside

EXAMPLES = Path(__file__).parents[2] / "examples"
CASES = [
    (name, network)
    for name in ("attic-two-way/left", "attic-two-way/right", "hall-horn-two-way", "studio-three-way")
    for network in ("found", "original")
]
CIRCUITS = sorted(path.stem for path in circuits_folder().glob("*.cir"))
SOLVER = 1e-6  # what the blueprint asks of xover against a simulator on lumped drivers
_BAD = ("error", "warning", "singular", "can't", "no such", "failed", "unable", "ignored")


def run_as_it_is(text: str, folder: Path) -> dict[str, np.ndarray]:
    """Give the text to `ngspice -b` and read every vector of its raw file at full precision, by lower-case name."""
    (folder / "net.cir").write_text(text, encoding="ascii")
    command = [require_ngspice(), "-b", "-r", "net.raw", "net.cir"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=120, check=False)
    # With a raw file, ngspice says of each .print that it is not needed.
    printed = (done.stdout + done.stderr).lower().replace(".print line ignored since rawfile was produced.", "")
    assert done.returncode == 0, printed[-2000:]
    assert not [line for line in printed.splitlines() if any(word in line for word in _BAD)], printed[-2000:]
    head, _, data = (folder / "net.raw").read_bytes().partition(b"Binary:\n")
    words = head.decode("ascii")
    names = re.findall(r"^\t\d+\t(\S+)\t", words, re.MULTILINE)
    number = complex if "Flags: complex" in words else float
    table = np.frombuffer(data, dtype=number).reshape(-1, len(names))
    return {name: table[:, i] for i, name in enumerate(names)}


def drives_and_load(text: str, study, folder: Path) -> tuple[np.ndarray, dict, np.ndarray | None]:
    vectors = run_as_it_is(text, folder)
    drive = {key: vectors[f"v({node})".lower()] for key, node in study.drive.items()}
    sources = list(study.channels.values()) if hasattr(study, "channels") else list(study.channel.values())
    load = -1 / vectors[f"i({sources[0]})".lower()] if len(sources) == 1 else None
    return vectors["frequency"].real, drive, load


def loss_allowance(sensitivity: dict, losses) -> np.ndarray:
    """What the stated error of each capacitor can do, d ln/d ln Z_C = d ln/d ln esr - d ln/d ln C; second order
    added generously."""
    total = 0.0
    for loss in losses:
        towards = np.abs(sensitivity[f"{loss.part}_esr"] - sensitivity[loss.part])
        total = total + towards * loss.worst_error * 1.01
    return SOLVER + np.asarray(total)


def miss(got: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    return np.abs(got / wanted - 1.0)


@pytest.fixture(scope="module")
def runs(tmp_path_factory):
    """Each example run once."""
    kept = {}

    def run(name: str, network_name: str):
        if (name, network_name) not in kept:
            speaker = open_speaker(EXAMPLES / name)
            study = study_spice(speaker, network_name)
            kept[name, network_name] = (
                speaker,
                study,
                *drives_and_load(study.netlist, study, tmp_path_factory.mktemp("run")),
            )
        return kept[name, network_name]

    return run


@pytest.mark.parametrize(("name", "network_name"), CASES)
def test_the_same_circuit_gives_the_same_answer(runs, name, network_name) -> None:
    speaker, study, f, drive, load = runs(name, network_name)
    network = speaker.network(network_name)
    assert f.size == 145
    assert (f[0], f[-1]) == (pytest.approx(20.0), pytest.approx(20e3))
    solution = solve(network, f, {n: d.model.impedance_ohm(f) for n, d in study.drivers.items()})
    assert drive.keys() == solution.drive.keys()
    towards = drive_sensitivity(solution)
    for key, wanted in solution.drive.items():
        assert np.all(miss(drive[key], wanted) <= loss_allowance(towards[key], study.losses)), key
    towards = impedance_sensitivity(solution)["in"]
    assert np.all(miss(load, solution.impedance_ohm["in"]) <= loss_allowance(towards, study.losses))
    # Nor is the allowance a blank cheque: a thousandth.
    assert max(loss_allowance(towards, study.losses)) < 1e-3


@pytest.mark.parametrize(("name", "network_name"), CASES)
def test_prediction_differs_by_what_the_fit_misses(runs, name, network_name) -> None:
    speaker, study, f, drive, load = runs(name, network_name)
    network = speaker.network(network_name)
    p = predict(speaker, network_name, f)
    measured = speaker.impedances_ohm(network, f)
    solution = solve(network, f, measured)
    towards, load_towards = drive_sensitivity(solution), impedance_sensitivity(solution)["in"]
    e = {n: d.model.impedance_ohm(f) / measured[n] - 1 for n, d in study.drivers.items()}
    # One driver in a section: its own voltage says how its impedance divides.
    divide = {c.driver: 1 - towards[c.key][f"Z_{c.driver}"] for c in network.drivers}
    for card in network.drivers:
        n = card.driver
        factor = (1 + e[n]) / (1 + divide[n] * e[n])
        allowed = 2 * loss_allowance(towards[card.key], study.losses)
        assert np.all(miss(drive[card.key], p.drive[card.key] * factor) <= allowed), card.key
    change = sum(-load_towards[f"Z_{n}"] * e[n] / (1 + divide[n] * e[n]) for n in e)  # of 1/Z, relative
    allowed = 2 * loss_allowance(load_towards, study.losses)
    assert np.all(miss(load, p.impedance_ohm["in"] / (1 + change)) <= allowed)


@pytest.mark.parametrize(("name", "network_name"), CASES)
def test_prediction_is_met_within_the_stated_residual(runs, name, network_name) -> None:
    """At the rows of the sweeps, where the residual is stated; between them, interpolation adds to it."""
    speaker, study, *_ = runs(name, network_name)
    network = speaker.network(network_name)
    sweeps = [set(speaker.drivers[n].impedance.frequency_hz.tolist()) for n in study.drivers]
    rows = np.array(sorted(row for row in set.intersection(*sweeps) if 20 <= row <= 20e3))
    worst_at = [d.fit.worst_at_hz for d in study.drivers.values()]
    f = np.unique([*rows[::4], *(rows[np.argmin(np.abs(rows - at))] for at in worst_at)])
    assert f.size > 50
    cards = [line for line in study.netlist.splitlines()[1:] if not line.startswith((".ac", ".print"))][:-1]
    outputs = [*(f"v({node})" for node in study.drive.values()), "-i(Vin)"]
    judged = ac(cards, f, outputs)
    drive = {key: judged[f"v({node})"] for key, node in study.drive.items()}
    load = 1 / judged["-i(Vin)"]
    p = predict(speaker, network_name, f)
    solution = solve(network, f, speaker.impedances_ohm(network, f))
    towards, load_towards = drive_sensitivity(solution), impedance_sensitivity(solution)["in"]
    stated = {n: d.fit.worst_residual for n, d in study.drivers.items()}
    assert all(0.005 < r < 0.2 for r in stated.values())
    change = np.zeros(f.shape)
    for card in network.drivers:
        s = towards[card.key][f"Z_{card.driver}"]
        r = stated[card.driver]
        room = 1 - np.abs(1 - s) * r
        assert np.all(room > 0)
        bound = np.abs(s) * r / room
        got = miss(drive[card.key], p.drive[card.key])
        assert np.all(got <= bound + loss_allowance(towards[card.key], study.losses)), card.key
        # The bound is of the size of what happens: not far from reached somewhere.
        assert np.max(got / bound) > 0.2, card.key
        if card.key == next(c.key for c in network.drivers if c.driver == card.driver):
            change += np.abs(load_towards[f"Z_{card.driver}"]) * r / room
    assert np.all(change < 0.5)
    assert np.all(
        miss(load, p.impedance_ohm["in"]) <= change / (1 - change) + loss_allowance(load_towards, study.losses)
    )


@pytest.mark.parametrize("circuit", CIRCUITS)
def test_every_ready_circuit(tmp_path, circuit) -> None:
    """Drivers by their data sheets, so no fit stands between: coupled coils, series networks, two channels."""
    start_folder(tmp_path / "s", circuit)
    speaker = open_speaker(tmp_path / "s")
    study = study_spice(speaker, "found")
    assert all(d.fit is None for d in study.drivers.values())
    f, drive, load = drives_and_load(study.netlist, study, tmp_path)
    network = speaker.network("found")
    p = predict(speaker, "found", f)
    solution = solve(network, f, speaker.impedances_ohm(network, f))
    towards = drive_sensitivity(solution)
    for key in p.drive:
        assert np.all(miss(drive[key], p.drive[key]) <= loss_allowance(towards[key], study.losses)), key
    if load is not None:
        allowed = loss_allowance(impedance_sensitivity(solution)["in"], study.losses)
        assert np.all(miss(load, p.impedance_ohm["in"]) <= allowed)


HOSTILE = """* .control
R-1 in a+1 0
L1 a+1 W/2 1mH
l-1 w/2 x.y#z 0.2mH dcr=0.1
K.1 L1 l-1 -0.3
Cé x.y#z 0 3.9uF df=0.05
C_ in 00 4.7uF esr=0.1
Rl1 00 drive_woofer 2.2
Lß drive_woofer 0 0.4mH
Xlow x.y#z 0 woofer
Xhi/gh 0 drive_woofer Woofer
C9 x.y#z nc 1uF
C8 nc 0 1uF
R7 in 0 22
"""


def test_names_that_a_simulator_would_trip_over(tmp_path) -> None:
    sheet = "re_ohm = 6\nfs_hz = 50\nqms = 4\nqes = 0.5\nle_mh = 0.5\n"
    toml = '[networks.found]\ncircuit = "found.cir"\n'
    for name in ("woofer", "Woofer"):
        toml += f"[drivers.{name}.datasheet]\n{sheet.replace('6', '5') if name == 'Woofer' else sheet}"
    (tmp_path / "speaker.toml").write_text(toml)
    (tmp_path / "found.cir").write_text(HOSTILE, encoding="utf-8")
    speaker = open_speaker(tmp_path)
    study = study_spice(speaker, "found")
    f, drive, load = drives_and_load(study.netlist, study, tmp_path)
    network = speaker.network("found")
    solution = solve(network, f, speaker.impedances_ohm(network, f))
    towards = drive_sensitivity(solution)
    for key, wanted in solution.drive.items():
        assert np.all(miss(drive[key], wanted) <= loss_allowance(towards[key], study.losses)), key
    allowed = loss_allowance(impedance_sensitivity(solution)["in"], study.losses)
    assert np.all(miss(load, solution.impedance_ohm["in"]) <= allowed)


def model_of(driver: Driver) -> DriverModel:
    return DriverModel(driver.re_ohm, driver.le_h, (), (Resonance(driver.fs_hz, driver.res_ohm, driver.q),))


@pytest.mark.parametrize("number", range(40))
def test_random_networks(tmp_path, number) -> None:
    """Coils and capacitors without loss, nodes behind capacitors, wires of 0 ohm, coupled coils: DC has an answer."""
    network = random_network(Random(number))
    built = build_network(parse_netlist(network.text()))
    cards = network_cards(built, {d.name: model_of(d) for d in network.drivers})
    text = "\n".join(["* random", *cards.main, *cards.subcircuits, ".ac dec 3 20 20000", ".end", ""])
    f, drive, load = drives_and_load(text, cards, tmp_path)
    solution = solve(built, f, dict(network.impedances(f)))
    towards, load_towards = drive_sensitivity(solution), impedance_sensitivity(solution)["in"]
    tie = 1e-6 * max(np.max(np.abs(s)) for s in load_towards.values())  # the ties and loops, near a resonance
    for key, wanted in solution.drive.items():
        if np.all(np.abs(wanted) > 1e-9):  # a driver where no current flows has no voltage but rounding
            assert np.all(miss(drive[key], wanted) <= loss_allowance(towards[key], cards.losses) + tie), key
    allowed = loss_allowance(load_towards, cards.losses) + tie
    assert np.all(miss(load, solution.impedance_ohm["in"]) <= allowed)


def test_a_driver_between_floating_channels(tmp_path) -> None:
    text = "* t\nVl lo lm\nVh hi hm\nL1 lo w 0.5mH dcr=0.2\nXlow w lm woofer\nC1 hi t 10uF\nXhigh t hm tweeter\n"
    network = build_network(parse_netlist(text))
    models = {
        "woofer": DriverModel.from_thiele_small(6, 50, 4, 0.5, 0.5e-3),
        "tweeter": DriverModel.from_thiele_small(5, 1000, 2, 1, 0.03e-3),
    }
    cards = network_cards(network, models)
    deck = "\n".join(["* t", *cards.main, *cards.subcircuits, ".ac dec 10 20 20000", ".end", ""])
    f, drive, _ = drives_and_load(deck, cards, tmp_path)
    solution = solve(network, f, {n: m.impedance_ohm(f) for n, m in models.items()})
    for key, wanted in solution.drive.items():
        np.testing.assert_allclose(drive[key], wanted, rtol=1e-6)


def test_fixed_losses_are_right_at_their_frequency_and_live_in_time(tmp_path) -> None:
    speaker = open_speaker(EXAMPLES / "attic-two-way/left")
    study = study_spice(speaker, "original", loss_at_hz=1000.0)
    network = speaker.network("original")
    text = study.netlist.replace(".ac dec 48 20 20000", ".ac lin 1 1000 1000")
    f, drive, load = drives_and_load(text, study, tmp_path)
    wanted = solve(network, f, {n: d.model.impedance_ohm(f) for n, d in study.drivers.items()})
    for key in drive:
        np.testing.assert_allclose(drive[key], wanted.drive[key], rtol=1e-6)
    np.testing.assert_allclose(load, wanted.impedance_ohm["in"], rtol=1e-6)
    # A sine of 1 kHz, settled: the same amplitudes, to what a step of 2 us and 20 periods leave.
    lines = study.netlist.replace("DC 0 AC 1", "SIN(0 1 1000)").splitlines()
    in_time = [line for line in lines if not line.startswith((".ac", ".print"))]
    in_time.insert(-1, ".tran 2u 60m 50m 2u")
    vectors = run_as_it_is("\n".join(in_time) + "\n", tmp_path)
    for key, node in study.drive.items():
        peak = np.max(np.abs(vectors[f"v({node})"]))
        assert peak == pytest.approx(abs(wanted.drive[key][0]), rel=2e-3)


@pytest.mark.parametrize("name", ["attic-two-way/left"])
def test_it_prints_by_itself(tmp_path, name) -> None:
    """Without any option the run prints a table for each driver and the amplifier's current."""
    study = study_spice(open_speaker(EXAMPLES / name), "found")
    (tmp_path / "net.cir").write_text(study.netlist, encoding="ascii")
    command = [require_ngspice(), "-b", "net.cir"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0
    rows = re.findall(r"^0\t2\.000000e\+01\t(\S+)\t(\S+)", done.stdout, re.MULTILINE)
    assert len(rows) == 3  # two drivers, one channel
    network = open_speaker(EXAMPLES / name).network("found")
    f = np.array([20.0])
    solution = solve(network, f, {n: d.model.impedance_ohm(f) for n, d in study.drivers.items()})
    for row, drive in zip(rows, solution.drive.values(), strict=False):
        assert float(row[0]) == pytest.approx(20 * np.log10(np.abs(drive[0])), abs=2e-3)
        assert float(row[1]) == pytest.approx(np.angle(drive[0]), abs=2e-3)
