"""What is proposed: labels that are true, nothing idle, no limit broken first; and drivers that are known in part."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from hidden_speakers import F, hidden_speaker, netlist, off_by, usual_pair, write_speaker

from xover.files.netlist import parse_netlist
from xover.judge.kinds import Fault
from xover.judge.safety import hazards
from xover.network import build_network, solve
from xover.parts.catalogue import Catalogue
from xover.parts.stock import open_stock
from xover.rules.margins import AS_FLAT_DB
from xover.speaker import open_speaker
from xover.studies.change.redesign.judge import Judge
from xover.studies.change.redesign.result import BestAt, Limit
from xover.studies.change.redesign.structure import MoveKind, merged, simpler, without_part
from xover.studies.change.redesign.study import redesign
from xover.studies.change.redesign.wish import Wish, grid

EXAMPLES = Path(__file__).parents[3] / "examples"
STOCK = Catalogue(open_stock(EXAMPLES / "stock.csv"))


@pytest.fixture(scope="module")
def attic():
    return open_speaker(EXAMPLES / "attic-two-way" / "left")


@pytest.fixture(scope="module")
def study(attic):
    return redesign(attic, STOCK, Wish(), circuits=("present", "two-way-baffle-step"), starts=1)


def test_every_label_is_true_of_the_figures_shown(study):
    shown = study.proposals
    least = {
        BestAt.FLATTEST: lambda p: p.judged.deviation_db,
        BestAt.FEWEST_PARTS: lambda p: p.parts,
        BestAt.CHEAPEST: lambda p: p.cost,
        BestAt.EASIEST_LOAD: lambda p: -p.judged.lowest_ohm,
    }
    assert 2 <= len(shown) <= 5
    told = [label for p in shown for label in p.best_at if label is not BestAt.BALANCE]
    assert len(told) == len(set(told)) >= 4
    assert len({p.name for p in shown}) == len(shown)
    for p in shown:
        assert p.name == p.best_at[0]
        assert all(least[label](p) == min(map(least[label], shown)) for label in p.best_at if label in least)


def test_the_first_has_the_fewest_parts_of_those_as_flat_as_any_and_none_is_beaten(study):
    first, *others = study.proposals
    best = min(p.judged.deviation_db for p in study.proposals)
    assert not first.breaks
    assert first.judged.deviation_db <= best + AS_FLAT_DB
    assert all(p.parts >= first.parts for p in others if p.judged.deviation_db <= best + AS_FLAT_DB)
    for p in study.proposals:
        assert p.judged.deviation_db < study.before.deviation_db
        for q in study.proposals:
            one, other = ((x.judged.deviation_db, x.parts, x.cost, -x.judged.lowest_ohm) for x in (p, q))
            assert not (q is not p and all(a >= b for a, b in zip(one, other, strict=True)) and p.parts > q.parts)


def test_no_proposal_has_a_part_whose_removal_betters_the_goal(attic, study):
    """Each part in turn is left out, and bridged; what then breaks a limit that holds now is no betterment."""
    reference = attic.network(study.present)
    judge = Judge(attic, reference, study.wish, None, grid())
    tried = 0
    for p in study.proposals:
        now, broken = judge.score(p.network), set(judge.strength(p.network).breaks)
        for fewer in simpler(p.network, [part.name for part in p.network.parts]):
            tried += 1
            worse = judge.score(fewer.network) >= now or set(judge.strength(fewer.network).breaks) - broken
            assert worse, (p.name, fewer.moves)
    assert tried > 5 * len(study.proposals)


def test_a_part_that_does_nothing_is_taken_out(attic):
    """220 ohm across the tweeter: without it, the circuit has the six parts of the one found."""
    found = attic.network("found")
    card = found.driver_card("tweeter")
    text = (EXAMPLES / "attic-two-way" / "left" / "found.cir").read_text().replace(".end", "")
    network = build_network(parse_netlist(f"{text}\nR91 {card.plus} {card.minus} 220\n"))
    study = redesign(replace_network(attic, network), STOCK, Wish(), present="found", circuits=("present",), starts=0)
    assert len(network.parts) == 7
    assert all(p.parts <= 6 and p.moves for p in study.proposals)
    assert all("left_out" in one and one["left_out"] for one in study.plain()["proposals"])


def replace_network(speaker, network):
    """The speaker with another network under the name of the one found."""

    class Played(type(speaker)):
        def network(self, name):
            return network if name == "found" else super().network(name)

    return Played(speaker.file, speaker.drivers)


def test_what_breaks_a_limit_is_told_and_never_stands_before_what_breaks_none(attic):
    """No load of 30 ohm can be had from these drivers: then every proposal says so, and nothing is recommended."""
    study = redesign(attic, STOCK, Wish(minimum_load_ohm=30.0), circuits=("present",), starts=0, alternatives=False)
    assert all(Limit.LOAD in p.breaks for p in study.proposals)
    assert not study.suitable
    assert study.headline.startswith("no proposal keeps every limit")
    assert all(p.judged.lowest_ohm < 30.0 for p in study.proposals)
    # Where the limit can be kept, nothing that breaks it is shown.
    kept = redesign(attic, STOCK, Wish(minimum_load_ohm=5.0), circuits=("present",), starts=0, alternatives=False)
    assert kept.suitable
    assert all(not p.breaks and p.judged.lowest_ohm >= 5.0 * 0.999 for p in kept.proposals)


def test_a_rating_is_broken_where_stress_says_so(attic):
    """Half a watt is too little for 2 ohm across a tweeter on a 60 W amplifier, 100 W are not."""
    cards = "* t\nL1 in w 1mH dcr=.3\nXlow w 0 woofer\nC1 in t 20uF\nR1 t 0 2 watts={}\nXh t 0 tweeter\n"
    for watts, over in ((0.5, True), (100, False)):
        network = build_network(parse_netlist(cards.format(watts)))
        judge = Judge(attic, network, Wish(), None, grid())
        strength = judge.strength(network)
        said = any(f.fault in (Fault.OVER_RATING, Fault.BURNS) for f in hazards(attic, "found", network))
        assert said is over
        assert (Limit.RATING in strength.breaks, "R1" in strength.weak, strength.share > 1.0) == (over, over, over)


CIRCUIT = """* t
L1 in w 1mH
R9 w z 8
C9 z 0 10uF
Xlow w 0 woofer
C1 in t 5uF
L2 t 0 .5mH
R1 t p 2
R2 p q 3
Xh q 0 tweeter
"""


def test_a_part_gone_takes_with_it_what_hangs_in_the_air_and_never_a_driver():
    network = build_network(parse_netlist(CIRCUIT))
    gone = without_part(network, "C9", MoveKind.OPEN)
    assert [p.name for p in gone.network.parts] == ["L1", "C1", "L2", "R1", "R2"]
    assert {m.part for m in gone.moves} == {"C9", "R9"}
    # Bridged, a shunt part would short its driver; left open, a series part would feed it nothing.
    assert without_part(network, "L2", MoveKind.BRIDGED) is None
    assert without_part(network, "L1", MoveKind.OPEN) is None
    bridged = without_part(network, "R1", MoveKind.BRIDGED)
    assert bridged.network.part("R2").a == bridged.network.part("L2").a


def test_like_parts_made_one_do_the_same():
    network = build_network(parse_netlist(CIRCUIT + "C8 in t 3uF\n"))
    joint = merged(network, [p.name for p in network.parts])
    assert joint.network.part("R1").ohm == pytest.approx(5.0)
    assert joint.network.part("C1").farad == pytest.approx(8e-6)
    assert {(m.part, m.into) for m in joint.moves} == {("R2", "R1"), ("C8", "C1")}
    f = np.geomspace(20, 20e3, 50)
    ohm = {"woofer": np.full(50, 8.0 + 1j), "tweeter": np.full(50, 6.0 + 0.5j)}
    one, other = (solve(n, f, ohm).drive for n in (network, joint.network))
    np.testing.assert_allclose(one["tweeter"], other["tweeter"], rtol=1e-12)


def test_a_tweeter_that_is_known_from_300_hz_only(tmp_path):
    """Impedance and response from 300 Hz up: the search still has a sum to go by, and says where it was judged."""
    name = "usual pair"
    whole = hidden_speaker(tmp_path / "whole", name, off_by(name, 1.5, 1))
    *_, impedances, responses = usual_pair()
    high = F >= 300.0
    part = write_speaker(
        tmp_path / "part", netlist(name, off_by(name, 1.5, 1)), impedances, responses, rows={"tweeter": high}
    )
    for speaker in (whole, part):
        study = redesign(speaker, STOCK, Wish(), circuits=("present",), starts=1, alternatives=False)
        first = study.proposals[0]
        assert np.isfinite([study.before.score, first.judged.score, first.judged.deviation_db]).all()
        assert study.suitable
        assert first.judged.deviation_db < 0.5 < study.before.deviation_db
        assert any("is not known everywhere" in w for w in study.warnings) is (speaker is part)
    said = next(w for w in study.warnings if "is not known everywhere" in w)
    assert "to 14." in said or "to 15 kHz" in said
