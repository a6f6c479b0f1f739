"""What a refresh picks, over nine speakers: few parts, nothing healthy, and the figures as built that it promises.

Five of the nine are made here, of the examples' drivers and boards that are invented for this.
"""

import shutil
from dataclasses import dataclass
from itertools import pairwise, product
from pathlib import Path

import numpy as np
import pytest

from xover.curve import log_grid
from xover.files.stock import ItemKind
from xover.network import Capacitor, Inductor, Resistor, solve, value_of
from xover.parts.catalogue import Catalogue
from xover.parts.kinds import tolerance_of
from xover.parts.stock import open_stock
from xover.search.filling import Job, frontier
from xover.speaker import open_speaker
from xover.studies.change.refresh.choice import Shape, build, keep
from xover.studies.change.refresh.result import Policy
from xover.studies.change.refresh.study import pick_of, refresh

EXAMPLES = Path(__file__).parents[2] / "examples"
GRID = log_grid(20, 20_000, 48)
FINE = log_grid(200, 20_000, 48)
JUDGED = log_grid(200.0, 20_000.0, 96)

ATTIC, HALL, STUDIO = EXAMPLES / "attic-two-way" / "left", EXAMPLES / "hall-horn-two-way", EXAMPLES / "studio-three-way"
TWO_WAY = """L1 in w 1.2mH dcr=0.3 core=air tol=5%
Xlow w 0 woofer
C1 in t {c1} kind=electrolytic tol=10%
R1 t p {r1} watts=10 tol=5%
Xhigh p 0 tweeter
"""
ZOBEL = """L1 in w {l1} dcr=0.4 core=iron tol=10%
C1 w 0 {c1} kind=electrolytic tol=10%
C2 w z {c2} kind=electrolytic tol=10%
R1 z 0 8.2 watts=10 tol=10%
Xlow w 0 woofer
C3 in t {c3} kind=electrolytic tol=10%
L2 t 0 {l2} dcr=0.35 core=air tol=5%
Xhigh 0 t tweeter
"""
HORN = """L1 in w 2.2mH dcr=0.35 core=iron tol=10%
C1 w 0 {c1} kind=paper tol=20%
Xlow w 0 woofer
C2 in h {c2} kind=paper tol=20%
L2 h 0 {l2} dcr=0.4 core=air tol=5%
R1 h p 4.7 watts=10 tol=10%
R2 p 0 {r2} watts=10 tol=10%
Xhigh p 0 horn
"""
THREE_WAY = """L1 in w 2.2mH dcr=0.25 core=iron tol=10%
C1 w 0 {c1} kind=electrolytic tol=10%
Xupper w 0 woofer
Xlower w 0 woofer
C2 in m1 {c2} kind=electrolytic tol=10%
L2 m1 m2 0.47mH dcr=0.25 core=air tol=5%
C3 m2 0 {c3} kind=electrolytic tol=10%
Xmid m2 0 mid
C4 in t1 3.9uF df=0.001@1kHz kind=film tol=5%
L3 t1 0 0.2mH dcr=0.25 core=air tol=5%
R1 t1 t2 2.2 watts=10 tol=5%
Xhigh t2 0 tweeter
"""
MADE = {
    "one dry": (
        ATTIC,
        TWO_WAY,
        {"c1": "5.6uF df=0.05@1kHz", "r1": "3.3"},
        {"c1": "3.4uF loss=6@1kHz,3@10kHz", "r1": "3.35"},
    ),
    "burnt pad": (
        ATTIC,
        TWO_WAY,
        {"c1": "5.6uF df=0.05@1kHz", "r1": "3.3"},
        {"c1": "5.7uF df=0.055@1kHz", "r1": "7.4"},
    ),
    "all 2 % off": (
        ATTIC,
        ZOBEL,
        {
            "l1": "1.5mH",
            "c1": "10uF df=0.05@1kHz",
            "c2": "8.2uF df=0.05@1kHz",
            "c3": "4.7uF df=0.05@1kHz",
            "l2": "0.3mH",
        },
        {
            "l1": "1.53mH",
            "c1": "10.2uF df=0.051@1kHz",
            "c2": "8.36uF df=0.051@1kHz",
            "c3": "4.79uF df=0.051@1kHz",
            "l2": "0.306mH",
        },
    ),
    "two papers": (
        HALL,
        HORN,
        {"c1": "15uF df=0.01@1kHz", "c2": "4.7uF df=0.01@1kHz", "l2": "1mH", "r2": "10"},
        {"c1": "19uF df=0.06@1kHz", "c2": "5.9uF df=0.08@1kHz", "l2": "1mH", "r2": "10.3"},
    ),
    "three of a three-way": (
        STUDIO,
        THREE_WAY,
        {"c1": "47uF df=0.05@1kHz", "c2": "22uF df=0.05@1kHz", "c3": "10uF df=0.05@1kHz"},
        {
            "c1": "61uF loss=0.6@1kHz,0.3@10kHz",
            "c2": "27uF loss=1.1@1kHz,0.5@10kHz",
            "c3": "7.1uF loss=3@1kHz,1.5@10kHz",
        },
    ),
}
WORN_CAPACITORS = {
    "attic left": 2,
    "attic right": 2,
    "hall horn": 2,
    "studio": 2,
    "one dry": 1,
    "burnt pad": 0,
    "all 2 % off": 0,
    "two papers": 2,
    "three of a three-way": 3,
}
"""Counted by hand from the boards above: those that have drifted or dried by what is heard."""
HEALTHY = {
    "attic left": {"L1", "L2", "R2"},
    "attic right": {"L1", "L2", "R1", "R2"},
    "hall horn": {"L1", "L2", "L3"},
    "studio": {"L1", "L2", "L3", "C3", "C4", "L4", "R3"},
    "one dry": {"L1", "R1"},
    "burnt pad": {"L1", "C1"},
    "all 2 % off": {"L1", "C1", "C2", "R1", "C3", "L2"},
    "two papers": {"L1", "L2", "R1", "R2"},
    "three of a three-way": {"L1", "L2", "C4", "L3", "R1"},
}


