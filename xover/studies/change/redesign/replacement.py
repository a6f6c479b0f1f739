"""A driver that was replaced: whether it suits, what the old network makes of it, and what brings the sum back."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.acoustic.level import level_db
from xover.amplifier.load import LoadLevel, load_level
from xover.curve import Complex, Float, log_grid
from xover.errors import OptionError, named
from xover.figures import written
from xover.network import DriverCard, Network, Solution, solve
from xover.parts.catalogue import Catalogue
from xover.quantity import hertz, ohms
from xover.readable import Readable
from xover.rules.audibility import UNHEARD_DB
from xover.rules.bands import JUDGED_HZ, OWN_BAND_DB
from xover.rules.likeness import LIKE_IMPEDANCE, SAMPLES
from xover.rules.margins import LOWEST_LACK_DB, RESONANCE_RATIO, UPPER_LACK_DB
from xover.sound.meeting import WayOfDrivers, present_crossovers, ways
from xover.sound.prediction import card_response
from xover.sound.resonance import driver_resonance_hz
from xover.speaker import Speaker
from xover.speaker.swap import with_driver
from xover.studies.change.redesign.alternatives import bears, fewest_changes
from xover.studies.change.redesign.design import PRESENT
from xover.studies.change.redesign.judge import Judge
from xover.studies.change.redesign.result import Proposal, RedesignStudy

_PER_OCTAVE: Final = 48

Rows = NDArray[np.bool_]


class ReplacementFit(StrEnum):
    """How the driver meets one criterion."""

    PASS = "pass"
    MARGINAL = "marginal"
    FAIL = "fail"
    UNKNOWN = "not known"


@dataclass(frozen=True)
class SwapFinding:
    """One criterion of a driver that takes another's place.

    Attributes
    ----------
    driver : its name in the network. what : the criterion.
    value, limit : in `unit`; NaN where not known, or where there is no limit.
    mended_by_parts : whether other parts in the network may mend a failure.
    """

    driver: str
    what: str
    value: float
    limit: float
    unit: str
    fit: ReplacementFit
    mended_by_parts: bool
    text: str


def suitability(
    old: Speaker,
    new: Speaker,
    name: str,
    network: Network,
    *,
    minimum_load_ohm: float | None = None,
    crossover_hz: Sequence[float] | None = None,
) -> tuple[SwapFinding, ...]:
    """Hold a driver that takes another's place against what the network asks of it.

    Parameters
    ----------
    old, new : the speaker with the old and with the new driver.
    name : the driver. network : what it is to be played through, as it is.
    minimum_load_ohm : of the amplifier; by default what speaker.toml says.
    crossover_hz : corner frequencies that are wanted, rising; by default those of the old drivers.

    Raises
    ------
    OptionError : the network has no such driver. NoSolutionError.
    """
    cards = [c for c in network.drivers if c.driver == name]
    if not cards:
        raise OptionError(f"the network does not use the driver '{name}'", "replace one that it has")
    f = log_grid(20.0, 20_000.0, _PER_OCTAVE)
    before = solve(network, f, old.impedances_ohm(network, f))
    after = solve(network, f, new.impedances_ohm(network, f))
    limit = minimum_load_ohm
    if limit is None and old.amplifier is not None:
        limit = old.amplifier.minimum_load_ohm
    plays = _plays(before.drive[cards[0].key])
    order = ways(old, network, f)
    found = [
        _resonance(old, new, name, network, order, crossover_hz, f),
        _level(old, new, cards[0], before, plays, lowest=name in order[0].names),
        _impedance(old, new, name, f, plays),
        _load(network, name, before, after, limit),
    ]
    return tuple(finding for finding in found if finding is not None)


def _plays(drive: Complex) -> Rows:
    level = level_db(drive)
    with np.errstate(invalid="ignore"):
        return np.asarray(level >= np.fmax.reduce(level) - OWN_BAND_DB)


def _resonance(
    old: Speaker,
    new: Speaker,
    name: str,
    network: Network,
    order: Sequence[WayOfDrivers],
    wanted_hz: Sequence[float] | None,
    f: Float,
) -> SwapFinding | None:
    """The crossover below the driver over its resonance; nothing for the lowest way."""
    way = next(i for i, w in enumerate(order) if name in w.names)
    if way == 0:
        return None
    corners = tuple(wanted_hz) if wanted_hz is not None else present_crossovers(old, network, f)
    what = "crossover over resonance"
    if len(corners) != len(order) - 1:
        text = f"where {name} takes over is not known, so neither is how far its resonance lies below"
        return SwapFinding(name, what, math.nan, RESONANCE_RATIO, "", ReplacementFit.UNKNOWN, False, text)
    corner = corners[way - 1]
    peak, was = driver_resonance_hz(new.drivers[name]), driver_resonance_hz(old.drivers[name])
    if math.isnan(peak):
        text = (
            f"the impedance of the new {name} shows no resonance: ask its data sheet for one below {hertz(corner / 2)}"
        )
        return SwapFinding(name, what, math.nan, RESONANCE_RATIO, "", ReplacementFit.UNKNOWN, False, text)
    ratio = corner / peak
    before = "" if math.isnan(was) else f" (the old one: {written('resonance', was, name)})"
    text = f"resonance {written('resonance', peak, f'new {name}')}{before}, crossover {hertz(corner)}"
    if ratio >= RESONANCE_RATIO:
        return SwapFinding(
            name, what, ratio, RESONANCE_RATIO, "", ReplacementFit.PASS, False, f"{text}: far enough below"
        )
    if not math.isnan(was) and peak <= was:
        text += ": above half of it, but no higher than the old one's"
        return SwapFinding(name, what, ratio, RESONANCE_RATIO, "", ReplacementFit.MARGINAL, False, text)
    text += f": above half of it, so it must cross at {hertz(RESONANCE_RATIO * peak)} or higher"
    fit = ReplacementFit.MARGINAL if ratio * SAMPLES >= RESONANCE_RATIO else ReplacementFit.FAIL
    return SwapFinding(name, what, ratio, RESONANCE_RATIO, "", fit, False, text)


def _level(old: Speaker, new: Speaker, card: DriverCard, before: Solution, plays: Rows, *, lowest: bool) -> SwapFinding:
    """Drive that the new driver needs to be as loud as the old one: a passive network gives 0 dB at most."""
    f, name = before.frequency_hz, card.driver
    was, now = level_db(card_response(old, card, f)), level_db(card_response(new, card, f))
    drive = level_db(before.drive[card.key])
    needed = drive + was - now
    counted = plays & np.isfinite(needed) & (f >= JUDGED_HZ[0]) & (f <= JUDGED_HZ[1])
    most = LOWEST_LACK_DB if lowest else UPPER_LACK_DB
    what = "level without a pad"
    if not counted.any():
        text = f"the sound of the old or of the new {name} is not known, so neither is whether it is loud enough"
        return SwapFinding(name, what, math.nan, 0.0, "dB", ReplacementFit.UNKNOWN, False, text)
    spare = -float(np.median(needed[counted]))
    given = float(np.median(drive[counted]))
    text = f"needs {-spare:+.1f} dB of drive to be as loud as the old one, which gets {given:+.1f} dB"
    if spare >= -UNHEARD_DB:
        return SwapFinding(name, what, spare, 0.0, "dB", ReplacementFit.PASS, False, text)
    if spare >= -most:
        who = "the other drivers must come down by that" if lowest else "it will be a little faint"
        return SwapFinding(
            name, what, spare, 0.0, "dB", ReplacementFit.MARGINAL, False, f"{text}; without any pad {who}"
        )
    return SwapFinding(
        name, what, spare, 0.0, "dB", ReplacementFit.FAIL, False, f"{text}: too faint even without any pad"
    )


def _impedance(old: Speaker, new: Speaker, name: str, f: Float, plays: Rows) -> SwapFinding:
    """|Z| of the new driver over the old one's where it plays: the corners of the network move with it."""
    with np.errstate(invalid="ignore"):
        ratio = np.abs(new.drivers[name].impedance_ohm(f)) / np.abs(old.drivers[name].impedance_ohm(f))
    counted = plays & np.isfinite(ratio)
    what = "impedance over the old one's"
    if not counted.any():
        text = f"the impedances of the old and the new {name} have no band in common"
        return SwapFinding(name, what, math.nan, LIKE_IMPEDANCE, "", ReplacementFit.UNKNOWN, True, text)
    middle = float(np.exp(np.median(np.log(ratio[counted]))))
    if 1.0 / LIKE_IMPEDANCE <= middle <= LIKE_IMPEDANCE:
        text = f"{middle:.2f} times the old one's where it plays: the network meets much the same"
        return SwapFinding(name, what, middle, LIKE_IMPEDANCE, "", ReplacementFit.PASS, True, text)
    text = f"{middle:.2f} times the old one's where it plays: corners and pad of the network move"
    return SwapFinding(name, what, middle, LIKE_IMPEDANCE, "", ReplacementFit.MARGINAL, True, text)


