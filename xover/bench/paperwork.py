"""The page for the next owner: parts as marked, found and fitted, what is not original, left against right."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np

from xover.bench.dc import only_printed
from xover.curve import Evidence
from xover.figures import written
from xover.network import Capacitor, Inductor, Network, Part
from xover.network.cards import percent
from xover.network.parts import settings, shown_value, value_of
from xover.parts.kinds import PartKind, kind_of
from xover.quantity import hertz, ohms
from xover.readable import Readable
from xover.rules.bands import LOSS_AT_HZ
from xover.rules.likeness import PAIR_FS, PAIR_PARTS, PAIR_RE
from xover.rules.margins import ROUNDING
from xover.sentences import and_words, is_or_are
from xover.sound.resonance import swept_resonance_hz
from xover.speaker import Speaker, SpeakerDriver
from xover.speaker.untouched import is_copy, is_ready_circuit
from xover.studies.aged.condition.parts import same_wiring, signed_percent
from xover.studies.aged.condition.words import METER


class Fate(StrEnum):
    """What became of a part."""

    KEPT = "kept"
    NEW = "new"
    ADDED = "added"
    TAKEN_OUT = "taken out"


@dataclass(frozen=True)
class PaperPart:
    """One part.

    Attributes
    ----------
    marked, found, fitted : value, losses and kind in words; "" where the network has no such part or nobody read it.
    fate : what became of it. original : whether the maker's own part is in place; None where no marks tell.
    drift : found over marked less one; None where either is not known.
    evidence : what the value found rests on; "" where nothing was found. tolerance : as its card says, or "".
    """

    name: str
    marked: str
    found: str
    fitted: str
    fate: Fate
    original: bool | None
    drift: float | None
    evidence: str
    tolerance: str


def paper_parts(marked: Network | None, found: Network | None, fitted: Network | None) -> tuple[PaperPart, ...]:
    """All parts of the three networks, matched by name whatever the case; old ones first.

    Parameters
    ----------
    fitted : None: nothing was changed.
    """
    old = found if found is not None else marked
    built = fitted if fitted is not None else old
    copied = found is not None and marked is not None and is_copy(found, marked)
    silent = "not known" if copied else "measured"
    told = marked is not None and not is_ready_circuit(marked)
    names: dict[str, str] = {}
    for network in (marked, found, fitted):
        for part in () if network is None else network.parts:
            names.setdefault(part.name.lower(), part.name)
    return tuple(
        _paper_part(name, _get(marked, low), _get(found, low), _get(built, low), _get(old, low), silent, told)
        for low, name in names.items()
    )


def part_words(part: Part | None, losses: bool = False) -> str:
    """Value, kind and rating: "8.4 uF, electrolytic, 50 V"; on request also "2.1 ohm at 1 kHz", which no mark tells."""
    return "" if part is None else ", ".join(_told(part, losses))


def _told(part: Part, losses: bool) -> Iterator[str]:
    yield shown_value(part)
    if losses and isinstance(part, Inductor) and part.dcr_ohm:
        yield ohms(part.dcr_ohm)
    if losses and isinstance(part, Capacitor) and (part.esr_ohm or part.dissipation_factor):
        at = LOSS_AT_HZ[0]
        series = float(part.impedance_ohm(np.array([2.0 * math.pi * at])).real[0])
        yield f"{ohms(series)} at {hertz(at)}"
    if part.material:
        yield f"{part.material} core" if isinstance(part, Inductor) else part.material
    for attribute, unit in (("volts", "V"), ("watts", "W")):
        rating = getattr(part, attribute, None)
        if rating is not None:
            yield f"{rating:g} {unit}"


def _paper_part(
    name: str,
    marked: Part | None,
    found: Part | None,
    built: Part | None,
    old: Part | None,
    silent: str,
    told: bool,
) -> PaperPart:
    fate = _fate(built, old)
    return PaperPart(
        name=name,
        marked=part_words(marked),
        found=part_words(found, losses=True),
        fitted=part_words(built),
        fate=fate,
        original=None if not told and fate is Fate.KEPT else fate is Fate.KEPT and _same_kind(marked, old),
        drift=_change(marked, found),
        evidence="" if found is None else (found.evidence or silent),
        tolerance="" if built is None or built.tolerance is None else percent(built.tolerance),
    )


def _fate(built: Part | None, old: Part | None) -> Fate:
    if built is None:
        return Fate.TAKEN_OUT
    if old is None:
        return Fate.ADDED
    return Fate.KEPT if _same_part(built, old) else Fate.NEW


def _same_part(one: Part, other: Part) -> bool:
    """The same value and losses to rounding, which no part from a shop has."""
    a, b = settings(one), settings(other)
    return a.keys() == b.keys() and all(math.isclose(a[k], b[k], rel_tol=ROUNDING, abs_tol=0.0) for k in a)


def _same_kind(marked: Part | None, old: Part | None) -> bool:
    """False where both say of what kind they are and differ: somebody has changed it before."""
    if marked is None or old is None:
        return False
    return marked.material is None or old.material is None or kind_of(marked) is kind_of(old)


def _change(marked: Part | None, other: Part | None) -> float | None:
    if marked is None or other is None or type(marked) is not type(other) or value_of(marked) == 0:
        return None
    return value_of(other) / value_of(marked) - 1.0


def _get(network: Network | None, low: str) -> Part | None:
    return next((p for p in network.parts if p.name.lower() == low), None) if network is not None else None


@dataclass(frozen=True)
class PairPart:
    """One part on both sides; the other is "" where it is not there. difference : other over this less one."""

    name: str
    this: str
    other: str
    difference: float | None
    alike: bool


@dataclass(frozen=True)
class PairDriver:
    """One driver on both sides.

    Attributes
    ----------
    fs_hz : highest peak of this one's measured impedance, as mounted; NaN where there is no sweep or no peak.
    alike : None where nothing can be compared. sentence : in words.
    """

    name: str
    fs_hz: float
    alike: bool | None
    sentence: str


@dataclass(frozen=True)
class PairMatch:
    """Both speakers.

    Attributes
    ----------
    mate : its title. sentence : in words.
    """

    mate: str
    parts: tuple[PairPart, ...]
    drivers: tuple[PairDriver, ...]
    sentence: str


def pair_match(speaker: Speaker, network: Network, mate: Speaker, mate_network: Network) -> PairMatch:
    """Compare two boards part by part, and the drivers by their sweeps."""
    theirs = {p.name.lower(): p for p in mate_network.parts}
    parts = []
    for part in network.parts:
        other = theirs.pop(part.name.lower(), None)
        same = other is not None and type(other) is type(part)
        change = value_of(other) / value_of(part) - 1.0 if other is not None and same and value_of(part) else None
        alike = other is not None and same and abs(change or 0.0) <= PAIR_PARTS
        parts.append(PairPart(part.name, shown_value(part), shown_value(other) if other else "", change, alike))
    parts += [PairPart(p.name, "", shown_value(p), None, False) for p in theirs.values()]
    drivers = tuple(
        _pair_driver(name, speaker.drivers[name], mate.drivers[name])
        for name in network.driver_names
        if name in mate.drivers
    )
    return PairMatch(mate.title, tuple(parts), drivers, _pair_sentence(parts, drivers))


def _pair_sentence(parts: list[PairPart], drivers: tuple[PairDriver, ...]) -> str:
    unlike = [p for p in parts if not p.alike]
    if not unlike:
        text = f"all parts of the two boards are alike within {100 * PAIR_PARTS:g} %"
    else:
        words = and_words(
            f"{p.name} ({signed_percent(p.difference)})" if p.difference is not None else f"{p.name} (on one side only)"
            for p in unlike
        )
        text = f"more than {100 * PAIR_PARTS:g} % apart: {words}"
    odd = [d.name for d in drivers if d.alike is False]
    if odd:
        return f"{text}; {and_words(odd)} {'is' if len(odd) == 1 else 'are'} not the same on both sides by the sweeps"
    if drivers and all(d.alike for d in drivers):
        return f"{text}; the drivers are alike by their sweeps"
    return f"{text}; the drivers were not swept on both sides"


def _pair_driver(name: str, this: SpeakerDriver, other: SpeakerDriver) -> PairDriver:
    fs, re = zip(*(_figures(d) for d in (this, other)), strict=True)
    judged = [
        abs(b / a - 1.0) <= limit
        for (a, b), limit in ((fs, PAIR_FS), (re, PAIR_RE))
        if math.isfinite(a) and math.isfinite(b)
    ]
    alike = all(judged) if judged else None
    said = []
    if math.isfinite(fs[0]) and math.isfinite(fs[1]):
        said.append(
            f"resonance {written('resonance', fs[0], name)} and "
            f"{written('resonance', fs[1], f'{name} of the mate')} ({signed_percent(fs[1] / fs[0] - 1.0)})"
        )
    if math.isfinite(re[0]) and math.isfinite(re[1]):
        said.append(f"Re {ohms(re[0])} and {ohms(re[1])} ({signed_percent(re[1] / re[0] - 1.0)})")
    text = f"{name}: {', '.join(said) if said else 'not swept on both sides'}"
    if alike is not None:
        text += f", {'alike' if alike else 'not the same driver, or one of them has changed'}"
    return PairDriver(name, fs[0], alike, text)


def _figures(driver: SpeakerDriver) -> tuple[float, float]:
    """Resonance and DC resistance from what was measured; NaN where nothing was."""
    curve = driver.impedance
    if curve is None or curve.evidence is not Evidence.MEASURED:
        return math.nan, math.nan
    fs = swept_resonance_hz(curve)
    read = float(np.min(curve.value.real)) if driver.re_ohm is None or only_printed(driver) else driver.re_ohm
    return fs, read


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
    not_original : what differs from what the maker built, one sentence part each; wiring : of these, of the wiring.
    unsure : what cannot be told of that.
    match : left against right; None without a mate. labels : for the bags of the parts that were taken out.
    uncertainty : how sure the figures are. claim : what is claimed of the factory's specification, and what not.
    """

    title: str
    parts: tuple[PaperPart, ...]
    drivers: tuple[str, ...]
    not_original: tuple[str, ...]
    wiring: tuple[str, ...]
    unsure: tuple[str, ...]
    match: PairMatch | None
    labels: tuple[BagLabel, ...]
    uncertainty: tuple[str, ...]
    claim: str


