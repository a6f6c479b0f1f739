"""What would change the recommendation: the rule gone through again with one thing supposed otherwise."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Final

from xover.rules.audibility import HARD_DB, UNHEARD_DB
from xover.studies.change.decide.criteria import Aspect, Criterion, Verdict
from xover.studies.change.decide.option import Name, Option
from xover.studies.change.decide.rule import Ruling, flatter_db, is_out, recommend

Options = Mapping[Name, Option]
MOST_CHANGES: Final = 8
AS_WORDS: Final = {
    Name.LEAVE: "as it is",
    Name.REFRESH: "refreshed",
    Name.REDESIGN: "redesigned",
    Name.BYPASS: "bypassed",
}


def would_change(options: Options, ruling: Ruling) -> tuple[str, ...]:
    """What would change the recommendation: every sentence is the rule gone through again with that changed."""
    said = []
    for words, changed in _suppositions(options):
        other = recommend({**options, **{o.name: o for o in changed}})
        if other.name is not ruling.name:
            said.append(f"if {words}: {other.name or 'none of them'}")
    said += _bypass_beside(options, ruling)
    return tuple(dict.fromkeys(said))[:MOST_CHANGES]


def _suppositions(options: Options) -> Iterator[tuple[str, list[Option]]]:
    leave, fresh, new, bypass = (options[n] for n in Name)
    yield from _suppose_leave(leave)
    if leave.available and not fresh.available and not leave.of(Aspect.VOICING).known:
        like = leave.with_verdict(Aspect.VOICING, Verdict.PASS, 0.0).with_verdict(Aspect.DEVIATION, Verdict.UNKNOWN)
        words = "the design were known (network 'original'), and a refresh brought it back"
        yield words, [replace(like, name=Name.REFRESH)]
    if new.available and (leave.available or fresh.available):
        yield from _suppose_sums(leave, fresh, new)
    for o in options.values():
        covered = o.name is Name.LEAVE and [c.name for c in o.failing] == [Aspect.VOICING]
        if o.available and o.failing and not covered:
            mended = o
            for c in o.failing:
                mended = mended.with_verdict(c.name, Verdict.PASS)
            yield f"{AS_WORDS[o.name]} it did not fail ({', '.join(_mend(c) for c in o.failing)})", [mended]
    for aspect, measure in ((Aspect.LOAD, "load"), (Aspect.RATINGS, "ratings"), (Aspect.TWEETER, "tweeter")):
        open_ = [o for o in (leave, fresh, new) if o.available and o.of(aspect).verdict is Verdict.UNKNOWN]
        if open_:
            yield _SUPPOSE[measure], [o.with_verdict(aspect, Verdict.FAIL) for o in open_]
    if bypass.available and bypass.of(Aspect.CHANNELS).verdict is not Verdict.PASS:
        yield (
            f"you had {bypass.of(Aspect.CHANNELS).figure} of amplifier for it ([bypass.channels])",
            [bypass.with_verdict(Aspect.CHANNELS, Verdict.PASS)],
        )


_SUPPOSE: Final = {
    "load": "you gave minimum_load_ohm, and every network's load lay far below it",
    "ratings": "all ratings were known, and every network had a part far too weak",
    "tweeter": "what reaches the tweeter below its resonance were known, and too much with every network",
}


def _suppose_leave(leave: Option) -> Iterator[tuple[str, list[Option]]]:
    change, rated = leave.of(Aspect.VOICING), leave.of(Aspect.RATINGS)
    still = leave.with_verdict(Aspect.VOICING, Verdict.PASS, min(change.number, UNHEARD_DB) if change.known else 0.0)
    margin = ""
    if rated.verdict is Verdict.MARGINAL:
        still = still.with_verdict(Aspect.RATINGS, Verdict.PASS)
        margin = " and every part's rating had its margin"
    if change.verdict is Verdict.UNKNOWN:
        yield (
            f"the voicing were known to have moved by {UNHEARD_DB:g} dB at most (measure the board, and know the "
            f"design){margin}",
            [still],
        )
    elif change.verdict is not Verdict.PASS:
        yield f"the voicing had moved by {UNHEARD_DB:g} dB at most (it is {change.figure}){margin}", [still]
    else:
        yield (
            f"it drifted on to more than {UNHEARD_DB:g} dB (now {change.figure})",
            [leave.with_verdict(Aspect.VOICING, Verdict.MARGINAL, 2 * UNHEARD_DB)],
        )
        if rated.verdict is Verdict.MARGINAL:
            yield "every part's rating had its margin", [leave.with_verdict(Aspect.RATINGS, Verdict.PASS)]


def _suppose_sums(leave: Option, fresh: Option, new: Option) -> Iterator[tuple[str, list[Option]]]:
    kept = [o for o in (leave, fresh) if o.available]
    nearest = kept[-1]  # the refresh, where it is an option
    gain = flatter_db(new, nearest)
    whose = "the refresh's" if nearest is fresh else "what there is"

    def with_gain(gain_db: float) -> list[Option]:
        base = nearest.of(Aspect.DEVIATION).number if gain is not None else 2.5
        known = [o for o in kept if gain is None or o.of(Aspect.DEVIATION).known]
        return [
            new.with_verdict(Aspect.DEVIATION, Verdict.PASS, base - gain_db),
            *(o.with_verdict(Aspect.DEVIATION, Verdict.PASS, base) for o in known),
        ]

    if gain is None:
        yield (
            f"you measured the responses, timed together, and a redesign's sum came out over {HARD_DB:g} dB flatter",
            with_gain(1.2 * HARD_DB),
        )
    elif gain > HARD_DB:
        yield (
            f"the redesign's sum were flatter than {whose} by {HARD_DB:g} dB at most (it is {gain:.1f} dB)",
            with_gain(HARD_DB),
        )
    else:
        yield (
            f"a wider search (xover redesign) made the sum over {HARD_DB:g} dB flatter than {whose} "
            f"(here {max(gain, 0.0):.1f} dB)",
            with_gain(1.2 * HARD_DB),
        )


def _mend(c: Criterion) -> str:
    if c.name is Aspect.LOAD and not math.isnan(c.number):
        return f"an amplifier that allows {c.figure}"
    return f"{c.name} {c.figure}" + (f", limit {c.limit:g} {c.unit}".rstrip() if isinstance(c.limit, float) else "")


def _bypass_beside(options: Options, ruling: Ruling) -> list[str]:
    """The bypass is an owner's choice before it is a need."""
    bypass = options[Name.BYPASS]
    if ruling.name is Name.BYPASS or not bypass.available or is_out(bypass):
        return []
    sum_ = bypass.of(Aspect.DEVIATION)
    needs = bypass.of(Aspect.CHANNELS)
    have = "are given" if needs.verdict is Verdict.PASS else "are wanted"
    figure = f"its sum would keep within +-{sum_.figure}" if sum_.known else "its sum is not known here"
    return [f"bypass comes up only where no network passes; as a wish of yours: {needs.figure} {have}, {figure}"]