def _load(network: Network, name: str, before: Solution, after: Solution, limit: float | None) -> SwapFinding:
    """Lowest load of the network as it is."""
    was, now = lowest_load_ohm(network, before), lowest_load_ohm(network, after)
    if math.isnan(now):
        return SwapFinding(
            name,
            "lowest load",
            now,
            math.nan,
            "ohm",
            ReplacementFit.UNKNOWN,
            True,
            "the load is not known: sweep its impedance",
        )
    text = f"{ohms(now)} through the present network"
    if not math.isnan(was):
        text += f", {ohms(was)} with the old driver"
    if limit is None:
        text += "; no lowest load of the amplifier is known"
        return SwapFinding(name, "lowest load", now, math.nan, "ohm", ReplacementFit.UNKNOWN, True, text)
    level = load_level(now, limit)
    if level is LoadLevel.FITS:
        return SwapFinding(name, "lowest load", now, limit, "ohm", ReplacementFit.PASS, True, text)
    text += f"; the amplifier asks for {ohms(limit)}"
    fit = ReplacementFit.FAIL if level is LoadLevel.TOO_LOW else ReplacementFit.MARGINAL
    return SwapFinding(name, "lowest load", now, limit, "ohm", fit, True, text)


def lowest_load_ohm(network: Network, solution: Solution) -> float:
    """Over all channels and the frequencies that are known; NaN where none is."""
    lowest = [float(np.fmin.reduce(np.abs(solution.impedance_ohm[c.name]))) for c in network.channels]
    return min((z for z in lowest if not math.isnan(z)), default=math.nan)


