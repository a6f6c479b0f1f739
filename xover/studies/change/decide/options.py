"""The steps, each worked out and read by the same readings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np

from xover.errors import OptionError
from xover.figures import db
from xover.files.stock import ItemKind, StockItem
from xover.judge.kinds import Fault
from xover.judge.odd import odd_drivers
from xover.judge.odd_words import remedy_words
from xover.network import Network
from xover.network.parts import shown_value
from xover.network.retouch import exchanged, in_wiring, turned
from xover.parts.stock import Bill, joined, make_bill
from xover.quantity import hertz
from xover.rules.audibility import HARD_DB, REPEATS_DB, UNHEARD_DB
from xover.rules.bands import JUDGED_HZ, LEAST_KNOWN
from xover.rules.triage import Rung, Wants
from xover.sound.deviation import sum_deviation
from xover.sound.doubt import Known, deviation_gain, deviation_known, voicing_gain
from xover.studies.change.decide import criteria as judge
from xover.studies.change.decide.criteria import Aspect, Criterion, Verdict
from xover.studies.change.decide.mending import OF_PARTS, nearest_item, with_part
from xover.studies.change.decide.option import (
    UNKNOWN,
    DecisionCase,
    Option,
    all_criteria,
    called,
    danger_of,
    evidence_of,
    no_option,
)
from xover.studies.change.decide.pads import best_pad
from xover.studies.change.decide.setup import Read, ReadingSetup, read_network
from xover.studies.change.decide.spending import channels_of, cost_of, parts_of
from xover.studies.change.decide.wires import best_turned
from xover.studies.change.redesign.result import Proposal, RedesignStudy
from xover.studies.change.refresh.choice import new_part
from xover.studies.change.refresh.result import RefreshStudy, Step

STARTS: Final = 1
"""Random starts of the redesign: `xover redesign` takes more, and other circuits."""


NOTHING: Final = Known(0.0, 0.0)


def gains(case: DecisionCase, network: Network) -> Mapping[Wants, Known]:
    """How much nearer to each target a network comes than what is there now."""
    bench = case.bench
    now, f = case.network, bench.frequency_hz
    design = None if bench.design is None else bench.design.network
    return {
        Wants.SOUND: _at_best(deviation_gain(case.speaker, now, network, f)),
        Wants.VOICING: UNKNOWN if design is None else _at_best(voicing_gain(case.speaker, design, now, network, f)),
    }


def _at_best(gain: Known) -> Known:
    """No figure is surer than a careful measurement repeats to: the meter that read the parts errs too."""
    return replace(gain, uncertainty_db=max(gain.uncertainty_db, REPEATS_DB))


def leave(case: DecisionCase) -> Option:
    """Leave it as it is."""
    measured = case.found is not None
    read = case.read_now
    criteria = dict(read.criteria)
    if not measured:
        criteria = {a: _unmeasured(c) for a, c in criteria.items()}
    channels = len(read.sound.network.channels)
    return Option(
        Rung.LEAVE,
        "",
        all_criteria(
            case.present,
            criteria,
            judge.cost(0.0, case.most_cost),
            judge.to_buy(0, listed=False),
            channels_of(case.speaker, channels),
            judge.undo("yes", whole=True, note="nothing is touched"),
            evidence_of(case.speaker, read.sound.network.driver_names, measured, parts=True),
        ),
        read.level_db if measured else np.full(read.level_db.shape, np.nan),
        dict.fromkeys(Wants, NOTHING),
        deviation_known(case.speaker, read.sound.network, case.bench.frequency_hz).uncertainty_db,
        what=f"network '{case.present}' as it is" + ("" if measured else ", taken as marked: no part was measured"),
        cautions=tuple(f"{f.text}: {f.remedy}" for f in read.hazards if f.fault in _HEEDED),
        stops=read.stops(False),
        danger=danger_of(read.stops(False)),
        network=read.sound.network,
    )


_HEEDED: Final = (Fault.OVER_RATING, Fault.BELOW_RESONANCE, Fault.LOW_LOAD, Fault.OIL_FILLED)
"""What is to be heeded of a network that stays as it is, where it stops nobody."""


def _unmeasured(criterion: Criterion) -> Criterion:
    """What the design as marked tells of a board that has aged: only what fails even so, or the design decides."""
    if criterion.verdict is Verdict.FAIL or criterion.name in (Aspect.RATINGS, Aspect.STOPS, Aspect.DEVIATION):
        return criterion
    why = "what age has done was not measured"
    if criterion.value is None or criterion.name is Aspect.VOICING:
        return judge.unknown(criterion.name, why)
    return judge.unknown(criterion.name, f"{criterion.figure} as marked, but {why}")


def _built(
    case: DecisionCase,
    rung: Rung,
    network: Network,
    bill: Bill,
    *,
    what: str,
    fits: str = "",
    note: str = "",
    meant: bool = True,
    kept: bool = True,
    whole: bool = True,
    undo: str = "if the old parts are kept in a labelled bag",
    read: Read | None = None,
    cautions: tuple[str, ...] = (),
    study: Any = None,
) -> Option:
    """A step that builds a network, read as all of them are; `kept`: old parts stay in it."""
    name = called(rung)
    read = read or read_network(case.bench, name, _with_ratings(network, bill), meant=meant, aged=False)
    return Option(
        rung,
        "",
        all_criteria(
            name,
            read.criteria,
            cost_of(bill, case),
            parts_of(bill, case.catalogue, note),
            channels_of(case.speaker, len(read.sound.network.channels)),
            judge.undo("yes" if whole else "in part", whole=whole, note=undo),
            evidence_of(case.speaker, read.sound.network.driver_names, case.found is not None, parts=kept),
        ),
        read.level_db,
        gains(case, network),
        what=what,
        fits=fits,
        parts=sum(line.quantity for line in bill.lines),
        cost_for_pair=_cost_for_pair(bill),
        cautions=cautions,
        stops=read.stops(True),
        danger=danger_of(read.stops(True)),
        network=network,
        bill=bill,
        study=study,
    )


def mended(case: DecisionCase) -> Option:
    """What is broken put right: parts as the original has them, wires as it has them; a dead driver builds nothing."""
    design = case.bench.design
    network, items, unpriced = case.network, [], 0
    wrong = [f for f in case.faults if f.fault in OF_PARTS]
    swapped = [f.driver for f in case.faults if f.fault is Fault.SWAPPED]
    if design is not None and wrong:
        for finding in wrong:
            good = design.network.part(finding.part)
            sold = nearest_item(good, case.catalogue)
            unpriced += not sold
            for item in sold:
                items.append((good.name, item))
                good = replace(new_part(item), name=good.name, a=good.a, b=good.b)
            network = with_part(network, good, design.network)
    for fault in case.faults:
        if fault.fault is Fault.EXCHANGED:
            network = exchanged(network, fault.part, fault.facts["other"])
        elif fault.fault is Fault.PART_ADDED and design is not None:
            network = in_wiring(design.network, network)
    if swapped:
        network = turned(network, swapped)
    what = case.faults[0].remedy + (f" ({len(case.faults) - 1} more)" if len(case.faults) > 1 else "")
    if network is case.network:
        return replace(no_option(case.bench, Rung.MEND, ""), what=what)
    left = {p.name for p in network.parts}
    strange = [p.name for p in case.network.parts if p.name not in left]
    if strange:
        what = f"{what}; take out {' and '.join(strange)}"
    option = _built(case, Rung.MEND, network, make_bill(items), what=what, meant=False)
    return option if not unpriced else replace(option, parts=option.parts + unpriced, cost_for_pair=math.nan)


def rewired(case: DecisionCase) -> Option:
    """Two wires swapped, where that makes the sum more even."""
    bar = _no_sum(case)
    if bar:
        return no_option(case.bench, Rung.REWIRE, bar)
    network, _ = case.base
    keys = best_turned(case.bench, network)
    if not keys:
        return no_option(case.bench, Rung.REWIRE, "no driver does better the other way round")
    words = f"swap the two wires at the {' and at the '.join(keys)}"
    return _with_renewal(case, Rung.REWIRE, turned(network, keys), (), words, "swap them back")


def trimmed(case: DecisionCase) -> Option:
    """A driver brought to the level of the others by a resistor or two."""
    bar = _no_sum(case)
    if bar:
        return no_option(case.bench, Rung.TRIM, bar)
    network, _ = case.base
    pad = best_pad(case.speaker, network, case.catalogue)
    if pad is None or abs(pad.level_db) <= UNHEARD_DB:
        return no_option(case.bench, Rung.TRIM, "the drivers' levels fit: no pad makes the sum more even")
    side = f"the {pad.key} is {abs(pad.level_db):.1f} dB {'hot' if pad.level_db < 0 else 'faint'}"
    sizes = " and ".join(shown_value(pad.network.part(n)) for n in pad.names)
    done = f"a pad of {sizes} before it" if pad.added else f"{' and '.join(pad.names)} to {sizes}"
    return _with_renewal(case, Rung.TRIM, pad.network, pad.items, f"{side}: {done}", "take the pad out again")


def _no_sum(case: DecisionCase) -> str:
    """Why nothing can be told of levels and polarities; "" where it can."""
    if len(case.network.driver_names) < 2:
        return "there is one driver only"
    if not case.bench.coherent:
        return case.bench.timing_reason
    read = case.read_now
    band = sum_deviation(case.bench.frequency_hz, read.level_db)
    if band.known_share >= LEAST_KNOWN:
        return ""
    if not band.known_share:
        return "the sum is not known"
    return f"the sum is known in {100 * band.known_share:.0f} % of {hertz(band.from_hz)} to {hertz(band.to_hz)} only"


def _with_renewal(
    case: DecisionCase, rung: Rung, network: Network, items: Iterable[tuple[str, StockItem]], what: str, undo: str
) -> Option:
    """A change on top of what is there, or on top of what is worn renewed."""
    bill = make_bill(items)
    _, worn = case.base
    if worn is not None:
        bill = joined(worn, bill)
        what = f"{what}; {_renewed(case)}"
    option = _built(case, rung, network, bill, what=what, undo=undo)
    return replace(option, renews=worn is not None)


def _renewed(case: DecisionCase) -> str:
    return f"renew {', '.join(e.part for e in case.refresh.exchanged if not e.stays)}"


def refreshed(case: DecisionCase) -> Option:
    """Like-for-like parts."""
    try:
        study = case.refresh
    except OptionError as fault:
        return no_option(case.bench, Rung.REFRESH, f"{fault.problem}; {fault.remedy}")
    if not study.bill.lines:
        return no_option(case.bench, Rung.REFRESH, "no part is worn")
    study, step = _within_means(case, study)
    kept = [e.part for e in step.exchanged if e.stays]
    new = [e.part for e in step.exchanged if not e.stays]
    return _built(
        case,
        Rung.REFRESH,
        step.network,
        step.bill,
        what=f"renew {', '.join(new)}; the rest stays" if kept else f"renew {', '.join(new)}",
        fits="; ".join(f"{e.part} by {e.fitted}" for e in step.exchanged if not e.stays),
        note=f"{', '.join(kept)} stay" if kept else "",
        meant=False,
        kept=bool(kept),
        cautions=study.warnings,
        study=study,
    )


def _within_means(case: DecisionCase, study: RefreshStudy) -> tuple[RefreshStudy, Step]:
    """The step that is picked; where it costs more than there is, the nearest one that does not.

    New electrolytics cost little: they may serve then, though they age again.
    """
    if not _cost_for_pair(study.picked.bill) > case.most_for_pair:
        return study, study.picked
    cheap = case.refresh_with(replace(case.catalogue, electrolytics=True))
    fits = [
        (one, step)
        for one in (study, cheap)
        for step in one.frontier
        if step.parts and _cost_for_pair(step.bill) <= case.most_for_pair
    ]
    # Where nothing does, what is told is what must be saved up for.
    dear = min(((study, study.picked), (cheap, cheap.picked)), key=lambda pair: _cost_for_pair(pair[1].bill))
    return min(fits, key=lambda pair: pair[1].nominal_db, default=dear)


def _cost_for_pair(bill: Bill) -> float:
    """NaN where a price is missing."""
    return math.nan if bill.cost_for_pair is None or bill.without_price else bill.cost_for_pair


def revalued(case: DecisionCase) -> Option:
    """Other values in the same circuit."""
    from xover.studies.change.redesign.design import PRESENT

    return _redesign(case, Rung.REVALUE, (PRESENT,))


def redesigned(case: DecisionCase) -> Option:
    """Another circuit."""
    return _redesign(case, Rung.REDESIGN, ())


def _redesign(case: DecisionCase, rung: Rung, circuits: tuple[str, ...]) -> Option:
    from xover.studies.change.redesign.study import redesign
    from xover.studies.change.redesign.wish import Wish

    bench = case.bench
    base = 0.35
    case.progress(base, str(rung))
    most = 0.5 * case.most_for_pair
    try:
        study = redesign(
            case.speaker,
            case.catalogue,
            Wish(band_hz=JUDGED_HZ, most_cost=most if most and math.isfinite(most) else None),
            present=case.present,
            circuits=circuits,
            starts=STARTS,
            alternatives=False,
            seed=bench.seed,
            progress=lambda done, words: case.progress(base + 0.4 * done, f"{rung}: {words}"),
        )
    except OptionError as fault:
        return no_option(bench, rung, f"{fault.problem}; {fault.remedy}")
    if study.stopped:
        raise KeyboardInterrupt
    if not study.suitable or not study.proposals:
        return no_option(bench, rung, study.headline)
    # The first is that of which most builds keep the limit; one that fails is passed over while there are others.
    pick, read = _first_sound(bench, study)
    bought = {n for line in pick.bill.lines for n in line.names}
    kept = [p.name for p in pick.network.parts if p.name not in bought]
    same = rung is Rung.REVALUE
    gone = "".join(f"; {move.part} {move.kind}" for move in pick.moves if same)
    what = f"new values: {', '.join(sorted(bought))}{gone}" if same else f"the circuit {pick.circuit}"
    note = ("new values for the present circuit only" if same else pick.circuit) + (
        f"; {', '.join(kept)} stay" if kept else ""
    )
    return _built(
        case,
        rung,
        pick.network,
        pick.bill,
        what=what,
        note=note,
        kept=bool(kept),
        whole=False,
        undo="the parts can be put back, a new board cannot",
        read=read,
        cautions=study.warnings,
        study=replace(study, proposals=(pick, *(p for p in study.proposals if p is not pick))),
    )


def odd_driver(case: DecisionCase) -> Option:
    """A driver that differs from its like, by the cheapest remedy that leaves what is hard to hear left to right."""
    mate = case.mate
    if case.mate_faults:
        return no_option(
            case.bench, Rung.DRIVER, f"the other speaker is to be mended first: {case.mate_faults[0].text}"
        )
    found = odd_drivers(
        case.speaker, case.network, mate, None if mate is None else mate.network(mate.default_network())
    )
    if not found:
        return no_option(case.bench, Rung.DRIVER, "no driver differs from its like")
    odd = max(found, key=lambda o: o.remedies[0].left_db)
    accepted = odd.remedies[0].left_db
    if accepted <= HARD_DB:
        words = f"{' and '.join(odd.keys)}: accept it, {db(accepted)} dB is left between left and right"
        return no_option(case.bench, Rung.DRIVER, words)
    # Drivers and their resistors have no price here: where money is limited, only what is free is sure to be within it.
    free = math.isfinite(case.most_for_pair)
    known = [r for r in odd.remedies if not (math.isnan(r.left_db) or (free and r.parts + r.drivers))]
    pick = next((r for r in known if r.left_db <= HARD_DB), min(known, key=lambda r: r.left_db))
    gain = Known(accepted - pick.left_db, odd.level_uncertainty_db)
    # What is worn is renewed first; a pad stands in the network as it is.
    base, worn = case.base if pick.in_mate or pick.network is None else (pick.network, None)
    network = None if base is case.network else base
    renewed = 0 if worn is None else sum(line.quantity for line in worn.lines)
    read = read_network(case.bench, called(Rung.DRIVER), base, meant=True, aged=False)
    free_of_cost = not (pick.parts + pick.drivers + renewed)
    what = (
        f"the odd driver, {_of(odd.keys, odd.in_mate)} (unlike {_of((odd.like,), odd.like_in_mate)}): "
        f"{remedy_words(odd, pick)}"
    )
    return Option(
        Rung.DRIVER,
        "",
        all_criteria(
            called(Rung.DRIVER),
            read.criteria,
            judge.cost(0.0, None) if free_of_cost else judge.unknown(Aspect.COST, "no price here"),
            judge.to_buy(pick.parts + renewed, listed=False),
            channels_of(case.speaker, len(read.sound.network.channels)),
            judge.undo("yes", whole=True, note="the drivers stay as they are"),
            evidence_of(case.speaker, read.sound.network.driver_names, case.found is not None, parts=True),
        ),
        read.level_db,
        dict.fromkeys(Wants, gain),
        what=what if worn is None else f"{_renewed(case)}; then {what}",
        cautions=() if worn is None else case.refresh.warnings,
        parts=pick.parts + renewed,
        renews=worn is not None,
        cost_for_pair=math.nan if pick.parts + pick.drivers else 0.0 if worn is None else _cost_for_pair(worn),
        stops=read.stops(False),
        danger=danger_of(read.stops(False)),
        network=network,
        bill=worn,
        study=odd,
    )


def _of(keys: Sequence[str], in_mate: bool) -> str:
    return " and ".join(keys) + (" of the other cabinet" if in_mate else "")


def amplified(case: DecisionCase) -> Option:
    """Another amplifier, where the one that is there may not drive it."""
    read = case.read_now
    low = read.criteria[Aspect.LOAD]
    if not any(f.fault is Fault.LOW_LOAD for f in read.stops(False)):
        partly = low.verdict is Verdict.UNKNOWN and low.limit is not None
        words = "nothing of what is known of the load forbids it" if partly else "the amplifier may drive it"
        return no_option(case.bench, Rung.AMPLIFIER, words)
    what = f"an amplifier that may drive {low.figure} or less"
    other = {**read.criteria, Aspect.LOAD: judge.unknown(Aspect.LOAD, what, low.value)}
    return Option(
        Rung.AMPLIFIER,
        "",
        all_criteria(
            case.present,
            other,
            judge.unknown(Aspect.COST, "amplifiers have no price here"),
            judge.to_buy(0, listed=False),
            channels_of(case.speaker, len(read.sound.network.channels)),
            judge.undo("yes", whole=True, note="nothing is touched"),
            evidence_of(case.speaker, read.sound.network.driver_names, case.found is not None, parts=True),
        ),
        read.level_db,
        dict.fromkeys(Wants, NOTHING),
        what=what,
        cost_for_pair=math.nan,
        danger=danger_of([f for f in read.stops(False) if f.fault is not Fault.LOW_LOAD]),
    )


def _first_sound(bench: ReadingSetup, study: RedesignStudy) -> tuple[Proposal, Read]:
    """The first proposal none of whose criteria fails, else the first.

    In the same circuit what is healthy stays: of those that sound as even, that which exchanges the fewest parts.
    """
    from xover.studies.change.redesign.design import PRESENT

    first: tuple[Proposal, Read] | None = None
    proposals = study.proposals
    evenest = min(p.judged.deviation_db for p in proposals)
    if all(p.circuit == PRESENT for p in proposals) and math.isfinite(evenest):
        as_even = evenest + UNHEARD_DB
        proposals = tuple(
            sorted(proposals, key=lambda p: (p.judged.deviation_db > as_even, len(p.bought) + len(p.moves)))
        )
    for pick in proposals:
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
