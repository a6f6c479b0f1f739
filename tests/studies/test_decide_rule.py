"""The rule of decide on made-up steps: every branch by hand, and what must hold of any steps whatever."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from xover.rules.triage import CHEAP, KEEPS_VOICING, STEPS, Rung, Wants, step_db
from xover.sound.doubt import Known
from xover.studies.change.decide import criteria as judge
from xover.studies.change.decide.criteria import Aspect
from xover.studies.change.decide.ladder import Why, betters, could_better, pick
from xover.studies.change.decide.option import UNKNOWN, Bar, Option

LEAVE, REWIRE, TRIM, REFRESH, DRIVER, BYPASS, REVALUE, REDESIGN, AMPLIFIER = STEPS
MEND, NONE_YET = Rung.MEND, Rung.NONE_YET
VOICING, SOUND = Wants.VOICING, Wants.SOUND
NOTHING = Known(0.0, 0.0)


def a_step(name, sound=math.nan, voicing=math.nan, sure_to=0.1, *, strays=2.0, channels=2, why_not="", **more):
    """A step that comes nearer to both targets by so many dB, known to `sure_to`; a bypass of two channels."""
    gains = {w: UNKNOWN if math.isnan(g) else Known(g, sure_to) for w, g in ((SOUND, sound), (VOICING, voicing))}
    read = {Aspect.DEVIATION: judge.deviation(strays, assumed=False), Aspect.CHANNELS: judge.channels(2, channels)}
    criteria = tuple(read.get(a) or judge.unknown(a, "made up") for a in Aspect)
    return Option(name, why_not, criteria, np.full(3, np.nan), **{"gains": gains, **more})


def leaving(**more):
    """What is there now, its sum known to 1 dB."""
    return a_step(LEAVE, **{"gains": dict.fromkeys(Wants, NOTHING), "doubt_db": 1.0, **more})


def a_case(wants=None, aged=0.0, *, found="found", money=math.inf, faults=(), unready=(), read_off=True):
    """What `pick` asks of a case."""
    return SimpleNamespace(
        wants=wants,
        aged=Known(aged, 0.1),
        found=found,
        most_for_pair=money,
        faults=faults,
        unready=unready,
        read_off=read_off,
        all_read_off=math.nan,
    )


def picked(case, *steps, leave=None):
    return pick(case, {o.name: o for o in (leave or leaving(), *steps)})


def rung(case, *steps, leave=None):
    return picked(case, *steps, leave=leave).rung


def test_faults_come_first_then_placeholders():
    better = a_step(REDESIGN, 9.0)
    assert picked(a_case(SOUND, faults=("dead",), unready=("woofer",)), better).why is Why.FAULTS
    assert rung(a_case(SOUND, faults=("dead",)), better) is MEND
    told = picked(a_case(SOUND, unready=("woofer",)), better)
    assert (told.rung, told.why) == (NONE_YET, Why.PLACEHOLDERS)


@pytest.mark.parametrize(
    ("case", "leave"),
    [
        (a_case(SOUND), leaving(strays=math.nan)),
        (a_case(VOICING, found=None), leaving()),
        (a_case(VOICING, aged=math.nan), leaving()),
        (a_case(found=None), leaving(doubt_db=math.inf)),
    ],
)
def test_too_little_known_is_no_verdict(case, leave):
    told = picked(case, a_step(REFRESH, 9.0, 9.0, parts=1), leave=leave)
    assert (told.rung, told.why) == (NONE_YET, Why.NOT_MEASURED)


def test_a_doubtful_sum_is_not_left_but_is_bettered_by_what_is_sure():
    doubtful = leaving(doubt_db=3.1)
    assert picked(a_case(SOUND), leave=doubtful).why is Why.NOT_MEASURED
    assert rung(a_case(SOUND), a_step(REWIRE, 9.0, sure_to=9.5), leave=doubtful) is NONE_YET
    assert rung(a_case(SOUND), a_step(REWIRE, 9.0, sure_to=4.0), leave=doubtful) is REWIRE


def test_what_nobody_read_off_the_speaker_is_not_left():
    assert rung(a_case(read_off=False)) is NONE_YET
    assert rung(a_case(read_off=False), a_step(REFRESH, 9.0, 9.0, parts=1)) is REFRESH
    assert rung(a_case()) is LEAVE


def test_what_is_known_enough_is_left():
    for case, leave in ((a_case(SOUND), leaving(doubt_db=3.0)), (a_case(VOICING, 0.2), leaving(doubt_db=math.inf))):
        told = picked(case, a_step(REFRESH, 0.2, 0.2, parts=1), leave=leave)
        assert (told.rung, told.why) == (LEAVE, Why.NOTHING_LEFT)


@pytest.mark.parametrize(
    ("wants", "step", "worth"),
    [
        # Not heard with music up to 0.5 dB, hard to hear up to 1 dB, heard from 2 dB (xover/rules/audibility.py).
        (VOICING, REFRESH, 0.5),
        (VOICING, BYPASS, 1.0),
        (VOICING, AMPLIFIER, 1.0),
        (SOUND, REWIRE, 1.0),
        (SOUND, TRIM, 1.0),
        (SOUND, REFRESH, 1.0),
        (SOUND, REVALUE, 1.0),
        (SOUND, REDESIGN, 1.0),
        (None, TRIM, 1.0),
        (None, REVALUE, 2.0),
        (None, REDESIGN, 2.0),
    ],
)
def test_a_step_is_taken_from_its_worth_on_and_only_if_it_is_known(wants, step, worth):
    case = a_case(wants, aged=3.0 if wants is VOICING else 0.0)
    gain = worth + 0.01
    assert rung(case, a_step(step, worth, worth)) is LEAVE
    told = picked(case, a_step(step, gain, gain))
    assert (told.rung, told.why) == (step, Why.BETTER)
    assert rung(case, a_step(step, gain, gain, gain - 0.001)) is step
    assert rung(case, a_step(step, gain, gain, gain)) is LEAVE
    assert rung(case, a_step(step, gain, gain, math.nan)) is LEAVE


def test_the_first_that_is_enough_is_taken():
    trim, new = a_step(TRIM, 2.0), a_step(REDESIGN, 3.0)
    assert rung(a_case(SOUND), trim, new) is TRIM
    assert rung(a_case(SOUND), trim, a_step(REDESIGN, 3.01)) is REDESIGN
    assert rung(a_case(SOUND), trim, a_step(REDESIGN, 3.5, sure_to=1.6)) is TRIM
    assert rung(a_case(), trim, a_step(REDESIGN, 3.5)) is TRIM  # nobody asked for it
    assert rung(a_case(SOUND), a_step(REWIRE, 1.5), a_step(REVALUE, 2.9)) is REVALUE
    assert rung(a_case(SOUND), a_step(REWIRE, 1.5), trim, a_step(REVALUE, 2.9)) is TRIM


def test_more_means_never_buy_what_does_less():
    """Refresh is bettered by the redesign alone: what is less even than it and less sure is no way between them."""
    steps = a_step(REFRESH, 2.0), a_step(REVALUE, 1.9, sure_to=1.8)
    assert rung(a_case(SOUND), *steps) is REFRESH
    assert rung(a_case(SOUND), *steps, a_step(REDESIGN, 3.2)) is REDESIGN


def test_the_old_voicing_is_brought_back_by_steps_that_can():
    other = [a_step(n, 9.0, 9.0) for n in STEPS[1:] if n not in KEEPS_VOICING]
    assert rung(a_case(VOICING, 3.0), *other) is LEAVE
    assert rung(a_case(VOICING, 3.0), *other, a_step(REFRESH, voicing=2.0, parts=1)) is REFRESH


def test_what_is_hard_to_hear_is_worth_two_parts():
    for parts, gain, wanted in ((2, 0.9, REFRESH), (3, 0.9, LEAVE), (3, 1.01, REFRESH), (9, 3.0, REFRESH)):
        assert rung(a_case(VOICING, 3.0), a_step(REFRESH, voicing=gain, parts=parts)) is wanted, (parts, gain)


def test_what_renews_as_well_comes_after_renewing_alone():
    new, turned = a_step(REFRESH, 2.0, parts=1), a_step(REWIRE, 2.5, renews=True, parts=1)
    assert rung(a_case(SOUND), turned, new) is REFRESH
    assert rung(a_case(SOUND), a_step(REWIRE, 3.1, renews=True, parts=1), new) is REWIRE
    assert rung(a_case(SOUND), a_step(REWIRE, 2.5), new) is REWIRE  # alone it comes before, and is enough


def test_the_odd_driver_comes_before_what_evens_the_sum():
    new = a_step(REDESIGN, 9.0)
    assert rung(a_case(SOUND), a_step(DRIVER, 0.6, 0.6), new) is DRIVER
    assert rung(a_case(SOUND), a_step(DRIVER, 0.6, 0.6, 0.7), new) is REDESIGN
    assert rung(a_case(SOUND), a_step(DRIVER, 0.5, 0.5), new) is REDESIGN
    assert rung(a_case(SOUND), a_step(DRIVER, 9.0, 9.0, danger=Bar.UNSAFE), new) is REDESIGN
    assert rung(a_case(SOUND), a_step(DRIVER, 9.0, 9.0), leave=leaving(doubt_db=9.0)) is DRIVER


def test_unsafe_as_it_is_the_first_that_is_safe_and_keeps_the_sound():
    leave = leaving(danger=Bar.UNSAFE)
    told = picked(a_case(SOUND), a_step(TRIM, -0.9), leave=leave)
    assert (told.rung, told.why, told.bars[LEAVE]) == (TRIM, Why.SAFER, Bar.UNSAFE)
    assert rung(a_case(SOUND), a_step(TRIM, -1.1), a_step(REDESIGN, 0.1), leave=leave) is REDESIGN
    unsafe_trim = a_step(TRIM, 0.0, danger=Bar.UNSAFE)
    assert rung(a_case(SOUND), unsafe_trim, a_step(REVALUE, 0.0), leave=leave) is REVALUE
    # Parts are not bought anew for a sum that nobody knows.
    assert rung(a_case(SOUND), unsafe_trim, a_step(REVALUE), leave=leave) is MEND
    assert rung(a_case(VOICING, 3.0), a_step(REVALUE, 0.3), leave=leave) is REVALUE  # safe before old
    nothing = picked(a_case(SOUND), a_step(REDESIGN, 9.0, danger=Bar.LOAD), leave=leave)
    assert (nothing.rung, nothing.why) == (MEND, Why.UNSAFE)


def test_too_low_a_load_asks_for_another_amplifier():
    leave = leaving(danger=Bar.LOAD)
    told = picked(a_case(), a_step(AMPLIFIER, 0.0, 0.0, cost_for_pair=math.nan), leave=leave)
    assert (told.rung, told.why, told.bars[LEAVE]) == (AMPLIFIER, Why.SAFER, Bar.LOAD)


def test_money_prices_and_channels():
    def bar(money, **more):
        return picked(a_case(SOUND, money=money), a_step(REDESIGN, 9.0, **more)).bars[REDESIGN]

    assert bar(20.0, parts=3, cost_for_pair=20.0) is Bar.NONE
    assert bar(20.0, parts=3, cost_for_pair=20.01) is Bar.MONEY
    assert bar(20.0, parts=3, cost_for_pair=math.nan) is Bar.PRICE
    assert bar(math.inf, parts=3, cost_for_pair=math.nan) is Bar.NONE
    assert bar(0.0) is Bar.NONE  # buys nothing
    assert bar(20.0, why_not="no") is Bar.NO_OPTION
    for channels, wanted in ((2, BYPASS), (1, LEAVE), (None, LEAVE)):
        told = picked(a_case(SOUND), a_step(BYPASS, 9.0, channels=channels))
        assert told.rung is wanted
        assert (told.bars[BYPASS] is Bar.CHANNELS) is (wanted is LEAVE)


def test_without_a_wish_the_voicing_counts_unless_the_design_itself_is_bettered():
    def target(*steps, aged=3.0, **more):
        return picked(a_case(aged=aged, **more), *steps).target

    new = a_step(REFRESH, 2.0, 2.5, parts=1)
    assert target(new) is VOICING
    assert target(new, a_step(TRIM, 3.0)) is VOICING  # beyond the design as new by what is hard to hear
    assert target(new, a_step(TRIM, 3.1)) is SOUND
    assert target(new, a_step(REVALUE, 3.1)) is VOICING
    assert target(new, a_step(REVALUE, 4.1)) is SOUND
    assert target(new, a_step(REVALUE, 4.1, sure_to=2.2)) is VOICING
    assert target(new, a_step(REVALUE, 4.1, danger=Bar.UNSAFE)) is VOICING
    assert target(new, found=None) is SOUND
    assert target(new, aged=math.nan) is SOUND
    assert picked(a_case(aged=3.0), new, leave=leaving(danger=Bar.LOAD)).target is SOUND
    asked = picked(a_case(VOICING, 3.0), new, a_step(REVALUE, 9.0))
    assert (asked.target, asked.said, asked.rung) == (VOICING, True, REFRESH)


def test_a_search_is_made_only_where_it_could_better():
    def looks(rung, strays, wants=SOUND, leave=None, **more):
        return could_better(a_case(wants, **more), {LEAVE: leave or leaving(strays=strays)}, rung)

    assert [looks(REVALUE, x) for x in (1.0, 1.1)] == [False, True]
    assert [looks(REDESIGN, x, None) for x in (2.0, 2.1)] == [False, True]
    assert not looks(REDESIGN, 9.0, VOICING)
    assert not looks(REDESIGN, 9.0, faults=("dead",))
    assert not looks(REDESIGN, 9.0, unready=("woofer",))
    assert looks(REDESIGN, 0.5, VOICING, leaving(danger=Bar.LOAD))


# --- any steps ---------------------------------------------------------------------------------------------------

GAINS = st.one_of(st.just(math.nan), st.floats(-4.0, 8.0))
MONEY = st.sampled_from([0.0, 10.0, 20.0, 40.0, 80.0, math.inf])
DANGERS = st.sampled_from([Bar.NONE, Bar.NONE, Bar.NONE, Bar.LOAD, Bar.UNSAFE])


@st.composite
def steps(draw, some=STEPS[1:]):
    """Some of the steps, whatever they give and cost."""
    made = [
        a_step(
            name,
            draw(GAINS),
            draw(GAINS),
            draw(st.floats(0.1, 4.0)),
            channels=draw(st.sampled_from([1, 2])),
            parts=draw(st.integers(0, 6)),
            cost_for_pair=draw(st.one_of(st.just(math.nan), st.floats(0.0, 100.0))),
            danger=draw(DANGERS),
            renews=name in (REWIRE, TRIM) and draw(st.booleans()),
        )
        for name in draw(st.lists(st.sampled_from(some), unique=True))
    ]
    return sorted(made, key=lambda o: STEPS.index(o.name))


def rank(option):
    own = STEPS.index(option.name)
    return (max(own, STEPS.index(REFRESH)), own) if option.renews else (own, -1)


@example([a_step(REWIRE, math.nan, math.nan), a_step(REDESIGN, math.nan, 2.0)], Wants.VOICING, 0.0, 0.0, Bar.LOAD)
@given(steps(), st.sampled_from([None, *Wants]), st.floats(0.0, 5.0), MONEY, DANGERS)
def test_what_is_picked(made, wants, aged, money, danger):
    leave = leaving(danger=danger)
    options = {o.name: o for o in (leave, *made)}
    told = pick(a_case(wants, aged, money=money), options)
    if told.rung is MEND:
        assert danger is not Bar.NONE
        return
    option, target = options[told.rung], told.target
    assert told.bars[told.rung] is Bar.NONE
    assert option.danger is Bar.NONE
    assert not (option.parts and option.cost_for_pair > money)
    gain = option.gain(target)
    if danger is Bar.NONE and told.rung is not LEAVE:
        least = 0.5 if told.rung is DRIVER else step_db(told.rung, target, told.said)
        assert gain.value_db > max(least, gain.uncertainty_db)
        assert target is SOUND or told.rung in KEEPS_VOICING
    if told.rung is DRIVER and gain.value_db > max(0.5, gain.uncertainty_db):
        return  # left against right comes before all that is done to both
    for later in made:
        suits = told.bars[later.name] is Bar.NONE and rank(later) > rank(option)
        if danger is Bar.NONE:
            suits = suits and (target is SOUND or later.name in KEEPS_VOICING)
        else:
            heard = later.gain(SOUND).value_db
            # Nor is anything built anew for a sum that nobody knows.
            suits = suits and not (heard < -1.0 or (later.name in (REVALUE, REDESIGN) and math.isnan(heard)))
        assert not (suits and betters(later, option, target, told.said)), later


FOUR = st.tuples(*[st.tuples(st.integers(1, 16), st.integers(1, 8))] * 4)


@example(((6, 1), (5, 4), (1, 1), (9, 1)), SOUND)
@given(FOUR, st.sampled_from([None, SOUND]))
def test_more_money_never_leaves_more(halves, wants):
    """Where a later step costs more and takes more parts, as in life."""
    made = [
        a_step(name, 0.5 * gain, sure_to=0.5 * doubt, parts=i + 1, cost_for_pair=10.0 * i + 5.0)
        for i, (name, (gain, doubt)) in enumerate(zip((TRIM, REFRESH, REVALUE, REDESIGN), halves, strict=True))
    ]
    options = {o.name: o for o in (leaving(), *made)}
    told = [pick(a_case(wants, found=None, money=money), options) for money in (0.0, 10.0, 20.0, 30.0, math.inf)]
    assert told[0].rung is LEAVE
    gained = [options[one.rung].gain(one.target).value_db for one in told]
    assert gained == sorted(gained)


def test_cheap_steps_stand_first():
    order = [n for n in STEPS if n in CHEAP]
    assert order == list(STEPS[: len(order)])
