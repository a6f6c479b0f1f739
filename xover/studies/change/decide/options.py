"""The options, each worked out and read by the same readings: leave, refresh, redesign and bypass."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np

from xover.curve import Float
from xover.errors import OptionError
from xover.figures import written
from xover.files.stock import ItemKind, StockItem
from xover.network import Network
from xover.parts.catalogue import Catalogue
from xover.parts.stock import Bill
from xover.quantity import QuantityKind, format_quantity, hertz
from xover.rules.bands import JUDGED_HZ
from xover.rules.severity import Severity
from xover.sound.change import difference_db
from xover.sound.deviation import sum_deviation
from xover.sound.meeting import shallowest_null_db, ways
from xover.speaker import Speaker
from xover.studies.change.bypass.capacitor import ProtectionCapacitor
from xover.studies.change.bypass.channels import Wiring
from xover.studies.change.bypass.result import BypassStudy
from xover.studies.change.decide import criteria as judge
from xover.studies.change.decide.criteria import Aspect, Criterion, Verdict
from xover.studies.change.decide.option import DecisionCase, Name, Option, all_criteria, evidence_of, no_option
from xover.studies.change.decide.setup import (
    Read,
    ReadingSetup,
    load_criteria,
    read_network,
    sound_is_assumed,
    sum_criterion,
)
from xover.studies.change.redesign.result import Proposal, RedesignStudy

STARTS: Final = 1
"""Random starts of the redesign: `xover redesign` takes more, and other circuits."""


def leave(case: DecisionCase) -> Option:
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


def refreshed(case: DecisionCase) -> Option:
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


def redesigned(case: DecisionCase) -> Option:
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


def _first_sound(bench: ReadingSetup, study: RedesignStudy) -> tuple[Proposal, Read]:
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


def _cost(bill: Bill, case: DecisionCase) -> Criterion:
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


NEAR_VALUE: Final = 0.1
"""How near a capacitor of the list must lie to the one proposed."""


def bypassed(case: DecisionCase) -> Option:
    """Each driver on its own channel."""
    bench, speaker = case.bench, case.speaker
    name = bench.reference or case.present
    if len(ways(speaker, speaker.network(name), bench.frequency_hz)) < 2:
        return no_option(bench, Name.BYPASS, "there is one way only: nothing to split")
    from xover.studies.change.bypass.study import study_bypass

    case.progress(0.78, "bypass")
    try:
        study = study_bypass(speaker, name, bench.frequency_hz)
    except OptionError as fault:
        return no_option(bench, Name.BYPASS, f"{fault.problem}; {fault.remedy}")
    wirings = [channel.wiring for channel in study.channels.values()]
    names = tuple(n for w in wirings for n in w.names)
    assumed = sound_is_assumed(speaker, names)
    reached = study.reached
    level = None if reached is None or not study.coherent else reached.total.level_db
    why, best = _why_no_sum(study, speaker, assumed)
    quadrature = study.crossover.slope.quadrature
    criteria = [
        sum_criterion(level, study.frequency_hz, assumed, why + best),
        judge.reversed_null(
            math.nan if reached is None or not study.coherent else shallowest_null_db(reached.crossovers),
            assumed=assumed,
            expected=not quadrature,
            note=f"{study.crossover.slope.name} leaves neighbours a quarter turn apart: no null is meant"
            if quadrature
            else why,
        ),
        _bypass_voicing(study, level, bench.reference),
        *load_criteria([(n, c.load.reading, c.load.verdict, c.load.rating_from) for n, c in study.channels.items()]),
        _bypass_tweeter(study, bench.design_below_w),
        judge.ratings(0.0, False, 0, _capacitor_words(study)),
        judge.stops(len(study.stops), "; ".join(f"{f.about}: {f.text}" for f in study.stops)),
        judge.pair(0.0, note="no part is left that varies, digital filters taken; the drivers' own spread stays"),
    ]
    return Option(
        Name.BYPASS,
        "",
        all_criteria(
            "bypass",
            {c.name: c for c in criteria},
            _bypass_cost(study, case),
            _bypass_parts(study, case),
            bypass_channels(speaker, wirings),
            judge.undo("yes", whole=True, note="if the old network is kept"),
            evidence_of(speaker, names, measured=True, parts=False),
        ),
        np.full(bench.frequency_hz.shape, np.nan) if level is None else level,
        f"{study.crossover.slope.name} at "
        f"{' and '.join(hertz(c) for c in study.crossover.corners_hz)} "
        f"({study.crossover.source}), best gain, delay and polarity",
        tuple(f"{f.about}: {f.text}" for f in study.findings if f.severity is not Severity.NOTE),
        study=study,
    )


def bypass_channels(speaker: Speaker, wirings: Sequence[Wiring]) -> Criterion:
    """Channels of a bypass against those that speaker.toml has."""
    bypass = speaker.file.speaker.bypass
    if bypass is None or not bypass.channels:
        return judge.channels(
            len(wirings), None, "speaker.toml names no [bypass.channels]: are there amplifiers for it?"
        )
    missing = [w.driver for w in wirings if not any(n in bypass.channels for n in w.names)]
    note = f"none is given for {', '.join(missing)}" if missing else ""
    return judge.channels(len(wirings), len(wirings) - len(missing), note)


def _why_no_sum(study: BypassStudy, speaker: Speaker, assumed: bool) -> tuple[str, str]:
    """Why there is no verdict on the sum, and what it would be with delays found by measuring."""
    names = [n for channel in study.channels.values() for n in channel.wiring.names]
    silent = [n for n in names if not speaker.drivers[n].has_response]
    if silent:
        return f"no response of {', '.join(silent)}", ""
    if not study.coherent:
        best = ""
        if study.reached is not None:
            half = written("sum deviation", study.reached.band.half_range_db, "bypass")
            best = f"; +-{half} dB if delays found by measuring make it right"
        return f"no one sum is right: {study.timing_reason}", best
    if assumed:
        return "a flat line stands in for a driver's sound: only the levels are worth something", ""
    return "", ""


def _bypass_voicing(study: BypassStudy, level: Float | None, reference: str | None) -> Criterion:
    """Change of the sum's shape, as the level is set freely."""
    if reference is None:
        return judge.unknown(Aspect.VOICING, "there is no network of the design to hold it against")
    if level is None or study.passive_total is None or not study.passive_total.coherent:
        return judge.unknown(Aspect.VOICING, "the sum is not known; its twin reproduces the network's voltages")
    f = study.frequency_hz
    band = sum_deviation(f, difference_db(study.passive_total.level_db, level))
    size = max(band.highest_deviation_db, -band.lowest_deviation_db)
    twin = "" if study.twin_sum is None else f"; its twin stays within {abs(study.twin_sum.worst_db):.2f} dB"
    return judge.voicing(size, can_fail=False, note=f"of the sum, levels made equal{twin}")


