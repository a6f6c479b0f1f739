"""Found against original: expected figures come from single solves and sums written out here."""

import json
import math
import shutil
from dataclasses import replace
from itertools import permutations, product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.curve import log_grid
from xover.errors import InputError, OptionError
from xover.network import solve
from xover.plain import to_plain
from xover.sound.prediction import sound_of
from xover.sound.sums import listener
from xover.speaker import open_speaker
from xover.studies.aged.condition import envelope as drift_module
from xover.studies.aged.condition.blame import LookedAt, find_blame
from xover.studies.aged.condition.parts import Verdict
from xover.studies.aged.condition.study import study_condition

EXAMPLES = Path(__file__).parents[2] / "examples"
F = log_grid(200.0, 16e3, 6)
ATTIC = open_speaker(EXAMPLES / "attic-two-way/left")
ORIGINAL, FOUND = ATTIC.network("original"), ATTIC.network("found")
LEFT = study_condition(ATTIC, F)


def db(value):
    return 20 * np.log10(np.abs(value))


def drives_of(speaker, network, f=F):
    return solve(network, f, speaker.impedances_ohm(network, f)).drive


def sum_db(speaker, network, f=F):
    """Level of the sum: drive times measured response, added up (all phases against one reference)."""
    drive = drives_of(speaker, network, f)
    return db(sum(np.nan_to_num(speaker.drivers[key].pressure(f) * value) for key, value in drive.items()))


def with_parts(network, *parts):
    """The network with some parts exchanged for those of the same names."""
    new = {p.name: p for p in parts}
    assert new.keys() <= {p.name for p in network.parts}
    return replace(network, parts=tuple(new.get(p.name, p) for p in network.parts))


def edited(tmp_path, example="attic-two-way", side="left", networks="", **files):
    """A copy of an example with (old, new) pairs of text exchanged in its netlists; opened."""
    shutil.copytree(EXAMPLES / example, tmp_path / "speaker")
    folder = tmp_path / "speaker" / side
    for name, pairs in files.items():
        path = next(p for p in (folder / f"{name}.cir", folder.parent / f"{name}.cir") if p.exists())
        text = path.read_text(encoding="utf-8")
        for old, new in pairs:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        path.write_text(text, encoding="utf-8")
    if networks:
        toml = (folder / "speaker.toml").read_text(encoding="utf-8")
        head, _, rest = toml.partition("[networks.found]")
        tail = rest.partition("[bypass]")[2]
        (folder / "speaker.toml").write_text(f"{head}{networks}\n\n[bypass]{tail}", encoding="utf-8")
    return open_speaker(folder)


def part_of(study, name):
    return next(p for p in study.parts if p.name == name)


def test_the_parts_by_hand():
    """Values, drift and losses read off the two netlists of the example."""
    rows = {row["name"]: row for row in to_plain(LEFT)["parts"]}
    assert list(rows) == ["L1", "C1", "C2", "L2", "R1", "R2"]
    c1 = rows["C1"]
    assert (c1["original"], c1["found"], c1["unit"]) == (6.8e-6, 8.4e-6, "F")
    assert c1["drift"] == pytest.approx(8.4 / 6.8 - 1, rel=1e-12)
    assert c1["original_esr_1khz_ohm"] == pytest.approx(0.06 / (2 * math.pi * 1e3 * 6.8e-6), rel=1e-9)
    assert c1["original_esr_10khz_ohm"] == pytest.approx(0.06 / (2 * math.pi * 1e4 * 6.8e-6), rel=1e-9)
    assert (c1["found_esr_1khz_ohm"], c1["found_esr_10khz_ohm"]) == pytest.approx((2.1, 0.56), rel=1e-9)
    assert (c1["tolerance"], c1["tolerance_assumed"], c1["kind"]) == (0.1, False, "electrolytic")
    assert (rows["L1"]["original_dcr_ohm"], rows["L1"]["found_dcr_ohm"]) == (0.48, 0.48)
    assert rows["R1"]["original_dcr_ohm"] is None
    verdicts = {name: row["verdict"] for name, row in rows.items()}
    assert verdicts == {
        "L1": "as marked",
        "C1": "drifted and lossy",
        "C2": "drifted and lossy",
        "L2": "as marked",
        "R1": "drifted",
        "R2": "as marked",
    }


