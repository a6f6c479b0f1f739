"""Redesign from a speaker folder to proposals."""

import shutil
from pathlib import Path

import numpy as np
import pytest

from xover.curve import log_grid
from xover.errors import OptionError
from xover.files.netlist import parse_netlist
from xover.network import Inductor, build_network, solve
from xover.parts.catalogue import Catalogue
from xover.parts.stock import open_stock
from xover.sound.meeting import WayOfDrivers
from xover.sound.sums import sum_level_db
from xover.speaker import open_speaker
from xover.studies.change.redesign.design import fitting, polarities, topology
from xover.studies.change.redesign.result import BestAt
from xover.studies.change.redesign.study import redesign
from xover.studies.change.redesign.wish import Wish

EXAMPLES = Path(__file__).parents[3] / "examples"
STOCK = EXAMPLES / "stock.csv"
BAND = (300.0, 15_000.0)


@pytest.fixture(scope="module")
def attic():
    return open_speaker(EXAMPLES / "attic-two-way" / "left")


@pytest.fixture(scope="module")
def study(attic):
    wish = Wish(band_hz=BAND, minimum_load_ohm=4.0)
    return redesign(attic, Catalogue(open_stock(STOCK)), wish, circuits=("present",), starts=1)


def half_range_db(speaker, network):
    """From a plain solve and the predicted sum, on another grid than the search's."""
    f = log_grid(*BAND, 24)
    level = sum_level_db(speaker, network, solve(network, f, speaker.impedances_ohm(network, f)))
    return (np.nanmax(level) - np.nanmin(level)) / 2


def test_proposals_are_better_and_are_what_they_say(attic, study):
    assert study.suitable
    assert 2 <= len(study.proposals) <= 5
    before = half_range_db(attic, attic.network("found"))
    assert study.before.deviation_db == pytest.approx(before, abs=0.1)
    flattest = next(p for p in study.proposals if p.name == "flattest")
    assert flattest.judged.deviation_db < before - 0.5
    for proposal in study.proposals:
        network = build_network(parse_netlist(proposal.netlist))
        assert proposal.judged.deviation_db == pytest.approx(half_range_db(attic, network), abs=0.1)
        f = log_grid(20, 20_000, 48)
        load = solve(network, f, attic.impedances_ohm(network, f)).impedance_ohm["in"]
        assert proposal.judged.lowest_ohm == pytest.approx(np.abs(load).min(), rel=0.01)
        assert proposal.judged.lowest_ohm > 3.9
    assert len({p.netlist for p in study.proposals}) == len(study.proposals)


def test_every_part_is_of_the_list_with_the_resistance_of_the_coil_chosen(study):
    stock = open_stock(STOCK)
    for proposal in study.proposals:
        bought = {name: line for line in proposal.bill.lines for name in line.names}
        for part in proposal.network.parts:
            if part.name not in bought:
                assert part.name not in proposal.changed
            elif isinstance(part, Inductor):
                fitting_items = [i for i in stock.items if i.value == part.henry and i.dcr_ohm is not None]
                assert any(i.dcr_ohm == part.dcr_ohm for i in fitting_items)
        assert proposal.cost == pytest.approx(sum(line.price * line.quantity for line in proposal.bill.lines))


def test_least_change_changes_least(attic, study):
    least = next(p for p in study.proposals if BestAt.LEAST_CHANGE in p.best_at)
    assert 1 <= len(least.changed) <= 2
    old = attic.network("found")
    for part in least.network.parts:
        if part.name not in least.changed:
            assert part.impedance_ohm(np.array([1e4])) == pytest.approx(
                old.part(part.name).impedance_ohm(np.array([1e4]))
            )
    assert least.judged.score < study.before.score
    assert len(least.bill.lines) == len(least.changed)


def test_what_is_not_sure_to_be_better_says_what_to_measure_first(study, tmp_path):
    assert study.unsure == ()
    assert study.gain.sure is ("not sure" not in study.headline)
    folder = tmp_path / "attic" / "left"
    shutil.copytree(EXAMPLES / "attic-two-way", folder.parent)
    toml = folder / "speaker.toml"
    lines = toml.read_text().replace('impedance_evidence = "measured"', 'response_instrument = "phone"')
    toml.write_text(lines)
    phone = redesign(
        open_speaker(folder),
        Catalogue(open_stock(STOCK)),
        study.wish,
        circuits=("present",),
        starts=1,
        alternatives=False,
    )
    assert phone.unsure == ("woofer", "tweeter")
    assert phone.gain.value_db < phone.gain.uncertainty_db
    assert "measure the response of woofer, tweeter by a calibrated microphone" in phone.headline


