"""The page for the next owner: fates, changes and matches that can be read off the two netlists by eye."""

from dataclasses import replace

import pytest

from xover.bench.paperwork import Fate, paperwork
from xover.network.parts import Capacitor, Resistor
from xover.plain import to_plain


@pytest.fixture(scope="module")
def fitted(attic):
    """The board rebuilt: C1 and R1 new, C2 gone, RC added, the rest as it was found."""
    found = attic.network("found")
    new = {
        "C1": Capacitor("C1", "w", "0", 6.8e-6, kind="film", tolerance=0.05, volts=100.0),
        "R1": Resistor("R1", "t", "p", 5.6),
    }
    parts = [new.get(p.name, p) for p in found.parts if p.name != "C2"]
    added = Resistor("RC", "in", "t", 0.5)
    return replace(found, parts=(*parts, added))


@pytest.fixture(scope="module")
def page(attic, attic_mate, fitted):
    return paperwork(
        attic, marked=attic.network("original"), found=attic.network("found"), fitted=fitted, mate=attic_mate
    )


def test_marked_found_and_fitted(page):
    parts = {p.name: p for p in page.parts}
    assert {n: p.fate for n, p in parts.items()} == {
        "L1": Fate.KEPT,
        "C1": Fate.NEW,
        "C2": Fate.TAKEN_OUT,
        "L2": Fate.KEPT,
        "R1": Fate.NEW,
        "R2": Fate.KEPT,
        "RC": Fate.ADDED,
    }
    c1 = parts["C1"]
    assert (c1.marked, c1.fitted) == ("6.8 uF, electrolytic, 50 V", "6.8 uF, film, 100 V")
    assert c1.found == "8.4 uF, 2.1 ohm at 1 kHz, electrolytic, 50 V"  # loss=2.1@1kHz on its card
    assert c1.drift == pytest.approx(8.4 / 6.8 - 1.0, rel=1e-12)
    assert (c1.evidence, c1.tolerance, c1.original) == ("measured", "5%", False)
    assert parts["L1"].original is True
    assert parts["RC"].drift is None


def test_what_is_not_original(page):
    assert page.not_original == (
        "C1 is new: 6.8 uF, film, 100 V, marked 6.8 uF, electrolytic, 50 V",
        "C2 was taken out: 6.1 uF, 3 ohm at 1 kHz, electrolytic, 50 V",
        "R1 is new: 5.6 ohm, marked 5.6 ohm, 5 W",
        "RC was added: 0.5 ohm",
    )


def test_wiring_that_has_changed(attic):
    """A tweeter turned round, a part moved, another driver: each is said once."""
    marked = attic.network("original")
    turned = replace(marked.drivers[1], plus="0", minus="p")
    moved = [replace(p, a="in") if p.name == "R2" else p for p in marked.parts]
    other = replace(marked.drivers[0], driver="other")
    built = replace(marked, drivers=(other, turned), parts=tuple(moved))
    said = paperwork(attic, marked=marked, found=None, fitted=replace(built, drivers=(other, turned))).not_original
    assert "wiring: Xhigh is connected the other way round" in said
    assert "wiring: R2 is between in and 0, originally p and 0" in said
    assert "wiring: Xlow is other, originally woofer" in said


def test_labels_for_the_bags(page):
    labels = {label.part: label.text for label in page.labels}
    assert set(labels) == {"C1", "C2", "R1"}
    assert labels["C1"] == (
        "C1, Attic two-way, left (invented): marked 6.8 uF, electrolytic, 50 V; read 8.4 uF, 2.1 ohm at 1 kHz, "
        "electrolytic, 50 V (+24 %); replaced by 6.8 uF, film, 100 V. Date: ______. Belongs to this speaker: keep."
    )
    assert "not replaced" in labels["C2"]


def test_left_against_right(page):
    """8.4 against 7.7 uF, 6.1 against 5.4 uF, 6.4 against 5.9 ohm; the right woofer is of another kind."""
    parts = {p.name: p for p in page.match.parts}
    assert parts["C1"].difference == pytest.approx(7.7 / 8.4 - 1.0, rel=1e-12)
    assert [n for n, p in parts.items() if not p.alike] == ["C1", "C2", "R1"]
    drivers = {d.name: d for d in page.match.drivers}
    assert drivers["woofer"].alike is False
    assert drivers["tweeter"].alike is True
    # Of the left: highest |Z| among the rows below 100 Hz, and the lowest resistance.
    assert 50.0 < drivers["woofer"].fs_hz < 58.0
    assert page.match.sentence == (
        "more than 5 % apart: C1 (-8.3 %), C2 (-11 %) and R1 (-7.8 %); woofer is not the same on both sides by the "
        "sweeps"
    )


def test_no_more_is_claimed_than_is_known(attic, started):
    page = paperwork(attic, marked=None, found=attic.network("found"), fitted=None)
    assert page.claim == "No claim to the factory's specification is made: the marks on the parts were not read."
    assert all(p.original is None and p.fate is Fate.KEPT for p in page.parts)
    assert not page.labels
    marked = paperwork(attic, marked=attic.network("original"), found=None, fitted=None)
    assert "so none is claimed" in marked.claim
    assert "the old parts were not measured" in marked.unsure
    sheet = started("two-way-second-order")
    ready = paperwork(sheet, marked=sheet.network("original"), found=sheet.network("found"), fitted=None, mate=sheet)
    assert ready.claim.startswith("No claim")
    assert "a ready circuit's" in ready.claim
    assert {p.evidence for p in ready.parts} == {"not known"}
    assert any("nothing shows that the old parts were measured" in u for u in ready.unsure)
    assert ready.match.sentence.endswith("the drivers were not swept on both sides")
    nothing = paperwork(attic, marked=None, found=None, fitted=None)
    assert not nothing.parts


def test_marks_that_nobody_read(attic):
    marked = attic.network("original")
    parts = tuple(replace(p, evidence="assumed") if p.name == "C2" else p for p in marked.parts)
    page = paperwork(attic, marked=replace(marked, parts=parts), found=None, fitted=None)
    assert page.claim.startswith("No claim to the factory's specification is made: of C2 the marks were not read")


def test_doubt_is_told(page, attic):
    words = " ".join(page.uncertainty)
    assert "values found of L1, C1, C2, L2, R1 and R2: measured" in words
    assert "no meter's tolerance is stated" in words
    assert "new parts lie within their tolerance: C1 5%" in words
    assert "R1 and RC: new, no tolerance stated" in words
    bare = attic.network("found")
    loose = tuple(replace(p, kind="electrolytic", losses_at_hz=()) if p.name == "C1" else p for p in bare.parts)
    told = paperwork(attic, marked=None, found=replace(bare, parts=loose), fitted=None).uncertainty
    assert any(u.startswith("C1: a multimeter reads lossy capacitors high") for u in told)
    assert to_plain(page)["parts"][1]["fate"] == "new"