def test_the_changes_of_drives_and_sum():
    then, now = drives_of(ATTIC, ORIGINAL), drives_of(ATTIC, FOUND)
    for key in ("woofer", "tweeter"):
        np.testing.assert_allclose(LEFT.drive_difference_db[key], db(now[key]) - db(then[key]), atol=1e-9)
        np.testing.assert_allclose(
            LEFT.drive_difference_deg[key], np.degrees(np.angle(now[key] / then[key])), atol=1e-7
        )
        assert np.max(np.abs(LEFT.drive_difference_db[key])) > 2.0
    total = sum_db(ATTIC, FOUND) - sum_db(ATTIC, ORIGINAL)
    np.testing.assert_allclose(LEFT.total_difference_db, total, atol=1e-9)
    row = int(np.argmax(np.abs(total)))
    assert abs(total[row]) > 1.5
    assert LEFT.total_worst.change == pytest.approx(total[row], rel=1e-9)
    assert LEFT.total_worst.at_hz == F[row]
    heard = [db(d["tweeter"]) >= db(d["tweeter"]).max() - 20 for d in (then, now)]
    near = np.where(heard[0] | heard[1], LEFT.drive_difference_db["tweeter"], 0.0)
    assert LEFT.drive_worst["tweeter"].change == pytest.approx(near[np.argmax(np.abs(near))], rel=1e-9)


def test_one_part_at_a_time_and_one_put_right():
    blame = LEFT.blame
    assert {p.name for p in blame.parts} == {"C1", "C2", "R1"}
    then, now = sum_db(ATTIC, ORIGINAL), sum_db(ATTIC, FOUND)
    singles = 0.0
    for p in blame.parts:
        aged, right = with_parts(ORIGINAL, FOUND.part(p.name)), with_parts(FOUND, ORIGINAL.part(p.name))
        alone = sum_db(ATTIC, aged) - then
        singles = singles + alone
        np.testing.assert_allclose(p.alone_db, alone, atol=1e-9)
        np.testing.assert_allclose(p.remains_db, sum_db(ATTIC, right) - then, atol=1e-9)
        left, mended = sum_db(ATTIC, right) - then, sum_db(ATTIC, right) - now
        for worst, curve in ((p.alone, alone), (p.remains, left), (p.mended, mended)):
            row = int(np.argmax(np.abs(curve)))
            assert (worst.change, worst.at_hz) == (pytest.approx(curve[row], rel=1e-9), F[row])
        key, moved = p.most_moved
        own = db(drives_of(ATTIC, aged)[key]) - db(drives_of(ATTIC, ORIGINAL)[key])
        assert own[np.flatnonzero(moved.at_hz == F)[0]] == pytest.approx(moved.change, rel=1e-9)
    np.testing.assert_allclose(blame.interaction_db, now - then - singles, atol=1e-9)
    assert abs(blame.interaction.change) == pytest.approx(np.max(np.abs(now - then - singles)), rel=1e-6)
    effects = [p.effect_db for p in blame.parts]
    assert effects == sorted(effects, reverse=True)


def test_the_shares_are_means_over_all_orders():
    """Shapley's own definition: mean gain of the rms over the six orders in which three parts can age."""
    then, gains = sum_db(ATTIC, ORIGINAL), {name: [] for name in ("C1", "C2", "R1")}
    for order in permutations(gains):
        network, before = ORIGINAL, 0.0
        for name in order:
            network = with_parts(network, FOUND.part(name))
            after = math.sqrt(np.mean((sum_db(ATTIC, network) - then) ** 2))
            gains[name].append(after - before)
            before = after
    for p in LEFT.blame.parts:
        assert p.share_db == pytest.approx(np.mean(gains[p.name]), rel=1e-9)
        assert p.share == pytest.approx(p.share_db / before, rel=1e-9)
    assert LEFT.blame.rms_db == pytest.approx(before, rel=1e-9)
    assert sum(p.share for p in LEFT.blame.parts) == pytest.approx(1.0, rel=1e-9)


