"""A decision in sentences: what it rests on, its reasons, what it cannot know and what would change it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from xover.acoustic.audibility import audibility
from xover.curve import Evidence
from xover.speaker import Speaker
from xover.studies.change.decide.criteria import HEARD_DB, Aspect, Criterion, Verdict
from xover.studies.change.decide.option import NOT_ASKED, Name, Option
from xover.studies.change.decide.rule import FLATTER_DB, Ruling, flatter_db, is_out
from xover.studies.change.decide.suppose import AS_WORDS

Options = Mapping[Name, Option]


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
            f"(limit {HEARD_DB:g} dB)"
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
        yield f"a redesign is not flatter: +-{its.number:.1f} dB for +-{mine.number:.1f} dB"
    else:
        yield (
            f"a redesign of this circuit is flatter by {gain:.1f} dB only (+-{its.number:.1f} for "
            f"+-{mine.number:.1f} dB; up to {FLATTER_DB:g} dB is hard to hear), and changes the voicing"
        )


def _redesign_reasons(options: Options) -> Iterator[str]:
    new = options[Name.REDESIGN]
    sum_ = new.of(Aspect.DEVIATION)
    known = {n: o.of(Aspect.DEVIATION) for n, o in _less(options) if not is_out(o) and o.of(Aspect.DEVIATION).known}
    if known and sum_.known:
        others = " and ".join(f"+-{c.number:.1f} dB {AS_WORDS[n]}" for n, c in known.items())
        yield f"its sum keeps within +-{sum_.number:.1f} dB from 200 Hz to 18 kHz, against {others}"
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
            said.append(f"{name} was {o.why_not}" if o.why_not == NOT_ASKED else f"{name} is no option here")
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
