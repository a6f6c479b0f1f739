"""The build order: readings by hand, sweeps by formulas written out here, bands by building at random."""

import math

import numpy as np
import pytest

from xover.bench.build_steps import build_order
from xover.bench.sweep_checks import sweep_check
from xover.curve import log_grid
from xover.judge.safety import is_short
from xover.plain import to_plain

GRID = log_grid(20.0, 20_000.0, 12)


@pytest.fixture(scope="module")
def order(attic):
    return build_order(attic.network("original"), attic, frequency_hz=GRID, name="original")


def steps_of(order):
    return {step.parts: step for section in order.sections for step in section.steps if step.parts}


def test_shunts_come_first_and_capacitors_before_what_hides_them(order):
    assert [s.name for s in order.sections] == ["woofer section", "tweeter section"]
    assert [s.parts for one in order.sections for s in one.steps] == [
        ("C1",),
        ("L1",),
        (),
        ("L2",),
        ("R2",),
        ("R1",),
        ("C2",),
        (),
    ]
    assert order.sections[1].reason == (
        "L2 and R2 first, to the minus rail, while little lies beside them; then R1 and C2, from the driver back to "
        "the amplifier"
    )
    assert [s.number for one in order.sections for s in one.steps] == list(range(1, 9))


def test_readings_by_hand(order, attic):
    """Original: L1 0.48 ohm; R1 5.6 ohm beside L2 0.38 and R2 15 ohm; Re is the sweeps' lowest resistance."""
    re = {name: d.impedance.value.real.min() for name, d in attic.drivers.items()}
    steps = steps_of(order)
    assert steps["L1",].checks[0].expected_ohm == pytest.approx(0.48, rel=1e-12)
    # DCR within 10 %, the meter 1 % and 0.1 ohm.
    assert steps["L1",].checks[0].low_ohm == pytest.approx(0.48 * 0.9 * 0.99 - 0.1, rel=1e-12)
    assert steps["L1",].checks[0].high_ohm == pytest.approx(0.48 * 1.1 * 1.01 + 0.1, rel=1e-12)
    assert steps["L2",].checks[0].expected_ohm == pytest.approx(0.38, rel=1e-12)
    assert steps["R2",].checks[0].expected_ohm == pytest.approx(15.0, rel=1e-12)
    around = 1.0 / (1.0 / 5.6 + 1.0 / 15.38)
    r1 = steps["R1",].checks[0]
    assert r1.expected_ohm == pytest.approx(around, rel=1e-12)
    assert r1.between == ("t", "p")
    assert "15 ohm is a bad joint, near 0 is a short" in r1.sentence
    for name in ("C1", "C2"):
        assert steps[name,].checks[0].expected_ohm == math.inf
        assert "a low reading that stays is a short" in steps[name,].checks[0].sentence
    across = {c.between[0]: c.expected_ohm for c in order.whole_dc}
    assert across["in"] == pytest.approx(0.48 + re["woofer"], rel=1e-12)
    assert across["woofer plus"] == pytest.approx(re["woofer"], rel=1e-12)
    assert across["tweeter plus"] == pytest.approx(1 / (1 / re["tweeter"] + 1 / 15 + 1 / 5.98), rel=1e-12)


def test_what_an_ohmmeter_does_not_tell_is_measured_first(order):
    steps = steps_of(order)
    assert steps["C1",].before == "measure first: C1 6.8 uF (6.1 uF to 7.5 uF)"
    assert steps["L1",].before == "measure first: L1 1.8 mH (1.6 mH to 2 mH), 0.48 ohm"
    assert steps["R1",].before == ""


def woofer_section(f, z_woofer, henry=1.8e-3, dcr=0.48, farad=6.8e-6, df=0.06):
    """|Z| of the woofer's section, written out."""
    w = 2.0 * np.pi * f
    shunt = (df - 1j) / (w * farad)
    behind = shunt if z_woofer is None else shunt * z_woofer / (shunt + z_woofer)
    return np.abs(dcr + 1j * w * henry + behind)


