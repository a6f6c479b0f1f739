"""The many states of a network at its terminals: exact slopes, and faults against networks that are really rewired."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from known_builds import SPEAKERS, catalogue, changed, with_fault

from xover.explain.faults import FaultKind, fault_states, polarity_faults
from xover.explain.terminals import NOMINAL, make_terminals, measured_driver
from xover.files.netlist import parse_netlist
from xover.network import build_network, solve

F = np.geomspace(25.0, 18e3, 23)


def terminals_of(name, network="original"):
    speaker = SPEAKERS[name]
    wired = speaker.network(network)
    shapes = {c.key: measured_driver(speaker.drivers[c.driver], F) for c in wired.drivers}
    return wired, make_terminals(wired, None, F, shapes)


@pytest.mark.parametrize("name", SPEAKERS)
def test_no_fault_is_the_network_itself(name):
    wired, terminals = terminals_of(name, "found")
    log_ohm, _ = terminals.look([NOMINAL], terminals.begin([NOMINAL]))
    expected = solve(wired, F, SPEAKERS[name].impedances_ohm(wired, F)).impedance_ohm["in"]
    # Only what the cards do not state is added: 0.05 ohm in each wet capacitor that states no fixed resistance.
    tolerance = 1e-6 if all(c.esr_ohm > 0 or c.kind == "film" for c in wired.capacitors) else 0.02
    np.testing.assert_allclose(np.exp(log_ohm[0]), expected, rtol=tolerance)


@pytest.mark.parametrize("name", SPEAKERS)
def test_slopes_are_those_of_differences(name):
    wired, terminals = terminals_of(name)
    states = [s.state for s in fault_states(wired, terminals)][:: max(1, len(wired.parts) // 2)]
    rng = np.random.default_rng(2)
    at = 0.1 * rng.normal(size=(len(states), len(terminals.knobs)))
    _, slopes = terminals.look(states, at)
    step = 1e-5
    for column, knob in enumerate(terminals.knobs):
        up, down = at.copy(), at.copy()
        up[:, column] += step
        down[:, column] -= step
        difference = (terminals.look(states, up)[0] - terminals.look(states, down)[0]) / (2 * step)
        size = np.abs(slopes[:, :, column]).max()
        assert size > 0, knob.name
        replaced = np.array([bool(s.drivers) for s in states])  # held fast there
        np.testing.assert_allclose(
            slopes[~replaced, :, column], difference[~replaced], atol=2e-5 * size + 1e-9, err_msg=knob.name
        )


@pytest.mark.parametrize("name", SPEAKERS)
def test_every_fault_is_what_rewiring_gives(name):
    wired, terminals = terminals_of(name)
    listed = {(s.fault.part, s.fault.told): s for s in fault_states(wired, terminals) if s.fault}
    ohm = SPEAKERS[name].impedances_ohm(wired, F)
    wanted = catalogue(wired)
    assert len(wanted) > 20
    states = []
    for kind, part, other in wanted:
        told = kind if other is None else f"swapped with {other}"
        states.append(listed[part, told].state)
    log_ohm, _ = terminals.look(states, terminals.begin(states))
    extra = terminals.nominal  # unstated resistance of wet capacitors is in both
    plain = wired
    for capacitor in wired.capacitors:
        plain = changed(plain, capacitor.name, esr_ohm=extra[f"{capacitor.name}_esr"])
    for row, fault in enumerate(wanted):
        broken = with_fault(plain, fault)
        if "value" in fault[0] and fault[1].startswith("C"):  # the fixed resistance goes with the size of the plates
            factor = 10.0 if "ten" in fault[0].split() else 0.1
            broken = changed(broken, fault[1], esr_ohm=extra[f"{fault[1]}_esr"] / factor)
        expected = solve(broken, F, ohm).impedance_ohm["in"]
        # A wire is a milliohm there, a tenth of it here; through the winding it counts by the square of the turns.
        rough = 2e-3 if fault[1] in ("L3", "horn") else 5e-4
        np.testing.assert_allclose(np.exp(log_ohm[row]), expected, rtol=rough, atol=2e-3, err_msg=str(fault))


def test_the_catalogue_names_each_fault_once_and_no_swap_of_equal_parts():
    wired = build_network(
        parse_netlist(
            "* t\nL1 in w 1mH dcr=0.3\nC1 w 0 10uF\nC2 in t 10uF\nR1 t p 2\nXlow w 0 woofer\nXhigh p 0 woofer\n"
        )
    )
    speaker = SPEAKERS["attic-two-way/left"]
    shapes = {c.key: measured_driver(speaker.drivers["woofer"], F) for c in wired.drivers}
    states = fault_states(wired, make_terminals(wired, None, F, shapes))
    assert states[0].fault is None
    faults = [s.fault for s in states if s.fault is not None and s.fault.kind is not FaultKind.OTHER_VALUE]
    assert len(faults) == len(set(faults)) == 4 * 4 + 2 * 2  # open, short, two decades; two drivers open or shorted
    assert not [f for f in faults if f.kind is FaultKind.SWAPPED]
    assert [f.part for f in polarity_faults(wired)] == ["low", "high"]
    assert not any(f.seen_at_terminals for f in polarity_faults(wired))


def test_coils_on_one_core_move_together():
    _, terminals = terminals_of("hall-horn-two-way")
    core = next(k for k in terminals.knobs if len(k.acts_on) == 2 and k.name == "L2")
    assert core.acts_on == ("L2", "L3")
    assert "L3" not in [k.name for k in terminals.knobs]
    assert "K1" in [k.name for k in terminals.knobs]
