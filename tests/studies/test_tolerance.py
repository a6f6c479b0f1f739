"""Many builds against single ones, corners against brute force, shares and pairs against what is known of them."""

import json
from dataclasses import replace
from functools import cache
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.acoustic.summing import sum_branches
from xover.curve import Evidence, log_grid
from xover.errors import InputError, OptionError
from xover.files.netlist import parse_netlist
from xover.network import build_network, solve
from xover.plain import to_plain
from xover.search.builds import (
    Distribution,
    build_solver,
    built_values,
    draw_names,
    magnitude_db,
    matched_values,
    part_spreads,
    standard_draws,
    sum_rule,
)
from xover.sound.prediction import make_branches, sound_of
from xover.sound.sums import responses
from xover.speaker import open_speaker
from xover.studies.bears.tolerance.bands import level_band, part_shares, widest
from xover.studies.bears.tolerance.corners import corner_signs, find_corners
from xover.studies.bears.tolerance.study import study_tolerance

EXAMPLES = Path(__file__).parents[2] / "examples"
F = log_grid(100.0, 16e3, 4)
BAND = (200.0, 10e3)
FIELD = {"R": "ohm", "L": "henry", "C": "farad"}


@cache
def speaker_of(name):
    return open_speaker(EXAMPLES / name)


@cache
def study(name="attic-two-way/left", network="original", **options):
    return study_tolerance(speaker_of(name), network, F, **{"builds": 300, "band_hz": BAND} | options)


def with_values(network, values, row):
    """The network with one build's values written into its parts."""
    changed = [
        replace(p, **{FIELD[p.name[0].upper()]: float(values[p.name][row])}) if p.name in values else p
        for p in network.parts
    ]
    return replace(network, parts=tuple(changed))


def one_build(speaker, sound, values, row):
    """Drives and level of the sum of one build by the way of a single prediction."""
    network = with_values(sound.network, values, row)
    solution = solve(network, F, speaker.impedances_ohm(network, F))
    branches = make_branches(speaker, network, solution, sound.total.coherent)
    total = sum_branches(F, branches, coherent=sound.total.coherent)
    return solution, total.level_db if total.coherent else total.best_level_db


@pytest.fixture(scope="module")
def big(tmp_path_factory):
    """A speaker whose network has more parts in one section than the closed form is used for."""
    folder = tmp_path_factory.mktemp("big")
    cir = "* t\nL1 in a 1mH dcr=0.3 tol=10%\n" + "".join(
        f"R{i} a w {100 * i} tol=5%\nC{i} w 0 {i}uF df=0.01 tol=10%\n" for i in range(1, 5)
    )
    sheet = "[drivers.woofer.datasheet]\nre_ohm = 6\nfs_hz = 50\nqms = 4\nqes = 0.5\nsensitivity_db = 88\n"
    (folder / "found.cir").write_text(cir + "Xlow w 0 woofer\n")
    (folder / "speaker.toml").write_text(sheet + '[networks.found]\ncircuit = "found.cir"\n')
    return folder


@pytest.mark.parametrize(
    ("name", "closed", "count"),
    [
        ("attic-two-way/left", True, 50),
        ("hall-horn-two-way", True, 20),
        ("studio-three-way", True, 15),
        ("big", False, 50),
    ],
)
def test_many_builds_equal_single_ones(big, name, closed, count):
    speaker = open_speaker(big) if name == "big" else speaker_of(name)
    sound = sound_of(speaker, "found", F)
    spreads = part_spreads(sound.network)
    draws = standard_draws(np.random.default_rng(3), count, len(draw_names(spreads)), Distribution.UNIFORM)
    values = built_values(spreads, draws)
    solver = build_solver(sound.network, F, speaker.impedances_ohm(sound.network, F), tuple(values))
    assert (solver.form is not None) is closed
    drive, ohm = solver.at(values, loads=True)
    rule = sum_rule(sound, responses(speaker, sound))
    level = rule.level_db(drive)
    for row in range(count):
        alone, single = one_build(speaker, sound, values, row)
        for key, expected in alone.drive.items():
            np.testing.assert_allclose(drive[key][row], expected, rtol=1e-9)
        np.testing.assert_allclose(ohm["in"][row], alone.impedance_ohm["in"], rtol=1e-9)
        # Where a driver is left out or bounded, the bound of the single build moves with it and the rule's does not.
        heard = np.all(rule.responses, axis=0)
        assert heard.sum() >= 20
        np.testing.assert_allclose(level[row][heard], single[heard], rtol=1e-9)
    nominal = rule.level_db({key: d[None] for key, d in sound.solution.drive.items()})[0]
    expected = sound.total.level_db if sound.total.coherent else sound.total.best_level_db
    np.testing.assert_allclose(nominal, expected, rtol=1e-12)


