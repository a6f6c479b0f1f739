"""A redesign in sentences: what gets better or worse, what cannot be known, and the whole as a person reads it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from xover.blocks import Block, Gap, Head, Listing, Text, fact, plain_table, sentence
from xover.curve import Evidence
from xover.figures import db, hertz, written
from xover.network import Network
from xover.network.parts import shown_value
from xover.quantity import ohms
from xover.rules.audibility import REPEATS_DB
from xover.rules.margins import CLEAR_SHARE, DEEPER_DB, LOUDER_DB, NEAR_LIMIT
from xover.speaker import Speaker
from xover.studies.change.redesign.design import PRESENT
from xover.studies.change.redesign.goal import Goal
from xover.studies.change.redesign.result import Judged, Proposal, RedesignStudy
from xover.studies.change.redesign.structure import Move
from xover.studies.change.redesign.wish import Wish

if TYPE_CHECKING:
    from xover.studies.change.redesign.replacement import ReplacementStudy


def differences(before: Judged, after: Judged, wish: Wish) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """(what gets better, what gets worse) against the present network."""
    better: list[str] = []
    worse: list[str] = []

    def tell(what: str, old: float, new: float, least: float, more_is_better: bool, shown: str) -> None:
        if not (math.isfinite(old) and math.isfinite(new)) or abs(new - old) < least:
            return
        (better if (new > old) is more_is_better else worse).append(f"{what} {shown}")

    tell(
        "sum",
        before.deviation_db,
        after.deviation_db,
        REPEATS_DB,
        False,
        f"+-{written('sum deviation', before.deviation_db)} to +-{written('sum deviation', after.deviation_db)} dB",
    )
    tell(
        "reversed null",
        before.null_depth_db,
        after.null_depth_db,
        DEEPER_DB,
        True,
        f"{written('null depth', before.null_depth_db)} to {written('null depth', after.null_depth_db)} dB deep",
    )
    tell(
        "lowest load",
        before.lowest_ohm,
        after.lowest_ohm,
        CLEAR_SHARE * before.lowest_ohm,
        True,
        f"{written('lowest load', before.lowest_ohm)} to {written('lowest load', after.lowest_ohm)} ohm",
    )
    tell("level", before.level_db, after.level_db, LOUDER_DB, True, f"{after.level_db - before.level_db:+.1f} dB")
    limit = wish.minimum_load_ohm
    if limit is not None and after.lowest_ohm < limit * (1.0 - NEAR_LIMIT):
        worse.append(f"the load falls below the amplifier's {ohms(limit)}")
    return tuple(better), tuple(worse)


def headline(study: RedesignStudy) -> str:
    """The answer in one sentence."""
    if not study.proposals:
        return "no proposal was found"
    pick, now = study.proposals[0], f"'{study.present}'"
    known = math.isfinite(pick.judged.deviation_db)
    before = written("sum deviation", study.before.deviation_db, study.present)
    after = written("sum deviation", pick.judged.deviation_db, study.of(pick))
    if pick.breaks:
        return (
            f"no proposal keeps every limit ({'; '.join(pick.breaks)}): leave {now}, or try other circuits or drivers"
        )
    if not study.suitable:
        best = f": it keeps +-{before} dB, and the best that was found +-{after} dB" if known else ""
        return f"nothing to gain over {now}{best}; leave it, refresh it, or try other circuits or drivers"
    without = f" without {', '.join(m.part for m in pick.moves)}" if pick.moves else ""
    what = f"{pick.name} ({pick.circuit}{without}, {_count(pick.parts)})"
    if not known:
        load = written("lowest load", pick.judged.lowest_ohm, study.of(pick))
        return f"{what}: each driver nearer to its slope, lowest load {load} ohm; the sum is not known"
    told = f"{what}: the sum within +-{after} dB of the target, where {now} keeps +-{before} dB"
    return f"{told}{doubt(study)}"


def doubt(study: RedesignStudy) -> str:
    """Why that is not sure, and what to measure first; "" where it is sure, or the target is not flat."""
    gain = study.gain
    if gain.sure or (math.isnan(gain.value_db) and not study.unsure):
        return ""
    why = "" if math.isnan(gain.value_db) else f" ({db(gain.value_db)} dB, known to {db(gain.uncertainty_db)} dB)"
    names = ", ".join(study.unsure)
    first = f": before you build it, measure the response of {names} by a calibrated microphone" if names else ""
    return f"; not sure to be better{why}{first}"


def _count(parts: int) -> str:
    return f"{parts} part" if parts == 1 else f"{parts} parts"


HEAT_AND_TWEETER: Final = (
    "resistors get hot and a tweeter dies without its capacitor: check the build with 'xover check' and "
    "'xover stress', and measure it before playing it loud"
)


def redesign_warnings(study: RedesignStudy, speaker: Speaker, goal: Goal, reference: Network) -> tuple[str, ...]:
    """What a reader must know."""
    said: list[str] = []
    if not goal.has_sum:
        known, reason = speaker.timing_is_known(reference)
        why = reason if not known else "not every driver's sound is known"
        said.append(
            f"no one sum is right here: {why}. The search held each driver to its slope and the load to its limit; "
            "how the drivers add up must be measured"
        )
    for name in reference.driver_names:
        driver = speaker.drivers[name]
        assumed = [
            what
            for what, evidence in (("impedance", driver.impedance_evidence), ("sound", driver.response_evidence))
            if evidence is not Evidence.MEASURED
        ]
        if assumed:
            said.append(
                f"the {' and the '.join(assumed)} of {name} were not measured: the answer is as good as they are"
            )
    band = goal.frequency_hz[goal.in_band]
    if goal.heard is not None and goal.has_sum and band.size:
        low, high = hertz(float(band[0])), hertz(float(band[-1]))
        said.append(
            f"a driver's impedance is not known everywhere: the sum was judged from {low} to {high}, and a driver "
            "counts as silent, far below its band, where it is not known"
        )
    if study.wish.minimum_load_ohm is None:
        said.append("no lowest load of the amplifier is known: the load was left free")
    if study.stopped:
        said.append("the search was stopped: these are the best found until then")
    said.append(HEAT_AND_TWEETER)
    return tuple(dict.fromkeys(said))


def tell(study: RedesignStudy, *, whole: bool = False) -> Iterator[Block]:
    """The proposals beside the present network and the parts of the one that is picked; the rest where asked for."""
    yield Head(f"{study.title}: redesign of '{study.present}'")
    if study.replacement is not None:
        yield from _replacement(study.replacement, study.present)
    yield sentence(study.headline)
    if study.stopped:
        yield Text("Stopped before the end: these are the best found until then.")
    if whole:
        yield from _wish(study)
        yield Head("Side by side")
    else:
        yield Gap()
    yield from _side_by_side(study)
    for number, proposal in enumerate(study.proposals, 1):
        if whole or proposal is study.choice:
            yield from _proposal(number, proposal, study, whole)
    if study.choice is not None and whole:
        yield Listing(f"Netlist of {study.number} {study.choice.name}", study.choice.netlist)
    elif study.choice is not None:
        yield Text("--all: every proposal's parts, and the netlist. --write NAME: into the folder.", "quiet")


def _fact(label: str, words: str) -> Block:
    return fact(label, words, 9)


def _wish(study: RedesignStudy) -> Iterator[Block]:
    wish = study.wish
    target = f"the sum of '{wish.voicing}'" if wish.voicing is not None else "flat"
    if wish.tilt_db_per_octave:
        tilt = f"{wish.tilt_db_per_octave:+g} dB per octave"
        target = f"{target}, tilted {tilt}" if wish.voicing is not None else tilt
    slopes = "slopes free" if wish.slope is None else f"slopes {wish.slope}"
    if wish.crossover_hz is not None and wish.slope is not None:
        slopes += " at " + " and ".join(hertz(f) for f in wish.crossover_hz)
    yield _fact("target", f"{target}, {hertz(wish.band_hz[0])} to {hertz(wish.band_hz[1])}; {slopes}")
    if wish.minimum_load_ohm is not None:
        yield _fact("load", f"{ohms(wish.minimum_load_ohm)} or more")
    yield _fact("tried", ", ".join(study.tried))
    yield _fact("parts", study.source)


def _side_by_side(study: RedesignStudy) -> Iterator[Block]:
    known = math.isfinite(study.before.deviation_db)
    sound = ["+-dB", "rms", "null", "level"] if known else ["distance"]
    rows = [[f"  {_short(study.present)}, now", *_figures(study.before, known, study.present), "", "", ""]]
    for k, p in enumerate(study.proposals, 1):
        share = "-" if math.isnan(p.yield_share) else f"{100 * p.yield_share:.0f} %"
        cost = written("cost", p.cost, study.of(p))
        mark = "!" if p.breaks else "*" if k == study.number else " "
        rows.append([f"{mark}{k} {_short(p.name)}", *_figures(p.judged, known, study.of(p)), str(p.parts), cost, share])
    yield plain_table(["", *sound, "ohm", "EPDR", "parts", "cost", "yield"], _left(rows))
    said = "+-dB, rms: of the sum about its target. null: of the sum with one driver turned round."
    if not known:
        said = "distance: from the slopes and limits asked for, in weighted dB squared, less is better."
    said += " ohm, EPDR: lowest."
    if math.isfinite(study.yield_limit_db):
        said += f" yield: builds within +-{study.yield_limit_db:.1f} dB."
    if study.choice is not None:
        said += " *: picked."
    yield Text(said)
    for k, p in enumerate(study.proposals, 1):
        if p.breaks:
            yield Text(f"! {k} {p.name} breaks a limit: {'; '.join(p.breaks)}.")
    dear = [p for p in study.proposals if study.too_dear(p)]
    large = [p for p in study.proposals if study.too_large(p)]
    most = f"the most that it may cost, {study.wish.most_cost or 0.0:.2f}"
    for bound, over in ((most, dear), (f"the most parts, {study.wish.most_parts}", large)):
        if over:
            every = len(over) == len(study.proposals)
            yield Text(f"Over {bound}: {'every proposal' if every else ' and '.join(repr(p.name) for p in over)}.")


def _left(rows: list[list[str]]) -> list[list[str]]:
    """The first column to the left."""
    wide = max(len(row[0]) for row in rows)
    return [[row[0].ljust(wide), *row[1:]] for row in rows]


def _figures(judged: Judged, known: bool, of: str) -> list[str]:
    strays, null, *load = judged.figures(of)
    return [*([strays, db(judged.rms_db, 2), null, db(judged.level_db)] if known else [db(judged.score, 2)]), *load]


def _proposal(number: int, proposal: Proposal, study: RedesignStudy, whole: bool) -> Iterator[Block]:
    own = proposal.circuit == PRESENT
    circuit = "as it is wired now" if own else f"circuit '{proposal.circuit}'"
    if proposal.crossover_hz and study.wish.slope is not None:
        circuit += f", {study.wish.slope} at {' and '.join(hertz(f) for f in proposal.crossover_hz)}"
    labels = ", ".join(proposal.best_at) if whole else ""
    yield Head(f"{number} {labels or proposal.name}: {circuit}")
    for word, said in (("better", proposal.better), ("worse", proposal.worse)):
        if said:
            yield _fact(word, "; ".join(said))
    if not proposal.better and not proposal.worse:
        nearer = proposal.judged.score < study.before.score
        what = "no figure of the table moves far, all in all it is"
        yield _fact("", f"{what} {'nearer to' if nearer else 'farther from'} the target")
    if proposal.moves:
        yield _fact("without", ", ".join(_gone(m) for m in proposal.moves))
    if own and proposal.reversed:
        yield _fact("polarity", f"turn over {' and '.join(proposal.reversed)}, against today")
    turned = [d.key for d in proposal.network.drivers if d.plus == "0"]
    if not own and turned:
        yield _fact("polarity", f"{' and '.join(turned)} reversed (plus to the amplifier's minus)")
    yield from _parts(proposal, study.fitted if own else None, whole)


def _gone(move: Move) -> str:
    into = f" {move.into}" if move.into else ""
    return f"{move.part} ({move.kind}{into})"


def _parts(proposal: Proposal, present: Network | None, whole: bool) -> Iterator[Block]:
    """What is bought, old -> new, and what stays; in one paragraph where that is not all that was asked for."""
    words = {name: line.what for line in proposal.bill.lines for name in line.names}
    old = {} if present is None else {p.name: f"{shown_value(p)} -> " for p in present.parts}
    bought = [(name, f"{old.get(name, '')}{words[name]}") for name in proposal.bought]
    if whole:
        yield from (_fact(name, said) for name, said in bought)
    elif bought:
        yield _fact("buy", "; ".join(f"{name} {said}" for name, said in bought))
    rest = ", ".join(f"{p.name} {shown_value(p)}" for p in proposal.network.parts if p.name not in words)
    if rest:
        # Nothing of another circuit is there yet: what the list cannot give is to be had besides.
        yield _fact("stay", rest) if present is not None else _fact("besides", f"{rest} (not in the cost)")


def _replacement(study: ReplacementStudy, present: str) -> Iterator[Block]:
    for name, source in zip(study.drivers, study.sources, strict=True):
        yield _fact(f"new {name}", source)
    yield sentence(study.verdict)
    yield Text("")
    header, *rows = _left(
        [
            [f"'{_short(present)}' as it is", "sum +-dB", "lowest ohm"],
            [
                "with the old driver",
                written("sum deviation", study.deviation_before_db),
                written("lowest load", study.lowest_before_ohm),
            ],
            [
                "with the new one",
                written("sum deviation", study.deviation_after_db),
                written("lowest load", study.lowest_after_ohm),
            ],
        ]
    )
    yield plain_table(header, rows)
    yield Head("Does it suit?")
    for finding in study.findings:
        whose = f"{finding.driver}, " if len(study.drivers) > 1 else ""
        yield _fact(finding.fit, f"{whose}{finding.what}: {finding.text}")
    yield Head("Redesign for it")


def _short(name: str) -> str:
    return name if len(name) <= 16 else f"{name[:15]}~"