def made(folder, name):
    """A folder with an example's drivers and amplifier, and boards of its own."""
    source, text, new, now = MADE[name]
    folder.mkdir(parents=True)
    for file in source.iterdir():
        shutil.copy(file, folder)
    toml = folder / "speaker.toml"
    kept = toml.read_text()
    kept = kept[: kept.index("[networks.found]")]
    networks = '[networks.found]\ncircuit = "found.cir"\n\n[networks.original]\ncircuit = "original.cir"\n'
    toml.write_text(kept + networks)
    for file, values in (("original.cir", new), ("found.cir", now)):
        (folder / file).write_text(f"* {name} (invented)\n{text.format(**values)}.end\n")
    return open_speaker(folder)


@pytest.fixture(scope="module")
def stock():
    return open_stock(EXAMPLES / "stock.csv")


@pytest.fixture(scope="module")
def speakers(tmp_path_factory):
    root = tmp_path_factory.mktemp("made")
    found = {
        "attic left": open_speaker(ATTIC),
        "attic right": open_speaker(EXAMPLES / "attic-two-way" / "right"),
        "hall horn": open_speaker(HALL),
        "studio": open_speaker(STUDIO),
    }
    return found | {name: made(root / name, name) for name in MADE}


@pytest.fixture(scope="module")
def studies(speakers, stock):
    return {name: refresh(speaker, Catalogue(stock), GRID) for name, speaker in speakers.items()}


def test_few_parts_over_nine_speakers(studies):
    print(f"\n{'':22}worn parts nominal picked as bought")
    few = 0
    for name, study in studies.items():
        pick, worn = study.picked, WORN_CAPACITORS[name]
        print(f"{name:22}{worn:4d} {pick.parts:5d} {pick.nominal_db:7.2f} {pick.matched_db:6.2f} {pick.built_db:9.2f}")
        assert pick.nominal_db <= 0.5, name
        few += pick.parts <= worn + 1
    assert len(studies) == 9
    assert few >= 7


def test_nothing_healthy_is_bought_or_gets_a_resistor(speakers, studies):
    for name, study in studies.items():
        today = {p.name: p for p in speakers[name].network("found").parts}
        assert {e.part for e in study.exchanged if e.stays} >= HEALTHY[name], name
        after = {p.name: p for p in study.network.parts}
        for part in HEALTHY[name]:
            assert value_of(after[part]) == value_of(today[part])
            assert {after[part].a, after[part].b} == {today[part].a, today[part].b}


def test_the_case_table(studies):
    assert studies["all 2 % off"].picked.parts == 0
    assert studies["all 2 % off"].headline.startswith("leave it")
    assert 1 <= studies["one dry"].picked.parts <= 2
    assert studies["burnt pad"].picked.parts == 1
    assert [line.value for line in studies["burnt pad"].bill.lines] == [3.3]
    assert 2 <= studies["two papers"].picked.parts <= 3


