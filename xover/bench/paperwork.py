"""The page for the buyer or the next owner: as marked, found and fitted, what is not original, how sure all that is."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from xover.bench.missing import is_copy, is_ready_circuit
from xover.bench.paper_match import PairMatch, pair_match
from xover.bench.paper_parts import Fate, PaperPart, change_words, paper_parts
from xover.bench.words import and_words, is_or_are
from xover.curve import Evidence
from xover.network import Network
from xover.parts.kinds import PartKind, kind_of
from xover.readable import Readable
from xover.speaker import Speaker
from xover.studies.aged.condition.parts import same_wiring
from xover.studies.aged.condition.words import METER

METER_WORDS: Final = (
    "no meter's tolerance is stated: hand-held ones read values to 1 % or so and resistances to 0.1 ohm, and a sweep "
    "made at home repeats to 5 % (common practice)"
)


@dataclass(frozen=True)
class BagLabel:
    """What to write on the bag of a part that was taken out."""

    part: str
    text: str


@dataclass(frozen=True, eq=False, repr=False)
class Paperwork(Readable):
    """What the next owner must know.

    Attributes
    ----------
    parts : of all networks. drivers : one sentence each.
    not_original : what differs from what the maker built, one sentence part each. unsure : what cannot be told of that.
    match : left against right; None without a mate. labels : for the bags of the parts that were taken out.
    uncertainty : how sure the figures are. claim : what is claimed of the factory's specification, and what not.
    """

    title: str
    parts: tuple[PaperPart, ...]
    drivers: tuple[str, ...]
    not_original: tuple[str, ...]
    unsure: tuple[str, ...]
    match: PairMatch | None
    labels: tuple[BagLabel, ...]
    uncertainty: tuple[str, ...]
    claim: str

    @property
    def kept(self) -> tuple[str, ...]:
        """Names of the old parts that stay in place."""
        return tuple(p.name for p in self.parts if p.fate is Fate.KEPT)


def paperwork(
    speaker: Speaker,
    *,
    marked: Network | None,
    found: Network | None,
    fitted: Network | None,
    mate: Speaker | None = None,
    kept: Collection[str] | None = None,
) -> Paperwork:
    """Write the page of one speaker.

    Parameters
    ----------
    marked, found, fitted : network as marked, as measured, as rebuilt; None where there is none; nothing was changed
        where `fitted` is None.
    mate : the other speaker of the pair: as found, where both were read; else as this one is.
    kept : names of old parts that stay. None: those that `fitted` has with the value and losses of the old part.

    Raises
    ------
    OptionError : `kept` names no part. InputError : a fault in the mate's network.
    """
    parts = paper_parts(marked, found, fitted, kept)
    old = found if found is not None else marked
    built = fitted if fitted is not None else old
    network = old if old is not None else built
    match = None
    if mate is not None and network is not None:
        match = pair_match(speaker, network, mate, mate.network(mate.default_network()))
    names = tuple(speaker.drivers) if network is None else network.driver_names
    return Paperwork(
        title=speaker.title,
        parts=parts,
        drivers=tuple(_driver(speaker, name) for name in names),
        not_original=tuple(_not_original(parts, marked, built)),
        unsure=tuple(_unsure(marked, found)),
        match=match,
        labels=tuple(_labels(speaker, parts)),
        uncertainty=tuple(_uncertainty(speaker, parts, found, fitted, names)),
        claim=_claim(marked),
    )


def _driver(speaker: Speaker, name: str) -> str:
    driver = speaker.drivers[name]
    if driver.impedance_evidence is not Evidence.MEASURED:
        return f"{name}: not measured, its impedance is {driver.impedance_evidence} only"
    sound = (
        "its response too" if driver.has_response and driver.response_evidence is Evidence.MEASURED else "no response"
    )
    return f"{name}: impedance measured, {sound}"


def _not_original(parts: Sequence[PaperPart], marked: Network | None, built: Network | None) -> Iterator[str]:
    for part in parts:
        if part.fate is Fate.NEW:
            yield f"{part.name} is new: {part.fitted}" + (f", marked {part.marked}" if part.marked else "")
        elif part.fate is Fate.ADDED:
            yield f"{part.name} was added: {part.fitted}"
        elif part.fate is Fate.TAKEN_OUT:
            was = part.found or part.marked
            yield f"{part.name} was taken out: {was}"
        elif part.original is False:
            why = "is not among the marked ones" if not part.marked else "is of another kind than marked"
            yield f"{part.name} {why}: {part.fitted}, put in before"
    if marked is not None and built is not None:
        # What was added or taken out is said above already.
        absent = ("is not in the found network", "is not in the original network")
        yield from (f"wiring: {said}" for said in same_wiring(marked, built) if not said.endswith(absent))


def _unsure(marked: Network | None, found: Network | None) -> Iterator[str]:
    yield "nothing in the folder tells whether the drivers are those of the maker"
    if marked is None:
        yield "the marks were not read: which old parts are the maker's is not known"
    if found is None:
        yield "the old parts were not measured"
    elif marked is not None and is_copy(found, marked):
        yield "found and marked agree to the last digit: nothing shows that the old parts were measured"


def _labels(speaker: Speaker, parts: Sequence[PaperPart]) -> Iterator[BagLabel]:
    """For what was taken out of the old board."""
    for part in parts:
        if part.fate not in (Fate.NEW, Fate.TAKEN_OUT):
            continue
        told = [f"marked {part.marked}" if part.marked else "marks not read"]
        told.append(
            f"read {part.found}" + (f" ({change_words(part)})" if part.drift else "") if part.found else "not read"
        )
        told.append(f"replaced by {part.fitted}" if part.fate is Fate.NEW else "not replaced")
        yield BagLabel(
            part.name, f"{part.name}, {speaker.title}: {'; '.join(told)}. Date: ______. Belongs to this speaker: keep."
        )


def _uncertainty(
    speaker: Speaker, parts: Sequence[PaperPart], found: Network | None, fitted: Network | None, names: Sequence[str]
) -> Iterator[str]:
    by_evidence: dict[str, list[str]] = {}
    for part in parts:
        if part.evidence:
            by_evidence.setdefault(part.evidence, []).append(part.name)
    for kind, some in by_evidence.items():
        yield f"values found of {and_words(some)}: {kind}"
    yield METER_WORDS
    wet = [
        p.name
        for p in (() if found is None else found.capacitors)
        if kind_of(p) is PartKind.ELECTROLYTIC and not p.losses_at_hz
    ]
    if wet:
        yield f"{and_words(wet)}: {METER}"
    if fitted is not None:
        new = [p for p in parts if p.fate in (Fate.NEW, Fate.ADDED)]
        stated = [f"{p.name} {p.tolerance}" for p in new if p.tolerance]
        silent = [p.name for p in new if not p.tolerance]
        if stated:
            yield f"new parts lie within their tolerance: {', '.join(stated)}"
        if silent:
            yield f"{and_words(silent)}: new, no tolerance stated"
    weak = [n for n in names if speaker.drivers[n].impedance_evidence is not Evidence.MEASURED]
    if weak:
        yield f"{and_words(weak)} {is_or_are(weak)} known from datasheets: what is predicted is no better than those"


def _claim(marked: Network | None) -> str:
    if marked is None:
        return "No claim to the factory's specification is made: the marks on the parts were not read."
    others = [p.name for p in marked.parts if (p.evidence or "marked") != "marked"]
    if others:
        return (
            f"No claim to the factory's specification is made: of {and_words(others)} the marks were not read, the "
            "values given as original are not marks."
        )
    if is_ready_circuit(marked):
        return "No claim to the factory's specification is made: the original values are a ready circuit's, no marks."
    return (
        "Values are held against the marks on the parts. The factory's own specification was not at hand, so none is "
        "claimed to be met."
    )