FEW = log_grid(300.0, 12e3, 2)
SOUND = sound_of(ATTIC, "original", FEW)
EAR = listener(ATTIC, SOUND, True)
EVERYWHERE = np.ones(FEW.shape, dtype=bool)
AGED = st.tuples(st.floats(0.5, 2.0).filter(lambda x: abs(x - 1) > 1e-3), st.floats(0.0, 0.3))


def aged_part(part, factor, loss):
    field = {"C": "farad", "L": "henry", "R": "ohm"}[part.name[0]]
    losses = {"C": {"dissipation_factor": loss}, "L": {"dcr_ohm": part.__dict__.get("dcr_ohm", 0) + loss}, "R": {}}
    return replace(part, **{field: getattr(part, field) * factor}, **losses[part.name[0]])


def blame_of(pairs):
    ohm = ATTIC.impedances_ohm(ORIGINAL, FEW)
    rows = dict.fromkeys(("woofer", "tweeter"), EVERYWHERE)
    return find_blame(LookedAt(ORIGINAL, FEW, ohm, EAR, rows, EVERYWHERE), pairs)


@given(name=st.sampled_from([p.name for p in ORIGINAL.parts]), aged=AGED)
@settings(max_examples=40)
def test_a_single_changed_part_is_to_blame_for_all(name, aged):
    part = ORIGINAL.part(name)
    now = aged_part(part, *aged)
    blame = blame_of([(part, now)])
    total = sum_db(ATTIC, with_parts(ORIGINAL, now), FEW) - sum_db(ATTIC, ORIGINAL, FEW)
    (only,) = blame.parts
    np.testing.assert_allclose(only.alone_db, total, atol=1e-9)
    np.testing.assert_array_equal(only.alone_db, blame.together_db)
    np.testing.assert_array_equal(only.remains_db, 0.0)
    np.testing.assert_array_equal(blame.interaction_db, 0.0)
    assert abs(only.mended.change) == abs(only.alone.change)
    assert only.share == pytest.approx(1.0)
    assert only.share_db == pytest.approx(math.sqrt(np.mean(total**2)), rel=1e-6)


@given(st.dictionaries(st.sampled_from([p.name for p in ORIGINAL.parts]), AGED, min_size=2))
@settings(max_examples=25)
def test_shares_add_up_and_all_together_is_the_found_network(changed):
    pairs = [(ORIGINAL.part(name), aged_part(ORIGINAL.part(name), *aged)) for name, aged in changed.items()]
    blame = blame_of(pairs)
    total = sum_db(ATTIC, with_parts(ORIGINAL, *(now for _, now in pairs)), FEW) - sum_db(ATTIC, ORIGINAL, FEW)
    np.testing.assert_allclose(blame.together_db, total, atol=1e-9)
    assert sum(p.share_db for p in blame.parts) == pytest.approx(math.sqrt(np.mean(total**2)), rel=1e-6)
    assert blame.combinations == 2 ** len(pairs)


def test_many_changed_parts_are_looked_at_by_themselves_only():
    speaker = open_speaker(EXAMPLES / "studio-three-way")
    network = speaker.network("original")
    assert len(network.parts) == 11
    pairs = [(p, aged_part(p, 1.1, 0.05)) for p in network.parts]
    ear = listener(speaker, sound_of(speaker, "original", FEW), True)
    rows = dict.fromkeys(("upper", "lower", "mid", "tweeter"), EVERYWHERE)
    at = LookedAt(network, FEW, speaker.impedances_ohm(network, FEW), ear, rows, EVERYWHERE)
    blame = find_blame(at, pairs)
    assert blame.combinations == 2 * 11 + 2
    assert all(p.share is None for p in blame.parts)
    assert blame.share_method.startswith("no shares: 11 parts have changed")
    ohm = speaker.impedances_ohm(network, FEW)
    then = solve(network, FEW, ohm).drive["tweeter"]
    now = solve(with_parts(network, {p.name: a for p, a in pairs}["R2"]), FEW, ohm).drive["tweeter"]
    change = db(now) - db(then)
    assert blame.of("r2").alone_drive["tweeter"].change == pytest.approx(change[np.argmax(np.abs(change))], rel=1e-9)
    assert blame.of("R2").alone_drive["mid"].change == 0