def independent(speaker, network, bought, share=None, builds=2000, reference="original"):
    """Median over builds of the largest change of any drive within 20 dB of its highest, by draws and a solve of its
    own."""
    design = speaker.network(reference)
    f = FINE if bought else JUDGED  # where a drive begins to count lies on a row of the grid
    ohm = speaker.impedances_ohm(design, f)
    one = solve(design, f, ohm).drive
    rng = np.random.default_rng(90210)
    values = {}
    for part in network.parts:
        if part.name in bought:
            tolerance = tolerance_of(part) if share is None else min(share, tolerance_of(part))
            values[part.name] = value_of(part) * rng.uniform(1 - tolerance, 1 + tolerance, builds)
    drive = solve(network, f, ohm, values).drive
    heard = {k: np.abs(v) >= 0.1 * np.nanmax(np.abs(v)) for k, v in one.items()}
    if not bought:  # of one build both networks tell where a drive counts
        heard = {k: h | (np.abs(drive[k]) >= 0.1 * np.nanmax(np.abs(drive[k]))) for k, h in heard.items()}
    worst = [np.nanmax(np.abs(20 * np.log10(np.abs(drive[k] / one[k])))[..., heard[k]], axis=-1) for k in one]
    return float(np.median(np.max(worst, axis=0)))


@pytest.mark.parametrize("name", [n for n in WORN_CAPACITORS if n != "all 2 % off"])
def test_as_built_agrees_with_draws_of_its_own(speakers, studies, name):
    study = studies[name]
    bought = {n for line in study.bill.lines for n in line.names}
    # 200 builds tell a median of a spread of about 0.15 dB to 1.25 x 0.15 / sqrt(200) = 0.013 dB, one sigma.
    assert study.picked.built_db == pytest.approx(independent(speakers[name], study.network, bought), abs=0.04)
    matched = independent(speakers[name], study.network, bought, share=0.01)
    assert study.picked.matched_db == pytest.approx(matched, abs=0.03)
    if WORN_CAPACITORS[name]:  # a pad's resistor of 5 % does less than what the old parts do elsewhere
        assert study.picked.built_db > study.picked.nominal_db + 0.03


def test_each_step_is_nearer_than_those_of_fewer_parts_and_counts_what_it_buys(speakers, studies):
    for name, study in studies.items():
        steps = study.frontier
        assert [s.parts for s in steps] == sorted({s.parts for s in steps})
        assert all(b.nominal_db < a.nominal_db for a, b in pairwise(steps)), name
        for step in steps:
            assert sum(line.quantity for line in step.bill.lines) == step.parts
            assert step.cost == pytest.approx(sum(line.quantity * line.price for line in step.bill.lines))
            rebuilt = independent(speakers[name], step.network, set(), builds=1)
            assert step.nominal_db == pytest.approx(rebuilt, abs=0.01)


def test_one_part_more_never_brings_a_single_swap_nearer_than_the_frontier(speakers, stock, studies):
    """Every film of the list in the place of C1, by hand: none beats the step of one part."""
    speaker, study = speakers["one dry"], studies["one dry"]
    design, today = speaker.network("original"), speaker.network("found")
    (step,) = [s for s in study.frontier if s.parts == 1]
    ohm = speaker.impedances_ohm(design, FINE)
    one = solve(design, FINE, ohm).drive
    best = np.inf
    for item in stock.items:
        if item.dielectric == "film" and 4e-6 < item.value < 8e-6 and (item.quantity or 2) >= 2:
            new = Capacitor("C1", "in", "t", item.value, item.esr_ohm or 0.0, item.dissipation_factor or 0.0)
            network = speaker.network("found").__class__(
                today.title,
                tuple(new if p.name == "C1" else p for p in today.parts),
                today.drivers,
                today.channels,
                today.couplings,
            )
            drive = solve(network, FINE, ohm).drive
            best = min(best, max(np.nanmax(np.abs(20 * np.log10(np.abs(drive[k] / one[k])))) for k in one))
    assert step.nominal_db <= best + 0.01


