"""A decision in sentences: the answer in one screen, all steps with --why, every limit with --all."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from xover.blocks import SCREEN_COLUMNS, Block, Facts, Head, Items, Text, fact, plain_table
from xover.figures import db, hertz, money, written
from xover.judge.odd_words import differs_words, remedy_words, told_odd
from xover.rules.audibility import PRACTICE, UNHEARD_DB, audibility
from xover.rules.bands import JUDGED_HZ
from xover.rules.instruments import SWEPT, Instrument
from xover.rules.margins import DEVIATION_DB, VALVES_OHM
from xover.rules.triage import RULE, VOICING_STEP_DB, Rung, Wants, step_db
from xover.sentences import and_words
from xover.sound.doubt import voicing_gain
from xover.sound.driver_fit import fit_sweep
from xover.speaker import PhaseSource, Speaker
from xover.speaker.untouched import is_copy, untouched
from xover.studies.change.decide.criteria import Aspect, Criterion, Verdict, figure
from xover.studies.change.decide.ladder import Options, Picked, Why, betters
from xover.studies.change.decide.option import Bar, DecisionCase, Option

if TYPE_CHECKING:
    from xover.studies.change.decide.study import Decision

MARKS: Final = {Verdict.PASS: "+", Verdict.MARGINAL: "o", Verdict.FAIL: "x", Verdict.UNKNOWN: "?"}
"""Told apart without colour."""
TARGETS: Final = {Wants.VOICING: "the sound it had when new", Wants.SOUND: "an even sum"}
_WORDS: Final = {
    Instrument.UNCALIBRATED: "a microphone that was not calibrated",
    Instrument.PHONE: "levels read from a phone: good for differences, not for a level of the treble",
    Instrument.DATASHEET: "a datasheet",
    Instrument.PLACEHOLDER: "the template: no driver of yours",
    Instrument.ASSUMED: "an assumption",
}
MOST_CAUTIONS: Final = 2


def rests_on(speaker: Speaker, names: tuple[str, ...], found: str | None, reference: str | None) -> tuple[str, ...]:
    """What of the answer is not measured, the weakest first; empty where all of it is."""
    drivers = [(n, speaker.drivers[n]) for n in names]
    said = []
    silent = [n for n, d in drivers if not d.has_response]
    if silent:
        said.append(f"nothing is known of the sound of {and_words(silent)}: only voltages and loads are told")
    for name, driver in drivers:
        fit = fit_sweep(driver)
        if fit is not None and not fit.holds:
            said.append(f"no model follows the sweep of {name}: sweep it again before anything is bought or built")
    for instrument, words in reversed(_WORDS.items()):
        heard = [n for n, d in drivers if d.has_response and d.response_instrument is instrument]
        swept = [n for n, d in drivers if d.impedance_instrument is instrument]
        if heard and heard == swept:
            said.append(f"all that is known of {and_words(heard)} is from {words}")
            continue
        if heard:
            said.append(f"the response of {and_words(heard)} is from {words}")
        if swept:
            said.append(f"the impedance of {and_words(swept)} is from {words}")
    rebuilt = [n for n, d in drivers if d.response is not None and d.phase_source is PhaseSource.MINIMUM]
    if rebuilt:
        said.append(f"the phase of {and_words(rebuilt)} is rebuilt, not measured")
    if found is None:
        said.append("the parts on the board were not measured: what age has done is not known")
    elif reference is not None and found != reference and is_copy(speaker.network(found), speaker.network(reference)):
        said.append(f"'{found}' repeats '{reference}' to the last digit: were its parts measured?")
    elif found == reference:
        said.append(f"'{found}' is both the design and what is taken to be on the board today")
    elif found != "found":
        said.append(f"network '{found}' is taken for what is on the board today")
    if reference is None:
        said.append("no network tells the design: how far age has moved it is not known")
    return tuple(said)


def cannot_know(case: DecisionCase) -> tuple[str, ...]:
    """What no step's figures tell, one sentence each."""
    speaker, amplifier = case.speaker, case.speaker.amplifier
    said = []
    if not case.bench.coherent and all(speaker.drivers[n].has_response for n in case.network.driver_names):
        said.append(f"the sum: {case.bench.timing_reason}")
    if amplifier is None or amplifier.minimum_load_ohm is None:
        said.append("whether the amplifier allows the load: no minimum_load_ohm in [amplifier]")
    if amplifier is None or not (amplifier.rated_power_w and amplifier.rated_load_ohm):
        said.append("whether the parts stand the amplifier: no rated_power_w and rated_load_ohm in [amplifier]")
    if speaker.listening is None or speaker.listening.level_db is None:
        said.append("what reaches the tweeter below its resonance: no level_db in [listening]")
    if amplifier is not None and amplifier.output_ohm is not None and amplifier.output_ohm >= VALVES_OHM:
        said.append(f"what the amplifier's {amplifier.output_ohm:g} ohm do to the sound (xover load tells)")
    return tuple(said)