def test_unknown_timing_means_the_highest_sum():
    speaker = open_speaker(EXAMPLES / "hall-horn-two-way")
    study = study_condition(speaker, F)
    level = {}
    for name in ("original", "found"):
        drive = drives_of(speaker, speaker.network(name))
        level[name] = db(sum(np.abs(speaker.drivers[key].pressure(F) * drive[key]) for key in drive))
    assert np.isfinite(level["found"]).all()
    np.testing.assert_allclose(study.total_difference_db, level["found"] - level["original"], atol=1e-9)
    assert np.max(study.total_difference_db) > 1.5
    np.testing.assert_allclose(study.blame.together_db, study.total_difference_db, atol=1e-9)
    assert study.of_sum == "highest sum that any timing allows"
    assert any("the timing between the drivers is not known" in w for w in study.warnings)
    assert any(w.startswith("C1, C2: paper capacitors: oil-filled ones") for w in study.warnings)
    assert any("output of 1.6 ohm" in w for w in study.warnings)
    assert all(c.then.null_depth_db is None for c in study.crossovers)


def test_load_and_null_then_and_now():
    then = solve(ORIGINAL, fine := log_grid(200.0, 16e3, 480), ATTIC.impedances_ohm(ORIGINAL, fine)).impedance_ohm["in"]
    now = solve(FOUND, fine, ATTIC.impedances_ohm(FOUND, fine)).impedance_ohm["in"]
    (load,) = LEFT.loads
    for reading, z in ((load.then, then), (load.now, now)):
        assert reading.minimum_ohm == pytest.approx(np.abs(z).min(), rel=1e-4)
        assert reading.minimum_at_hz == pytest.approx(fine[np.argmin(np.abs(z))], rel=0.01)
    assert load.now.minimum_ohm < load.then.minimum_ohm - 0.1
    ((crossing),) = LEFT.crossovers
    assert crossing.now.frequency_hz < crossing.then.frequency_hz
    assert crossing.now.null_depth_db > crossing.then.null_depth_db > 10


def test_identical_networks_leave_everything(tmp_path):
    networks = '[networks.found]\ncircuit = "../original.cir"\n[networks.original]\ncircuit = "../original.cir"\n'
    study = study_condition(edited(tmp_path, networks=networks), F)
    for change in (*study.drive_difference_db.values(), *study.drive_difference_deg.values()):
        np.testing.assert_array_equal(change, 0.0)
    np.testing.assert_array_equal(study.total_difference_db, 0.0)
    assert {p.drift for p in study.parts} == {0.0}
    assert {p.verdict for p in study.parts} == {Verdict.AS_MARKED}
    assert study.conclusion == "Nothing has moved: leave it."
    assert study.sentences[0] == "L1: 1.8 mH, as marked: leave it"
    assert all(sentence.endswith(": leave it") for sentence in study.sentences)
    assert (study.blame, study.blame_reason) == (None, "no part has changed")
    assert study.limits_broken == ()


def test_a_small_drift_is_left():
    right = study_condition(open_speaker(EXAMPLES / "attic-two-way/right"), log_grid(20.0, 20e3, 24))
    r1 = next(s for s in right.sentences if s.startswith("R1"))
    assert r1.startswith("R1: +5.4 %, 5.9 ohm, within its tolerance of 10 %: by itself -0.24 dB at ")
    assert r1.endswith(": below what level matching for a listening test asks for: leave it")
    c1 = next(s for s in right.sentences if s.startswith("C1"))
    assert "drifted beyond 10 % and lossy (0.42 ohm at 10 kHz, originally 0.14 ohm)" in c1
    assert "put right alone it leaves " in c1  # the two capacitors make good for each other
    assert c1.endswith(", more than there is now")