def test_the_first_section_is_swept_alone(order, attic):
    """Its lowest and its peak, on a grid a hundred times finer than the study's."""
    fine = np.geomspace(20.0, 20_000.0, 60_000)
    z = woofer_section(fine, attic.drivers["woofer"].impedance.at(fine))
    plugged, bare = order.sections[0].sweeps
    lowest, peak = plugged.points
    row = int(np.argmin(z))
    assert (lowest.impedance_ohm, lowest.frequency_hz) == (
        pytest.approx(z[row], rel=1e-5),
        pytest.approx(fine[row], rel=2e-3),
    )
    near = (fine > 30.0) & (fine < 100.0)
    assert peak.impedance_ohm == pytest.approx(z[near].max(), rel=1e-5)
    alone = woofer_section(fine, None)
    assert bare.points[0].impedance_ohm == pytest.approx(alone.min(), rel=1e-5)
    # df sqrt(L/C) + dcr at 1/(2 pi sqrt(L C)).
    assert alone.min() == pytest.approx(0.48 + 0.06 * math.sqrt(1.8e-3 / 6.8e-6), rel=2e-3)
    assert bare.points[0].frequency_hz == pytest.approx(1 / (2 * math.pi * math.sqrt(1.8e-3 * 6.8e-6)), rel=2e-3)


def test_a_missing_woofer_is_warned_of(order):
    bare = order.sections[0].sweeps[1]
    assert bare.unplugged == ("woofer",)
    # Capacitor voltage at resonance: sqrt(L/C) over what damps it.
    times = math.sqrt(1.8e-3 / 6.8e-6) / (0.48 + 0.06 * math.sqrt(1.8e-3 / 6.8e-6))
    assert f"a series resonance that puts {times:.0f} times the voltage on C1" in bare.caution
    assert "low level only, through the jig's resistor" in bare.sentence
    assert bare.caution.startswith("without woofer ")
    assert order.sections[0].sweeps[0].caution == ""


def test_boards_built_within_tolerance_stay_in_the_band(order, attic):
    """Hundred boards with every value anywhere within its tolerance; half of the band is not enough for all of them."""
    rng = np.random.default_rng(7)
    fine = np.geomspace(60.0, 400.0, 400)
    drive = attic.drivers["woofer"].impedance.at(fine)
    point = order.sections[0].sweeps[1].points[0]
    low, high, at = [], [], []
    near = np.geomspace(700.0, 3000.0, 1500)
    for _ in range(100):
        henry, farad, dcr, df = (1.8e-3, 6.8e-6, 0.48, 0.06) * (
            1.0 + np.array([0.1, 0.1, 0.1, 0.5]) * rng.uniform(-1, 1, 4)
        )
        z = woofer_section(near, None, henry, dcr, farad, df)
        low.append(z.min())
        high.append(z.min())
        at.append(near[np.argmin(z)])
        healthy = woofer_section(fine, drive, henry, dcr, farad, df).min()
        plugged = order.sections[0].sweeps[0].points[0]
        assert plugged.low_ohm < healthy < plugged.high_ohm
    assert point.low_ohm < min(low) < point.impedance_ohm < max(high) < point.high_ohm
    assert min(low) < (point.low_ohm + point.impedance_ohm) / 2.0
    assert point.low_hz < min(at) < max(at) < point.high_hz
    assert point.low_ohm > 0.3 * point.impedance_ohm


def test_the_crossover_is_looked_at(order):
    last = order.whole[0]
    assert [p.landmark for p in last.points] == ["lowest", "peak", "crossover"]
    assert 2000.0 < last.points[2].frequency_hz < 3500.0
    assert f"at the crossover, {last.points[2].frequency_hz / 1e3:.3g} kHz" in last.sentence


def test_the_first_time_with_an_amplifier(order):
    said = [s.what for s in order.power_up]
    assert order.power_up[0].expect == order.whole_dc[0].shown
    battery = next(s for s in said if "1.5 V" in s)
    assert "unplug woofer" in battery
    assert battery.endswith("never on tweeter")
    assert said[-1].endswith("xover verify left --network original --impedance FILE")
    assert said.index(battery) < next(i for i, s in enumerate(said) if s.startswith("all drivers"))


def test_a_winding_with_a_tap_is_one_step(started):
    speaker = started("two-way-horn-autotransformer")
    order = build_order(speaker.network("found"), speaker, frequency_hz=GRID)
    step = steps_of(order)["L3", "L2"]
    assert [c.expected_ohm for c in step.checks] == [pytest.approx(0.3), pytest.approx(0.3)]
    assert "once it stands in speaker.toml" in order.power_up[-1].what
    # Two halves of 20 mH, wholly coupled: 80 mH with 6.2 uF, and 0.6 ohm of copper.
    gone = next(s for s in order.whole if s.unplugged == ("horn",))
    assert gone.points[0].frequency_hz == pytest.approx(1 / (2 * math.pi * math.sqrt(80e-3 * 6.2e-6)), rel=0.01)
    assert 0.6 < gone.points[0].impedance_ohm < 0.75


