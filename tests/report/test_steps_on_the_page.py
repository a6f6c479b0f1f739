"""Each kind of answer on the page: what is told first, and what is built, bought and cautioned of."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "advice"))

from cases import CASES

from xover.blocks import Facts, Head, Items, Listing, Table, Text, Warn
from xover.drawing.change import steps_shown, sums_of
from xover.network.cards import netlist_text
from xover.report.report import make_report
from xover.rules.triage import Rung
from xover.studies.change.decide import decide

STOCK = Path(__file__).parents[2] / "examples" / "stock.csv"
NAMES = (
    *("reversed tweeter", "shorted capacitor", "dead tweeter, open", "horn 5 dB hot", "horn reversed by design"),
    *("corner at the tweeter's resonance, loud", "odd woofer in a parallel pair", "untouched placeholders"),
)
BUILT = {
    "reversed tweeter": "mended",
    "shorted capacitor": "mended",
    "horn 5 dB hot": "trimmed",
    "horn reversed by design": "rewired",
    "corner at the tweeter's resonance, loud": "revalued",
}
BOUGHT = {"shorted capacitor": {"C2"}, "horn 5 dB hot": {"R1", "R2"}}


@pytest.fixture(scope="module", params=NAMES)
def case(request):
    return request.param


@pytest.fixture(scope="module")
def page(case, tmp_path_factory):
    folder = next(c for c in CASES if c.name == case).make(tmp_path_factory.mktemp("page"))
    return make_report(folder, stock=STOCK)


def section(page, anchor):
    return next(s for s in page.sections if s.anchor == anchor)


def of(page, anchor, kind):
    return [b for b in section(page, anchor).blocks if isinstance(b, kind)]


def test_the_answer_is_that_of_decide_and_stands_first(page):
    told = page.answers.decision
    asked = decide(page.answers.plain_speaker, stock=STOCK)
    assert (told.answer, told.recommendation) == (asked.answer, asked.recommendation)
    first = section(page, "decision").blocks[0]
    assert isinstance(first, Text)
    assert first.words == f"{told.answer[:1].upper()}{told.answer[1:]}."


def test_what_forbids_to_play_it_is_told_before_the_reasons(case, page):
    d = page.answers.decision
    pairs = of(page, "decision", Facts)[0].pairs
    assert pairs[: len(d.stops)] == tuple(("stop", f"as it is, {f.text}") for f in d.stops)
    assert bool(d.stops) is (
        case in ("shorted capacitor", "dead tweeter, open", "corner at the tweeter's resonance, loud")
    )


def test_what_the_step_builds_is_built_and_nothing_else(case, page):
    build, chosen = page.answers.build, page.answers.decision.chosen
    assert build.new is (case in BUILT)
    assert build.name == BUILT.get(case, "found")
    listing = of(page, "bill", Listing)[0]
    assert listing.words == netlist_text(build.network)
    if build.new:
        assert listing.words == chosen.netlist
        assert build.network.driver_names == page.answers.present_network.driver_names
        assert build.bill is chosen.bill


def test_what_stays_soldered_is_not_to_be_built_again(case, page):
    words = [t.words for t in of(page, "build", Text)]
    kept = {
        "shorted capacitor": "L1, C1, L2, R1, R2",
        "horn 5 dB hot": "L1, C1, C2, L2",
        "horn reversed by design": "L1, C1, C2, L2, R1, R2",
        "reversed tweeter": "L1, C1, C2, L2, R1, R2",
    }
    told = [w for w in words if w.startswith("Left as soldered: ")]
    assert told == ([f"Left as soldered: {kept[case]}. Of these only the readings count."] if case in kept else [])


def test_parts_are_bought_as_the_step_says_or_nothing(case, page):
    tables, words = of(page, "bill", Table), of(page, "bill", Text)[0].words
    if case in BOUGHT:
        assert {row[0].words for row in tables[0].rows} == BOUGHT[case]
    elif case != "corner at the tweeter's resonance, loud":
        assert tables == []
        assert words.startswith("Nothing is to be bought")
    if case == "dead tweeter, open":
        assert "find another tweeter" in words
    if case == "odd woofer in a parallel pair":
        assert "find one like woofer" in words


def test_the_recommended_step_stands_first_among_the_proposals(page):
    d = page.answers.decision
    if d.chosen is None:
        assert d.recommendation is Rung.NONE_YET
        return
    heads = [h.words for h in of(page, "proposals", Head)]
    assert heads[0] == f"{str(d.recommendation).capitalize()} (recommended)"
    assert not (d.faults and "Bypass" in heads)


def test_each_stop_is_warned_of_once(page):
    d = page.answers.decision
    warned = [w.words for s in ("evidence", "cautions") for w in of(page, s, Warn)]
    for finding in d.stops:
        assert sum(finding.text[1:] in words for words in warned) == 1, finding.text


def test_a_figure_is_told_of_the_network_that_it_is_of(case, page):
    told = [w.words for w in of(page, "cautions", Warn) if w.heading == "Tweeter below its resonance"]
    if case == "corner at the tweeter's resonance, loud":
        assert len(told) == 1
        assert told[0].endswith("Network found.")
        assert "In revalued: tweeter gets 0." in told[0]
    else:
        assert all("revalued" not in words for words in told)


def test_the_figure_holds_few_steps_and_invents_no_driver(page):
    d = page.answers.decision
    shown = steps_shown(d)
    assert len(shown) <= 5
    assert str(Rung.LEAVE) in shown
    assert d.chosen is None or str(d.recommendation) in shown
    assert all(d.options[Rung(name)].available for name in shown)
    assert (str(Rung.DRIVER) in sums_of(d)) is False


def test_a_template_is_called_one(case, page):
    rows = {r[0].words: r[1].words for r in of(page, "evidence", Table)[1].rows}
    wanted = "as it came with a new folder" if case == "untouched placeholders" else "parts as measured on the board"
    assert rows["found"] == wanted
    items = [i for block in of(page, "owner", Items) for i in block.items]
    assert any("known from assumptions" in i for i in items) is (case == "untouched placeholders")
