"""The netlist as text: SPICE3 and nothing else, whatever a user's files hold. What it computes is judged outside."""

import json
import re
import shutil
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from xover.api.loudspeaker import Loudspeaker
from xover.driver.model import DriverModel
from xover.errors import OptionError
from xover.files.netlist import circuits_folder, parse_netlist
from xover.network import Capacitor, build_network
from xover.plain import to_plain
from xover.speaker import open_speaker
from xover.studies.desk.new.study import start_folder
from xover.studies.desk.spice.cards import LOOP_OHM, TIE_OHM, Names, Nodes, comment, network_cards, one_line
from xover.studies.desk.spice.study import study_spice

EXAMPLES = Path(__file__).parents[2] / "examples"
SHEET = "re_ohm = 6\nfs_hz = 50\nqms = 4\nqes = 0.5\nle_mh = 0.5\nsensitivity_db = 88\n"
NAME = r"[A-Za-z][A-Za-z0-9_]*"
NODE = r"(?:0|[1-9][0-9]*|[A-Za-z][A-Za-z0-9_]*)"
NUMBER = r"-?[0-9.]+(?:e[-+]?[0-9]+)?"
# What SPICE3 knows, and no more: no expressions, no parameters, no directives of any one program.
GRAMMAR = re.compile(
    "|".join(
        [
            r"\*(?: [ -~]+)?",
            rf"[RLC]\w* {NODE} {NODE} {NUMBER}",
            rf"V\w+ {NODE} {NODE} DC 0(?: AC 1)?",
            rf"K\w+ L\w+ L\w+ {NUMBER}",
            rf"E\w+ {NODE} 0 {NODE} {NODE} 1",
            rf"X\w+ {NODE} {NODE} {NAME}",
            rf"\.subckt {NAME} (?:plus minus|a b)",
            rf"\.ends {NAME}",
            r"\.ac dec 48 20 20000",
            rf"\.print ac vdb\({NODE}\) vp\({NODE}\)",
            r"\.print ac i\(V\w+\)",
            r"\.end",
        ]
    ),
    re.IGNORECASE | re.ASCII,
)


def assert_spice3(text):
    assert text.isascii()
    assert text.endswith("\n.end\n")
    lines = text.splitlines()
    assert lines[0].startswith("* ")
    for line in lines:
        assert GRAMMAR.fullmatch(line), line
        assert len(line) <= 132
    assert sum(line == ".end" for line in lines) == 1
    scopes, scope = [[]], 0
    for line in lines:
        if line.startswith(".subckt"):
            scopes.append([])
            scope = -1
        elif line.startswith(".ends"):
            scope = 0
        elif line[0] not in "*.":
            scopes[scope].append(line.split()[0].lower())
    for names in scopes:
        assert len(names) == len(set(names)), names
    defined = [line.split()[1].lower() for line in lines if line.startswith(".subckt")]
    assert len(defined) == len(set(defined))
    used = {line.split()[-1].lower() for line in lines if line[0] in "Xx"}
    assert used == set(defined)
    assert all(float(line.split()[-1]) > 0 for line in lines if line[0] in "Kk")


def speaker_of(tmp_path, cir, names=("woofer",), title="t", values=SHEET):
    toml = f"title = {json.dumps(title, ensure_ascii=False)}\n"
    toml += "".join(f"[drivers.{json.dumps(n, ensure_ascii=False)}.datasheet]\n{values}" for n in names)
    (tmp_path / "speaker.toml").write_text(toml + '[networks.found]\ncircuit = "found.cir"\n', encoding="utf-8")
    (tmp_path / "found.cir").write_text(cir, encoding="utf-8")
    return open_speaker(tmp_path)


@pytest.mark.parametrize("name", ["attic-two-way/left", "attic-two-way/right", "hall-horn-two-way", "studio-three-way"])
@pytest.mark.parametrize("network", ["found", "original"])
def test_examples_state_what_they_rest_on(name, network):
    study = study_spice(open_speaker(EXAMPLES / name), network)
    assert_spice3(study.netlist)
    words = " ".join(line.lstrip("* ") for line in study.netlist.splitlines() if line.startswith("*"))
    for key, driver in study.drivers.items():
        fit = driver.fit
        assert f"{key}: fitted to its impedance (evidence: measured), {fit.rows} rows from 10 Hz to " in words
        assert f"{fit.relative_rms:.2%} rms, {fit.worst_residual:.2%} at most" in words
    assert "in its cabinet and through its leads, not in free air" in words
    for loss in study.losses:
        assert f"{loss.part}: dissipation factor {loss.dissipation_factor:.4g} as {loss.pairs} pairs" in words
        assert 0 < loss.worst_error <= 1e-4
    capacitors = [p for p in open_speaker(EXAMPLES / name).network(network).parts if isinstance(p, Capacitor)]
    assert [loss.part for loss in study.losses] == [c.name for c in capacitors if c.dissipation_factor]


