"""A decision in sentences: what it rests on, its reasons, what it cannot know, and the whole as a person reads it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Final

from xover.blocks import Block, Facts, Head, Items, Text, fact, plain_table
from xover.curve import Evidence
from xover.figures import hertz, place
from xover.rules.audibility import HARD_DB, PRACTICE, UNHEARD_DB, audibility
from xover.rules.bands import JUDGED_HZ
from xover.speaker import Speaker
from xover.studies.change.decide.criteria import UNITS, Aspect, Criterion, Verdict, figure
from xover.studies.change.decide.option import AS_WORDS, RULES, Name, Option, Ruling, flatter_db, is_out

if TYPE_CHECKING:
    from xover.studies.change.decide.study import Decision

Options = Mapping[Name, Option]
MARKS: Final = {Verdict.PASS: "+", Verdict.MARGINAL: "o", Verdict.FAIL: "x", Verdict.UNKNOWN: "?"}
"""Told apart without colour."""
_SHOWN: Final = {Aspect.DEVIATION: "\u00b1 dB", Aspect.RATINGS: "% used", Aspect.TWEETER: "mW"}
_BARE: Final = (Aspect.COST, Aspect.BUY, Aspect.CHANNELS)


def rests_on(speaker: Speaker, names: tuple[str, ...], found: str | None, reference: str | None) -> tuple[str, ...]:
    """What of the answer is not measured, the weakest first; empty where all of it is."""
    drivers = [(n, speaker.drivers[n]) for n in names]
    said = []
    silent = [n for n, d in drivers if not d.has_response]
    if silent:
        said.append(f"no response of {_and(silent)} is known: nothing is told of the sound, only of voltages and loads")
    flat = [n for n, d in drivers if d.has_response and d.response_evidence is Evidence.ASSUMED]
    if flat:
        said.append(
            f"the response of {_and(flat)} is assumed: a flat line at the sensitivity given, so sums get no verdict"
        )
    for kind in (Evidence.ASSUMED, Evidence.DATASHEET):
        weak = [n for n, d in drivers if d.impedance_evidence is kind]
        if weak:
            said.append(f"the impedance of {_and(weak)} is {kind}{' values' if kind is Evidence.DATASHEET else ''}")
    sheet = [n for n, d in drivers if d.has_response and d.response_evidence is Evidence.DATASHEET]
    if sheet:
        said.append(f"the response of {_and(sheet)} is a datasheet's")
    if found is None:
        said.append("no network 'found': the parts on the board were not measured, what age has done is not known")
    elif reference is not None and found == reference:
        said.append(f"'{found}' is both the design and what is taken to be on the board today")
    elif found != "found":
        said.append(f"network '{found}' is taken for what is on the board today")
    if reference is None:
        said.append("no network tells the design: how far the voicing has moved is not known")
    return tuple(said)


def cannot_know(
    speaker: Speaker, options: Options, names: tuple[str, ...], coherent: bool, why: str
) -> tuple[str, ...]:
    """What no option's figures tell, one sentence each."""
    said = []
    if not coherent and all(speaker.drivers[n].has_response for n in names):
        said.append(f"the sum and its null: {why}")
    if speaker.amplifier is None or speaker.amplifier.minimum_load_ohm is None:
        said.append("whether the amplifier allows the load: no minimum_load_ohm in [amplifier]")
    if speaker.amplifier is None or not (speaker.amplifier.rated_power_w and speaker.amplifier.rated_load_ohm):
        said.append("whether the parts stand the amplifier: no rated_power_w and rated_load_ohm in [amplifier]")
    if speaker.listening is None or speaker.listening.level_db is None:
        said.append("what reaches the tweeter below its resonance: no level_db in [listening]")
    bypass = speaker.file.speaker.bypass
    if bypass is None or not bypass.channels:
        said.append("whether there are amplifiers for a bypass: no [bypass.channels]")
    output = speaker.amplifier.output_ohm if speaker.amplifier is not None else None
    if output is not None and output >= 0.5:
        said.append(
            f"what the amplifier's {output:g} ohm do to the sound: all figures here are those of an ideal source "
            "(xover load tells)"
        )
    said += [f"{name}: not looked at, {o.why_not}" for name, o in options.items() if not o.available]
    return tuple(said)


def reasons(options: Options, ruling: Ruling) -> tuple[str, str]:
    """The two strongest reasons."""
    if ruling.name is Name.LEAVE:
        said = _leave_reasons(options, ruling)
    elif ruling.name is Name.REFRESH:
        said = _refresh_reasons(options)
    elif ruling.name is Name.REDESIGN:
        said = _redesign_reasons(options)
    else:
        said = _no_reasons(options) if ruling.name is None else _bypass_reasons(options)
    first, second, *_ = [*said, *_common(options, ruling), ""]
    return first, second