@pytest.mark.parametrize("name", ["attic-two-way/left", "hall-horn-two-way"])
def test_corners_by_brute_force(name):
    """Every part of the whole network at both ends, one prediction each."""
    speaker = speaker_of(name)
    sound = sound_of(speaker, "original", F)
    spreads = part_spreads(sound.network)
    rule = sum_rule(sound, responses(speaker, sound))
    ohm = speaker.impedances_ohm(sound.network, F)
    told = []
    drive, total, refused = find_corners(sound.network, F, ohm, spreads, rule, sound.solution.drive, told.append)
    assert refused == ()
    assert told[-1] == 1.0
    signs = np.array(list(product([-1.0, 1.0], repeat=len(draw_names(spreads)))))
    values = built_values(spreads, signs)
    single = [one_build(speaker, sound, values, row) for row in range(len(signs))]
    assert len(single) >= 32
    for key, (low, high) in drive.items():
        levels = 20 * np.log10(np.abs([s.drive[key] for s, _ in single]))
        np.testing.assert_allclose(low, levels.min(axis=0), rtol=1e-9, atol=1e-9)
        np.testing.assert_allclose(high, levels.max(axis=0), rtol=1e-9, atol=1e-9)
    heard = np.all(rule.responses, axis=0)
    sums = np.array([level for _, level in single])[:, heard]
    np.testing.assert_allclose(total[0][heard], sums.min(axis=0), rtol=1e-9)
    np.testing.assert_allclose(total[1][heard], sums.max(axis=0), rtol=1e-9)
    assert np.all(sums.max(axis=0) - sums.min(axis=0) > 0.02)


def test_the_nominal_lies_within_the_corners():
    found = study("studio-three-way")
    assert found.corners.drive.keys() == {"upper", "lower", "mid", "tweeter"}
    for corner in (found.corners.total, *found.corners.drive.values()):
        known = np.isfinite(corner.lowest_db)
        assert known.sum() > 25
        assert np.all(corner.lowest_db[known] < 0)
        assert np.all(corner.highest_db[known] > 0)


def by_hand(tmp_path, cir, sound="sensitivity_db = 88", frequency_hz=F, **options):
    sheet = f"[drivers.woofer.datasheet]\nre_ohm = 6\nfs_hz = 50\nqms = 4\nqes = 0.5\n{sound}\n"
    (tmp_path / "speaker.toml").write_text(sheet + '[networks.found]\ncircuit = "found.cir"\n')
    (tmp_path / "found.cir").write_text(cir)
    options = {"builds": 300, "band_hz": BAND} | options
    return study_tolerance(open_speaker(tmp_path), "found", frequency_hz, **options)


def test_an_extreme_between_the_ends_is_told(tmp_path):
    """A series trap of 1 mH and 10 uF: at its resonance the drive is least, and every corner but two lies higher."""
    hz = 1 / (2 * np.pi * np.sqrt(1e-3 * 10e-6))
    f = np.array([hz / 4, hz, hz * 4])
    trap = "* t\nR1 in w 4 tol=1%\nL1 w x 1mH dcr=0.01 tol=5%\nC1 x 0 10uF tol=10%\nXlow w 0 woofer\n"
    found = by_hand(tmp_path, trap, frequency_hz=f)
    corner = found.corners.drive["woofer"]
    assert corner.lowest_db[1] > 0  # no corner is as low as the nominal
    assert corner.at_hz == hz
    assert corner.excess_db > 5
    lowest = found.drive["woofer"].lowest_db[1]
    assert corner.excess_db == pytest.approx(corner.lowest_db[1] - lowest, rel=1e-9)
    assert any("extreme can lie between the ends" in w for w in found.warnings)
    # A resistor and a coil in series with a resistive load are monotone: no build lies beyond a corner.
    plain = by_hand(tmp_path, "* t\nR1 in w 4 tol=5%\nR2 w 0 8 tol=10%\nXlow w 0 woofer\n")
    assert plain.corners.drive["woofer"].excess_db == 0
    assert np.isnan(plain.corners.drive["woofer"].at_hz)