def answer(options: Options, picked: Picked) -> str:
    """What to do, in a few words."""
    if picked.rung is Rung.NONE_YET:
        return "no verdict yet"
    if picked.why is Why.FAULTS:
        return f"mend it first: {options[Rung.MEND].what}"
    if picked.why is Why.UNSAFE:
        stop = options[Rung.LEAVE].stops[0]
        return f"do not play it so: {stop.remedy}"
    if picked.rung is Rung.LEAVE:
        return "leave it as it is"
    option = options[picked.rung]
    price = (
        f"; {money(option.cost_for_pair)} a pair"
        if option.cost_for_pair and not math.isnan(option.cost_for_pair)
        else ""
    )
    told = f"renew {option.fits}" if option.fits else f"{_VERBS[picked.rung]}{option.what}"
    return f"{told}{price}"


_VERBS: Final = {
    Rung.REWIRE: "",
    Rung.TRIM: "trim a level: ",
    Rung.REFRESH: "",
    Rung.DRIVER: "",
    Rung.BYPASS: "bypass the network: ",
    Rung.REVALUE: "the same circuit with ",
    Rung.REDESIGN: "build ",
    Rung.AMPLIFIER: "use ",
    Rung.MEND: "",
}


def reasons(case: DecisionCase, options: Options, picked: Picked) -> tuple[str, ...]:
    """Why, in one or two sentences."""
    other = (f"mend the other speaker too: {f.text}" for f in case.mate_faults[:1])
    return (*_reasons(case, options, picked), *other)


def _reasons(case: DecisionCase, options: Options, picked: Picked) -> Iterator[str]:
    leave = options[Rung.LEAVE]
    if picked.why is Why.PLACEHOLDERS:
        yield f"{and_words(case.unready)}: still the template's values, nobody's driver"
    elif picked.why is Why.FAULTS:
        yield "; ".join(f.text for f in case.faults[:3])
        yield from _after_mending(case, options)
    elif picked.why is Why.ALL_READ_OFF:
        off = 100.0 * (case.all_read_off - 1.0)
        side = "low" if off < 0 else "high"
        yield (
            f"all parts read about {abs(off):.0f} % {side}, coils too, which do not age: it is the meter, or "
            "the marks are those of another speaker"
        )
    elif picked.why is Why.NOT_MEASURED:
        if not case.read_off:
            yield "the parts on the board were not measured: what age has done to them is not known"
        else:
            yield "neither its sound nor its design is known well enough to say that nothing is left to do"
    elif picked.rung is Rung.LEAVE:
        yield _now(case, leave, picked.target)
        even = leave.of(Aspect.DEVIATION)
        if picked.target is Wants.VOICING and even.known and even.number > DEVIATION_DB:
            yield f"its sum strays by +-{even.figure}: {_most_even(options, picked)}"
        yield from _not_worth_it(options, picked)
        yield from _beyond_means(options, picked)
    elif picked.why is Why.UNSAFE:
        yield "no change of parts that was looked at makes it safe and keeps its sound"
    else:
        if picked.rung is Rung.DRIVER:
            yield from _odd_reasons(case, options)
            return
        gain = options[picked.rung].gain(picked.target)
        if gain.value_db > 0.0 and (picked.why is not Why.SAFER or gain.value_db > gain.uncertainty_db):
            left = _left_db(case, leave, picked.target) - gain.value_db
            yield (
                f"{_now(case, leave, picked.target)}; this leaves {'+-' if picked.target is Wants.SOUND else ''}"
                f"{db(max(left, 0.0))} dB, known to {db(gain.uncertainty_db)} dB"
            )
        yield from _beyond_means(options, picked)


def _most_even(options: Options, picked: Picked) -> str:
    """What would make the sum even, were that what is wanted."""
    steps = [o for n, o in options.items() if picked.bars[n] is Bar.NONE and o.gain(Wants.SOUND).sure]
    best = max(steps, key=lambda o: o.gain(Wants.SOUND).value_db, default=None)
    if best is None:
        return "no step here is sure to better that"
    return f'{best.name} would make it +-{best.of(Aspect.DEVIATION).figure} (wants = "sound" in [means] asks for it)'


