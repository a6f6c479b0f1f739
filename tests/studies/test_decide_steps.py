"""The steps of decide one by one: wires, pads, mending, and that what is written is what was judged.

The speakers are those of tests/advice, invented, with formulas of their own.
"""

import json
import math
import re
import shlex
import shutil
import sys
from contextlib import chdir
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "advice"))
from advice_run import command, stock_beside
from cases import HALVED, HORN, POOR, SHELF, THREE, TURNED, TURNED_HORN

from xover.curve import log_grid
from xover.files.stock import ItemKind
from xover.network import solve
from xover.network.retouch import turned
from xover.parts.catalogue import Catalogue
from xover.parts.stock import open_stock
from xover.rules.triage import Rung, Wants
from xover.speaker import open_speaker
from xover.studies.bears.stress.study import study_stress
from xover.studies.change.decide.mending import nearest_item, with_part
from xover.studies.change.decide.pads import best_pad
from xover.studies.change.decide.setup import SpeakerWith, make_bench
from xover.studies.change.decide.study import set_up, work_out
from xover.studies.change.decide.wires import best_turned

STOCK = Path(__file__).parents[2] / "examples" / "stock.csv"
GRID = log_grid(20.0, 20_000.0, 24)
JUDGED = (GRID >= 200.0) & (GRID <= 15_000.0)
HOT = {"R1": "t p 1.5 watts=20 tol=5%", "R2": "p 0 8.2 watts=20 tol=5%"}
"""The horn's pad, of two sizes that leave it about 5 dB hot."""


@pytest.fixture(scope="module")
def catalogue():
    return Catalogue(open_stock(STOCK))


def opened(made, tmp_path):
    return open_speaker(made.write(tmp_path))


# --- an independent solve ----------------------------------------------------------------------------------------

SUFFIXES = {"uF": 1e-6, "nF": 1e-9, "mH": 1e-3, "uH": 1e-6, "": 1.0}


def number(word):
    digits, suffix = re.fullmatch(r"([\d.]+)([a-zA-Z]*)", word).groups()
    return float(digits) * SUFFIXES[suffix]


def sum_db(netlist, drivers, f):
    """(n,) dB: node voltages by admittances, from one ideal volt at `in`, times the formulas of the drivers."""
    cards = [line.split(";")[0].split() for line in netlist.splitlines()]
    cards = [words for words in cards if words and words[0][0] in "RLCX"]
    nodes = sorted({n for words in cards for n in words[1:3]} - {"0", "in"})
    y, s = np.zeros((f.size, len(nodes), len(nodes)), complex), 2j * np.pi * f
    current = np.zeros((f.size, len(nodes)), complex)
    for name, a, b, what, *said in cards:
        more = dict(word.split("=") for word in said)
        assert not {"df", "loss", "esr"} & more.keys()
        if name[0] == "X":
            admittance = 1.0 / drivers[what].impedance(f)
        elif name[0] == "C":
            admittance = s * number(what)
        else:
            z = number(what) * (s if name[0] == "L" else 1.0) + float(more.get("dcr", "0"))
            admittance = 1.0 / z * np.ones_like(s)
        for one, other in ((a, b), (b, a)):
            if one in nodes:
                y[:, nodes.index(one), nodes.index(one)] += admittance
                if other in nodes:
                    y[:, nodes.index(one), nodes.index(other)] -= admittance
                elif other == "in":
                    current[:, nodes.index(one)] += admittance
    volts = np.linalg.solve(y, current[..., None])[..., 0]
    at = {n: volts[:, i] for i, n in enumerate(nodes)} | {"0": np.zeros_like(s), "in": np.ones_like(s)}
    heard = [(at[a] - at[b]) * drivers[what].pressure(f) for name, a, b, what, *_ in cards if name[0] == "X"]
    return 20.0 * np.log10(np.abs(np.sum(heard, axis=0)))


def half_range(level_db):
    return np.ptp(level_db[JUDGED]) / 2.0


# --- pads --------------------------------------------------------------------------------------------------------