def test_the_frontier_is_that_of_all_sets_by_brute_force(speakers, stock):
    """Four choices at each of three places of two sections: all 64 sets solved, and the nearest of each number."""
    speaker = speakers["attic left"]
    design, today = speaker.network("original"), speaker.network("found")
    f = log_grid(200, 20_000, 12)
    ohm, omega = speaker.impedances_ohm(design, f), 2 * np.pi * f
    reference = solve(design, f, ohm).drive
    films, resistors = stock.of(ItemKind.CAPACITOR, dielectric="film"), stock.of(ItemKind.RESISTOR)
    item = {i.value: i for i in reversed((*films, *resistors))}
    new = {
        "C1": [[(6.8e-6,)], [(6.8e-6, 0.33)], [(4.7e-6,), (2.2e-6,)]],
        "C2": [[(4.7e-6,)], [(4.7e-6, 0.27)], [(3.3e-6,), (1.5e-6, 0.1)]],
        "R1": [[(5.6,)], [(6.2,)], [(2.2, 3.3)]],
    }
    options = {p.name: [keep(today.part(p.name), omega)] for p in design.parts}
    for name, ways in new.items():
        legs = [tuple(tuple(item[v] for v in leg) for leg in way) for way in ways]
        options[name] += [build(name, Shape.SINGLE, way, omega) for way in legs]
    best = {}
    for some in product(*options.values()):
        z = {c.part: c.impedance_ohm for c in some}
        drive = solve(design, f, ohm, impedance_ohm=z).drive
        worst = max(np.max(np.abs(20 * np.log10(np.abs(drive[k] / reference[k])))) for k in reference)
        count = sum(len(c.items) for c in some)
        best[count] = min(worst, best.get(count, np.inf))
    job = Job(design, f, ohm, {k: 20 * np.log10(np.abs(v)) for k, v in reference.items()}, options)
    found = {one.parts: one.worst_db for one in frontier([job], 12)}
    nearest = np.inf
    for count in sorted(best):
        if best[count] < nearest - 1e-6:
            nearest = best[count]
            # The cheapest of those hardly farther off may stand for the nearest.
            assert nearest - 1e-6 <= found[count] <= max(1.1 * nearest, nearest + 0.01), count
    assert len(found) >= 5


@dataclass(frozen=True)
class Bare:
    parts: int
    nominal_db: float
    matched_db: float


@pytest.mark.parametrize(
    ("steps", "few", "tolerance_db", "picked"),
    [
        ([(0, 0.45, 0.45), (1, 0.1, 0.1)], 2, None, 0),  # not heard: nothing is bought
        ([(0, 2.5, 2.5), (1, 0.4, 0.42), (2, 0.2, 0.25)], 2, None, 2),  # 0.3 dB with few parts
        ([(0, 2.5, 2.5), (1, 0.4, 0.42), (5, 0.2, 0.25)], 2, None, 1),  # 0.3 dB takes many: 0.5 dB
        ([(0, 2.5, 2.5), (2, 0.56, 0.49), (3, 0.45, 0.48)], 3, None, 2),  # over 0.5 dB by marked values does not count
        ([(0, 2.5, 2.5), (2, 0.9, 0.95), (3, 0.7, 0.72), (6, 0.66, 0.68)], 3, None, 2),  # nothing does: near the best
        ([(0, 2.5, 2.5), (2, 0.4, 0.42), (6, 0.09, 0.1)], 3, 0.1, 2),
        ([(0, 2.5, 2.5), (2, 0.4, 0.42), (6, 0.2, 0.1)], 3, 0.1, 2),  # asked for more than can be had: the nearest
        # half a decibel that no new part takes away sells none
        ([(0, 0.53, 0.53), (2, 0.51, 0.49)], 1, None, 0),
    ],
)
def test_the_rule_of_the_pick(steps, few, tolerance_db, picked):
    assert pick_of([Bare(*step) for step in steps], few, tolerance_db) == picked


def test_a_lossy_leg_only_where_it_is_asked_for(speakers, studies, stock):
    for name, study in studies.items():
        for part in study.exchanged:
            legs = [p for p in study.network.parts if p.name.startswith((f"{part.part}b", f"R{part.part}"))]
            assert len(legs) <= 1, name
    near = refresh(speakers["attic left"], Catalogue(stock), GRID, tolerance_db=0.1)
    assert near.picked.parts > studies["attic left"].picked.parts
    assert near.refreshed.worst_db <= 0.1


def test_the_plain_swap_keeps_what_is_healthy(speakers, studies):
    for name, study in studies.items():
        today = {p.name: p for p in speakers[name].network("found").parts}
        for part in study.naive_network.parts:
            if part.name in HEALTHY[name]:
                assert value_of(part) == value_of(today[part.name])
            if isinstance(part, Inductor):
                assert part.dcr_ohm == today[part.name].dcr_ohm


