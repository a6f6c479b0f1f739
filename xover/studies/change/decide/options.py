"""The options that keep a network: leave, refresh and redesign, each worked out and read by the same readings."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, Final

import numpy as np

from xover.errors import OptionError
from xover.figures import written
from xover.files.stock import ItemKind
from xover.network import Network
from xover.parts.catalogue import Catalogue
from xover.parts.stock import Bill
from xover.rules.bands import JUDGED_HZ
from xover.speaker import Speaker
from xover.studies.change.decide import criteria as judge
from xover.studies.change.decide.criteria import Aspect, Criterion, Verdict
from xover.studies.change.decide.option import Case, Name, Option, all_criteria, evidence_of, no_option
from xover.studies.change.decide.setup import Bench, Read, read_network
from xover.studies.change.redesign.result import Proposal, RedesignStudy

STARTS: Final = 1
"""Random starts of the redesign: `xover redesign` takes more, and other circuits."""


def leave(case: Case) -> Option:
    """Leave it as it is."""
    measured = case.found is not None
    read = read_network(case.bench, case.present, meant=False, aged=True)
    criteria = dict(read.criteria)
    if not measured:
        criteria = {a: _unmeasured(c) for a, c in criteria.items()}
    channels = len(read.sound.network.channels)
    return Option(
        Name.LEAVE,
        "",
        all_criteria(
            case.present,
            criteria,
            judge.cost(0.0, case.most_cost),
            judge.to_buy(0, listed=False),
            _network_channels(case.speaker, channels),
            judge.undo("yes", whole=True, note="nothing is touched"),
            evidence_of(case.speaker, read.sound.network.driver_names, measured, parts=True),
        ),
        read.level_db if measured else np.full(read.level_db.shape, np.nan),
        f"network '{case.present}' as it is" + ("" if measured else ", taken as marked: no part was measured"),
        network=read.sound.network,
    )


def _unmeasured(criterion: Criterion) -> Criterion:
    """What the design as marked tells of a board that has aged: only what fails even so."""
    if criterion.verdict is Verdict.FAIL or criterion.name in (Aspect.RATINGS, Aspect.STOPS):
        return criterion
    why = "what age has done was not measured"
    if criterion.value is None or criterion.name is Aspect.VOICING:
        return judge.unknown(criterion.name, why)
    return judge.unknown(criterion.name, f"{criterion.figure} as marked, but {why}")


def refreshed(case: Case) -> Option:
    """Like-for-like parts."""
    bench = case.bench
    from xover.studies.change.refresh.study import refresh

    if bench.reference is None:
        why = "no network tells the design: name it, or type what the parts are marked with"
        return no_option(bench, Name.REFRESH, why)
    case.progress(0.1, "refresh: parts")
    try:
        study = refresh(case.speaker, case.catalogue, bench.frequency_hz, found=case.found, reference=bench.reference)
    except OptionError as fault:
        return no_option(bench, Name.REFRESH, f"{fault.problem}; {fault.remedy}")
    read = read_network(bench, "refreshed", study.network, meant=False, aged=False)
    kept = [e.part for e in study.exchanged if e.stays]
    note = "" if not kept else f"{', '.join(kept)} stay"
    return Option(
        Name.REFRESH,
        "",
        all_criteria(
            "refreshed",
            read.criteria,
            _cost(study.bill, case),
            _to_buy(study.bill, case.catalogue, note),
            _network_channels(case.speaker, len(read.sound.network.channels)),
            judge.undo("yes", whole=True, note="if the old parts are kept in a labelled bag"),
            evidence_of(case.speaker, read.sound.network.driver_names, case.found is not None, parts=bool(kept)),
        ),
        read.level_db,
        study.headline,
        study.warnings,
        study.netlist,
        study=study,
        network=read.sound.network,
    )


def redesigned(case: Case) -> Option:
    """New values for the present circuit."""
    from xover.studies.change.redesign.design import PRESENT
    from xover.studies.change.redesign.study import redesign
    from xover.studies.change.redesign.wish import Wish

    bench = case.bench
    base = 0.35
    case.progress(base, "redesign")
    try:
        study = redesign(
            case.speaker,
            case.catalogue,
            Wish(band_hz=JUDGED_HZ, most_cost=case.most_cost),
            present=case.present,
            circuits=(PRESENT,),
            starts=STARTS,
            alternatives=False,
            seed=bench.seed,
            progress=lambda done, words: case.progress(base + 0.4 * done, f"redesign: {words}"),
        )
    except OptionError as fault:
        return no_option(bench, Name.REDESIGN, f"{fault.problem}; {fault.remedy}")
    if study.stopped:
        raise KeyboardInterrupt
    if not study.suitable or not study.proposals:
        return no_option(bench, Name.REDESIGN, study.headline)
    # The first is that of which most builds keep the limit; one that fails is passed over while there are others.
    pick, read = _first_sound(bench, study)
    bought = {n for line in pick.bill.lines for n in line.names}
    kept = [p.name for p in pick.network.parts if p.name not in bought]
    changes = [*pick.better, *(f"worse: {w}" for w in pick.worse)]
    what = f"the {pick.name} proposal for the {pick.circuit} circuit" + (
        f": {'; '.join(changes)}" if changes and read.criteria[Aspect.DEVIATION].known else ""
    )
    note = "new values for the present circuit only" + (f"; {', '.join(kept)} stay" if kept else "")
    return Option(
        Name.REDESIGN,
        "",
        all_criteria(
            "redesigned",
            read.criteria,
            _cost(pick.bill, case),
            _to_buy(pick.bill, case.catalogue, note),
            _network_channels(case.speaker, len(read.sound.network.channels)),
            judge.undo("in part", whole=False, note="the parts can be put back, a new board cannot"),
            evidence_of(case.speaker, read.sound.network.driver_names, case.found is not None, parts=bool(kept)),
        ),
        read.level_db,
        what,
        study.warnings,
        pick.netlist,
        study=replace(study, proposals=(pick, *(p for p in study.proposals if p is not pick))),
        network=read.sound.network,
    )


def _first_sound(bench: Bench, study: RedesignStudy) -> tuple[Proposal, Read]:
    """The first proposal none of whose criteria fails, else the first."""
    first: tuple[Proposal, Read] | None = None
    for pick in study.proposals:
        read = read_network(bench, "redesigned", _with_ratings(pick.network, pick.bill), meant=True, aged=False)
        if not any(c.verdict is Verdict.FAIL for c in read.criteria.values()):
            return pick, read
        first = first or (pick, read)
    assert first is not None  # the caller has looked that there are some
    return first


def _with_ratings(network: Network, bill: Bill) -> Network:
    """The network with the ratings of the bought parts on their cards, as far as the list states them."""
    rated = {name: line for line in bill.lines if line.rating is not None for name in line.names}
    words = {ItemKind.RESISTOR: "watts", ItemKind.CAPACITOR: "volts"}
    parts = []
    for part in network.parts:
        line = rated.get(part.name)
        word = None if line is None else words.get(line.kind)
        if line is not None and word is not None and getattr(part, word) is None:
            told: dict[str, Any] = {word: line.rating}
            part = replace(part, **told)
        parts.append(part)
    return replace(network, parts=tuple(parts))


def _cost(bill: Bill, case: Case) -> Criterion:
    note = "" if bill.cost_for_pair is None else f"for a pair {written('cost of a pair', bill.cost_for_pair)}"
    if bill.cost is None:
        note = f"{case.catalogue.source}: no prices"
    elif bill.without_price:
        note += f"; {bill.without_price} parts have no price"
    if case.most_cost is None and bill.cost:
        note += "; no limit was given"
    money = math.nan if bill.cost is None else bill.cost
    return judge.cost(money, case.most_cost, note)


def _to_buy(bill: Bill, catalogue: Catalogue, note: str) -> Criterion:
    count = sum(line.quantity for line in bill.lines)
    short = [line.what for line in bill.lines if line.at_hand is not None and line.at_hand < line.quantity_for_pair]
    listed = catalogue.stock is not None and not short
    notes = [note] if note else []
    if short:
        notes.append(f"too few for a pair: {', '.join(short)}")
    if catalogue.stock is None:
        notes.append("no stock list: whether they are on sale is not known")
    return judge.to_buy(count, listed, "; ".join(notes))


def _network_channels(speaker: Speaker, needed: int) -> Criterion:
    """Channels of a network: one is what everybody has."""
    if needed == 1:
        return judge.channels(1, 1, "the amplifier that drives it now")
    bypass = speaker.file.speaker.bypass
    given = len(bypass.channels) if bypass is not None and bypass.channels else None
    return judge.channels(needed, given, "the network has several channels already")