IDEAL = replace(
    HORN.marked(C1="w 0 12uF kind=film volts=250 tol=5%", C2="in t 4.7uF kind=film volts=250 tol=5%"),
    amplifier={"minimum_load_ohm": 4, "rated_power_w": 50, "rated_load_ohm": 8},
)
"""The horn speaker with capacitors that lose nothing, on an amplifier that is an ideal source."""


def test_a_pad_takes_what_the_horn_is_hot(tmp_path, catalogue):
    good, hot = (opened(made, tmp_path / str(i)) for i, made in enumerate((IDEAL, IDEAL.marked(**HOT))))
    f = GRID[GRID > 3000.0]
    drives = [solve(s.network("found"), f, s.impedances_ohm(s.network("found"), f)).drive["horn"] for s in (good, hot)]
    too_loud = float(np.mean(20.0 * np.log10(np.abs(drives[1] / drives[0]))))
    assert 4.0 < too_loud < 6.0
    pad = best_pad(hot, hot.network("found"), catalogue)
    assert pad.key == "horn"
    assert pad.level_db == pytest.approx(-too_loud, abs=1.0)
    assert 1 <= len(pad.names) <= 2
    assert not pad.added  # the pad that is there is changed
    assert [n for n, _ in pad.items] == list(pad.names)
    for name, item in pad.items:
        assert (item.kind, item.value) == (ItemKind.RESISTOR, pad.network.part(name).ohm)


def test_what_is_trimmed_is_what_an_independent_solve_gives(tmp_path, catalogue):
    hot = IDEAL.marked(**HOT)
    case = set_up(opened(hot, tmp_path), catalogue, frequency_hz=GRID)
    option = work_out(case, Rung.TRIM)
    before = sum_db((tmp_path / "speaker" / "found.cir").read_text(), hot.drivers, GRID)
    after = sum_db(option.netlist, hot.drivers, GRID)
    # Tables of 12 rows an octave with three decimals are read between their rows.
    np.testing.assert_allclose(option.level_db[JUDGED], after[JUDGED], atol=0.05)
    gain = half_range(before) - half_range(after)
    assert option.gain(Wants.SOUND).value_db == pytest.approx(gain, abs=0.1)
    assert gain > 1.5
    assert option.parts == len(option.bill.lines) > 0
    assert "the horn is" in option.what
    assert "dB hot" in option.what


def test_a_driver_without_a_pad_gets_one(tmp_path, catalogue):
    bare = SHELF.marked(R1=None, R2=None, Xhigh="t 0 tweeter").driver("tweeter", sensitivity_db=94.0)
    speaker = opened(bare, tmp_path)
    network = speaker.network("found")
    pad = best_pad(speaker, network, catalogue)
    assert (pad.key, pad.added) == ("tweeter", True)
    assert pad.level_db < -2.0
    assert set(pad.names).isdisjoint(p.name for p in network.parts)
    assert pad.network.driver_card("tweeter").plus not in {n for p in network.parts for n in (p.a, p.b)}


@pytest.mark.parametrize("rated_power_w", [20, 200, 1e5])
def test_resistors_are_the_cheapest_that_stand_the_amplifier(rated_power_w, tmp_path):
    sizes, prices = (1, 1.5, 2.2, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2, 10), {2: 0.2, 10: 0.5, 50: 2.0}
    rows = [f"resistor,{ohm},5%,{price},{watts},,,,\n" for ohm in sizes for watts, price in prices.items()]
    path = tmp_path / "list.csv"
    path.write_text("kind,value,tolerance,price,watts,volts,dcr_ohm,df,core\n" + "".join(rows))
    amplifier = {"rated_power_w": rated_power_w, "rated_load_ohm": 8}
    speaker = opened(replace(IDEAL.marked(**HOT), amplifier=amplifier), tmp_path)
    pad = best_pad(speaker, speaker.network("found"), Catalogue(open_stock(path)))
    padded = SpeakerWith(speaker.file, speaker.drivers, {"pad": pad.network})
    needed = {name: rating.needed for name, rating in study_stress(padded, "pad").ratings.items()}
    for name, item in pad.items:
        # Where none is strong enough the size is told all the same, and the judge says what it bears.
        enough = [watts for watts in prices if watts >= needed[name]]
        assert item.watts == min(enough, default=2), needed
        assert bool(enough) is (rated_power_w < 1e5)