def test_what_wears_out_goes_where_that_is_asked(speakers, stock):
    board = speakers["all 2 % off"]
    worn = refresh(board, Catalogue(stock), GRID, policy=Policy.WORN)
    assert {e.part for e in worn.exchanged if not e.stays} == {"C1", "C2", "C3"}
    kept = refresh(board, Catalogue(stock), GRID)
    (c1,) = [e for e in kept.exchanged if e.part == "C1"]
    assert "goes on ageing" in c1.sentence


def test_a_circuit_that_was_changed_is_not_called_good(tmp_path):
    speaker = made(tmp_path / "made", "all 2 % off")
    board = tmp_path / "made" / "found.cir"
    board.write_text(board.read_text().replace("Xhigh 0 t", "R9 t 0 4.7 watts=5\nXhigh 0 t"))
    study = refresh(open_speaker(speaker.file.folder), Catalogue(), GRID)
    assert study.rewired
    assert study.picked.parts == 0
    assert "wired otherwise" in study.headline


def test_a_reversed_tweeter_is_told_though_no_level_moves(tmp_path):
    speaker = made(tmp_path / "made", "two papers")  # no common time: no sum tells it
    board = tmp_path / "made" / "found.cir"
    assert not refresh(speaker, Catalogue(), GRID).rewired
    board.write_text(board.read_text().replace("Xhigh p 0", "Xhigh 0 p"))
    study = refresh(open_speaker(speaker.file.folder), Catalogue(), GRID)
    assert study.rewired
    assert "put that right first" in study.headline


@pytest.fixture(scope="module")
def pair(stock):
    left, right = open_speaker(ATTIC), open_speaker(EXAMPLES / "attic-two-way" / "right")
    return (
        left,
        right,
        refresh(left, Catalogue(stock), GRID, mate=right),
        refresh(right, Catalogue(stock), GRID, mate=left),
    )


def test_a_pair_is_built_alike_whichever_is_asked_for(pair):
    left, right, one, other = pair
    assert [(s.parts, s.nominal_db) for s in one.frontier] == [(s.parts, s.nominal_db) for s in other.frontier]
    assert one.bill == other.bill
    assert one.mate.netlist.splitlines()[1:] == other.netlist.splitlines()[1:]
    assert {e.part: e.fitted for e in one.exchanged} == {e.part: e.fitted for e in one.mate.exchanged}
    ends = [independent(s, n, set(), builds=1) for s, n in ((left, one.network), (right, one.mate.network))]
    assert one.picked.nominal_db == pytest.approx(max(ends), abs=0.01)
    assert max(ends) <= 0.5
    kept = {e.part for e in one.exchanged if e.stays}
    assert value_of(one.network.part("R2")) == value_of(left.network("found").part("R2"))
    assert "R2" in kept


def test_single_pieces_of_a_bin_are_sorted_into_pairs(tmp_path):
    bin_file = tmp_path / "bin.csv"
    rows = ["kind,value,tolerance,watts,volts,df,quantity"]
    rows += [f"film,{v}uF,1%,,250,0.0005,1" for v in (6.79, 6.83, 6.5, 4.71, 4.68)]
    rows += [f"resistor,{v},1%,20,,," for v in (5.6, 0.33, 0.27)]
    bin_file.write_text("\n".join(rows) + "\n")
    left, right = open_speaker(ATTIC), open_speaker(EXAMPLES / "attic-two-way" / "right")
    study = refresh(left, Catalogue(open_stock(bin_file)), GRID, mate=right)
    pairs = {name: [round(i.value * 1e6, 2) for i in both] for name, both in study.mate.pairs}
    assert pairs == {"C1": [6.79, 6.83], "C2": [4.68, 4.71]}
    assert study.network.part("C1").farad == pytest.approx(6.81e-6)
    alone = refresh(left, Catalogue(open_stock(bin_file)), GRID)
    assert {"C1", "C2"} <= {e.part for e in alone.exchanged if e.stays}  # one piece each: no pair alike


def test_two_designs_are_no_pair(speakers):
    from xover.errors import OptionError

    with pytest.raises(OptionError, match="not the same circuit in mate"):
        refresh(speakers["attic left"], Catalogue(), GRID, mate=speakers["hall horn"])


def test_old_parts_do_not_vary(studies):
    first = studies["attic left"].frontier[0]
    assert first.parts == 0
    assert first.built_db == first.matched_db == pytest.approx(first.nominal_db, abs=0.02)
    assert not any(
        isinstance(p, Resistor) and p.name.startswith("RL") for s in studies.values() for p in s.network.parts
    )