@dataclass(frozen=True, eq=False, repr=False)
class ReplacementStudy(Readable):
    """What came of a replacement.

    Attributes
    ----------
    drivers : their names. sources : where the new ones come from, as given.
    findings : each criterion of each new driver, in the network as it is.
    deviation_before_db, lowest_before_ohm : with the old drivers, in the network as it is; NaN where not known.
    deviation_after_db, lowest_after_ohm : the same with the new ones.
    restored_by : the proposal of the fewest changed parts that brings the sum back; None where none does or none is
        needed.
    restored : whether the sum is as good as before, as it is or by that proposal; None where it is not known.
    suitable : the answer; None where it cannot be given.
    verdict : the same in a sentence.
    notes : what a reader must know.
    """

    drivers: tuple[str, ...]
    sources: tuple[str, ...]
    findings: tuple[SwapFinding, ...]
    deviation_before_db: float
    deviation_after_db: float
    lowest_before_ohm: float
    lowest_after_ohm: float
    restored_by: str | None
    restored: bool | None
    suitable: bool | None
    verdict: str
    notes: tuple[str, ...]


def with_drivers(speaker: Speaker, sources: Mapping[str, str], network: Network, voicing: str | None) -> Speaker:
    """The speaker with other drivers, by name: where each comes from. Raises OptionError, InputError."""
    if voicing is not None:
        raise OptionError(
            f"{named('voicing')} takes the sum of a network with the drivers it is played on, and {named('replace')} "
            "exchanges them",
            f"leave one of them out; {named('tilt_db_per_octave')} bends the target",
        )
    for name, source in sources.items():
        speaker = with_driver(speaker, name, source)
        if name not in network.driver_names:
            raise OptionError(
                f"the network does not use the driver '{name}'", f"it uses {', '.join(network.driver_names)}"
            )
    return speaker


def study_replacement(
    old: Speaker,
    new: Speaker,
    sources: Sequence[tuple[str, str]],
    network: Network,
    catalogue: Catalogue,
    study: RedesignStudy,
) -> tuple[ReplacementStudy, RedesignStudy]:
    """Judge a replacement from a redesign of the network with the new drivers in it.

    Parameters
    ----------
    old, new : the speaker before and after.
    sources : (driver, source) as given.
    network : the present one. study : the redesign of `new` from it.

    Returns
    -------
    The answer, and the redesign with the proposal of the fewest changed parts put first, where there is one.
    """
    names = tuple(dict.fromkeys(name for name, _ in sources))
    limit = study.wish.minimum_load_ohm
    findings = tuple(
        finding
        for name in names
        for finding in suitability(
            old, new, name, network, minimum_load_ohm=limit, crossover_hz=study.wish.crossover_hz
        )
    )
    before = Judge(old, network, study.wish, study.wish.crossover_hz, study.frequency_hz).judged(network)
    deviation, lowest = before.deviation_db, before.lowest_ohm
    now = study.before
    restored: bool | None = None
    by: Proposal | None = None
    if math.isfinite(deviation) and math.isfinite(now.deviation_db):
        fine = deviation + UNHEARD_DB
        as_it_is = now.deviation_db <= fine and bears(now.lowest_ohm, limit, lowest)
        if not as_it_is:
            try:
                fewest = fewest_changes(old, new, network, catalogue, study, before, fine)
            except KeyboardInterrupt:
                fewest, study = None, replace(study, stopped=True)
            if fewest is not None:
                # What breaks a limit is never first, even where it was broken before.
                both = (*study.proposals, fewest) if fewest.breaks else (fewest, *study.proposals)
                study = replace(study, proposals=both)
            by = _fewest(study.proposals, fine, limit, lowest)
        restored = as_it_is or by is not None
    broken = [x for x in findings if x.fit is ReplacementFit.FAIL and not x.mended_by_parts]
    suitable = False if broken else restored
    answer = ReplacementStudy(
        drivers=names,
        sources=tuple(source for _, source in sources),
        findings=findings,
        deviation_before_db=deviation,
        deviation_after_db=now.deviation_db,
        lowest_before_ohm=lowest,
        lowest_after_ohm=now.lowest_ohm,
        restored_by=None if by is None else by.name,
        restored=restored,
        suitable=suitable,
        verdict=_verdict(names, broken, restored, by, deviation, study),
        notes=_notes(old, new, names, network, study),
    )
    return answer, study