def test_missing_added_moved_and_exchanged_parts(tmp_path):
    speaker = edited(
        tmp_path,
        found=[
            ("R2    p  0   15     watts=5\n", "c9 p 0 1uF\n"),
            ("Xhigh p  0", "Xhigh 0 p"),
            ("R1    t  p   6.4", "R1 t w 6.4"),
            ("C2    in t   6.1uF  loss=3.0@1kHz,1.05@10kHz kind=electrolytic", "c2 in t 4.7uF df=0.001 kind=film"),
            ("L2    t  0   0.33mH dcr=0.38", "R7 w p 1\nL2 t 0 0.33mH dcr=0.30"),
        ],
    )
    study = study_condition(speaker, F)
    assert part_of(study, "R2").verdict is Verdict.MISSING
    assert part_of(study, "c9").verdict is Verdict.ADDED
    assert part_of(study, "C2").verdict is Verdict.REPLACED
    assert part_of(study, "C2").notes == ("film now, originally electrolytic: not the part of old",)
    assert part_of(study, "L2").verdict is Verdict.DRIFTED
    assert study.wiring == (
        "R2 is not in the found network",
        "R7 is not in the original network",
        "c9 is not in the original network",
        "R1 is between t and w, originally t and p",
        "Xhigh is connected the other way round",
    )
    assert study.blame is None
    assert study.blame_reason.startswith("the networks are wired differently, so the parts are judged together only")
    assert any(w == "wired differently: Xhigh is connected the other way round" for w in study.warnings)
    rows = {row["name"]: row for row in json.loads(json.dumps(to_plain(study), allow_nan=False))["parts"]}
    assert (rows["R2"]["original"], rows["R2"]["found"], rows["R2"]["drift"]) == (15, None, None)
    assert (rows["c9"]["original"], rows["c9"]["found"], rows["c9"]["tolerance"]) == (None, 1e-6, None)
    now = speaker.network("found")
    change = db(drives_of(speaker, now)["tweeter"]) - db(drives_of(speaker, ORIGINAL)["tweeter"])
    np.testing.assert_allclose(study.drive_difference_db["tweeter"], change, atol=1e-9)
    assert "R2: 15 ohm, not in the found network" in study.sentences


def test_other_names_of_nodes_and_turned_parts_are_the_same_wiring(tmp_path):
    text = (EXAMPLES / "attic-two-way/left/found.cir").read_text()
    swaps = [
        ("L1    in w ", "L1    in n7 "),
        ("C1    w  0 ", "c1    n7  0 "),
        ("Xlow  w  0 ", "Xlow  n7  0 "),
    ]
    assert all(old in text for old, _ in swaps)
    study = study_condition(edited(tmp_path, found=swaps), F)
    assert study.wiring == ()
    np.testing.assert_allclose(study.blame.together_db, LEFT.blame.together_db, atol=1e-9)
    (tmp_path / "turned").mkdir()
    turned = study_condition(edited(tmp_path / "turned", found=[("C1    w  0 ", "C1 0 w ")]), F)
    assert turned.wiring == ()
    np.testing.assert_allclose(turned.blame.together_db, LEFT.blame.together_db, atol=1e-9)


def test_a_changed_coupling_is_blamed(tmp_path):
    speaker = edited(tmp_path, "hall-horn-two-way", "", found=[("L3  0.998", "L3 0.9")])
    study = study_condition(speaker, F)
    then = speaker.network("original")
    weaker = replace(then, couplings=(replace(then.couplings[0], k=0.9),))
    change = db(drives_of(speaker, weaker)["horn"]) - db(drives_of(speaker, then)["horn"])
    moved = study.blame.of("K1").alone_drive["horn"]
    assert change[np.flatnonzero(moved.at_hz == F)[0]] == pytest.approx(moved.change, rel=1e-9)
    assert abs(moved.change) > 0.3
    assert any(s.startswith("K1: its coupling has changed: by itself ") for s in study.sentences)


def test_cautions_about_meters_kinds_and_losses_not_stated(tmp_path):
    study = study_condition(
        edited(
            tmp_path,
            found=[("loss=2.1@1kHz,0.56@10kHz ", ""), ("R1    t  p   6.4 ", "R1 t p 6.5 ")],
            original=[("5R6    watts=5 tol=10%", "5R6"), ("df=0.05@1kHz kind=electrolytic", "kind=electrolytic")],
        ),
        F,
    )
    said = "\n".join(study.warnings)
    assert "C1: a multimeter reads lossy capacitors high" in said  # C2 has loss=: read with an LCR meter
    assert "no tol= on the original card of R1" in said
    assert "C2: the original network gives it no loss, so all of the loss found counts as age" in said
    assert "new, electrolytic has df 0.05 or so" in said
    assert not any("multimeter" in w for w in LEFT.warnings)
    assert not any("PCB" in w for w in LEFT.warnings)
    assert part_of(study, "R1").tolerance == 0.05