@pytest.mark.parametrize("circuit", sorted(p.stem for p in circuits_folder().glob("*.cir")))
def test_ready_circuits_are_spice3(tmp_path, circuit):
    start_folder(tmp_path / "s", circuit)
    study = study_spice(open_speaker(tmp_path / "s"), "found")
    assert_spice3(study.netlist)
    assert all(
        d.plain()["source"] == "placeholder" and d.plain()["relative_rms"] is None for d in study.drivers.values()
    )
    assert "the circuit of its placeholder values" in study.netlist.replace("\n*   ", " ")
    assert any("its values are the template's placeholders" in w for w in study.warnings)


TITLES = [
    ".control",
    "x\n.control\nshell echo\n.endc",
    "#shell echo",
    "+ R9 in 0 1",
    "R1 in 0 1",
    "€ \u2028.end\u2029 \x85 日本",
    "",
    "word " * 40,
    "'}{$;*",
    "\x1b[31m\x00",
]


@pytest.mark.parametrize("title", TITLES, ids=range(len(TITLES)))
def test_a_title_is_a_comment_and_no_more(tmp_path, title):
    speaker = speaker_of(tmp_path, "* t\nR1 in w 2\nXlow w 0 woofer\n")
    # The file would refuse most of these, so they are put in behind its back.
    object.__setattr__(speaker.file, "speaker", speaker.file.speaker.model_copy(update={"title": title}))
    text = study_spice(speaker, "found").netlist
    assert_spice3(text)
    cards = [line for line in text.splitlines() if not line.startswith("*")]
    plain = study_spice(speaker_of(tmp_path, "* t\nR1 in w 2\nXlow w 0 woofer\n"), "found").netlist
    assert cards == [line for line in plain.splitlines() if not line.startswith("*")]


def test_comments_hold_everything_on_lines_of_their_own():
    for text in TITLES:
        for line in comment(text):
            assert re.fullmatch(r"\*(?: [ -~]+)?", line)
            assert len(line) <= 80
    assert comment("a\nb") == ["* a b"]
    assert comment("") == ["*"]
    assert one_line("é\t1\r\n.end") == "? 1 .end"
    assert comment("word " * 20, "  ")[1].startswith("*   word")


def test_names_differ_whatever_their_case():
    names = Names()
    assert [names.give(w, "L") for w in ("L1", "l1", "L-1", "L.1", "Lé", "Lü")] == [
        *("L1", "l1_2", "L_1", "L_1_2", "L_", "L__2"),
    ]
    assert [names.give(w) for w in ("1 a", "", "_x", "nx")] == ["n1_a", "n", "n_x", "nx"]
    assert names.give("w", "R") == "Rw"


def test_nodes_keep_their_plain_names():
    nodes = Nodes(["in", "0", "a+1", "a_1", "12", "00", "日本", "a-1", "n"])
    assert [nodes[n] for n in ("in", "0", "a_1", "12", "n")] == ["in", "0", "a_1", "12", "n"]
    others = [nodes[n] for n in ("a+1", "00", "日本", "a-1")]
    assert len({*others, "in", "0", "a_1", "12", "n"}) == 9
    assert all(re.fullmatch(NODE, n) for n in others)
    assert nodes.renamed().keys() == {"a+1", "00", "日本", "a-1"}
    assert nodes.new("in") == "in_2"


@given(st.lists(st.from_regex(r"[\w.+\-/#]{1,3}", fullmatch=True), min_size=2, max_size=12, unique=True))
def test_any_names_stay_apart_to_a_simulator_that_knows_no_case(wanted):
    names, nodes = Names(), Nodes([w.lower() for w in wanted])
    given_names = [names.give(w, "R") for w in wanted]
    assert len({n.lower() for n in given_names}) == len(wanted)
    assert all(re.fullmatch("[rR][A-Za-z0-9_]*", n) for n in given_names)
    lower = {w.lower() for w in wanted}
    assert len({nodes[n].lower() for n in lower}) == len(lower)


