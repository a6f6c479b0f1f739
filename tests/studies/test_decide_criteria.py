"""The criteria of decide: limits from where each says; between them the verdict changes, and nowhere else."""

import math

import pytest

from xover.amplifier.load import LoadLevel
from xover.curve import Evidence
from xover.plain import to_plain
from xover.studies.change.decide import criteria as judge
from xover.studies.change.decide.criteria import Aspect, Verdict, figure

PASS, MARGINAL, FAIL, UNKNOWN = Verdict.PASS, Verdict.MARGINAL, Verdict.FAIL, Verdict.UNKNOWN


@pytest.mark.parametrize(
    ("criterion", "verdicts"),
    [
        # +-3 dB is the usual specification, +-6 dB twice that (common practice).
        (lambda x: judge.deviation(x, assumed=False), [(3.0, PASS), (3.01, MARGINAL), (6.0, MARGINAL), (6.01, FAIL)]),
        # 12 dB and more: in step (common practice). Never a fault.
        (lambda x: judge.reversed_null(x, assumed=False), [(12.0, PASS), (11.9, MARGINAL), (-8.0, MARGINAL)]),
        # The scale of audibility: 0.5 dB is not heard with music, beyond 2 dB is obvious.
        (lambda x: judge.voicing(x, can_fail=True), [(0.5, PASS), (0.51, MARGINAL), (2.0, MARGINAL), (2.01, FAIL)]),
        (lambda x: judge.voicing(x, can_fail=False), [(0.5, PASS), (0.51, MARGINAL), (20.0, MARGINAL)]),
        # Half of 4 ohm (common practice).
        (lambda x: judge.peak_load(x, 4.0, "[amplifier]"), [(2.0, PASS), (1.99, MARGINAL)]),
        # 0.1 W on average, four times that at most (common practice).
        (lambda x: judge.tweeter(x), [(0.1, PASS), (0.101, MARGINAL), (0.4, MARGINAL), (0.41, FAIL)]),
        (lambda x: judge.ratings(x, over=False, unstated=0), [(1.0, PASS), (1.01, MARGINAL), (1.9, MARGINAL)]),
        (lambda x: judge.ratings(x, over=True, unstated=0), [(2.1, FAIL)]),
        (lambda x: judge.ratings(x, over=False, unstated=1), [(0.9, UNKNOWN), (1.01, MARGINAL)]),
        (lambda x: judge.stops(int(x)), [(0, PASS), (1, FAIL)]),
        (lambda x: judge.pair(x), [(1.0, PASS), (1.01, MARGINAL), (9.0, MARGINAL)]),
        (lambda x: judge.pair(x, aged=True), [(1.0, UNKNOWN), (1.01, MARGINAL)]),
        (lambda x: judge.cost(x, 20.0), [(20.0, PASS), (20.01, FAIL)]),
        (lambda x: judge.cost(x, None), [(0.0, PASS), (20.0, UNKNOWN)]),
        (lambda x: judge.to_buy(int(x), listed=True), [(0, PASS), (3, PASS)]),
        (lambda x: judge.to_buy(int(x), listed=False), [(0, PASS), (3, UNKNOWN)]),
        (lambda x: judge.channels(2, int(x)), [(2, PASS), (3, PASS), (1, FAIL)]),
    ],
)
def test_limits(criterion, verdicts):
    for value, verdict in verdicts:
        assert criterion(value).verdict is verdict, value


@pytest.mark.parametrize(
    "criterion",
    [
        judge.deviation(math.nan, assumed=False),
        judge.reversed_null(math.nan, assumed=False),
        judge.voicing(math.nan, can_fail=True),
        judge.peak_load(math.nan, 4.0, ""),
        judge.load(math.nan, 4.0, LoadLevel.UNKNOWN, ""),
        judge.tweeter(math.nan),
        judge.ratings(math.nan, over=False, unstated=2),
        judge.pair(math.nan),
        judge.cost(math.nan, 10.0),
        judge.channels(2, None),
        judge.unknown(Aspect.LOAD, "no sweep", math.nan),
    ],
)
def test_what_is_not_known_gets_no_verdict(criterion):
    assert criterion.verdict is UNKNOWN
    plain = to_plain(criterion)
    assert plain["verdict"] == "unknown"
    assert plain["value"] is None or criterion.name is Aspect.CHANNELS


def test_what_is_assumed_gets_no_verdict_but_its_figure():
    for criterion in (
        judge.deviation(1.0, assumed=True),
        judge.deviation(1.0, assumed=False, known_share=0.89),
        judge.reversed_null(30.0, assumed=True),
        judge.reversed_null(30.0, assumed=False, expected=False),
        judge.pair(0.1, assumed=True),
    ):
        assert criterion.verdict is UNKNOWN
        assert criterion.value is not None
    assert judge.deviation(1.0, assumed=False, known_share=0.9).verdict is PASS


def test_the_load_follows_its_level_and_names_both_limits():
    for level, verdict in (
        (LoadLevel.FITS, PASS),
        (LoadLevel.EDGE, MARGINAL),
        (LoadLevel.TOO_LOW, FAIL),
        (LoadLevel.UNKNOWN, UNKNOWN),
    ):
        assert judge.load(5.0, 8.0, level, "[amplifier]").verdict is verdict
    low = judge.load(5.0, 8.0, LoadLevel.TOO_LOW, "[amplifier]")
    # IEC 60268-5 lets a speaker dip by 20 %.
    assert (low.limit, low.marginal_limit) == (8.0, pytest.approx(6.4))
    assert judge.load(5.0, None, LoadLevel.UNKNOWN, "").verdict is UNKNOWN


def test_the_weakest_evidence_counts():
    measured, sheet, assumed = Evidence.MEASURED, Evidence.DATASHEET, Evidence.ASSUMED
    told = [
        judge.evidence(kinds) for kinds in ((measured,), (measured, sheet), (sheet, assumed, measured), (assumed, None))
    ]
    assert [c.value for c in told] == ["measured", "datasheet", "assumed", "not known"]
    assert [c.verdict for c in told] == [PASS, MARGINAL, MARGINAL, UNKNOWN]


def test_figures_in_words():
    assert figure(Aspect.DEVIATION, 2.54) == "2.5 dB"
    assert figure(Aspect.VOICING, 0.136) == "0.14 dB"
    assert figure(Aspect.TWEETER, 0.0123) == "12 mW"
    assert figure(Aspect.TWEETER, 2e-6, short=True) == "<0.01"
    assert figure(Aspect.RATINGS, 1.16) == "116 % of rating"
    assert figure(Aspect.LOAD, None) == "not known"
    assert judge.reversed_null(math.inf, assumed=False).figure == "full"
