"""Values, intervals and verdicts on invented cases: the small sister of tests/benchmarks/test_infer_coverage.py.

And what is seen, what trades with what, what to measure next, and which neighbour explains a wrong drawing.
"""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from infer_cases import (
    aged,
    case,
    circuit,
    errors,
    formula_drivers,
    instead,
    measured,
    opened,
    shorted,
    unplugged,
)

from xover.curve import Curve, Unit, log_grid
from xover.explain.problem import Jig
from xover.explain.sweeps import SweepPlace
from xover.explain.topology import Fault, neighbours
from xover.explain.unknowns import Prior
from xover.files.netlist import parse_netlist
from xover.network import build_network, value_of
from xover.studies.aged.infer.study import infer_network

PAD, THREE, THIRD = (
    circuit(n) for n in ("two-way-second-order-l-pad", "three-way-second-order", "two-way-third-order")
)
WIDE = log_grid(10.0, 20e3, 24)
DRIVERS = formula_drivers(WIDE)
CURVES = {name: Curve(WIDE, z, Unit.OHM) for name, z in DRIVERS.items()}


@pytest.fixture(scope="module")
def right():
    out = []
    for number in range(6):
        one = case((PAD, THREE, THIRD)[number % 3], 810_000 + number, drivers=formula_drivers, frequency_hz=WIDE)
        out.append((one, infer_network(one.drawn, one.drivers, [one.sweep])))
    return out


def test_intervals_hold_the_truth_and_are_not_idle(right):
    found = [e for one, study in right for e in errors(study, one.true)]
    assert len(found) == 40
    # Of 40 at 95 %, 32 or fewer would come up once in a thousand.
    assert sum(e.covered for e in found) >= 33
    # A third of the width would hold two thirds at the most: so the intervals are no wider than they need be.
    narrow = 0
    for one, study in right:
        for part in study.parts:
            truth = value_of(one.true.part(part.name))
            narrow += abs(np.log(part.own.value / truth)) < np.log(part.own.high / part.own.low) / 12
    assert 5 <= narrow <= 27


def test_capacitors_and_coils_are_near(right):
    found = [e for one, study in right for e in errors(study, one.true)]
    assert np.median([abs(e.relative) for e in found if e.kind == "C" and e.part in ("C2", "C4")]) < 0.02
    assert np.median([abs(e.relative) for e in found if e.part == "L1"]) < 0.02


def test_right_networks_fit_and_the_gain_is_found(right):
    assert [study.topology_fits for _, study in right] == [True] * 6
    for _, study in right:
        assert study.measurement.noise.either == pytest.approx(0.01, rel=0.15)
        assert study.measurement.gain == pytest.approx(1.0, abs=0.04)
        assert study.netlist is not None
        assert not study.rivals
    # The gain is known to 0.4 % where no driver can have changed since its sweep, and no better where they may have.
    one, study = right[0]
    still = infer_network(one.drawn, one.drivers, [one.sweep], jig=Jig(drift_sd=0.0))
    assert still.measurement.gain_error < 0.004 < study.measurement.gain_error


@pytest.mark.parametrize(
    ("drawn", "change", "explained"),
    [
        (PAD, opened("R2"), "R2 open"),
        (PAD, unplugged("tweeter"), "tweeter disconnected"),
        (circuit("two-way-second-order"), instead("two-way-third-order"), None),
    ],
)
def test_wrong_networks_are_told_and_the_neighbour_that_fits_is_found(drawn, change, explained):
    one = case(drawn, 820_000, drivers=formula_drivers, change=change, frequency_hz=WIDE)
    study = infer_network(one.drawn, one.drivers, [one.sweep])
    assert not study.topology_fits
    assert not study.numbers_given
    assert all(np.isnan(part.own.value) for part in study.parts)
    assert study.netlist is None
    assert "does not fit" in study.headline
    fitting = [rival for rival in study.rivals if rival.test.fits]
    if explained is None:
        assert not fitting
        assert any("No neighbour fits" in s for s in study.sentences)
    else:
        assert explained in [rival.neighbour.words for rival in fitting if rival.tied]
        assert study.rivals[0].log_evidence == 0.0
        drawn_one = next(r for r in study.rivals if r.neighbour.fault is Fault.NONE)
        assert drawn_one.log_evidence < -3.0


def test_numbers_of_a_wrong_network_only_by_force():
    one = case(
        circuit("two-way-second-order"), 820_001, drivers=formula_drivers, change=shorted("L1"), frequency_hz=WIDE
    )
    study = infer_network(one.drawn, one.drivers, [one.sweep], force_numbers=True)
    assert not study.topology_fits
    assert all(part.own.value > 0 for part in study.parts)
    assert "do not trust" in study.headline
    assert study.netlist is not None