def test_json_by_contract(study):
    assert all(0.0 <= p.yield_share <= 1.0 for p in study.proposals)
    plain = study.plain()
    wanted = {"name", "netlist", "deviation_db", "null_depth_db", "minimum_load_ohm", "parts", "cost", "yield"}
    assert all(wanted <= set(p) for p in plain["proposals"])


def test_without_a_common_time_reference_no_sum_is_claimed():
    speaker = open_speaker(EXAMPLES / "hall-horn-two-way")
    study = redesign(speaker, Catalogue(), Wish(), circuits=("present",), starts=0)
    assert np.isnan(study.before.deviation_db)
    assert all(np.isnan(p.judged.deviation_db) and np.isnan(p.yield_share) for p in study.proposals)
    assert any("no one sum is right" in w for w in study.warnings)
    # The autotransformer's coils are one part and keep their values.
    assert all(not {"L2", "L3"} & set(p.changed) for p in study.proposals)


def test_stopped_by_the_user_it_gives_what_it_has(attic):
    def stop(share, _words):
        if share >= 0.5:
            raise KeyboardInterrupt

    study = redesign(attic, Catalogue(), Wish(band_hz=BAND), circuits=("present",), starts=0, progress=stop)
    assert study.stopped
    assert study.proposals
    assert any("stopped" in w for w in study.warnings)


def test_a_bound_on_the_cost_and_on_the_parts_is_kept(attic, study):
    flattest = next(p for p in study.proposals if p.name == "flattest")
    bound = 0.9 * min(p.cost for p in study.proposals)
    wish = Wish(band_hz=BAND, minimum_load_ohm=4.0, most_cost=bound)
    cheaper = redesign(attic, Catalogue(open_stock(STOCK)), wish, circuits=("present",), starts=0, alternatives=False)
    assert all(p.cost <= bound < flattest.cost for p in cheaper.proposals)
    with pytest.raises(OptionError, match="5 parts or fewer"):
        redesign(attic, Catalogue(), Wish(most_parts=5), circuits=("present",))


def test_chosen_parts_stand_what_they_get(attic, study):
    """What the netlist says of its parts is enough for programme at the amplifier's full level."""
    from xover.amplifier.stress import rate_part, read_stress

    f = log_grid(20, 20_000, 48)
    peak = 2**0.5 * (60 * 8) ** 0.5
    for proposal in study.proposals:
        network = build_network(parse_netlist(proposal.netlist))
        solution = solve(network, f, attic.impedances_ohm(network, f))
        stress = read_stress(solution, {"in": peak / 4}, 4.0)
        for part in network.parts:
            if part.name in {n for line in proposal.bill.lines for n in line.names}:
                rating = rate_part(part, stress.of(part.name))
                assert rating is None or str(rating.verdict) in ("enough", "not known"), (proposal.name, part.name)


def test_topologies_that_fit(attic):
    order = tuple(WayOfDrivers((name,), (name,)) for name in ("woofer", "tweeter"))
    reference = attic.network("found")
    names = [t.name for t in fitting(reference, order, None)]
    assert names[0] == "present"
    assert "two-way-third-order" in names
    assert "three-way-second-order" not in names
    assert "two-way-two-woofers" not in names
    assert "two-way-bi-amp" not in names
    horn = topology("two-way-horn-swamped", reference, order)
    assert set(horn.network.driver_names) == {"woofer", "tweeter"}
    turned = polarities(topology("present", reference, order), order)
    assert [t.reversed for t in turned] == [(), ("tweeter",)]
    assert turned[1].network.driver_card("tweeter").plus == reference.driver_card("tweeter").minus
    with pytest.raises(OptionError, match="other drivers"):
        topology("three-way-second-order", reference, order)
    assert all(len(t.network.parts) <= 6 for t in fitting(reference, order, 6))


def test_bounds_that_cannot_be_met(attic):
    with pytest.raises(OptionError, match="crossover frequencies"):
        redesign(attic, Catalogue(), Wish(crossover_hz=(500.0, 3000.0)), circuits=("present",))
    with pytest.raises(OptionError, match="nothing for L"):
        redesign(attic, Catalogue(), Wish(largest_coil_h=1e-6), circuits=("present",), starts=0)
