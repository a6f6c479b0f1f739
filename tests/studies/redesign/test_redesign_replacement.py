"""Does another driver suit, and which parts bring the sum back? Every figure is worked out by hand beside it."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from xover.curve import log_grid
from xover.driver.model import DriverModel
from xover.files.netlist import parse_netlist
from xover.network import build_network, solve
from xover.parts.catalogue import Catalogue
from xover.parts.stock import open_stock
from xover.plain import to_plain
from xover.speaker import open_speaker
from xover.speaker.swap import with_driver
from xover.studies.change.redesign.alternatives import fewest_changes
from xover.studies.change.redesign.judge import Judge
from xover.studies.change.redesign.replacement import ReplacementFit, study_replacement, suitability
from xover.studies.change.redesign.result import RedesignStudy
from xover.studies.change.redesign.wish import Wish, grid

F = log_grid(20.0, 20e3, 24)
# Straight to the amplifier: every driver gets 0 dB, and the load is the two in parallel.
BARE = "* straight\nXlow in 0 woofer\nXhigh in 0 tweeter\n"
KNOWN = """* invented
L1 in w 1.2mH dcr=0.4
C1 w 0 6.8uF
Xlow w 0 woofer
C2 in t 4.7uF
L2 t 0 0.39mH dcr=0.3
R1 t p 3.3
R2 p 0 12
Xhigh p 0 tweeter
"""


def table(path, value, unit, degrees=False):
    phase = np.degrees(np.angle(value))
    rows = [
        f"{f:.8g}, {20 * np.log10(abs(v)) if unit == 'dB' else abs(v):.8g}" + (f", {p:.6f}" if degrees else "")
        for f, v, p in zip(F, value, phase, strict=True)
    ]
    path.write_text(f"Hz, {unit}" + (", deg" if degrees else "") + "\n" + "\n".join(rows) + "\n")


def speaker(path, circuit, impedances, responses, head="", evidence="position_mm = [0, 0, 0]"):
    """A speaker folder of minimum-phase drivers, all in one place."""
    path.mkdir()
    text = f'title = "Invented"\n{head}\n'
    for name, ohm in impedances.items():
        table(path / f"{name}-z.csv", ohm, "ohm", degrees=True)
        text += f'[drivers.{name}]\nimpedance = "{name}-z.csv"\n{evidence}\n'
        if name in responses:
            table(path / f"{name}-p.csv", responses[name], "dB")
            text += f'response = "{name}-p.csv"\nphase = "minimum"\n'
    (path / "found.cir").write_text(circuit)
    (path / "speaker.toml").write_text(text + '[networks.found]\ncircuit = "found.cir"\n')
    return open_speaker(path)


def band(low_hz, high_hz, level_db):
    """Second-order slopes outside a band."""
    low, high = 1j * F / low_hz, 1j * F / high_hz
    return 10 ** (level_db / 20) * low**2 / (1 + low * math.sqrt(2) + low**2) / (1 + high * math.sqrt(2) + high**2)


def flat(ohm):
    return np.full(F.size, ohm, dtype=complex)


def resonant(fs_hz, ohm=6.0):
    return DriverModel.from_thiele_small(ohm, fs_hz, 3.0, 1.0).impedance_ohm(F)


@pytest.fixture
def swapped(tmp_path):
    """(old, new, network) for drivers straight on the amplifier, one of them exchanged."""

    def make(name, new_ohm, new_response, old_tweeter_ohm=None, head="[amplifier]\nminimum_load_ohm = 4\n"):
        ohm = {"woofer": flat(8.0), "tweeter": flat(8.0) if old_tweeter_ohm is None else old_tweeter_ohm}
        sound = {"woofer": band(50, 3000, 90), "tweeter": band(3000, 40_000, 90)}
        old = speaker(tmp_path / "old", BARE, ohm, sound, head)
        speaker(tmp_path / "new", f"* one\nX1 in 0 {name}\n", {name: new_ohm}, {name: new_response})
        return old, with_driver(old, name, str(tmp_path / "new")), old.network("found")

    return make


def finding(found, what):
    return next(x for x in found if x.what.startswith(what))


@pytest.mark.parametrize(
    ("name", "change_db", "fit"),
    [
        ("tweeter", +2.0, ReplacementFit.PASS),
        ("tweeter", -1.0, ReplacementFit.MARGINAL),
        ("tweeter", -6.0, ReplacementFit.FAIL),
        ("woofer", -2.0, ReplacementFit.MARGINAL),
        ("woofer", -6.0, ReplacementFit.FAIL),
    ],
)
def test_level_left_once_no_pad_is_there(swapped, name, change_db, fit):
    """Both get 0 dB of drive already: what is to spare is the difference of their levels."""
    edges = (3000, 40_000) if name == "tweeter" else (50, 3000)
    found = finding(suitability(*_named(swapped(name, flat(8.0), band(*edges, 90 + change_db)), name)), "level")
    assert found.value == pytest.approx(change_db, abs=0.01)
    assert found.fit is fit
    assert f"needs {-change_db:+.1f} dB of drive" in found.text


def _named(made, name):
    old, new, network = made
    return old, new, name, network


@pytest.mark.parametrize(
    ("ohm", "fit"), [(8.0, ReplacementFit.PASS), (6.0, ReplacementFit.MARGINAL), (4.0, ReplacementFit.FAIL)]
)
def test_load_and_impedance(swapped, ohm, fit):
    """8 ohm beside the new driver: 4, 24/7 and 8/3 ohm, where 4 are allowed (IEC 60268-5 lets it dip by 20 %)."""
    found = suitability(*_named(swapped("tweeter", flat(ohm), band(3000, 40_000, 90)), "tweeter"))
    load = finding(found, "lowest load")
    assert load.value == pytest.approx(8 * ohm / (8 + ohm), rel=1e-6)
    assert (load.fit, load.limit, load.mended_by_parts) == (fit, 4.0, True)
    ratio = finding(found, "impedance")
    assert ratio.value == pytest.approx(ohm / 8.0, rel=1e-6)
    assert ratio.fit is (ReplacementFit.PASS if ohm == 8.0 else ReplacementFit.MARGINAL)
    # A resistor shows no resonance: then nothing is said of it but that.
    assert finding(found, "crossover over").fit is ReplacementFit.UNKNOWN


@pytest.mark.parametrize(
    ("was_hz", "is_hz", "fit"),
    [
        (700, 900, ReplacementFit.PASS),
        (700, 1600, ReplacementFit.MARGINAL),
        (700, 1800, ReplacementFit.FAIL),
        (2000, 1800, ReplacementFit.MARGINAL),
    ],
)
def test_resonance_against_half_the_crossover(swapped, was_hz, is_hz, fit):
    made = swapped("tweeter", resonant(is_hz), band(3000, 40_000, 90), old_tweeter_ohm=resonant(was_hz))
    found = finding(suitability(*_named(made, "tweeter"), crossover_hz=(3000.0,)), "crossover over")
    assert found.value == pytest.approx(3000 / is_hz, rel=0.01)
    assert (found.limit, found.fit, found.mended_by_parts) == (2.0, fit, False)


def test_the_lowest_way_has_no_crossover_below_it(swapped):
    found = suitability(*_named(swapped("woofer", resonant(60), band(50, 3000, 90)), "woofer"))
    assert not [x for x in found if x.what.startswith("crossover over")]


def test_what_is_not_known_is_said(swapped, tmp_path):
    old, _, network = swapped("tweeter", flat(8.0), band(3000, 40_000, 90), head="")
    table(tmp_path / "z.csv", flat(7.0), "ohm", degrees=True)
    new = with_driver(old, "tweeter", str(tmp_path / "z.csv"))
    found = suitability(old, new, "tweeter", network)
    assert finding(found, "level").fit is ReplacementFit.UNKNOWN
    load = finding(found, "lowest load")
    assert (load.fit, math.isnan(load.limit)) == (ReplacementFit.UNKNOWN, True)
    assert load.value == pytest.approx(56 / 15, rel=1e-6)


# --- a speaker whose sum is flat, and a tweeter that is 3 dB louder


@pytest.fixture(scope="module")
def known(tmp_path_factory):
    """A network that meets LR4 at 2.5 kHz exactly, as its drivers are made for it; with a stock of few parts."""
    path = tmp_path_factory.mktemp("known")
    ohm = {
        "woofer": DriverModel.from_thiele_small(6.0, 55.0, 4.0, 0.6, 4e-4).impedance_ohm(F),
        "tweeter": DriverModel.from_thiele_small(5.5, 700.0, 2.0, 1.2, 3e-5).impedance_ohm(F),
    }
    network = build_network(parse_netlist(KNOWN))
    drive = solve(network, F, ohm).drive
    s = 1j * F / 2500.0
    half = s * s + math.sqrt(2) * s + 1
    sound = {"woofer": 90 / half**2 / drive["woofer"], "tweeter": 90 * (s * s / half) ** 2 / drive["tweeter"]}
    old = speaker(path / "old", KNOWN, ohm, sound, "[amplifier]\nminimum_load_ohm = 3\n")
    for db in (3, -12):
        name = f"new{db}"
        louder = sound["tweeter"] * 10 ** (db / 20)
        speaker(path / name, "* one\nX1 in 0 tweeter\n", {"tweeter": ohm["tweeter"]}, {"tweeter": louder})
    stock = path / "stock.csv"
    lines = [f"resistor,{v},0.5,10," for v in (1, 2.2, 3.3, 4.7, 5.6, 6.8, 8.2, 12)]
    lines += [f"film,{v}uF,2,," for v in (3.3, 4.7, 6.8)] + ["coil,0.39mH,3,,0.3", "coil,1.2mH,5,,0.4"]
    stock.write_text("kind,value,price,watts,dcr_ohm\n" + "\n".join(lines) + "\n")
    return path, old, Catalogue(open_stock(stock))


def study_of(new, network, wish):
    """A redesign that proposes nothing."""
    judge = Judge(new, network, wish, None, grid())
    before = judge.judged(network)
    return RedesignStudy(
        title="Invented",
        present="found",
        wish=wish,
        source="a list",
        frequency_hz=judge.frequency_hz,
        target_db=judge.goal.shape_db,
        before=before,
        proposals=(),
        tried=("present",),
        yield_limit_db=1.0,
        seed=1,
        stopped=False,
        suitable=False,
        headline="",
        warnings=(),
    )


def replaced(known, db):
    path, old, catalogue = known
    source = str(path / f"new{db}")
    new, network = with_driver(old, "tweeter", source), old.network("found")
    study = study_of(new, network, Wish(minimum_load_ohm=3.0))
    return study_replacement(old, new, [("tweeter", source)], network, catalogue, study), new


def test_a_louder_tweeter_wants_its_pad_changed_and_nothing_else(known):
    (answer, study), new = replaced(known, 3)
    # Flat before; with the tweeter 3 dB up the sum rises by 3 dB across the crossover: half of that either way.
    assert answer.deviation_before_db == pytest.approx(0.0, abs=0.3)
    assert answer.deviation_after_db == pytest.approx(1.5, abs=0.3)
    assert (answer.suitable, answer.restored, answer.restored_by) == (True, True, "fewest changes")
    proposal = study.proposals[0]
    assert proposal.name == answer.restored_by
    assert proposal.bought == proposal.changed
    assert proposal.changed == ("R1", "R2")
    assert proposal.judged.deviation_db <= answer.deviation_before_db + 0.5
    assert "suitable with" in answer.verdict
    # The tweeter's drive falls by about what its level rose.
    ohm = new.impedances_ohm(proposal.network, F)
    was, now = (solve(n, F, ohm).drive["tweeter"] for n in (new.network("found"), proposal.network))
    high = (F > 4000) & (F < 15_000)
    assert np.mean(20 * np.log10(np.abs(now / was)[high])) == pytest.approx(-3.0, abs=0.7)
    assert proposal.cost == pytest.approx(1.0)
    json.dumps(to_plain(answer), allow_nan=False)


def test_fewer_would_not_do(known):
    """Every part of the list alone in every place that it fits: none brings the sum back."""
    path, old, catalogue = known
    new, network = with_driver(old, "tweeter", str(path / "new3")), old.network("found")
    judge = Judge(new, network, Wish(minimum_load_ohm=3.0), None, grid())
    tried = []
    for item in catalogue.stock.items:
        for part in network.parts:
            if part.name[0] == {"resistor": "R", "capacitor": "C", "inductor": "L"}[item.kind]:
                field = {"R": "ohm", "C": "farad", "L": "henry"}[part.name[0]]
                parts = tuple(replace(p, **{field: item.value}) if p is part else p for p in network.parts)
                tried.append(judge.judged(replace(network, parts=parts)).deviation_db)
    assert len(tried) == 8 * 2 + 3 * 2 + 2 * 2
    assert min(tried) > 0.5 + judge_of_old(known).deviation_db


def judge_of_old(known):
    _, old, _ = known
    network = old.network("found")
    return Judge(old, network, Wish(minimum_load_ohm=3.0), None, grid()).judged(network)


def test_the_same_driver_needs_nothing(known):
    path, old, catalogue = known
    new, network = with_driver(old, "tweeter", str(path / "old")), old.network("found")
    study = study_of(new, network, Wish(minimum_load_ohm=3.0))
    answer, after = study_replacement(old, new, [("tweeter", "itself")], network, catalogue, study)
    assert (answer.suitable, answer.restored_by, after.proposals) == (True, None, ())
    assert answer.deviation_after_db == pytest.approx(answer.deviation_before_db, abs=1e-9)
    assert "with the network as it is" in answer.verdict


def test_a_tweeter_that_is_far_too_faint_does_not_suit(known):
    """Its pad takes some 4 dB at most, and it lacks 12."""
    (answer, _), _ = replaced(known, -12)
    assert answer.suitable is False
    level = finding(answer.findings, "level")
    assert level.fit is ReplacementFit.FAIL
    assert -10.0 < level.value < -4.0
    assert answer.verdict.startswith("not suitable: the new tweeter: needs +")
    assert "too faint even without any pad" in answer.verdict


def test_nothing_is_restored_where_no_sum_is_right(known):
    path, old, catalogue = known
    network = old.network("found")
    new = with_driver(old, "tweeter", str(path / "old" / "tweeter-z.csv"))
    wish = Wish(minimum_load_ohm=3.0)
    before = Judge(old, network, wish, None, grid()).judged(network)
    assert fewest_changes(old, new, network, catalogue, study_of(new, network, wish), before, 9.0) is None
    answer, _ = study_replacement(old, new, [("tweeter", "z")], network, catalogue, study_of(new, network, wish))
    assert (answer.suitable, answer.restored) == (None, None)
    assert "not known" in answer.verdict
    assert any("measure it in its place" in note for note in answer.notes)
