"""Each caution where its cause is, and nowhere else; figures by hand."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from xover.bench.build_steps import build_order
from xover.bench.case_cautions import LAST, case_cautions
from xover.bench.hazards import guards, is_electrostatic
from xover.curve import Curve, Evidence, Unit, log_grid
from xover.plain import to_plain
from xover.rules.severity import Severity
from xover.rules.triage import Rung, Wants
from xover.studies.change.bypass.result import BypassFinding, BypassStudy
from xover.studies.change.decide.ladder import Picked, Why
from xover.studies.change.decide.option import Option
from xover.studies.change.decide.study import Decision
from xover.studies.change.refresh.words import BARE_TWEETER, OIL

GRID = log_grid(20.0, 20_000.0, 6)
NETWORK = (
    "L1 in w 1mH dcr=0.4 core=air\nXlow w 0 woofer\nC2 in t 4.7uF kind=film volts=250\n"
    "L2 t 0 0.3mH dcr=0.3 core=air\nXhigh t 0 tweeter\n"
)
AMPLIFIER = "[amplifier]\nminimum_load_ohm = 4\nrated_power_w = 50\nrated_load_ohm = 8\n"


def told(speaker, names=("found",), **more):
    return {c.heading: c for c in case_cautions(speaker, names, frequency_hz=GRID, **more)}


def decided(name, cautions=(), study=None):
    """A decision that recommends one option, with nothing else in it."""
    nothing = np.full(1, np.nan)
    option = Option(name, "", (), nothing, cautions=tuple(cautions), study=study)
    picked = Picked(name, Why.BETTER, Wants.VOICING, False, {})
    return Decision(
        title="t",
        found=None,
        reference=None,
        source="s",
        band_hz=(1.0, 2.0),
        frequency_hz=nothing,
        options={name: option},
        picked=picked,
        taken=name,
        answer="",
        design_level_db=nothing,
        **dict.fromkeys(
            ("faults", "stops", "unready", "rests_on", "reasons", "unknown", "measure", "would_change", "remarks"), ()
        ),
    )


@pytest.fixture(scope="module")
def attic_cautions(attic):
    return case_cautions(attic, ["found", "original"], frequency_hz=GRID)


def test_the_gravest_first_each_once_and_the_law_last(attic_cautions):
    order = list(Severity)
    ranks = [order.index(c.severity) for c in attic_cautions[:-1]]
    assert ranks == sorted(ranks)
    headings = [c.heading for c in attic_cautions]
    assert len(set(headings)) == len(headings)
    assert attic_cautions[-1] == LAST
    assert "licensed practice come first" in LAST.text
    assert all(c.why for c in attic_cautions[:-1])
    assert to_plain(attic_cautions)[0]["severity"] in ("stop", "caution")


def test_only_what_applies(attic_cautions):
    headings = {c.heading for c in attic_cautions}
    assert {"a driver unplugged or dead", "tweeter without its protection", "electrolytics", "soldering"} <= headings
    absent = ("oil", "valve", "bridged", "electrostatic", "mains", "load below", "hot", "lamp", "unknown kind")
    assert not [h for h in headings if any(word in h for word in absent)]


def test_figures_of_an_unplugged_driver(attic_cautions):
    """Of the original, the worse one: sqrt(L1/C1) over its losses times the amplifier's peak, sqrt(2 60 8) V."""
    caution = next(c for c in attic_cautions if c.heading == "a driver unplugged or dead")
    loss = 0.48 + 0.06 * math.sqrt(1.8e-3 / 6.8e-6)
    said = float(re.search(r"Without woofer the load falls to ([\d.]+) ohm at 1.44 kHz", caution.text)[1])
    assert said == pytest.approx(loss, rel=0.02)  # the tweeter's section lies beside it
    volts = math.sqrt(1.8e-3 / 6.8e-6) / loss * math.sqrt(2 * 60 * 8)
    said = float(re.search(r"would put (\d+) V on C1, rated 50 V", caution.text)[1])
    assert said == pytest.approx(volts, rel=0.02)
    assert caution.why == "network original"