def test_hostile_names_stay_apart(tmp_path):
    cir = (
        "* t\nRé in a+1 1\nR_ a+1 a_1 2\nRl1 a_1 l1_r 3\nL1 l1_r 日 1mH dcr=0.2\nCß 日 0 1uF df=0.05\n"
        'Xlow 日 0 wöofer\nX_ 日 0 w"ofer\nXdrive_low 日 0 loss_c_\nR5 日 drive_low 4\nR6 drive_low 0 5\n'
    )
    study = study_spice(speaker_of(tmp_path, cir, ("wöofer", 'w"ofer', "loss_c_")), "found")
    assert_spice3(study.netlist)
    assert study.renamed["nodes"].keys() == {"a+1", "日"}
    assert set(study.renamed["drivers"]) == {"wöofer", 'w"ofer'}
    assert len(set(study.drive.values())) == 3
    assert "drive_low" not in study.drive.values()
    text = json.dumps(to_plain(study), allow_nan=False)
    assert json.loads(text)["drivers"]["wöofer"]["re_ohm"] == 6


def cards_of(text, **models):
    network = build_network(parse_netlist(text))
    model = DriverModel.from_thiele_small(6, 50, 4, 0.5, 0.5e-3)
    return network_cards(network, dict.fromkeys(network.driver_names, model) | models)


def test_parts_with_their_losses():
    cards = cards_of(
        "* t\nL1 in a 1mH dcr=0.2\nL2 a w 2mH\nC1 w 0 4.7uF esr=0.3\nC2 w 0 1uF\nR1 w x 0\nXlow x 0 woofer\n"
    )
    assert list(cards.main[:9]) == [
        "Vin in 0 DC 0 AC 1",
        "L1 in L1_r 0.001",
        "RL1 L1_r a 0.2",
        "L2 a w 0.002",
        "C1 w C1_c 4.7e-06",
        "RC1 C1_c 0 0.3",
        "C2 w 0 1e-06",
        "VR1 w x DC 0",
        "Xlow x 0 woofer",
    ]
    assert cards.drive == {"woofer": "drive_woofer"}
    assert "Edrive_woofer drive_woofer 0 x 0 1" in cards.main
    assert cards.remarks == ("R1 is 0 ohm, written as the source VR1 of 0 V: a wire",)


def test_the_driver_is_its_own_circuit():
    cards = cards_of("* t\nR1 in w 1\nXlow 0 w woofer\n")
    ws = 2 * np.pi * 50
    rows = [line.split() for line in cards.subcircuits]
    assert rows[0] == [".subckt", "woofer", "plus", "minus"]
    assert rows[-1] == [".ends", "woofer"]
    assert [r[:3] for r in rows[1:-1]] == [
        ["Re", "plus", "1"],
        ["Le", "1", "2"],
        *([name, "2", "minus"] for name in ("Rres1", "Lres1", "Cres1")),
    ]
    # Res = Re Qms/Qes, Cmes = Qes/(ws Re), Lces = Re/(ws Qes) (Small 1972, from memory)
    np.testing.assert_allclose(
        [float(r[3]) for r in rows[1:-1]], [6, 0.5e-3, 48, 6 / (ws * 0.5), 0.5 / (ws * 6)], rtol=1e-12
    )
    assert "Xlow 0 w woofer" in cards.main


def test_coupled_coils_of_opposite_sense_are_turned():
    cards = cards_of(
        "* t\nL1 in a 1mH\nL2 a w 2mH dcr=0.1\nL3 w 0 9mH dcr=0.1\nK1 L1 L2 -0.4\nK2 L2 L3 0\nXlow w 0 woofer\n"
    )
    assert "L1 in a 0.001" in cards.main
    assert "L2 L2_r a 0.002" in cards.main
    assert "RL2 L2_r w 0.1" in cards.main
    assert "K1 L1 L2 0.4" in cards.main
    assert not any(card.startswith("K2") for card in cards.main)
    assert any("L2 is written from its second node" in r for r in cards.remarks)
    assert any("K2 is 0 and is left out" in r for r in cards.remarks)


def test_couplings_that_no_turn_makes_positive():
    coils = "L1 in a 1mH dcr=1\nL2 a b 1mH dcr=1\nL3 b w 1mH dcr=1\n"
    cards = cards_of(f"* t\n{coils}K1 L1 L2 -0.3\nK2 L2 L3 -0.3\nK3 L1 L3 -0.3\nXlow w 0 woofer\n")
    signs = [float(card.split()[-1]) for card in cards.main if card.startswith("K")]
    assert sorted(signs) == [-0.3, 0.3, 0.3]
    assert any("stays negative" in r for r in cards.remarks)