def paperwork(
    speaker: Speaker,
    *,
    marked: Network | None,
    found: Network | None,
    fitted: Network | None,
    mate: Speaker | None = None,
) -> Paperwork:
    """Write the page of one speaker.

    Parameters
    ----------
    marked, found, fitted : network as marked, as measured, as rebuilt; None where there is none; nothing was changed
        where `fitted` is None.
    mate : the other speaker of the pair: as found, where both were read; else as this one is.

    Raises
    ------
    InputError : a fault in the mate's network.
    """
    parts = paper_parts(marked, found, fitted)
    old = found if found is not None else marked
    built = fitted if fitted is not None else old
    network = old if old is not None else built
    match = None
    if mate is not None and network is not None:
        match = pair_match(speaker, network, mate, mate.network(mate.default_network()))
    names = tuple(speaker.drivers) if network is None else network.driver_names
    wiring = _wiring(marked, built)
    return Paperwork(
        title=speaker.title,
        parts=parts,
        drivers=tuple(_driver(speaker, name) for name in names),
        not_original=tuple(_not_original(parts, wiring)),
        wiring=wiring,
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


def _wiring(marked: Network | None, built: Network | None) -> tuple[str, ...]:
    """What is wired otherwise, leaving out parts that only one of the two has: these are told of as parts."""
    if marked is None or built is None:
        return ()
    both = {p.name.lower() for p in marked.parts} & {p.name.lower() for p in built.parts}
    return same_wiring(_only(marked, both), _only(built, both))


def _only(network: Network, names: Collection[str]) -> Network:
    return replace(
        network,
        parts=tuple(p for p in network.parts if p.name.lower() in names),
        couplings=tuple(c for c in network.couplings if {c.first.lower(), c.second.lower()} <= {*names}),
    )


def _not_original(parts: Sequence[PaperPart], wiring: Sequence[str]) -> Iterator[str]:
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
    yield from (f"wiring: {words}" for words in wiring)


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
        drift = f" ({signed_percent(part.drift)})" if part.drift else ""
        told.append(f"read {part.found}{drift}" if part.found else "not read")
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
    for kind, source in ((Evidence.DATASHEET, "datasheets"), (Evidence.ASSUMED, "assumptions")):
        weak = [n for n in names if speaker.drivers[n].impedance_evidence is kind]
        if weak:
            yield f"{and_words(weak)} {is_or_are(weak)} known from {source}: what is predicted is no better than those"


def _claim(marked: Network | None) -> str:
    if marked is None:
        return "No claim to the factory's specification is made: the marks on the parts were not read."
    others = [p.name for p in marked.parts if p.evidence not in (None, "marked")]
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