def _left_db(case: DecisionCase, leave: Option, target: Wants) -> float:
    """How far what is there lies from its target, dB."""
    return case.aged.value_db if target is Wants.VOICING else leave.of(Aspect.DEVIATION).number


def _not_worth_it(options: Options, picked: Picked) -> Iterator[str]:
    """Worn parts that would cost more than the change is worth."""
    new = options.get(Rung.REFRESH)
    if picked.target is Wants.VOICING and new is not None and picked.bars[Rung.REFRESH] is Bar.NONE:
        gain = new.gain(picked.target).value_db
        if gain > UNHEARD_DB and not math.isnan(new.cost_for_pair):
            yield f"refresh would take {db(gain)} dB of it, hard to hear, for {money(new.cost_for_pair)} a pair"


def _after_mending(case: DecisionCase, options: Options) -> Iterator[str]:
    """What is left once the faults are mended."""
    mended, design = options[Rung.MEND].network, case.bench.design
    if mended is None or design is None:
        return
    left = voicing_gain(case.speaker, design.network, mended, design.network, case.bench.frequency_hz)
    if left.value_db > max(VOICING_STEP_DB, left.uncertainty_db):
        worn = [e.part for e in case.refresh.exchanged if not e.stays]
        yield f"then age is left, {db(left.value_db)} dB: renew {and_words(worn)}" if worn else "then ask again"


def _odd_reasons(case: DecisionCase, options: Options) -> Iterator[str]:
    odd = options[Rung.DRIVER].study
    yield differs_words(odd).rstrip(".")
    left = "; ".join(f"{remedy_words(odd, r)}: {db(r.left_db)} dB" for r in odd.remedies if not math.isnan(r.left_db))
    yield f"left between left and right: {left}"
    if case.worn:
        yield _now(case, options[Rung.LEAVE], Wants.VOICING)


def _now(case: DecisionCase, leave: Option, target: Wants) -> str:
    """How far what is there lies from its target."""
    if target is Wants.VOICING:
        aged = case.aged.value_db
        if case.bench.coherent:
            return f"age has moved its sound by {written('voicing moved', aged, case.present)} dB ({audibility(aged)})"
        return f"age has moved the voltage at a driver by {db(aged)} dB ({audibility(aged)})"
    return f"its sum strays by +-{leave.of(Aspect.DEVIATION).figure}"


BARS: Final = {
    Bar.UNSAFE: "unsafe",
    Bar.LOAD: "load too low for the amplifier",
    Bar.MONEY: "over your money",
    Bar.PRICE: "no price known",
    Bar.CHANNELS: "no channels at hand",
}


def _beyond_means(options: Options, picked: Picked) -> Iterator[str]:
    """A step that would better it, were there the means."""
    chosen = options[picked.rung]
    for name, option in options.items():
        bar = picked.bars[name]
        if bar in (Bar.MONEY, Bar.CHANNELS) and betters(option, chosen, picked.target, picked.said):
            gain = db(option.gain(picked.target).value_db)
            yield f"{name} would bring {gain} dB, but: {BARS[bar]}" + (
                f" ({money(option.cost_for_pair)} a pair)" if bar is Bar.MONEY else ""
            )
            return


def to_measure(case: DecisionCase, options: Options, picked: Picked) -> tuple[str, ...]:
    """What to measure, and how, the first thing first; three at the most."""
    return tuple(_measures(case, options, picked))[:3]


def _measures(case: DecisionCase, options: Options, picked: Picked) -> Iterator[str]:
    speaker, names = case.speaker, case.network.driver_names
    weak = [n for n in names if speaker.drivers[n].impedance_instrument not in SWEPT]
    dull = [
        n
        for n in names
        if not speaker.drivers[n].has_response or speaker.drivers[n].response_instrument is not Instrument.CALIBRATED
    ]
    if picked.why is Why.ALL_READ_OFF:
        yield "try the meter on a part that you know, then read the parts again, one leg of each lifted"
        return
    if picked.rung is Rung.NONE_YET:
        if weak:
            whose = and_words(weak)
            yield f"sweep the impedance of {whose} in the cabinet (README: a resistor and a sound card; xover jig)"
        for name in (n for n in names if n not in weak):
            curve = speaker.drivers[name].impedance
            if curve is not None and curve.highest_hz < JUDGED_HZ[1]:
                yield f"sweep the impedance of {name} to 20 kHz: it is known up to {hertz(curve.highest_hz)} only"
        if not case.read_off or "found" in untouched(speaker).networks:
            yield "read the parts on the board, one leg of each lifted, and write them into found.cir"
        if case.bench.reference is None or "original" in untouched(speaker).networks:
            yield "write what the parts are marked with into original.cir"
        if not case.bench.coherent:
            yield f"measure both responses against one loop-back: {case.bench.timing_reason}"
    if dull and any(_is_doubtful(o, picked) for o in options.values()):
        yield f"the response of {and_words(dull)}, by a calibrated microphone: till then no level is corrected"