@given(
    ohm=st.floats(1, 50),
    farad=st.floats(1e-6, 1e-4),
    tolerance=st.tuples(st.floats(0.01, 0.3), st.floats(0.01, 0.3)),
    seed=st.integers(0, 2**32),
    distribution=st.sampled_from(list(Distribution)),
)
@settings(max_examples=30)
def test_an_rc_high_pass_by_its_formula(ohm, farad, tolerance, seed, distribution):
    """|H| = x/sqrt(1 + x^2), x = 2 pi f R C: monotone, so both corners are known and no build lies beyond."""
    cir = f"* t\nC1 in w {farad!r} tol={tolerance[0]!r}\nR1 w 0 {ohm!r} tol={tolerance[1]!r}\nXlow w 0 woofer\n"
    network = build_network(parse_netlist(cir))
    idle = {"woofer": np.full(F.size, 1e12 + 0j)}
    spreads = part_spreads(network)
    values = built_values(spreads, standard_draws(np.random.default_rng(seed), 64, 2, distribution))
    drive = build_solver(network, F, idle, ("C1", "R1")).at(values, loads=False)[0]["woofer"]
    x = 2 * np.pi * F * (values["R1"] * values["C1"])[:, None]
    np.testing.assert_allclose(np.abs(drive), x / np.sqrt(1 + x * x), rtol=1e-8)

    def level(scale):
        x = 2 * np.pi * F * ohm * farad * scale
        return 20 * np.log10(x / np.sqrt(1 + x * x))

    nominal = level(1.0)
    band = level_band(magnitude_db(drive), nominal)
    ends = (1 - tolerance[0]) * (1 - tolerance[1]), (1 + tolerance[0]) * (1 + tolerance[1])
    assert np.all(band.lowest_db >= level(ends[0]) - nominal - 1e-7)
    assert np.all(band.highest_db <= level(ends[1]) - nominal + 1e-7)
    corners = built_values(spreads, corner_signs(2))
    assert sorted(corners["R1"] * corners["C1"])[::3] == pytest.approx([ohm * farad * e for e in ends], rel=1e-12)
    in_order = np.vstack([band.lowest_db, band.change_db, band.highest_db])
    assert np.all(np.diff(in_order, axis=0) >= 0)
    for share, curve in zip((0.025, 0.16, 0.5, 0.84, 0.975), band.change_db, strict=True):
        expected = np.quantile(magnitude_db(drive), share, axis=0) - nominal
        np.testing.assert_allclose(curve, expected, atol=1e-12)


def test_tolerances_and_what_they_rest_on():
    text = (
        "* t\nL1 in a 1mH core=air\nL2 a w 2mH core=iron tol=3%\nR1 w z 0 tol=5%\nR9 z 0 1k\nR2 w 0 10 tol=0%\n"
        "C1 w 0 4.7uF kind=electrolytic\nC2 w 0 1uF\nR3 w 0 4 kind=lamp\nXlow w 0 woofer\n"
    )
    found = {s.part: s for s in part_spreads(build_network(parse_netlist(text)))}
    assert {n: s.tolerance for n, s in found.items()} == {
        "L1": 0.05,
        "L2": 0.03,
        "R9": 0.05,
        "C1": 0.1,
        "C2": 0.05,
        "R3": 0.2,
    }  # common practice, but for L2; a link and a part of no tolerance do not vary
    assert found["L2"].evidence is Evidence.DATASHEET
    assert {s.evidence for n, s in found.items() if n != "L2"} == {Evidence.ASSUMED}
    assert found["C1"].value == 4.7e-6


def test_a_tolerance_that_leaves_nothing_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"found\.cir:2: R1 has a tolerance of 100%.*less than 100 %"):
        by_hand(tmp_path, "* t\nR1 in w 4 tol=100%\nXlow w 0 woofer\n")


def test_a_network_without_spread_is_refused(tmp_path):
    with pytest.raises(OptionError, match="no part of the network varies; give parts a tolerance"):
        by_hand(tmp_path, "* t\nR1 in w 4 tol=0%\nXlow w 0 woofer\n")