def test_what_keeps_the_tweeter_alive(attic, started):
    assert guards(attic, attic.network("found"), "tweeter") == ("C2",)
    series = started("two-way-series-first-order")
    assert set(guards(series, series.network("found"), "tweeter")) == {"C1", "L1"}
    text = told(series)["tweeter without its protection"]
    assert text.why == "DC and bass are kept off it by L1 and C1 in found"


def test_a_bare_tweeter_stops_everything(folder):
    found = told(folder("Xlow in 0 woofer\nR1 in t 5\nXhigh t 0 tweeter\n"))
    bare = found["tweeter without a capacitor"]
    assert bare.severity is Severity.STOP
    assert "50% of any DC gets there" in bare.text  # 5 ohm before 5 ohm
    assert "tweeter without its protection" not in found


def test_a_load_below_the_rating(folder):
    speaker = folder(NETWORK + "R9 in 0 4 watts=50\n", AMPLIFIER)
    found = told(speaker)
    low = found["load below the rating"]
    assert low.severity is Severity.STOP
    lowest = float(re.search(r"Lowest impedance ([\d.]+) ohm", low.text)[1])
    assert 2.0 < lowest < 2.6  # 4 ohm beside 5 to 6
    assert "allows 4 ohm" in low.text
    assert "load below the rating" not in told(folder(NETWORK, AMPLIFIER))


def test_a_hot_resistor_by_hand(folder):
    """4 ohm across 50 W into 8 ohm: (sqrt(2 50 8)/4)^2/4 = 12.5 W of programme; 20 W rated is short of twice that."""
    found = told(folder(NETWORK + "R9 in 0 4 watts=20\n", AMPLIFIER))
    hot = found["hot resistors"]
    said = float(re.search(r"R9 (\d+) W, rated 20 W in heat", hot.text)[1])
    assert said == pytest.approx(12.5, abs=0.51)
    assert "network found" in hot.why
    # A full sine there: (sqrt(2 50 8))^2/2/4 = 100 W.
    assert "R9 would take 100 W" in found["sweeps"].text
    assert "hot resistors" not in told(folder(NETWORK, AMPLIFIER))


def test_capacitor_voltage(folder):
    found = told(folder(NETWORK.replace("volts=250", "volts=16"), AMPLIFIER))
    assert "over its rating of 16 V" in found["capacitor voltage"].text
    assert found["capacitor voltage"].severity is Severity.CAUTION
    assert "capacitor voltage" not in told(folder(NETWORK, AMPLIFIER))


@pytest.mark.parametrize(
    ("kind", "severity"),
    [("kind=paper", Severity.CAUTION), ("kind=oil", Severity.STOP), ("kind=oil-filled", Severity.STOP)],
)
def test_oil_and_paper(folder, kind, severity):
    found = told(folder(NETWORK.replace("kind=film", kind)))
    old = found["old paper and oil capacitors"]
    assert old.severity is severity
    assert "PCB" in old.text
    assert old.why.startswith("C2: kind=")
    assert "capacitors of unknown kind" not in found


def test_a_kind_that_nobody_states(folder):
    unknown = told(folder(NETWORK.replace("kind=film ", "")))
    assert unknown["capacitors of unknown kind"].why == "C2: no kind= on the card"
    assert "capacitors of unknown kind" not in told(folder(NETWORK))


def test_electrolytics_and_lamps(folder):
    found = told(folder(NETWORK + "C9 w z 20uF kind=electrolytic\nRL z 0 kind=lamp cold=1 hot=10\n"))
    assert "non-polar (bipolar) ones or film only" in found["electrolytics"].text
    assert found["electrolytics"].why == "C9"
    assert found["lamp or resettable fuse"].why == "RL"