def _is_doubtful(option: Option, picked: Picked) -> bool:
    """Whether a step seems to better it, by less than is known."""
    gain = option.gain(Wants.SOUND)
    return gain.value_db > step_db(option.name, Wants.SOUND, picked.said) and not gain.sure


def would_change(options: Options, picked: Picked) -> tuple[str, ...]:
    """What would make it another answer."""
    said = list(_beyond_means(options, picked)) if picked.rung in options else []
    if picked.rung is Rung.NONE_YET or picked.why is Why.FAULTS:
        return tuple(said)
    for name, option in options.items():
        if option.available and _is_doubtful(option, picked):
            gain = option.gain(Wants.SOUND)
            said.append(
                f"{name} seems to even the sum by {db(gain.value_db)} dB, known to {db(gain.uncertainty_db)} dB only"
            )
    if not picked.said:
        other = Wants.SOUND if picked.target is Wants.VOICING else Wants.VOICING
        said.append(
            f'it is held against {TARGETS[picked.target]}; wants = "{other}" in [means] asks for {TARGETS[other]}'
        )
    return tuple(said)


def _short(words: str, letters: int) -> str:
    return words if len(words) <= letters else f"{words[: letters - 3]}..."


def tell(decision: Decision, why: bool = False, every: bool = False) -> Iterator[Block]:
    """The answer; with `why` all steps and what would change it; with `every` the limits too."""
    yield Head(f"{decision.title}: what to do")
    rows = [("answer", decision.answer), *(("stop", f"as it is, {f.text}") for f in decision.stops)]
    rows += [*(("because" if i == 0 else "and", w) for i, w in enumerate(decision.reasons))]
    if decision.recommendation is Rung.NONE_YET:
        rows += [(str(i), words) for i, words in enumerate(decision.measure, 1)]
    else:
        rows += [("measure", words) for words in decision.measure[:1]]
        sure = decision.rests_on[0] if decision.rests_on else "drivers and parts were measured"
        rows.append(
            ("rests on", sure + (f" ({len(decision.rests_on) - 1} more: --why)" if len(decision.rests_on) > 1 else ""))
        )
    rows += [("caution", words) for words in decision.cautions[:MOST_CAUTIONS]]
    if decision.next:
        rows.append(("next", decision.next))
    yield Facts(tuple(rows), 10)
    if decision.recommendation is not Rung.NONE_YET or why or every:
        yield from _ladder(decision, why or every)
    if why or every:
        yield from _more(decision)
    if every:
        yield from _side_by_side(decision)
        yield from _limits(decision)
        yield from _notes(decision)


def _ladder(decision: Decision, whole: bool) -> Iterator[Block]:
    """The steps in figures; without `whole` those that can be taken, the recommended one and the best among them."""
    rows, gone = [], []
    for name, option in decision.options.items():
        bar = decision.picked.bars[name]
        gain = decision.gain(option)
        idle = bar is Bar.NO_OPTION or (math.isnan(gain.value_db) and name is not decision.recommendation)
        if idle and not whole:
            gone.append(str(name))
            continue
        told = option.available and name is not Rung.LEAVE
        known = told and not math.isnan(gain.value_db)
        cost = option.cost_for_pair
        rows.append(
            [
                f"> {name}" if name is decision.recommendation else str(name),
                db(gain.value_db) if known else "-",
                db(gain.uncertainty_db) if known else "-",
                money(cost) if told and not math.isnan(cost) else "-",
                str(option.parts) if told else "-",
                str(option.minutes) if told else "-",
                BARS.get(bar) or (option.what if option.available else option.why_not),
            ]
        )
    heads = ["step", "dB", "+-", "cost", "parts", "min", "what, or what bars it"]
    taken = sum(2 + max(len(cell) for cell in column) for column in list(zip(heads, *rows, strict=True))[:-1])
    yield Head(f"Steps, cheapest first: dB nearer to {TARGETS[decision.picked.target]}, cost of a pair")
    yield plain_table(heads, [[*row[:-1], _short(row[-1], SCREEN_COLUMNS - 2 - taken)] for row in rows])
    if gone:
        yield Text(f"Of no use here: {', '.join(gone)} (--why).")


