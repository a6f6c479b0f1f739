"""The figure of the crosstalk shows the drives and sums of the study, and can be read."""

from dataclasses import replace

import numpy as np
import pytest

from xover.curve import log_grid
from xover.drawing.bears import draw_crosstalk
from xover.studies.bears.crosstalk.stray import Couple
from xover.studies.bears.crosstalk.study import study_crosstalk

F = log_grid(20.0, 20e3, 12)


@pytest.fixture(scope="module")
def given(results):
    """Two couplings, both signs of each."""
    couples = [Couple("L1", "L2", 0.03), Couple("L3", "L4", 0.05)]
    return study_crosstalk(results.speaker("studio"), "found", F, couples)


@pytest.fixture(scope="module")
def limits(results):
    return study_crosstalk(results.speaker("attic left"), "found", F)


def test_the_worst_case_is_drawn(given, drawn):
    d = drawn(draw_crosstalk(given))
    worst = max(given.cases, key=lambda case: abs(case.total.change))
    for key, drive in given.drive_db.items():
        np.testing.assert_array_equal(d.line(f"{key} without")[1], drive)
        np.testing.assert_array_equal(d.line(f"{key} with")[1], worst.drive_db[key])
        stray = worst.stray_db[key]
        np.testing.assert_array_equal(d.line(f"{key} stray")[1], np.where(np.isfinite(stray), stray, np.nan))
    changes = [n for n in d.names(d.lower) if n.startswith("L1:L2")]
    assert len(changes) == 4
    assert changes[0] == "L1:L2 {:+.2g}, L3:L4 {:+.2g}".format(*(c.k for c in worst.couples)).replace("-", "\u2212")
    np.testing.assert_array_equal(d.line(changes[0], d.lower)[1], worst.total_db)
    drawn_changes = [d.line(name, d.lower)[1] for name in changes]
    for case in given.cases:
        assert any(np.array_equal(case.total_db, change) for change in drawn_changes)
    x, y = d.line("limit -0.1", d.lower)
    assert (list(x), list(y)) == ([200.0, 20_000.0], [-0.1, -0.1])
    assert "limit ±0.1 dB" in d.labels(d.lower)
    assert {"mid", "stray at mid", "upper and lower"} <= set(d.labels(d.upper))
    assert f"the sum changes by {worst.total.change:+.2f} dB" in d.all_text()
    d.assert_legible(25)


def test_without_couplings_the_closest_pair_is_drawn_at_its_limit(limits, drawn):
    d = drawn(draw_crosstalk(limits))
    change = d.line(f"L1:L2 {limits.at_limit.couples[0].k:+.2g}".replace("-", "\u2212"), d.lower)[1]
    np.testing.assert_array_equal(change, limits.at_limit.total_db)
    assert "as much as the pair that allows least may have" in d.all_text()
    assert f"coupling that moves the sum by 0.1 dB: L1:L2 {limits.pairs[0].smaller:.2g}" in d.all_text()
    d.assert_legible(25)


def test_of_many_cases_the_worst_are_drawn(given, drawn):
    cases = [
        replace(case, couples=tuple(replace(c, k=c.k / times) for c in case.couples))
        for case in given.cases
        for times in (1.0, 2.0, 3.0)
    ]
    many = replace(given, cases=tuple(cases))
    d = drawn(draw_crosstalk(many))
    assert len([n for n in d.names(d.lower) if n.startswith("L1:L2")]) == 5
    assert "7 more combinations of signs change less, not shown here" in d.all_text()


def test_where_no_coupling_matters_the_drives_alone_are_drawn(limits, drawn):
    for pairs, words in ((limits.pairs, "no coupling up to 0.5 between any two coils matters"), ((), "no two coils")):
        d = drawn(draw_crosstalk(replace(limits, at_limit=None, pairs=pairs)))
        assert d.names(d.upper) == ["woofer without", "tweeter without"]
        assert words in d.all_text()
        assert "no coupling to show" in d.labels(d.lower)
        d.assert_legible(20)


def test_without_a_sum_the_drive_that_moves_most_is_drawn(limits, drawn):
    study = replace(limits, judged_by="drives")
    d = drawn(draw_crosstalk(study))
    case = study.at_limit
    moved = max(case.drive, key=lambda effect: abs(effect.pass_band.change)).key
    (name,) = [n for n in d.names(d.lower) if n.startswith("L1:L2")]
    assert name.endswith(f", {moved}")
    np.testing.assert_allclose(d.line(name, d.lower)[1], case.drive_db[moved] - study.drive_db[moved])
    assert d.lower.get_title(loc="left") == "Change of the drive that moves most, dB"