def _leave_reasons(options: Options, ruling: Ruling) -> Iterator[str]:
    leave = options[Name.LEAVE]
    change = leave.of(Aspect.VOICING)
    if ruling.rule == 1:
        yield (
            f"what age has done is {_heard(change)}: it has moved the voicing by {change.figure} "
            f"(limit {UNHEARD_DB:g} dB)"
        )
    else:
        yield f"nothing known speaks for more: {_why_others_wait(options)}"


def _refresh_reasons(options: Options) -> Iterator[str]:
    leave, fresh = options[Name.LEAVE], options[Name.REFRESH]
    before, after = leave.of(Aspect.VOICING), fresh.of(Aspect.VOICING)
    money = fresh.of(Aspect.COST)
    price = f", for {money.figure} a speaker" if money.value else ""
    if before.known and leave.available:
        yield (
            f"it takes the change of voicing from {before.figure} ({_heard(before)}) to {after.figure} "
            f"({_heard(after)}){price}"
        )
    else:
        yield (
            f"it keeps the voicing within {after.figure} of the design and replaces what wears out, which nobody has "
            f"measured{price}"
        )
    if leave.failing:
        yield f"as it is {_fails(leave)}"
    elif leave.of(Aspect.RATINGS).verdict is Verdict.MARGINAL and before.verdict is Verdict.PASS:
        yield f"as it is a part is rated too low: {leave.of(Aspect.RATINGS).note}"
    yield from _not_redesign(options)


def _not_redesign(options: Options) -> Iterator[str]:
    """Why the refresh goes before the redesign."""
    fresh, other = options[Name.REFRESH], options[Name.REDESIGN]
    if not other.available:
        return
    if other.failing:
        yield f"a redesign {_fails(other)}"
        return
    gain = flatter_db(other, fresh)
    mine, its = fresh.of(Aspect.DEVIATION), other.of(Aspect.DEVIATION)
    if gain is None:
        yield f"nothing shows that a redesign would sound better: {its.note or mine.note or 'its sum is not known'}"
    elif gain <= 0:
        yield f"a redesign is not flatter: +-{its.figure} for +-{mine.figure}"
    else:
        yield (
            f"a redesign of this circuit is flatter by {gain:.1f} dB only (+-{its.figure} for "
            f"+-{mine.figure}; up to {HARD_DB:g} dB is hard to hear), and changes the voicing"
        )


def _redesign_reasons(options: Options) -> Iterator[str]:
    new = options[Name.REDESIGN]
    sum_ = new.of(Aspect.DEVIATION)
    known = {n: o.of(Aspect.DEVIATION) for n, o in _less(options) if not is_out(o) and o.of(Aspect.DEVIATION).known}
    if known and sum_.known:
        others = " and ".join(f"+-{c.figure} {AS_WORDS[n]}" for n, c in known.items())
        yield (
            f"its sum keeps within +-{sum_.figure} from {hertz(JUDGED_HZ[0])} to {hertz(JUDGED_HZ[1])}, "
            f"against {others}"
        )
    out = [(n, o) for n, o in _less(options) if o.failing]
    if out:
        yield "; ".join(f"{AS_WORDS[n]} it {_fails(o)}" for n, o in out)
        mended = dict.fromkeys(c.name for _, o in out for c in o.failing if new.of(c.name).verdict is Verdict.PASS)
        yield "redesigned it passes: " + ", ".join(f"{a} {new.of(a).figure}" for a in mended)
    null, fresh = new.of(Aspect.NULL), options[Name.REFRESH].of(Aspect.NULL)
    if null.known and fresh.known and null.number > fresh.number + 3.0:
        yield (
            f"the drivers work together better: the reversed null is {null.figure} deep, {fresh.figure} with the "
            "design refreshed"
        )
    gone = [str(n) for n, o in _less(options) if not o.available]
    if gone and not known:
        yield f"it is what is left: {_and(gone)} {'is' if len(gone) == 1 else 'are'} no option here"
    if Name.REFRESH in known:
        yield "a refresh cannot mend that: it brings the design back, which with these drivers deviates by itself"


def _less(options: Options) -> list[tuple[Name, Option]]:
    return [(n, options[n]) for n in (Name.LEAVE, Name.REFRESH)]


def _bypass_reasons(options: Options) -> Iterator[str]:
    outs = [
        f"{name} {_fails(o)}" if o.failing else f"{name} is no option here"
        for name, o in options.items()
        if name is not Name.BYPASS
    ]
    yield f"no network passes: {'; '.join(outs)}"
    one = options[Name.BYPASS]
    low = one.of(Aspect.LOAD)
    yield (
        f"each of its {one.of(Aspect.CHANNELS).figure} has its amplifier, the lowest load is {low.figure} ({low.note})"
    )


def _no_reasons(options: Options) -> Iterator[str]:
    for name, o in options.items():
        if o.failing:
            yield f"{name} {_fails(o)}"
    for name, o in options.items():
        if not o.available:
            yield f"{name} is no option here: {o.why_not}"