def test_channels_are_built_and_swept_apart(started):
    speaker = started("two-way-bi-amp")
    order = build_order(speaker.network("found"), speaker, frequency_hz=GRID)
    assert [s.channel for s in order.whole] == ["bass", "treble"]
    assert [c.between for c in order.whole_dc[:2]] == [("lo", "minus rail of bass"), ("hi", "minus rail of treble")]
    straight = next(s for s in order.sections if s.name == "woofer section")
    assert straight.reason == "nothing to solder: the amplifier feeds the driver straight"
    assert order.unknown == ("no crossover is checked: it lies in the electronic crossover",)
    treble = next(s for s in order.sections if s.name == "tweeter section")
    assert treble.sweeps[1].points[0].at_end  # 22 ohm and 22 uF fall up to the end of the sweep
    assert "at the end of the sweep, 20 kHz" in treble.sweeps[1].sentence


def test_parts_without_losses_and_a_driver_that_is_hardly_known(folder):
    """A runaway is said to be one; where the sweep of a driver does not reach there is no band, and none is made up."""
    speaker = folder(
        "L1 in w 1mH dcr=0\nC1 w 0 10uF\nXlow w 0 woofer\nC2 in t 4.7uF\nL2 t 0 0.3mH\nXhigh t 0 tweeter\n"
    )
    order = build_order(speaker.network("found"), speaker, frequency_hz=GRID)
    assert order.sections[0].sweeps[1].points[0].impedance_ohm == 0.0
    assert "next to nothing (the parts' losses are not given)" in order.sections[0].sweeps[1].sentence
    coil = steps_of(order)["L2",].checks[0]
    assert not coil.known
    assert coil.sentence.startswith("t to minus rail: no more than 0.8")
    table = "\n".join(f"{f} 8 0" for f in (300, 400, 500, 600, 800, 1000, 1300, 1600))
    (speaker.file.folder / "z.txt").write_text("Hz ohm deg\n" + table)
    known = folder(
        "Xlow in 0 woofer\n", '[drivers.woofer]\nimpedance = "z.txt"\n', '[networks.found]\ncircuit = "found.cir"\n'
    )
    check = build_order(known.network("found"), known, frequency_hz=GRID).whole[0]
    assert check.points[0].impedance_ohm == pytest.approx(8.0)
    beyond = sweep_check(known.network("found"), known, "in", log_grid(5000.0, 20_000.0, 6))
    assert not beyond.points
    assert beyond.sentence == "woofer plugged in: not known, as the driver's impedance is not"


@pytest.mark.parametrize(
    ("low", "usual", "limit", "short"),
    [
        (2.0, 6.0, 4.0, True),
        (5.0, 6.0, 4.0, False),
        (3.5, 3.6, 4.0, False),
        (2.9, 6.0, None, True),
        (3.1, 6.0, None, False),
    ],
)
def test_what_counts_as_a_short(low, usual, limit, short):
    assert is_short(low, usual, limit) is short


def test_it_turns_into_plain_values(order):
    plain = to_plain(order)
    assert plain["sections"][0]["steps"][0]["checks"][0]["expected_ohm"] is None  # open
    assert plain["power_up"][0]["number"] == 1


def test_a_capacitor_goes_in_before_what_would_hide_a_short_in_it(folder):
    """Coil and resistor stand before the capacitor in the netlist; once they are in, an ohmmeter cannot see it."""
    speaker = folder("L1 in w 1mH dcr=0.3\nL2 w 0 4mH dcr=1\nR1 w 0 50\nC1 w 0 10uF\nXlow w 0 woofer\n")
    order = build_order(speaker.network("found"), speaker, frequency_hz=GRID)
    assert [s.parts for s in order.sections[0].steps] == [("C1",), ("L2",), ("R1",), ("L1",), ()]
    assert "capacitors before what would hide a short in them" in order.sections[0].reason
    r1 = steps_of(order)["R1",]
    assert r1.checks[0].expected_ohm == pytest.approx(50.0 / 51.0, rel=1e-12)
    assert r1.note == "an ohmmeter cannot tell whether R1 is in, too little changes"
    hidden = folder("R1 in w 4\nL1 in w 1mH dcr=0.3\nC1 in w 10uF\nXlow w 0 woofer\n")
    trap = steps_of(build_order(hidden.network("found"), hidden, frequency_hz=GRID))
    assert next(iter(trap)) == ("C1",)
    bridge = folder("C1 a b 10uF\nR1 a 0 8\nR2 b 0 8\nL1 in a 1mH dcr=0.3\nXlow b 0 woofer\n")
    step = steps_of(build_order(bridge.network("found"), bridge, frequency_hz=GRID))["C1",]
    assert step.note == "an ohmmeter cannot see C1 here, other parts lie beside it"
    assert "a low reading" not in " ".join(c.sentence for c in step.checks)