def test_the_drawn_network_wins_when_it_is_right():
    one = case(PAD, 820_002, drivers=formula_drivers, frequency_hz=WIDE)
    study = infer_network(one.drawn, one.drivers, [one.sweep], try_neighbours=True)
    assert study.rivals[0].neighbour.fault is Fault.NONE
    assert study.tried > 10
    assert any("polarity" in s for s in study.sentences)


def test_neighbours_are_all_there():
    words = [n.words for n in neighbours(PAD)]
    assert {"C1 open", "C1 shorted", "R1 and R2 swapped", "tweeter disconnected", "woofer disconnected"} <= set(words)
    # L1 and L2 are both 1 mH, C1 and C2 both 3.9 uF: to swap them changes nothing.
    assert len(words) == 6 + 6 + 1 + 2
    moved = next(n for n in neighbours(PAD) if n.words == "R1 and R2 swapped").network
    assert (moved.part("R1").a, moved.part("R1").b) == ("p", "0")
    assert moved.part("R1").ohm == 3.0


SERIES = build_network(
    parse_netlist("* Two resistors in series\nL1 in a 1mH dcr=0.3 core=air\nR1 a b 2\nR2 b w 3\nXlow w 0 woofer\n")
)


def test_two_resistors_in_series_show_their_sum_only():
    true = replace(SERIES, parts=tuple(replace(p, ohm=2.6) if p.name == "R1" else p for p in SERIES.parts))
    sweep = measured(true, DRIVERS, WIDE, np.random.default_rng(1), 0.003, 0.0)
    study = infer_network(SERIES, CURVES, [sweep], jig=Jig(lead_ohm=0.0))
    assert study.topology_fits
    assert [p.name for p in study.parts if not p.own.seen] == ["R1", "R2"]
    group = next(c for c in study.confusions if "R1" in c.names)
    assert {"R1", "R2"} <= set(group.names)
    assert "R1 plus R2" in group.sentence or "their sum" in group.sentence
    # The truth is 5.6 ohm; what is said of the sum is near it though neither part is.
    said = float(group.sentence.split(", ")[-1].split(" ohm")[0])
    assert said == pytest.approx(5.6, rel=0.04)
    assert study.part("L1").own.seen
    # Nothing but lifting a leg will tell: no sweep can.
    assert any("lift one end" in s for s in study.sentences)


def test_the_sweep_that_is_asked_for_does_what_it_promised():
    random = np.random.default_rng(2)
    true = aged(THREE, random)
    first = measured(true, DRIVERS, WIDE, random)
    alone = infer_network(THREE, CURVES, [first])
    asked = next(s for s in alone.next_sweeps if s.where is SweepPlace.DISCONNECTED)
    more = measured(true, DRIVERS, WIDE, random, where=asked.where, driver=asked.driver)
    both = infer_network(THREE, CURVES, [first, more])

    def widths(study):
        return {p.name: np.log(p.own.high / p.own.low) / 2 / 1.96 for p in study.parts}

    before, after = widths(alone), widths(both)
    assert max(after.values()) < 0.9 * max(before.values())
    for name, promised in asked.by_part.items():
        assert after[name] == pytest.approx(promised, rel=0.5), name
        assert after[name] <= before[name] * 1.1
    assert sum(e.covered for e in errors(both, true)) >= 6
    best = alone.next_sweeps[0]
    assert best.helps
    assert f"give it as {best.where} {best.driver}=FILE" in " ".join(alone.sentences)


def test_other_sweeps_are_used():
    random = np.random.default_rng(3)
    true = aged(PAD, random)
    first = measured(true, DRIVERS, WIDE, random)
    alone = infer_network(PAD, CURVES, [first])
    for where, driver in ((SweepPlace.SHORTED, "tweeter"), (SweepPlace.RATIO, "tweeter")):
        more = measured(true, DRIVERS, WIDE, random, where=where, driver=driver)
        both = infer_network(PAD, CURVES, [first, more])
        assert both.topology_fits
        for part in ("R1", "R2", "L2"):
            narrow, wide = both.part(part).own, alone.part(part).own
            assert np.log(narrow.high / narrow.low) < np.log(wide.high / wide.low)
        assert sum(e.covered for e in errors(both, true)) >= 5