def _common(options: Options, ruling: Ruling) -> Iterator[str]:
    """What can be said of any option."""
    if ruling.name is None:
        return
    one = options[ruling.name]
    low = one.of(Aspect.LOAD)
    if one.marginal:
        names = ", ".join(f"{c.name} {c.figure}" for c in one.marginal)
        yield f"nothing of it fails, {len(one.marginal)} marginal: {names}"
    elif low.known:
        yield f"nothing of it fails or is marginal: lowest load {low.figure} (limit {low.limit:g} ohm)"
    else:
        yield "nothing of it fails, as far as it is known"


def _why_others_wait(options: Options) -> str:
    said = []
    for name, o in options.items():
        if name is Name.LEAVE:
            continue
        if not o.available:
            said.append(f"{name} is no option here" if o.asked else f"{name} was {o.why_not}")
        elif o.failing:
            said.append(f"{name} {_fails(o)}")
        elif name is Name.REDESIGN:
            gain = flatter_db(o, options[Name.LEAVE])
            said.append("of the redesign's sum nothing is known" if gain is None else f"a redesign is {_by(gain)}")
    return "; ".join(said) or "no other option is better by what is known"


def _by(gain: float) -> str:
    return f"flatter by {gain:.1f} dB only" if gain > 0 else "not flatter"


def _fails(option: Option) -> str:
    worst = option.failing[0]
    return f"fails: {worst.name} {worst.figure}" + (f" ({worst.note})" if worst.note else "")


def _heard(change: Criterion) -> str:
    return audibility(change.number)


def answer(recommendation: Name | None) -> str:
    """The answer in a few words."""
    return {
        Name.LEAVE: "leave it as it is",
        Name.REFRESH: "refresh it, like for like",
        Name.REDESIGN: "redesign it",
        Name.BYPASS: "bypass it: each driver on a channel of its own",
        None: "none of the four as it stands",
    }[recommendation]


def _and(names: list[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else "".join(names)


def tell(decision: Decision) -> Iterator[Block]:
    """The answer and its reasons, the options side by side, and the rule."""
    yield Head(f"{decision.title}: leave, refresh, redesign or bypass?")
    if decision.rests_on:
        first = [("first", "this answer rests on what was not measured:")]
        first += [("", f"- {words}") for words in decision.rests_on]
    else:
        first = [("rests on", "impedances, responses and parts that were measured")]
    first += [("recommended", decision.answer), *zip(("because", "and"), decision.reasons, strict=False)]
    first += [("by the rule", decision.rule)]
    if decision.recommendation not in (None, Name.LEAVE):
        first += [("next", _next_step(decision, decision.recommendation))]
    yield Facts(tuple(first), 12)
    yield from _side_by_side(decision)
    yield from _limits(decision)
    yield from _notes(decision)
    for heading, said in (
        ("What would change it", decision.would_change),
        ("What this cannot know", decision.unknown),
        (f"Cautions: {decision.answer}", decision.cautions),
    ):
        if said:
            yield Head(heading)
            yield Items(said)
    yield Head("The rule, and no other weighing")
    yield Facts(tuple((f"{number}." if number else "-", words) for number, words in enumerate(RULES)), 2)


def _next_step(decision: Decision, name: Name) -> str:
    if name is Name.BYPASS:
        return f"xover bypass {place(decision.folder)}"
    listed = "" if decision.stock is None else f" --stock {place(decision.stock)}"
    return f"xover {name} {place(decision.folder)}{listed} --write {name}ed"


def _side_by_side(decision: Decision) -> Iterator[Block]:
    yield Head("Side by side")
    names = [f"> {n}" if n is decision.recommendation else str(n) for n in decision.options]
    yield plain_table(["", *names], [[_row_head(a), *(_cell(o, a) for o in decision.options.values())] for a in Aspect])
    low, high = decision.band_hz
    yield Text(
        "+ passes, o marginal, x fails, ? no verdict; > recommended. Sum deviation: half of the range that the sum "
        f"covers from {hertz(low)} to {hertz(high)}. Left against right: 97.5 % of pairs keep to it. Cost and parts: "
        "of one speaker."
    )


def _row_head(aspect: Aspect) -> str:
    # A terminal may not have the sign; the table's first column is the widest and says in full what is meant.
    return "below tweeter's fs, mW" if aspect is Aspect.TWEETER else row_head(aspect).replace("\u00b1", "+-")


def _cell(option: Option, aspect: Aspect) -> str:
    words, verdict = cell(option, aspect)
    return f"{words} {MARKS[verdict]}".strip() if verdict is not None else f"{words}  "


def row_head(aspect: Aspect) -> str:
    """A criterion with the unit of its figures."""
    unit = _SHOWN.get(aspect, "" if aspect in _BARE else UNITS[aspect])
    return f"{aspect}, {unit}" if unit else str(aspect)


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