def _bypass_tweeter(study: BypassStudy, design_w: float) -> Criterion:
    name, channel = list(study.channels.items())[-1]
    below = channel.power.power_below_resonance_w
    note = study.power.reason
    if not math.isnan(below):
        resonance = written("resonance", channel.fitness.resonance_hz, name)
        note = f"{name} below {resonance}; {channel.power.average_power_w:.2g} W in all at {study.power.level_db:g} dB"
    elif not note:
        note = f"the impedance of {name} shows no resonance"
    return judge.tweeter(below, design_w, note)


def _capacitor(study: BypassStudy) -> ProtectionCapacitor | None:
    return list(study.channels.values())[-1].capacitor


def _capacitor_words(study: BypassStudy) -> str:
    capacitor = _capacitor(study)
    if capacitor is None:
        return "no network part is left"
    volts = "" if capacitor.usual_volts is None else f", {capacitor.usual_volts:g} V"
    farad = format_quantity(capacitor.chosen.farad, QuantityKind.CAPACITANCE)
    return f"no network part is left; {farad}{volts} film in series protects the {capacitor.channel}"


def _capacitors(study: BypassStudy, case: DecisionCase) -> tuple[StockItem, ...]:
    """Those of the catalogue that would do as protection, within a tenth of the value."""
    wanted = _capacitor(study)
    if wanted is None:
        return ()
    return tuple(
        item
        for item in case.catalogue.capacitors()
        if abs(item.value / wanted.chosen.farad - 1.0) <= NEAR_VALUE
        and (item.volts is None or wanted.volts_peak is None or item.volts >= wanted.volts_peak)
    )


def _bypass_parts(study: BypassStudy, case: DecisionCase) -> Criterion:
    note = "amplifiers and crossover not counted"
    if _capacitor(study) is None:
        return judge.to_buy(0, listed=False, note=note)
    listed = case.catalogue.stock is not None and bool(_capacitors(study, case))
    return judge.to_buy(1, listed=listed, note=f"the protection capacitor; {note}")


def _bypass_cost(study: BypassStudy, case: DecisionCase) -> Criterion:
    """The protection capacitor, where the electronics are there already."""
    if bypass_channels(case.speaker, [c.wiring for c in study.channels.values()]).verdict is not Verdict.PASS:
        return judge.unknown(Aspect.COST, "amplifiers and crossover have no price here")
    words = "amplifiers and crossover are there already"
    if _capacitor(study) is None:
        return judge.cost(0.0, case.most_cost, words)
    prices = [item.price for item in _capacitors(study, case) if item.price is not None]
    if not prices:
        return judge.cost(math.nan, case.most_cost, f"{words}; the protection capacitor has no price here")
    return judge.cost(min(prices), case.most_cost, f"{words}; the protection capacitor")