def _fewest(
    proposals: Iterable[Proposal], deviation_db: float, limit_ohm: float | None, before_ohm: float
) -> Proposal | None:
    enough = [
        p
        for p in proposals
        if p.judged.deviation_db <= deviation_db and bears(p.judged.lowest_ohm, limit_ohm, before_ohm)
    ]
    return min(enough, key=lambda p: (changes(p), p.judged.score), default=None)


def changes(proposal: Proposal) -> int:
    """How many parts are exchanged; every part of another circuit is."""
    return len(proposal.bought) if proposal.circuit == PRESENT else proposal.parts


def _verdict(
    names: Sequence[str],
    broken: Sequence[SwapFinding],
    restored: bool | None,
    by: Proposal | None,
    deviation_db: float,
    study: RedesignStudy,
) -> str:
    who = " and ".join(names)
    if broken:
        return f"not suitable: the new {broken[0].driver}: {broken[0].text}"
    if restored is None:
        return (
            f"whether the sum comes back with the new {who} is not known, as no one sum is right; "
            "the proposals hold each driver to its slope and the load to its limit"
        )
    old = f"+-{written('sum deviation', deviation_db)} dB with the old one"
    if by is not None:
        parts = by.bought if by.circuit == PRESENT else ()
        how = f"with {', '.join(parts)} exchanged" if 0 < len(parts) <= 4 else f"with {changes(by)} parts exchanged"
        load = _load_words(by.judged.lowest_ohm, study.wish.minimum_load_ohm)
        return (
            f"suitable {how} ('{by.name}'): the sum within "
            f"+-{written('sum deviation', by.judged.deviation_db)} dB, {old}{load}"
        )
    if restored:
        load = _load_words(study.before.lowest_ohm, study.wish.minimum_load_ohm)
        return (
            f"suitable with the network as it is: the sum within "
            f"+-{written('sum deviation', study.before.deviation_db)} dB, {old}{load}"
        )
    best = min(study.proposals, key=lambda p: p.judged.deviation_db)
    load = f" and a lowest load of {written('lowest load', best.judged.lowest_ohm)} ohm"
    return (
        f"not suitable: no proposal brings the sum back to {old}; '{best.name}' comes nearest with "
        f"+-{written('sum deviation', best.judged.deviation_db)} dB{load}; try other circuits or another driver"
    )


def _load_words(lowest_ohm: float, limit_ohm: float | None) -> str:
    if limit_ohm is None or not lowest_ohm < limit_ohm:
        return ""
    return (
        f"; but its load of {written('lowest load', lowest_ohm)} ohm is below the amplifier's "
        f"{ohms(limit_ohm)}, as it was before"
    )


def _notes(old: Speaker, new: Speaker, names: Sequence[str], network: Network, study: RedesignStudy) -> tuple[str, ...]:
    said: list[str] = [note for name in names for note in new.drivers[name].notes]
    if old.timing_is_known(network)[0] and not new.timing_is_known(network)[0]:
        said.append(
            "with the old drivers the sum is known, with the new one it is not: measure it in its place against the "
            'same time reference as the others and name it in speaker.toml, or say phase = "minimum" for all drivers, '
            "with their positions"
        )
    who = " and ".join(names)
    said.append(f"how much power and travel the new {who} bears is not in these files: ask the data sheet")
    said.append(
        f"speaker.toml of {study.title} still names the old {who}: put the new one's files there before a network "
        "that was written for it is predicted"
    )
    return tuple(dict.fromkeys(said))