def test_dc_has_an_answer():
    """A lossless coil across the amplifier, two in parallel, a node between capacitors, an island."""
    cards = cards_of("* t\nVa p m\nL1 p m 1mH\nL2 p w 1mH\nL3 p w 1mH\nC1 w x 1uF\nC2 x m 1uF\nXlow w m woofer\n")
    small = [card for card in cards.main if card.endswith(f" {LOOP_OHM!r}")]
    assert [card.split()[0] for card in small] == ["RL1", "RL3"]
    assert f"Rtie_x x 0 {TIE_OHM!r}" in cards.main
    assert "Vground m 0 DC 0" in cards.main
    assert sum(card.startswith("Rtie") for card in cards.main) == 1
    assert len(cards.remarks) == 4


def test_fixed_losses(tmp_path):
    cir = "* t\nC1 in w 10uF df=0.06 esr=0.1\nXlow w 0 woofer\n"
    study = study_spice(speaker_of(tmp_path, cir), "found", loss_at_hz=1000.0)
    assert_spice3(study.netlist)
    (loss,) = study.losses
    assert loss.fixed_ohm == pytest.approx(0.06 / (2 * np.pi * 1000 * 10e-6), rel=1e-12)
    assert f"RC1 C1_c w {0.1 + loss.fixed_ohm!r}" in study.netlist.splitlines()
    # At 20 kHz it should be a twentieth: the error is 19/20 of it, on 1/(wC), the resistance and 0.1 ohm.
    w, ohm = 2 * np.pi * 20e3, loss.fixed_ohm
    assert loss.worst_error == pytest.approx(ohm * 0.95 / abs(0.1 + ohm / 20 + 1 / (1j * w * 10e-6)), rel=1e-6)
    assert loss.worst_at_hz == pytest.approx(20e3)
    assert any("fixed resistors stand for dissipation factors" in w for w in study.warnings)
    assert not any(".tran" in w for w in study.warnings)
    with pytest.raises(OptionError, match=r"loss_at_hz is 5\.0; give 20 to 20k"):
        Loudspeaker(speaker_of(tmp_path, cir)).spice("found", loss_at_hz=5.0)


def test_a_large_dissipation_factor_takes_more_pairs(tmp_path):
    cir = "* t\nC1 in w 10uF df=2\nC2 in w 1uF df=0.0001\nXlow w 0 woofer\n"
    large, small = study_spice(speaker_of(tmp_path, cir), "found").losses
    assert large.pairs > 8 > small.pairs >= 1
    assert 0 < max(large.worst_error, small.worst_error) <= 1e-4


def test_json_by_contract():
    plain = json.loads(json.dumps(to_plain(study_spice(open_speaker(EXAMPLES / "hall-horn-two-way"), "found"))))
    assert {"network", "netlist", "drivers", "warnings"} <= plain.keys()
    horn = plain["drivers"]["horn"]
    assert 0.002 < horn["relative_rms"] < 0.006 < horn["worst_residual"] < 0.02
    assert horn["evidence"] == "measured"
    assert horn["source"] == "fit"
    assert horn["elements"][0]["name"] == "Re"
    assert any("horn: there are two resonances, 690 and 1380 Hz" in w for w in plain["warnings"])


def test_a_short_sweep_is_not_stretched_in_silence(tmp_path):
    shutil.copytree(EXAMPLES / "attic-two-way", tmp_path / "attic")
    table = tmp_path / "attic" / "left" / "tweeter-impedance.csv"
    lines = table.read_text().splitlines(keepends=True)
    kept = [line for line in lines if not line[0].isdigit() or 100 <= float(re.split("[,;\t ]", line)[0]) <= 10e3]
    assert len(kept) < len(lines) - 50
    table.write_text("".join(kept))
    study = study_spice(open_speaker(tmp_path / "attic" / "left"), "found")
    assert any("tweeter: it was measured from 10" in w and "the circuit is a guess" in w for w in study.warnings)
    assert "outside of that the circuit is a guess" in study.netlist.replace("\n*   ", " ")


def test_a_lamp_is_said_to_be_cold(tmp_path):
    cir = "* t\nR1 in w kind=lamp cold=1.5 hot=12\nXlow w 0 woofer\n"
    study = study_spice(speaker_of(tmp_path, cir), "found")
    assert "R1 in w 1.5" in study.netlist.splitlines()
    assert "* R1: a lamp or resettable fuse, cold: true at low level only." in study.netlist.splitlines()
    assert any("lamp" in w and "1.5 ohm" in w for w in study.warnings)