def test_without_found_drift_is_assumed(tmp_path):
    """Every corner of the tweeter's section, solved one by one at three frequencies, and the sum of all corners."""
    speaker = edited(tmp_path, networks='[networks.board]\ncircuit = "../original.cir"\n')
    few = np.array([1500.0, 3500.0, 9000.0])
    study = study_condition(speaker, few)
    envelope = study.envelope
    assert (study.original, study.found, study.evidence) == ("board", None, "assumed")
    assert {p.verdict for p in study.parts} == {Verdict.UNKNOWN}
    plain = to_plain(study)
    assert {row["found"] for row in plain["parts"]} == {None}
    assert plain["drive_difference_db"] == {"woofer": [None] * 3, "tweeter": [None] * 3}
    assert any("nothing was measured" in w for w in study.warnings)
    # Ranges as the trade expects them, written out: electrolytic, resistor, air coil, cored coil.
    tweeter, woofer = [], []
    for c, df, r1, r2, dcr in product((0.8, 1.4), (0.05, 0.2), (0.98, 1.1), (0.98, 1.1), (1.0, 1.05)):
        tweeter.append(
            with_parts(
                ORIGINAL,
                replace(ORIGINAL.part("C2"), farad=4.7e-6 * c, dissipation_factor=df),
                replace(ORIGINAL.part("R1"), ohm=5.6 * r1),
                replace(ORIGINAL.part("R2"), ohm=15 * r2),
                replace(ORIGINAL.part("L2"), dcr_ohm=0.38 * dcr),
            )
        )
    for c, df, coil, dcr in product((0.8, 1.4), (0.05, 0.2), (0.97, 1.05), (1.0, 1.05)):
        woofer.append(
            with_parts(
                ORIGINAL,
                replace(ORIGINAL.part("C1"), farad=6.8e-6 * c, dissipation_factor=df),
                replace(ORIGINAL.part("L1"), henry=1.8e-3 * coil, dcr_ohm=0.48 * dcr),
            )
        )
    high = np.array([drives_of(ATTIC, n, few)["tweeter"] for n in tweeter])
    low = np.array([drives_of(ATTIC, n, few)["woofer"] for n in woofer])
    nominal = drives_of(ATTIC, ORIGINAL, few)
    for key, cases in (("tweeter", high), ("woofer", low)):
        change = db(cases) - db(nominal[key])
        np.testing.assert_allclose(envelope.drive_low_db[key], change.min(axis=0), atol=1e-9)
        np.testing.assert_allclose(envelope.drive_high_db[key], change.max(axis=0), atol=1e-9)
        assert change.max() > 2
    sums = low[:, None] * ATTIC.drivers["woofer"].pressure(few) + high * ATTIC.drivers["tweeter"].pressure(few)
    change = (db(sums) - sum_db(ATTIC, ORIGINAL, few)).reshape(-1, 3)
    np.testing.assert_allclose(envelope.total_low_db, change.min(axis=0), atol=1e-9)
    np.testing.assert_allclose(envelope.total_high_db, change.max(axis=0), atol=1e-9)
    # One part alone: the second capacitor.
    alone = [
        sum_db(ATTIC, with_parts(ORIGINAL, replace(ORIGINAL.part("C2"), farad=4.7e-6 * c, dissipation_factor=df)), few)
        for c, df in product((0.8, 1.4), (0.05, 0.2))
    ] - sum_db(ATTIC, ORIGINAL, few)
    first = envelope.parts[0]
    assert first.name == "C2"
    np.testing.assert_allclose(first.low_db, alone.min(axis=0), atol=1e-9)
    np.testing.assert_allclose(first.high_db, alone.max(axis=0), atol=1e-9)
    assert study.sentences[0].startswith("C2: 4.7 uF: by itself could do ")
    assert study.limits_broken[0].startswith("the drive of woofer could change by ")