def test_coils_on_one_core_vary_together():
    found = study("hall-horn-two-way")
    core = [s for s in found.spreads if s.part in ("L2", "L3")]
    assert {s.draw for s in core} == {"L2"}
    values = built_values(found.spreads, standard_draws(np.random.default_rng(1), 9, 5, Distribution.UNIFORM))
    np.testing.assert_allclose(values["L2"] / values["L3"], core[0].value / core[1].value, rtol=1e-12)
    assert np.ptp(values["L2"]) > 0.1 * core[0].value
    assert "L2 + L3" in {p.name for p in found.shares.parts}
    assert any("L2, L3 are wound on one core" in w for w in found.warnings)
    loose = "* t\nL1 in w 1mH\nL2 in t 1mH\nK1 L1 L2 0.05\nXlow w 0 woofer\nXhi t 0 woofer\n"
    assert draw_names(part_spreads(build_network(parse_netlist(loose)))) == ("L1", "L2")


def test_matched_parts_keep_to_the_match_and_to_their_own_tolerance():
    text = "* t\nR1 in w 4 tol=10%\nC1 w 0 1uF tol=0.5%\nXlow w 0 woofer\n"
    spreads = part_spreads(build_network(parse_netlist(text)))
    first = built_values(spreads, np.broadcast_to([0.9, -0.4], (500, 2)))
    draws = standard_draws(np.random.default_rng(5), 500, 2, Distribution.UNIFORM)
    second = matched_values(spreads, first, draws, 0.01)
    for name, most in (("R1", 0.01), ("C1", 0.005)):
        apart = second[name] / first[name] - 1
        assert 0.95 * most < np.abs(apart).max() <= most
        assert apart.min() < -0.9 * most


@pytest.mark.parametrize("name", ["attic-two-way/left", "hall-horn-two-way"])
def test_matched_pairs_are_always_nearer(name):
    found = study(name)
    known = np.isfinite(found.independent.difference_db[0]) & found.in_band
    assert known.sum() > 15
    assert found.independent.pairs == found.matched.pairs == 150
    assert np.all(found.matched.difference_db[1:, known] < 0.5 * found.independent.difference_db[1:, known])
    assert np.all(found.matched.largest_db < 0.5 * found.independent.largest_db)
    assert found.matched.largest_db[2] > 0.01
    same = study(name, match=0.0)
    np.testing.assert_array_equal(same.matched.largest_db, 0)
    np.testing.assert_array_equal(same.independent.largest_db, found.independent.largest_db)


def test_two_builds_differ_by_the_root_of_two(tmp_path):
    """The difference of two like draws has sqrt(2) times the standard deviation of one: that of a uniform value is
    t/sqrt(3), and a divider of 4 and 8 ohm turns 1 % of R1 into -(20/ln 10) 4/12 dB %."""
    cir = "* t\nR1 in w 4 tol=1%\nR2 w 0 8 tol=0%\nXlow w 0 woofer\n"
    found = by_hand(tmp_path, cir, builds=4000)
    half = 1 / (1 / 8 + 1 / (6 + 48 / (1 + 4j * (F / 50 - 50 / F))))
    slope = 20 / np.log(10) * np.real(4 / (4 + half))
    spread = 0.01 * slope / np.sqrt(3)
    assert found.shares.spread_db == pytest.approx(np.sqrt(np.mean(spread[found.in_band] ** 2)), rel=0.04)
    # |difference| of two uniform draws, in tolerances: P(d > x) = (1 - x/2)^2, so the median is 2 - sqrt 2.
    np.testing.assert_allclose(found.independent.difference_db[2], 0.01 * slope * (2 - np.sqrt(2)), rtol=0.08)
    # Three fifths of the draws keep within three fifths of the largest change.
    few = by_hand(tmp_path, cir, builds=4000, limit_db=0.6 * 0.01 * np.max(slope[found.in_band]))
    assert few.passing.share == pytest.approx(0.6, abs=4 * np.sqrt(0.24 / 4000))
    # Of 1 % to either side, half of the draws lie within half a per cent.
    np.testing.assert_allclose(found.matched.difference_db[2], 0.01 * slope / 2, rtol=0.08)