def test_where_the_levels_fit_there_is_no_pad(tmp_path, catalogue):
    for at, made in enumerate((SHELF, IDEAL)):
        speaker = opened(made, tmp_path / str(at))
        assert best_pad(speaker, speaker.network("found"), catalogue) is None


def test_without_a_common_time_there_is_no_pad(tmp_path, catalogue):
    speaker = opened(replace(IDEAL.marked(**HOT), timing="unknown"), tmp_path)
    assert best_pad(speaker, speaker.network("found"), catalogue) is None
    assert not work_out(set_up(speaker, catalogue, frequency_hz=GRID), Rung.TRIM).available


# --- wires -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("made", "wanted"),
    [
        (SHELF, ()),
        (TURNED, ("tweeter",)),
        (TURNED_HORN, ("horn",)),
        (THREE, ()),
        (THREE.found(Xmid="m3 0 mid"), ("mid",)),
        (THREE.found(Xmid="m3 0 mid", Xhigh="0 t2 tweeter"), ("mid", "tweeter")),
    ],
)
def test_ways_wired_in_reverse_are_found_as_by_trying_all(made, wanted, tmp_path):
    speaker = opened(made, tmp_path)
    network = speaker.network("found")
    keys = best_turned(make_bench(speaker, None, network, GRID, 1), network)
    assert keys == wanted
    drive = solve(network, GRID, speaker.impedances_ohm(network, GRID)).drive
    first, *others = made.drivers
    strays = {}
    for signs in product((1.0, -1.0), repeat=len(others)):
        each = zip((first, *others), (1.0, *signs), strict=True)
        heard = sum(sign * drive[n] * made.drivers[n].pressure(GRID) for n, sign in each)
        swapped = tuple(n for n, sign in zip(others, signs, strict=True) if sign < 0.0)
        strays[swapped] = half_range(20.0 * np.log10(np.abs(heard)))
    assert min(strays, key=strays.get) == wanted


def test_two_wires_swapped_are_swapped_and_nothing_else(tmp_path):
    network = opened(THREE, tmp_path).network("found")
    other = turned(network, ("mid",))
    assert other.parts == network.parts
    (changed,) = (
        (a, b) for a, b in zip(network.drivers, other.drivers, strict=True) if (a.plus, a.minus) != (b.plus, b.minus)
    )
    assert (changed[0].key, changed[1].plus, changed[1].minus) == ("mid", changed[0].minus, changed[0].plus)
    assert turned(other, ("mid",)) == network


# --- the odd driver ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("money", [None, 0])
def test_where_money_is_limited_no_driver_without_a_price_is_bought(money, tmp_path, catalogue):
    """The woofers of the attic's two cabinets are not of one kind."""
    shutil.copytree(STOCK.parent / "attic-two-way", tmp_path / "attic")
    folder = tmp_path / "attic" / "left"
    if money is not None:
        path = folder / "speaker.toml"
        path.write_text(f"{path.read_text()}\n[means]\nmoney = {money}\n")
    right = folder.parent / "right"
    case = set_up(open_speaker(folder), catalogue, mate=right, frequency_hz=GRID)
    option = work_out(case, Rung.DRIVER)
    remedies = option.study.remedies
    accepted = remedies[0].left_db
    bought = [r for r in remedies if r.parts + r.drivers and r.left_db < accepted - 1.5]
    assert bought, "what is bought would do better"
    assert math.isnan(option.cost_for_pair) is (money is None)
    best = min(r.left_db for r in remedies if money is None or not r.parts + r.drivers)
    assert option.gain(Wants.SOUND).value_db == pytest.approx(accepted - best, abs=0.01)