def test_a_shared_error_of_all_sweeps_is_hidden_unless_it_is_allowed_for():
    """A jig that reads 2 % high everywhere makes every ohm and henry 2 % high and each farad 2 % low."""
    random = np.random.default_rng(4)
    true = aged(PAD, random)
    sweep = measured(true, DRIVERS, WIDE, random, 0.003, 0.0)
    high = replace(sweep, curve=replace(sweep.curve, value=1.02 * sweep.curve.value))
    curves = {name: Curve(WIDE, 1.02 * z, Unit.OHM) for name, z in DRIVERS.items()}
    plain = infer_network(PAD, CURVES, [sweep], jig=Jig(lead_ohm=0.0))
    scaled = infer_network(PAD, curves, [high], jig=Jig(lead_ohm=0.0))
    assert scaled.part("L1").own.value / plain.part("L1").own.value == pytest.approx(1.02, abs=0.002)
    assert scaled.part("C2").own.value / plain.part("C2").own.value == pytest.approx(1 / 1.02, abs=0.003)
    assert any("a scale error of 1 %" in w for w in scaled.warnings)
    told = infer_network(PAD, curves, [high], jig=Jig(lead_ohm=0.0, scale_sd=0.02))
    allowed = told.part("L1").own
    assert allowed.low < value_of(true.part("L1")) < allowed.high
    assert not any("a scale error of 1 %" in w for w in told.warnings)


def test_leads_are_found_or_taken_as_stated():
    random = np.random.default_rng(5)
    true = aged(PAD, random)
    sweep = measured(true, DRIVERS, WIDE, random, 0.003, 0.0)
    with_leads = replace(sweep, curve=replace(sweep.curve, value=sweep.curve.value + 0.15))
    truth = true.part("L1").dcr_ohm
    stated = infer_network(PAD, CURVES, [with_leads], jig=Jig(lead_ohm=0.15))
    assert stated.measurement.lead_ohm == 0.15
    assert stated.part("L1").losses["dcr"].value == pytest.approx(truth, abs=0.03)
    fitted = infer_network(PAD, CURVES, [with_leads], jig=Jig(drift_sd=0.0))
    both = fitted.part("L1").losses["dcr"].value + fitted.measurement.lead_ohm
    assert both == pytest.approx(truth + 0.15, abs=0.03)
    assert any("L1_dcr" in c.names and "lead" in c.names for c in fitted.confusions)


def test_hum_is_told_and_does_no_harm():
    random = np.random.default_rng(6)
    true = aged(PAD, random)
    sweep = measured(true, DRIVERS, WIDE, random)
    value = sweep.curve.value.copy()
    for k in range(1, 7):
        value[np.argmin(np.abs(WIDE - 60.0 * k))] *= 1.4
    clean = infer_network(PAD, CURVES, [sweep])
    study = infer_network(PAD, CURVES, [replace(sweep, curve=replace(sweep.curve, value=value))])
    assert study.topology_fits
    assert any("multiples of 60 Hz" in w for w in study.warnings)
    assert not any("hum" in w for w in clean.warnings)
    for part, before in zip(study.parts, clean.parts, strict=True):
        # A tenth of the interval, that is 0.4 standard deviations.
        moved = abs(np.log(part.own.value / before.own.value))
        assert moved < 0.1 * np.log(before.own.high / before.own.low)


def test_a_sweep_without_phase_sees_less():
    random = np.random.default_rng(7)
    true = aged(PAD, random)
    sweep = measured(true, DRIVERS, WIDE, random)
    bare = Curve(WIDE, np.abs(sweep.curve.value) + 0j, Unit.OHM, has_phase=False)
    noise = replace(sweep.noise, phase_rad=float("nan"))
    whole = infer_network(PAD, CURVES, [sweep])
    half = infer_network(PAD, CURVES, [replace(sweep, curve=bare, noise=noise)])
    assert half.topology_fits
    for part in half.parts:
        wide, narrow = part.own, whole.part(part.name).own
        assert np.log(wide.high / wide.low) > np.log(narrow.high / narrow.low)
    assert any("no phase" in w for w in half.warnings)
    assert half.measurement.causality.causal is None


def test_priors_widen_and_narrow():
    random = np.random.default_rng(8)
    sweep = measured(PAD, DRIVERS, WIDE, random)  # all as marked

    def width(prior):
        own = infer_network(PAD, CURVES, [sweep], prior=prior).part("R1").own
        assert own.low < 3.0 < own.high
        return np.log(own.high / own.low)

    assert width(Prior.USUAL) < width(Prior.ANY) < width(Prior.NONE)
    strange = replace(PAD, parts=tuple(replace(p, henry=1.6e-3) if p.name == "L2" else p for p in PAD.parts))
    told = infer_network(PAD, CURVES, [measured(strange, DRIVERS, WIDE, random)], prior=Prior.USUAL)
    assert any("use the prior 'any'" in w for w in told.warnings)
