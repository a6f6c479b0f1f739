"""Coupling between coils: against hand-written mesh equations, and against speakers with the K card in their file."""

import shutil
from pathlib import Path

import numpy as np
import pytest

from xover.curve import log_grid
from xover.errors import OptionError
from xover.plain import to_plain
from xover.sound.prediction import predict
from xover.speaker import open_speaker
from xover.studies.bears.crosstalk.stray import Couple, stray_cards
from xover.studies.bears.crosstalk.study import study_crosstalk

EXAMPLES = Path(__file__).parents[2] / "examples"
F = log_grid(50.0, 20e3, 12)
BAND = (F >= 200.0) & (F <= 20e3 * (1 + 1e-9))


def resistive_speaker(folder, circuit, ohm=8.0):
    """Two drivers of 8 ohm at all frequencies, 90 and 93 dB flat, in phase: invented."""
    for name, level in (("low", 90.0), ("high", 93.0)):
        rows = "\n".join(f"{f:.6g},{level},0" for f in np.geomspace(10, 40e3, 60))
        (folder / f"{name}.csv").write_text("frequency_hz,level_db,phase_deg\n" + rows + "\n")
    rows = "\n".join(f"{f:.6g},{ohm},0" for f in np.geomspace(10, 40e3, 60))
    (folder / "z.csv").write_text("frequency_hz,impedance_ohm,phase_deg\n" + rows + "\n")
    drivers = "".join(
        f'[drivers.{name}]\nimpedance = "z.csv"\nresponse = "{name}.csv"\nphase = "measured"\nposition_mm = [0, 0, 0]\n'
        for name in ("low", "high")
    )
    (folder / "speaker.toml").write_text('timing = "common"\n' + drivers + '[networks.found]\ncircuit = "found.cir"\n')
    (folder / "found.cir").write_text(circuit)
    return open_speaker(folder)


CIRCUIT = "* t\nL1 in w 1mH dcr=0.3\nXlow w 0 low\nC1 in t 5uF\nL2 t 0 0.4mH dcr=0.2\nXhigh t 0 high\n"


def by_hand(k):
    """(woofer, tweeter) drives and the load of CIRCUIT: three unknown currents, Kirchhoff and M = k sqrt(L1 L2)."""
    drives = []
    for w in 2 * np.pi * F:
        mutual = 1j * w * k * np.sqrt(1e-3 * 0.4e-3)
        condenser = 1 / (1j * w * 5e-6)
        # i1 through L1 and the woofer, i2 through L2, i3 through the tweeter.
        matrix = np.array(
            [
                [1j * w * 1e-3 + 0.3 + 8, mutual, 0],
                [mutual, 1j * w * 0.4e-3 + 0.2 + condenser, condenser],
                [0, condenser, 8 + condenser],
            ]
        )
        i1, i2, i3 = np.linalg.solve(matrix, np.ones(3))
        drives.append((8 * i1, 8 * i3, 1 / (i1 + i2 + i3)))
    return np.array(drives).T


def db(x):
    return 20 * np.log10(np.abs(x))


def worst(change, rows):
    inside = np.where(rows, np.abs(change), -1)
    at = int(np.argmax(inside))
    return change[at], F[at]


def test_what_the_coupling_adds_at_each_driver(tmp_path):
    speaker = resistive_speaker(tmp_path, CIRCUIT)
    study = study_crosstalk(speaker, "found", F, [Couple("L1", "L2", 0.03)])
    bare, (positive, negative) = by_hand(0.0), study.cases
    for case, k in ((positive, 0.03), (negative, -0.03)):
        coupled = by_hand(k)
        for row, key in enumerate(("low", "high")):
            np.testing.assert_allclose(study.drive_db[key], db(bare[row]), atol=1e-8)
            np.testing.assert_allclose(case.drive_db[key], db(coupled[row]), atol=1e-8)
            np.testing.assert_allclose(case.stray_db[key], db(coupled[row] - bare[row]), atol=1e-6)
    assert study.at_limit is None


def test_without_couplings_the_pair_that_allows_least_is_shown_at_its_limit(tmp_path):
    speaker = resistive_speaker(tmp_path, CIRCUIT)
    study = study_crosstalk(speaker, "found", F)
    assert study.cases == ()
    (couple,) = study.at_limit.couples
    assert abs(couple.k) == study.pairs[0].smaller
    assert couple.k in (study.pairs[0].k_positive, study.pairs[0].k_negative)
    assert abs(study.at_limit.total.change) == pytest.approx(study.limit_db, rel=0.01)
    np.testing.assert_allclose(study.at_limit.drive_db["high"], db(by_hand(couple.k)[1]), atol=1e-8)
    assert to_plain(study)["at_limit"]["couplings"] == [{"first": "L1", "second": "L2", "k": couple.k}]