# --- mending -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "broken",
    [
        {"C2": None, "RC2": "in t 0.05"},  # shorted
        {"C2": "in t 20nF"},  # open
        {"C2": None, "R9": "in t 0.05", "C9": "t in 1nF"},
    ],
)
def test_a_part_as_the_design_has_it(broken, tmp_path):
    speaker = opened(SHELF.found(**broken), tmp_path)
    design, found = speaker.network("original"), speaker.network("found")
    mended = with_part(found, design.part("C2"), design)
    assert sorted(mended.parts, key=lambda p: p.name) == sorted(design.parts, key=lambda p: p.name)
    assert mended.drivers == found.drivers


def test_mending_leaves_what_is_aged_as_it_is(tmp_path):
    speaker = opened(SHELF.found(C2=None, R9="in t 0.05", C1="w 0 7uF"), tmp_path)
    design, found = speaker.network("original"), speaker.network("found")
    mended = with_part(found, design.part("C2"), design)
    assert mended.part("C1") == found.part("C1") != design.part("C1")


def test_the_nearest_item_and_the_cheapest_of_equals(tmp_path):
    path = tmp_path / "list.csv"
    path.write_text(
        "kind,value,tolerance,price,watts,volts,dcr_ohm,df,core\n"
        "film,4uF,5%,1.0,,250,,,\nfilm,5uF,5%,9.0,,250,,,\nfilm,5uF,5%,3.0,,400,,,\n"
        "resistor,5,5%,0.5,10,,,,\nresistor,1,5%,0.5,10,,,,\ninductor,0.3mH,3%,5.0,,,0.3,,air\n"
    )
    catalogue = Catalogue(open_stock(path))
    network = opened(SHELF, tmp_path).network("original")

    def nearest(name):
        return [(item.value, item.price) for item in nearest_item(network.part(name), catalogue)]

    assert nearest("C2") == [(5e-6, 3.0)]  # 4.7 uF
    assert nearest("R1") == [(5.0, 0.5)]  # 2.7 ohm: by ratio, not by difference
    assert nearest("L2") == [(pytest.approx(0.3e-3), 5.0)]
    path.write_text("kind,value,tolerance,price,watts,volts,dcr_ohm,df,core\nresistor,8,5%,0.5,10,,,,\n")
    assert nearest_item(network.part("C2"), Catalogue(open_stock(path))) == ()


# --- what is written ---------------------------------------------------------------------------------------------


def cards(netlist):
    lines = (line.split(";")[0].split() for line in netlist.splitlines())
    return sorted(words for words in lines if words and words[0][0] not in "*.")


@pytest.mark.parametrize(
    ("made", "step", "skip"),
    [
        (SHELF.found(C2=None, RC2="in t 0.05"), "mend", "revalue,redesign"),
        (TURNED, "mend", "revalue,redesign"),
        (TURNED_HORN, "rewire", "revalue,redesign"),
        (HORN.marked(**HOT), "trim", "revalue,redesign"),
        (HALVED, "refresh", "revalue,redesign"),
        (POOR, "revalue", "redesign"),
        (POOR, "redesign", "revalue"),
    ],
)
def test_what_is_written_is_what_the_ladder_says(made, step, skip, tmp_path):
    folder = made.write(tmp_path)
    asked = ("decide", folder.name, "--stock", stock_beside(folder), "--skip", skip)
    with chdir(tmp_path):
        (said,) = (s for s in json.loads(command(*asked, "--json"))["ladder"] if s["rung"] == step)
        before = {path.name for path in folder.glob("*.cir")}
        words = shlex.split(said["command"])
        assert words[:3] == ["xover", "decide", folder.name]
        assert words[words.index("--take") + 1] == step
        command(*words[1:], "--skip", skip)
    (new,) = {path.name for path in folder.glob("*.cir")} - before
    assert cards((folder / new).read_text()) == cards(said["netlist"])
    assert cards(said["netlist"]) != cards((folder / "found.cir").read_text())
    assert math.isfinite(said["minutes"])
