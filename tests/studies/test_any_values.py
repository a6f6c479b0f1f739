"""Whatever the values of the parts, within what is read: figures are finite, or blank and told as unknown."""

import json
import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.files.netlist import parse_netlist
from xover.network import build_network, solve
from xover.plain import to_plain
from xover.quantity import PART_RANGES, RANGES, QuantityKind
from xover.speaker import open_speaker
from xover.studies import question

CARDS = (
    "* any\nL1 in w {L1!r} dcr={dcr!r} unusual=yes\nC1 w 0 {C1!r} esr={esr!r} df={df!r} unusual=yes\nXlow w 0 woofer\n"
    "C2 in t {C2!r} loss={loss!r}@1kHz unusual=yes\nL2 t 0 {L2!r} unusual=yes\nR1 t p {R1!r} unusual=yes\n"
    "R2 p 0 {R2!r} unusual=yes\nR3 p q kind=lamp cold={cold!r}\nC3 q 0 {C3!r} unusual=yes\nK1 L1 L2 {k!r}\n"
    "Xhigh p 0 tweeter\n"
)
F = np.geomspace(20.0, 20e3, 13)


def sizes(kind, ranges, zero=False):
    """Any value of a range, evenly over its decades, its ends among them; 0 too where it means something."""
    low, high = ranges[kind]
    low = low or RANGES[kind][0]
    decades = st.floats(math.log10(low), math.log10(high)).map(lambda d: min(max(10.0**d, low), high))
    return decades | st.sampled_from([low, high, *([0.0] if zero else [])])


def values(ranges):
    r, c, h = QuantityKind.RESISTANCE, QuantityKind.CAPACITANCE, QuantityKind.INDUCTANCE
    ohm = sizes(r, ranges, zero=True)
    names = {**dict.fromkeys(("C1", "C2", "C3"), sizes(c, ranges)), **dict.fromkeys(("L1", "L2"), sizes(h, ranges))}
    names |= dict.fromkeys(("R1", "R2", "dcr", "esr", "loss", "cold"), ohm)
    return st.fixed_dictionaries(
        {**names, "df": st.floats(0.001, 2.0) | st.just(0.0), "k": st.integers(-99, 99).map(lambda n: n / 100)}
    )


@settings(max_examples=150)
@given(chosen=values(RANGES))
def test_a_solve_is_finite_or_refused(chosen):
    """Resistances from 1 pohm to 1 Gohm beside each other, coils of 1 nH and of 100 H: no answer is nan."""
    drivers = {"woofer": 6 + 0.3j * np.sqrt(F), "tweeter": 5 + 0.1j * np.sqrt(F)}
    solution = solve(build_network(parse_netlist(CARDS.format(**chosen))), F, drivers)
    for answer in (*solution.drive.values(), *solution.impedance_ohm.values()):
        assert np.all(np.isfinite(answer))
        assert np.all(np.abs(answer) < 1e15)


@settings(max_examples=8)
@given(chosen=values(PART_RANGES))
def test_predict_and_load_tell_finite_figures(chosen, tmp_path_factory):
    """Of what a card may hold: JSON holds no nan (it is written without), and no number beyond the ranges."""
    folder = tmp_path_factory.mktemp("any")
    (folder / "found.cir").write_text(CARDS.format(**chosen))
    sheet = "re_ohm = 5.5\nfs_hz = {}\nqms = 3\nqes = 0.6\nsensitivity_db = 88\n"
    (folder / "speaker.toml").write_text(
        f"[drivers.woofer.datasheet]\n{sheet.format(50)}[drivers.tweeter.datasheet]\n{sheet.format(1000)}"
        '[networks.found]\ncircuit = "found.cir"\n'
    )
    speaker = open_speaker(folder)
    for name in ("predict", "load"):
        told = json.dumps(to_plain(question(name)(speaker, frequency_hz=F)), allow_nan=False)
        assert not [n for n in numbers(json.loads(told)) if abs(n) > 1e15]


def numbers(told):
    """All numbers of a JSON object."""
    if isinstance(told, dict):
        told = list(told.values())
    if isinstance(told, list):
        return [n for one in told for n in numbers(one)]
    return [told] if isinstance(told, int | float) else []
