"""A driver that was replaced: what the old network makes of it, and whether changed parts bring the sum back."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from xover.errors import OptionError, named
from xover.figures import written
from xover.network import Network
from xover.parts.catalogue import Catalogue
from xover.quantity import ohms
from xover.readable import Readable
from xover.rules.audibility import UNHEARD_DB
from xover.speaker import Speaker
from xover.speaker.swap import with_driver
from xover.studies.change.redesign.design import PRESENT
from xover.studies.change.redesign.judge import Judge
from xover.studies.change.redesign.restore import bears, fewest_changes
from xover.studies.change.redesign.result import Proposal, RedesignStudy
from xover.studies.change.redesign.suitability import Fit, SwapFinding, suitability


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
                study = replace(study, proposals=(fewest, *study.proposals))
            by = _fewest(study.proposals, fine, limit, lowest)
        restored = as_it_is or by is not None
    broken = [x for x in findings if x.fit is Fit.FAIL and not x.mended_by_parts]
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
        load = _load(by.judged.lowest_ohm, study.wish.minimum_load_ohm)
        return (
            f"suitable {how} ('{by.name}'): the sum within "
            f"+-{written('sum deviation', by.judged.deviation_db)} dB, {old}{load}"
        )
    if restored:
        load = _load(study.before.lowest_ohm, study.wish.minimum_load_ohm)
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


def _load(lowest_ohm: float, limit_ohm: float | None) -> str:
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