def _more(decision: Decision) -> Iterator[Block]:
    """What stands behind it."""
    yield Text(f"{RULE}.")
    for heading, said in (
        ("What would change it", decision.would_change),
        ("What the answer rests on", decision.rests_on),
        ("What this cannot know", decision.unknown),
        ("Of the data", decision.remarks),
        ("Cautions", decision.cautions),
    ):
        if said:
            yield Head(heading)
            yield Items(said)
    driver = decision.options.get(Rung.DRIVER)
    if driver is not None and driver.available:
        yield from told_odd([driver.study])
    undo = tuple((str(n), o.undo) for n, o in decision.options.items() if o.available)
    yield Head("How each is undone")
    yield Facts(undo, 12)


_COLUMNS: Final = {
    Aspect.DEVIATION: "sum",
    Aspect.NULL: "null",
    Aspect.VOICING: "moved",
    Aspect.LOAD: "load",
    Aspect.EPDR: "EPDR",
    Aspect.TWEETER: "below fs",
    Aspect.RATINGS: "ratings",
    Aspect.PAIR: "pair",
}


def _side_by_side(decision: Decision) -> Iterator[Block]:
    yield Head("The figures of each step")
    rows = [
        [str(name), *(_cell(option, aspect) for aspect in _COLUMNS)]
        for name, option in decision.options.items()
        if option.available
    ]
    yield plain_table(["", *_COLUMNS.values()], rows)
    low, high = decision.band_hz
    yield Text(
        f"+ passes, o marginal, x fails, ? no verdict. sum: half of its range, {hertz(low)} to {hertz(high)}, +- dB. "
        "null: depth of the sum with every other way reversed, dB. moved: from the sound when new, dB. load, EPDR (the "
        "resistance that would heat the amplifier as much): lowest, ohm. below fs: what the tweeter gets below its "
        "resonance, mW. ratings: % used. pair: what 97.5 % of pairs keep to, left against right, dB."
    )


def _cell(option: Option, aspect: Aspect) -> str:
    words, verdict = cell(option, aspect)
    return f"{words} {MARKS[verdict]}".strip() if verdict is not None else f"{words}  "


def cell(option: Option, aspect: Aspect) -> tuple[str, Verdict | None]:
    """An option's figure without its unit, and its verdict; None for what has none, as a cost without a limit."""
    if not option.available:
        return "-", None
    c = option.of(aspect)
    if c.value is None or (aspect is Aspect.EVIDENCE and not c.known):
        return "", c.verdict
    told = c.name is not Aspect.COST or c.limit is not None or not c.value
    return figure(c.name, c.value, short=True, of=c.of), c.verdict if told else None


def _limits(decision: Decision) -> Iterator[Block]:
    """Each limit once, with the options that it holds for where they differ."""
    yield Head("Limits, and where they come from")
    for aspect in Aspect:
        told: dict[str, list[str]] = {}
        for name, option in decision.options.items():
            c = option.of(aspect)
            if option.available and c.source:
                told.setdefault(_limit(c), []).append(name)
        for words, names in told.items():
            yield fact(aspect, f"{', '.join(names)}: {words}" if len(told) > 1 else words, 23)
    yield Text("Common practice: what the trade does, no published source.")


def _limit(c: Criterion) -> str:
    source = c.source.replace(PRACTICE, "common practice")
    if c.limit is None:
        return source
    if isinstance(c.limit, str) or c.name is Aspect.CHANNELS:
        return f"{c.limit} ({source})"
    falling = c.name in (Aspect.NULL, Aspect.LOAD, Aspect.EPDR)
    words = f"{'from' if falling else 'up to'} {_amount(c, c.limit)}"
    if c.marginal_limit is not None and c.marginal_limit != c.limit:
        words += f", marginal {'from' if falling else 'to'} {_amount(c, c.marginal_limit)}"
    return f"{words}: {source}"


def _amount(c: Criterion, value: float) -> str:
    return f"{value:g} {c.unit}" if c.unit in ("dB", "ohm") else figure(c.name, value)


def _notes(decision: Decision) -> Iterator[Block]:
    """What is behind every figure that does not pass; the same words of several options once."""
    heads: dict[tuple[Aspect, str], list[str]] = {}
    for aspect in Aspect:
        for name, option in decision.options.items():
            c = option.of(aspect)
            if option.available and c.note and c.verdict is not Verdict.PASS:
                heads.setdefault((aspect, c.note), []).append(name)
    if heads:
        yield Head("Behind the figures that do not pass")
    every = sum(o.available for o in decision.options.values())
    for (aspect, note), names in heads.items():
        yield fact(aspect, f"{'all' if len(names) == every else ', '.join(names)}: {note}", 23)