def test_against_mesh_equations(tmp_path):
    study = study_crosstalk(resistive_speaker(tmp_path, CIRCUIT), "found", F, [Couple("L1", "L2", 0.03)])
    assert [case.couples[0].k for case in study.cases] == [0.03, -0.03]
    low, high, load = by_hand(0.0)
    sensitivity = 10 ** (3 / 20)
    for case in study.cases:
        low_k, high_k, load_k = by_hand(case.couples[0].k)
        change = db(low_k + sensitivity * high_k) - db(low + sensitivity * high)
        np.testing.assert_allclose(case.total_db, change, atol=1e-9)
        assert (case.total.change, case.total.at_hz) == pytest.approx(worst(change, BAND), rel=1e-7)
        assert abs(case.total.change) > 0.03
        for effect, now, then in zip(case.drive, (low_k, high_k), (low, high), strict=True):
            heard = db(then) >= db(then).max() - 20
            assert (effect.pass_band.change, effect.pass_band.at_hz) == pytest.approx(
                worst(db(now) - db(then), heard), rel=1e-7
            )
            rise = np.maximum(db(now) - db(then), 0)
            if (rise[~heard] > 0).any():
                at = int(np.argmax(np.where(heard, 0, rise)))
                assert (effect.stop_band.change, effect.stop_band.at_hz) == pytest.approx((rise[at], F[at]), rel=1e-7)
                assert effect.stop_before_db == pytest.approx(db(then)[at])
                assert effect.stop_after_db == pytest.approx(db(now)[at])
            else:
                assert effect.stop_band.change == 0
            assert effect.floor_before_db == pytest.approx(db(then)[~heard].min())
            assert effect.floor_after_db == pytest.approx(db(now)[~heard].min())
        percent = 100 * (np.abs(load_k) / np.abs(load) - 1)
        assert case.load["in"].change == pytest.approx(worst(percent, np.ones_like(BAND))[0], rel=1e-7)


def test_limits_against_mesh_equations(tmp_path):
    """At the coupling that is told, the sum moves by just the limit; at every tried smaller one by less."""
    (pair,) = study_crosstalk(resistive_speaker(tmp_path, CIRCUIT), "found", F, limit_db=0.2).pairs
    sensitivity = 10 ** (3 / 20)
    low, high, _ = by_hand(0.0)

    def moved(k):
        low_k, high_k, _ = by_hand(k)
        return np.abs(db(low_k + sensitivity * high_k) - db(low + sensitivity * high))[BAND]

    assert (pair.first, pair.second) == ("L1", "L2")
    for k in (pair.k_positive, pair.k_negative):
        assert moved(k).max() == pytest.approx(0.2, rel=3e-3)
        assert max(moved(s * k).max() for s in (0.25, 0.5, 0.75, 0.95)) < 0.2
    assert pair.k_negative < 0 < pair.k_positive
    assert pair.smaller == min(pair.k_positive, -pair.k_negative)
    assert pair.at_hz == F[BAND][int(np.argmax(moved(min((pair.k_positive, pair.k_negative), key=abs))))]


def test_turning_a_coil_round_swaps_the_signs(tmp_path):
    (pair,) = study_crosstalk(resistive_speaker(tmp_path, CIRCUIT), "found", F).pairs
    turned = CIRCUIT.replace("L2 t 0", "L2 0 t")
    (other,) = study_crosstalk(resistive_speaker(tmp_path, turned), "found", F).pairs
    assert other.k_positive == pytest.approx(-pair.k_negative, rel=1e-9)
    assert other.k_negative == pytest.approx(-pair.k_positive, rel=1e-9)


def with_cards(tmp_path, name, cards):
    folder = tmp_path / "with"
    shutil.copytree(EXAMPLES / name, folder)
    text = (folder / "found.cir").read_text()
    (folder / "found.cir").write_text(text.replace(".end", cards + "\n.end"))
    return predict(open_speaker(folder), "found", F)


def test_two_pairs_against_a_speaker_with_the_cards(tmp_path):
    couples = [Couple("l1", "l2", 0.04), Couple("L3", "L4", -0.02)]
    study = study_crosstalk(open_speaker(EXAMPLES / "studio-three-way"), "found", F, couples)
    assert [[c.k for c in case.couples] for case in study.cases] == [
        [0.04, 0.02],
        [0.04, -0.02],
        [-0.04, 0.02],
        [-0.04, -0.02],
    ]
    assert [c.name for c in study.cases[0].couples] == ["L1:L2", "L3:L4"]
    before = predict(open_speaker(EXAMPLES / "studio-three-way"), "found", F)
    after = with_cards(tmp_path, "studio-three-way", "K1 L1 L2 -0.04\nK2 L3 L4 0.02")
    change = after.total.level_db - before.total.level_db
    np.testing.assert_allclose(study.cases[2].total_db, change, atol=1e-8)
    assert np.nanmax(np.abs(change)) > 0.05
    assert {p.name for p in study.pairs} == {"L1:L2", "L3:L4"}
    assert study.pairs[0].smaller < study.pairs[1].smaller