def test_a_valve_amplifier(hall, folder):
    assert "never run it without a load" in told(hall)["valve amplifier"].text
    lone = told(folder("Xlow in 0 woofer\n", "[amplifier]\noutput_ohm = 2\n"))["valve amplifier"]
    assert "Without woofer it has no load at all" in lone.text
    assert "valve amplifier" not in told(folder("Xlow in 0 woofer\n", "[amplifier]\noutput_ohm = 0.1\n"))


@pytest.mark.parametrize("said", ["true", None, "false"])
def test_bridged_outputs(folder, said):
    cards = "Vb lo 0\nVt hi 0\nXlow lo 0 woofer\nC1 hi t 22uF kind=film\nXhigh t 0 tweeter\n"
    line = "" if said is None else f"bridged = {said}\n"
    found = told(folder(cards, "[amplifier]\nminimum_load_ohm = 4\n" + line))
    assert found["mains in amplifiers"].severity is Severity.CAUTION
    if said == "false":
        assert "bridged outputs" not in found
    else:
        assert found["bridged outputs"].severity is (Severity.STOP if said == "true" else Severity.CAUTION)
        assert "minus" in found["bridged outputs"].text


def test_an_electrostatic_panel(attic, folder):
    """A capacitor behind an ohm: its phase stays near -90 degrees. A tweeter's does not."""
    f = log_grid(100.0, 20_000.0, 12)
    panel = Curve(f, 1.0 + 1.0 / (2j * np.pi * f * 3e-6), Unit.OHM, Evidence.MEASURED)
    tweeter = attic.drivers["tweeter"]
    assert not is_electrostatic(tweeter)
    assert is_electrostatic(replace(tweeter, impedance=panel))
    named = told(
        folder(
            "Xlow in 0 woofer\nC1 in t 20uF kind=film\nXesl t 0 esl-panel\n",
            "[drivers.esl-panel.datasheet]\nre_ohm = 5\nfs_hz = 400\nqms = 2\nqes = 1\n",
        )
    )
    assert named["electrostatic panel"].severity is Severity.STOP


def test_what_was_decided_counts(folder):
    speaker = folder(NETWORK)
    left = told(speaker, decision=decided(Rung.LEAVE))
    assert "soldering" not in left
    assert "soldering" not in told(speaker, decision=decided(Rung.AMPLIFIER))
    assert "mains in amplifiers" not in left
    covered = (BARE_TWEETER, OIL, "C2: no voltage rating is stated")
    fresh = told(speaker, decision=decided(Rung.REFRESH, covered))
    assert fresh["with this refresh"].text == "C2: no voltage rating is stated."
    assert "soldering" in fresh
    away = told(speaker, decision=decided(Rung.BYPASS))
    assert away["mains in amplifiers"].why == "each driver gets a channel of its own"
    assert away["bridged outputs"].severity is Severity.CAUTION


def test_findings_of_a_bypass_come_over_with_their_gravity(folder):
    study = object.__new__(BypassStudy)  # nothing but its findings is looked at
    findings = (
        BypassFinding(Severity.STOP, "resonance of tweeter", "too low."),
        BypassFinding(Severity.CAUTION, "common minus", "twice told."),
        BypassFinding(Severity.NOTE, "hiss", "a note."),
    )
    object.__setattr__(study, "findings", findings)
    found = told(folder(NETWORK, AMPLIFIER), decision=decided(Rung.BYPASS, study=study))
    assert found["resonance of tweeter"].severity is Severity.STOP
    assert "common minus" not in found
    assert "hiss" not in found


def test_a_section_with_several_drivers_out(started):
    speaker = started("two-way-series-first-order")
    order = build_order(speaker.network("found"), speaker, frequency_hz=GRID)
    text = told(speaker, build=order)["a section without its drivers"].text
    assert text.startswith("Without tweeter and woofer the load is a series resonance")
    assert "a section without its drivers" not in told(speaker)


def test_loud_enough_to_harm(attic_cautions, folder):
    loud = next(c for c in attic_cautions if c.heading == "hearing")
    assert "87 dB on average at 2.5 m" in loud.text
    assert "hearing" not in told(folder(NETWORK, AMPLIFIER))  # no sensitivity is known
