"""Each driver on a channel of its own, read as the networks are."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from xover.curve import Float
from xover.errors import OptionError
from xover.figures import written
from xover.files.stock import StockItem
from xover.rules.severity import Severity
from xover.rules.triage import Rung, Wants
from xover.sound.change import difference_db
from xover.sound.deviation import sum_deviation
from xover.sound.doubt import Known, deviation_known
from xover.sound.meeting import shallowest_null_db, ways
from xover.speaker import Speaker
from xover.studies.change.bypass.capacitor import ProtectionCapacitor
from xover.studies.change.bypass.channels import Wiring
from xover.studies.change.bypass.crossover import corners_words
from xover.studies.change.bypass.result import BypassStudy
from xover.studies.change.decide import criteria as judge
from xover.studies.change.decide.criteria import Aspect, Criterion, Verdict
from xover.studies.change.decide.option import UNKNOWN, Bar, DecisionCase, Option, all_criteria, evidence_of, no_option
from xover.studies.change.decide.setup import load_criteria, sound_is_assumed, sum_criterion, why_no_sum

NEAR_VALUE: Final = 0.1
"""How near a capacitor of the list must lie to the one proposed."""


def bypassed(case: DecisionCase) -> Option:
    """Each driver on its own channel."""
    bench, speaker = case.bench, case.speaker
    name = bench.reference or case.present
    if len(ways(speaker, speaker.network(name), bench.frequency_hz)) < 2:
        return no_option(bench, Rung.BYPASS, "there is one way only: nothing to split")
    from xover.studies.change.bypass.study import study_bypass

    case.progress(0.78, "bypass")
    try:
        study = study_bypass(speaker, name, bench.frequency_hz, with_map=case.maps)
    except OptionError as fault:
        return no_option(bench, Rung.BYPASS, f"{fault.problem}; {fault.remedy}")
    wirings = [channel.wiring for channel in study.channels.values()]
    names = tuple(n for w in wirings for n in w.names)
    assumed = sound_is_assumed(speaker, names)
    reached = study.reached
    level = None if reached is None or not study.coherent else reached.total.level_db
    why = why_no_sum(speaker, names, study.coherent, study.timing_reason)
    quadrature = study.crossover.slope.quadrature
    channels = bypass_channels(speaker, wirings)
    criteria = [
        sum_criterion(level, study.frequency_hz, assumed, why + _best_words(study)),
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
        _bypass_tweeter(study),
        judge.ratings(0.0, False, 0, _capacitor_words(study)),
        judge.stops(len(study.stops), "; ".join(f"{f.about}: {f.text}" for f in study.stops)),
        judge.pair(0.0, note="no part is left that varies, digital filters taken; the drivers' own spread stays"),
    ]
    return Option(
        Rung.BYPASS,
        "",
        all_criteria(
            "bypass",
            {c.name: c for c in criteria},
            _bypass_cost(study, case),
            _bypass_parts(study, case),
            channels,
            judge.undo("yes", whole=True, note="if the old network is kept"),
            evidence_of(speaker, names, measured=True, parts=False),
        ),
        np.full(bench.frequency_hz.shape, np.nan) if level is None else level,
        _bypass_gains(case, study, level),
        cost_for_pair=0.0 if channels.verdict is Verdict.PASS else math.nan,
        what=f"{len(wirings)} channels, {study.crossover.slope.name} at {corners_words(study.crossover.corners_hz)}",
        cautions=tuple(f.brief or f"{f.about}: {f.text}" for f in study.findings if f.severity is not Severity.NOTE),
        danger=Bar.LOAD if study.loads_broken else Bar.UNSAFE if study.stops else Bar.NONE,
        study=study,
    )


def _bypass_gains(case: DecisionCase, study: BypassStudy, level: Float | None) -> Mapping[Wants, Known]:
    """Of the sum as set for the most even one; of the voicing as its twin keeps it. How sure: as the sum itself is."""
    f = study.frequency_hz
    now = deviation_known(case.speaker, case.network, f)
    found: dict[Wants, Known] = {Wants.SOUND: UNKNOWN, Wants.VOICING: UNKNOWN}
    if level is not None:
        found[Wants.SOUND] = Known(now.value_db - sum_deviation(f, level).half_range_db, now.uncertainty_db)
    if case.bench.design is not None and study.twin_sum is not None and study.coherent:
        kept = case.aged.value_db - abs(study.twin_sum.worst_db)
        found[Wants.VOICING] = Known(kept, case.aged.uncertainty_db)
    return found


def bypass_channels(speaker: Speaker, wirings: Sequence[Wiring]) -> Criterion:
    """Channels of a bypass against those that speaker.toml has."""
    bypass, means = speaker.file.speaker.bypass, speaker.file.speaker.means
    if bypass is None or not bypass.channels:
        if means is not None and means.channels is not None:
            return judge.channels(len(wirings), means.channels // 2, f"{means.channels} for the pair in [means]")
        return judge.channels(
            len(wirings), None, "speaker.toml names no [bypass.channels]: are there amplifiers for it?"
        )
    missing = [w.driver for w in wirings if not any(n in bypass.channels for n in w.names)]
    note = f"none is given for {', '.join(missing)}" if missing else ""
    return judge.channels(len(wirings), len(wirings) - len(missing), note)


def _best_words(study: BypassStudy) -> str:
    """What the sum would be with delays found by measuring, where they are not known."""
    if study.coherent or study.reached is None:
        return ""
    half = written("sum deviation", study.reached.band.half_range_db, "bypass")
    return f"; +-{half} dB if delays found by measuring make it right"


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


def _bypass_tweeter(study: BypassStudy) -> Criterion:
    name, channel = list(study.channels.items())[-1]
    below = channel.power.power_below_resonance_w
    note = study.power.reason
    if not math.isnan(below):
        resonance = written("resonance", channel.fitness.resonance_hz, name)
        note = f"{name} below {resonance}; {channel.power.average_power_w:.2g} W in all at {study.power.level_db:g} dB"
    elif not note:
        note = f"the impedance of {name} shows no resonance"
    return judge.tweeter(below, note)


def _capacitor(study: BypassStudy) -> ProtectionCapacitor | None:
    return list(study.channels.values())[-1].capacitor


def _capacitor_words(study: BypassStudy) -> str:
    capacitor = _capacitor(study)
    if capacitor is None:
        return "no network part is left"
    return f"no network part is left; in series with the {capacitor.channel} {capacitor.bought_as} protects it"


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