def test_an_autotransformer_is_one_winding(tmp_path):
    """Half of it cannot couple alone: k = 0.998 ties L2 and L3, so L1 couples to L3 by 0.998 of what it does to L2."""
    speaker = open_speaker(EXAMPLES / "hall-horn-two-way")
    study = study_crosstalk(speaker, "found", F)
    assert study.skipped == ("L2:L3",)
    assert [(p.name, p.carried) for p in study.pairs] == [("L1:L2", ("L1:L3",))]
    k = study.pairs[0].k_positive
    before = predict(speaker, "found", F).total.best_level_db
    cards = f"K2 L1 L2 {k!r}\nK3 L1 L3 {0.998 * k!r}"
    change = with_cards(tmp_path, "hall-horn-two-way", cards).total.best_level_db - before
    assert np.nanmax(np.abs(change[BAND])) == pytest.approx(0.1, rel=3e-3)
    assert study.judged_by == "highest sum that any timing allows"
    cards = stray_cards(speaker.network("found"), [Couple("L3", "L1", 0.01)])
    assert [(c.card, c.first, c.second, c.factor) for c in cards] == [
        ("K2", "L3", "L1", 1.0),
        ("K3", "L2", "L1", 0.998),
    ]


def test_without_sound_the_drives_decide(tmp_path):
    sheet = "[drivers.{}.datasheet]\nre_ohm = 6\nfs_hz = 50\nqms = 4\nqes = 0.5\n"
    (tmp_path / "speaker.toml").write_text(
        sheet.format("low") + sheet.format("high") + '[networks.found]\ncircuit = "found.cir"\n'
    )
    (tmp_path / "found.cir").write_text(CIRCUIT)
    study = study_crosstalk(open_speaker(tmp_path), "found", F, [Couple("L1", "L2", 0.03)])
    assert study.judged_by == "drives"
    assert np.isnan(study.cases[0].total.change)
    (pair,) = study.pairs
    at_limit = study_crosstalk(open_speaker(tmp_path), "found", F, [Couple("L1", "L2", pair.k_positive)]).cases[0]
    assert max(abs(d.pass_band.change) for d in at_limit.drive) == pytest.approx(0.1, rel=3e-3)


def test_a_network_with_one_coil_has_no_pair(tmp_path):
    speaker = resistive_speaker(tmp_path, "* t\nL1 in w 1mH\nXlow w 0 low\nC1 in t 5uF\nXhigh t 0 high\n")
    study = study_crosstalk(speaker, "found", F)
    assert study.pairs == ()
    assert "the network has 1 coil and no pair" in study.warnings[0]


@pytest.mark.parametrize(
    ("couples", "message"),
    [
        ([Couple("L1", "L9", 0.1)], "no part L9"),
        ([Couple("L1", "C1", 0.1)], "C1 is not a coil; the network's coils are: L1, L2, L3"),
        ([Couple("L1", "l1", 0.1)], "L1 is to couple with itself"),
        ([Couple("L3", "L2", 0.1)], "L3 and L2 are coupled by K1 already"),
        ([Couple("L1", "L2", 0.1), Couple("L2", "L1", 0.1)], "L2 and L1 are coupled by L1:L2 already"),
        ([Couple("L1", "L2", 0.0)], "L1:L2 has a coupling of 0"),
        ([Couple("L1", "L2", 1.5)], "L1:L2 has a coupling of 1.5"),
        ([Couple("L1", "L2", 0.9), Couple("L1", "L3", 0.9)], "negative energy; give smaller couplings"),
        ([Couple("L1", "L2", 0.1)] * 7, "7 pairs of coils"),
    ],
)
def test_bad_couplings(couples, message):
    speaker = open_speaker(EXAMPLES / "hall-horn-two-way")
    with pytest.raises(OptionError, match=message):
        study_crosstalk(speaker, "found", F[::12], couples)


def test_bad_limit():
    with pytest.raises(OptionError, match="limit of 0 dB"):
        study_crosstalk(open_speaker(EXAMPLES / "studio-three-way"), "found", F, limit_db=0.0)


def test_plain_has_the_keys(tmp_path):
    plain = to_plain(study_crosstalk(resistive_speaker(tmp_path, CIRCUIT), "found", F, [Couple("L1", "L2", 0.03)]))
    assert plain["cases"][0]["couplings"] == [{"first": "L1", "second": "L2", "k": 0.03}]
    assert plain["cases"][0]["drive"].keys() == {"low", "high"}
    assert len(plain["cases"][0]["sum"]["change_db"]) == F.size
    assert plain["pairs"][0]["k_positive"] > 0
    assert plain["example_coil"]["outer_radius_m"] == 0.0275