def test_shares_of_two_resistors():
    """Level a d1 + b d2 with independent draws: shares a^2 and b^2 over their sum."""
    spreads = part_spreads(build_network(parse_netlist("* t\nR1 in w 3 tol=5%\nR2 w 0 2 tol=10%\nXlow w 0 woofer\n")))
    draws = standard_draws(np.random.default_rng(8), 5000, 2, Distribution.UNIFORM)
    found = part_shares(spreads, draws, (draws @ [[0.15, 0.3], [0.2, 0.4]]))
    assert [p.name for p in found.parts] == ["R2", "R1"]
    assert [p.share for p in found.parts] == pytest.approx([0.64, 0.36], abs=0.03)
    assert found.rest == pytest.approx(0, abs=1e-12)
    assert found.parts[0].spread_db == pytest.approx(np.sqrt((0.2**2 + 0.4**2) / 2 / 3), rel=0.03)
    assert found.sentence.startswith("buy R2 tighter first: 6")
    # A product of two draws is of neither.
    bent = part_shares(spreads, draws, (draws[:, 0] * draws[:, 1])[:, None])
    assert bent.rest > 0.99


def test_tightening_the_first_part_does_what_is_said(tmp_path):
    cir = "* t\nR1 in w 4 tol={}\nR2 w 0 8 tol=5%\nXlow w 0 woofer\n"
    wide = by_hand(tmp_path, cir.format("10%"), builds=2000)
    first = wide.shares.parts[0]
    assert first.name == "R1"
    tight = by_hand(tmp_path, cir.format("5%"), builds=2000)
    left = wide.shares.spread_db * np.sqrt(1 - 0.75 * first.share)
    assert tight.shares.spread_db == pytest.approx(left, rel=0.03)
    assert wide.shares.sentence.endswith(f"from {wide.shares.spread_db:.2g} to {left:.2g} dB rms (first order)")
    assert tight.shares.spread_db < 0.8 * wide.shares.spread_db


def test_yield_and_load():
    found = study(limit_db=0.4)
    assert 0 < found.passing.low < found.passing.share < found.passing.high < 1
    assert found.passing.of == 300
    assert study(limit_db=20).passing.share == 1
    assert study(limit_db=1e-6).passing.share == 0
    load = found.load["in"]
    assert load.lowest_ohm <= load.quantile_ohm[0] < load.nominal_ohm < load.quantile_ohm[-1]
    assert load.limit_ohm == 4
    assert (load.below.count, load.below.of) == (int(load.lowest_ohm < 4), 300)
    # Nominally 3.4 ohm, so no build of it reaches the 4 ohm that its amplifier asks for.
    studio = study("studio-three-way").load["in"]
    assert studio.limit_ohm == 4
    assert studio.below.share == 1
    assert studio.quantile_ohm[-1] < 4


def test_the_same_seed_gives_the_same_builds():
    fresh = study.__wrapped__  # not what was kept
    first, again, other = (json.dumps(to_plain(fresh(seed=s)), allow_nan=False) for s in (4, 4, 5))
    assert first == again
    assert first != other
    normal = study(distribution="normal")
    assert normal.distribution is Distribution.NORMAL
    # A bell of a third of the tolerance spreads less than a uniform one, of 1/sqrt(3) of it.
    assert normal.shares.spread_db < 0.75 * study().shares.spread_db


def test_shape_of_the_json():
    found = study()
    plain = json.loads(json.dumps(to_plain(found), allow_nan=False))
    assert plain["sum"]["change_db"].keys() == {"0.025", "0.16", "0.5", "0.84", "0.975"}
    assert len(plain["sum"]["change_db"]["0.5"]) == len(plain["frequency_hz"]) == F.size
    assert plain["drive"].keys() == {"woofer", "tweeter"}
    assert plain["yield"]["of"] == 300
    assert {"name", "share", "spread_db", "tolerance"} <= plain["shares"]["ranking"][0].keys()
    assert {p["part"] for p in plain["parts"]} == {"L1", "C1", "C2", "L2", "R1", "R2"}
    assert plain["sum"]["corner"]["lowest_db"][5] < plain["sum"]["change_db"]["0.025"][5] < 0
    assert plain["load"]["in"]["limit_ohm"] == 4
    assert max(plain["sum"]["largest_doubt_db"]) > 0
    np.testing.assert_allclose(found.total.level_db[2], found.total.nominal_db + found.total.change_db[2], rtol=1e-12)