def test_many_corners_are_climbed_to_the_same_extremes(monkeypatch):
    """512 combinations of sections: all formed, and sought one section after the other."""
    every = study_condition(ATTIC, F, assume=True).envelope
    monkeypatch.setattr(drift_module, "MOST_CORNERS", 100)
    climbed = study_condition(ATTIC, F, assume=True).envelope
    assert "all 512 combinations" in every.method
    assert "one section's corner after the other" in climbed.method
    np.testing.assert_allclose(climbed.total_high_db, every.total_high_db, atol=0.02)
    np.testing.assert_allclose(climbed.total_low_db, every.total_low_db, atol=0.02)
    assert every.total_high_db.max() > 3
    assert (climbed.total_high_db <= every.total_high_db + 1e-9).all()
    monkeypatch.setattr(drift_module, "MOST_CORNERS", 8)
    drawn = study_condition(ATTIC, F, assume=True).envelope
    assert "2000 random corners (fixed seed)" in drawn.method
    np.testing.assert_allclose(drawn.drive_high_db["tweeter"], every.drive_high_db["tweeter"], atol=1e-9)


def test_the_limit_is_held_against_drives_and_sum():
    assert [s.split(" changes by ")[0] for s in LEFT.limits_broken] == [
        "the drive of woofer",
        "the drive of tweeter",
        "the sum",
    ]
    assert all(s.endswith("more than 1 dB") for s in LEFT.limits_broken)
    assert [s.split(" changes")[0] for s in study_condition(ATTIC, F, limit_db=2.2).limits_broken] == [
        "the drive of woofer"
    ]
    assert study_condition(ATTIC, F, limit_db=3.0).limits_broken == ()


def test_a_speaker_whose_sound_is_not_known(tmp_path):
    sheet = "[drivers.woofer.datasheet]\nre_ohm = 6\nfs_hz = 50\nqms = 4\nqes = 0.5\n"
    for name, value in (("found", 12), ("original", 10)):
        (tmp_path / f"{name}.cir").write_text(f"* t\nL1 in w 1mH\nC1 w 0 {value}uF\nXlow w 0 woofer\n")
        sheet += f'[networks.{name}]\ncircuit = "{name}.cir"\n'
    (tmp_path / "speaker.toml").write_text(sheet)
    study = study_condition(open_speaker(tmp_path), F)
    assert np.isnan(study.total_difference_db).all()
    assert study.conclusion == "The sum is not known: only the drives tell how far age has moved it."
    assert study.blame.share_method == "no shares: the sum is not known"
    (c1,) = study.blame.parts
    assert c1.effect_db == pytest.approx(abs(study.drive_worst["woofer"].change), rel=1e-9)
    assert 0.5 < c1.effect_db < 5
    assert "NaN" not in json.dumps(to_plain(study), allow_nan=False)
    assert any("no card says of what kind C1 is" in w for w in study.warnings)


def test_which_networks():
    for options, message in (
        ({"found": "original"}, "found and original are both 'original'"),
        ({"found": "found", "assume": True}, "contradict"),
        ({"original": "originl"}, "no network 'originl'"),
    ):
        with pytest.raises(OptionError, match=message):
            study_condition(ATTIC, F, **options)


def test_no_original_among_several(tmp_path):
    two = '[networks.found]\ncircuit = "found.cir"\n[networks.new]\ncircuit = "../original.cir"\n'
    speaker = edited(tmp_path, networks=two)
    with pytest.raises(OptionError, match="as marked by original, of found, new"):
        study_condition(speaker, F)
    named = study_condition(speaker, F, original="new")
    np.testing.assert_array_equal(named.total_difference_db, LEFT.total_difference_db)


def test_no_network_at_all(tmp_path):
    with pytest.raises(InputError, match="names no network"):
        study_condition(edited(tmp_path, networks="# none"), F)


def test_the_contract():
    plain = json.loads(json.dumps(to_plain(LEFT), allow_nan=False))
    assert {"name", "original", "found", "drift"} <= plain["parts"][0].keys()
    assert plain["frequency_hz"] == F.tolist()
    assert plain["drive_difference_db"].keys() == {"woofer", "tweeter"}
    assert len(plain["drive_difference_db"]["woofer"]) == F.size
    assert plain["summary"]["load"]["in"].keys() == {"original", "found"}
    assert plain["evidence"] == "measured"
    assert plain["blame"]["parts"][0]["alone"].keys() == {"change", "at_hz"}