def test_without_any_sound_drives_and_load_are_judged(tmp_path):
    found = by_hand(tmp_path, "* t\nL1 in w 1mH\nC1 w 0 10uF\nXlow w 0 woofer\n", sound="")
    assert not found.total_known
    assert np.isnan(found.passing.share)
    assert found.passing.of == 0
    assert np.isnan(found.matched.largest_db).all()
    assert found.shares.sentence == "which part matters is not known, as the sum is not known"
    assert found.widest_drive("woofer").high_db > 0.1
    assert any("only the drives and the load are judged" in w for w in found.warnings)
    assert "NaN" not in json.dumps(to_plain(found), allow_nan=False)


def test_an_unknown_timing_is_told():
    found = study("hall-horn-two-way")
    assert found.of_sum == "highest sum that any timing allows"
    assert any("timing between the drivers is not known" in w for w in found.warnings)


def test_channels_have_loads_of_their_own(tmp_path):
    cir = "* t\nVbass lo 0\nVtreble hi 0\nR1 lo w 2\nXlow w 0 woofer\nC1 hi t 10uF tol=2%\nR2 t 0 8\nXup t 0 woofer\n"
    found = by_hand(tmp_path, cir)
    assert found.load.keys() == {"bass", "treble"}
    assert all(load.limit_ohm is None and load.below is None for load in found.load.values())
    # R1 of 2 ohm +-5 % lies in series with the bass driver.
    bass = found.load["bass"]
    assert bass.quantile_ohm[-1] - bass.quantile_ohm[0] == pytest.approx(0.19, abs=0.02)
    assert any("no electronic crossover" in w for w in found.warnings)


def test_too_many_parts_have_no_corners(tmp_path):
    few = np.array([300.0, 3000.0])
    parts = "".join(f"R{i} in w {50 + i} tol=5%\n" for i in range(1, 18))
    found = by_hand(tmp_path, f"* t\n{parts}Xlow w 0 woofer\n", frequency_hz=few, builds=100)
    assert found.corners.total is None
    assert found.corners.drive == {}
    assert "17 parts vary in one section, more than 16" in found.corners.refused[0]
    assert found.corners.refused[0] in found.warnings
    assert found.total.change_db[-1][0] > 0.01
    parts = "".join(f"R{i} in {'w' if i % 2 else 't'} {50 + i} tol=5%\n" for i in range(1, 22))
    found = by_hand(tmp_path, f"* t\n{parts}Xlow w 0 woofer\nXup t 0 woofer\n", frequency_hz=few, builds=100)
    assert found.corners.total is None
    assert found.corners.drive.keys() == {"low", "up"}
    assert found.corners.drive["low"].highest_db[0] > 0.1
    assert "21 parts vary together, more than 20" in found.corners.refused[0]


def test_progress_rises_to_the_end():
    told = []
    study(progress=lambda done, _words: told.append(done))
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1.0)
    assert len(told) >= 3


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"builds": 99}, "99 builds were asked for; ask for 100 to 200000"),
        ({"builds": 200_001}, "200001 builds"),
        ({"seed": -1}, "the seed is -1; give 0 or more"),
        ({"distribution": "gauss"}, "no distribution 'gauss'; use uniform or normal"),
        ({"limit_db": 0.0}, "the limit is 0 dB; give more than 0 dB"),
        ({"limit_db": float("nan")}, "the limit is nan dB"),
        ({"match": 1.0}, "parts are to match to 1; give a fraction"),
        ({"band_hz": (30e3, 40e3)}, "no frequency lies in the band from 30 kHz to 40 kHz"),
    ],
)
def test_options_out_of_range(options, message):
    with pytest.raises(OptionError, match=message):
        study(**options)


def test_what_would_not_fit_in_memory_is_refused():
    with pytest.raises(OptionError, match=r"need about 2\.7 GB of memory; take fewer"):
        study_tolerance(speaker_of("studio-three-way"), "found", log_grid(20, 20e3, 48), builds=100_000)


def test_the_widest_place_of_a_band():
    low, high, f = np.array([-1.0, -3.0, np.nan, -9.0]), np.array([1.0, 2.0, 9.0, 9.0]), np.arange(1.0, 5.0)
    found = widest(low, high, f, np.array([True, True, True, False]))
    assert (found.low_db, found.high_db, found.at_hz) == (-3, 2, 2)
    assert np.isnan(widest(low, high, f, np.zeros(4, dtype=bool)).at_hz)
