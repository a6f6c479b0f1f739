"""Part by part: the value and the losses found today against those of the original."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

import numpy as np

from xover.network import Network
from xover.network.parts import Capacitor, Inductor, Part, Resistor, settings, shown_value, unit_of, value_of
from xover.parts.kinds import FACTS, PartKind, kind_of
from xover.plain import fields_of
from xover.quantity import hertz, ohms
from xover.rules.bands import LOSS_AT_HZ
from xover.rules.likeness import DCR_OHM, DCR_SHARE, LOSSY_OHM, LOSSY_RATIO
from xover.rules.margins import ROUNDING


class Verdict(StrEnum):
    """What became of a part."""

    AS_MARKED = "as marked"
    WITHIN = "within its tolerance"
    DRIFTED = "drifted"
    LOSSY = "lossy"
    DRIFTED_AND_LOSSY = "drifted and lossy"
    REPLACED = "another kind of part"
    MISSING = "not in the found network"
    ADDED = "not in the original network"
    UNKNOWN = "not measured"


@dataclass(frozen=True)
class PartCondition:
    """One part, as marked and as found.

    Attributes
    ----------
    name : as in the original network, or as found where it is not there.
    kind : of which material; kind_assumed: no card says so.
    original, found : the parts; None where one is missing, and `found` where nothing was measured.
    tolerance : of the original's card, a fraction; tolerance_assumed: it is the usual one for the kind.
    verdict : what became of it. notes : what else must be known of it, one sentence part each.
    """

    name: str
    kind: PartKind
    kind_assumed: bool
    original: Part | None = field(repr=False)
    found: Part | None = field(repr=False)
    tolerance: float | None
    tolerance_assumed: bool
    verdict: Verdict
    notes: tuple[str, ...]

    @property
    def drift(self) -> float | None:
        """Change of the value as a fraction of the original's; None where there is no such fraction."""
        if self.original is None or self.found is None or value_of(self.original) == 0:
            return None
        return value_of(self.found) / value_of(self.original) - 1.0

    @property
    def changed(self) -> bool:
        """Whether the value or a loss differs from the original; a missing or added part has changed."""
        if self.verdict is Verdict.UNKNOWN:
            return False
        if self.original is None or self.found is None:
            return True
        before, now = settings(self.original), settings(self.found)
        return before.keys() != now.keys() or any(not _same(before[key], now[key]) for key in before)

    @property
    def shown_original(self) -> str:
        """The original value as a shop prints it, or a dash."""
        return "-" if self.original is None else shown_value(self.original)

    @property
    def shown_found(self) -> str:
        """The value found as a shop prints it, or a dash."""
        return "-" if self.found is None else shown_value(self.found)

    @property
    def state(self) -> str:
        """Drift, value and verdict in words: "+24 %, 8.4 uF, drifted beyond 10 %"."""
        if self.verdict in (Verdict.MISSING, Verdict.UNKNOWN):
            return f"{self.shown_original}, {self.verdict}"
        if self.verdict is Verdict.AS_MARKED:
            return f"{self.shown_found}, {self.verdict}"
        drift = self.drift
        return ", ".join(([] if drift is None else [signed_percent(drift)]) + [self.shown_found, self._judgement])

    @property
    def _judgement(self) -> str:
        """The verdict with the figures it rests on."""
        words, tolerance = str(self.verdict), self.tolerance or 0.0
        limit = f"{100.0 * tolerance:.3g} %"
        if self.verdict is Verdict.WITHIN:
            return f"{words} of {limit}"
        if self.drift is not None and abs(self.drift) > tolerance:
            beyond = f"{Verdict.DRIFTED} beyond {limit}"
            words = {Verdict.DRIFTED: beyond, Verdict.DRIFTED_AND_LOSSY: f"{beyond} and {Verdict.LOSSY}"}.get(
                self.verdict, words
            )
        if self.verdict in (Verdict.LOSSY, Verdict.DRIFTED_AND_LOSSY) and isinstance(self.found, Capacitor):
            at = max(LOSS_AT_HZ, key=lambda hz: _ratio(*self.series_ohm(hz)))
            then, now = self.series_ohm(at)
            words += f" ({ohms(now or 0.0)} at {hertz(at)}, originally {ohms(then or 0.0)})"
        return words

    def series_ohm(self, frequency_hz: float) -> tuple[float | None, float | None]:
        """Series resistance as marked and as found: ESR of a capacitor, DCR of a coil, None of a resistor."""
        return _series(self.original, frequency_hz), _series(self.found, frequency_hz)

    def plain(self) -> dict[str, Any]:
        """SI values; null where the part is not there, or has no such loss."""
        one = self.original if self.original is not None else self.found
        out: dict[str, Any] = fields_of(self) | {
            "original": None if self.original is None else value_of(self.original),
            "found": None if self.found is None else value_of(self.found),
            "drift": self.drift,
            "unit": None if one is None else unit_of(one).unit,
            "evidence": None if self.found is None else self.found.evidence or "measured",
        }
        for name, at in zip(("esr_1khz_ohm", "esr_10khz_ohm"), LOSS_AT_HZ, strict=True):
            then, now = self.series_ohm(at) if isinstance(one, Capacitor) else (None, None)
            out[f"original_{name}"], out[f"found_{name}"] = then, now
        then, now = self.series_ohm(LOSS_AT_HZ[0]) if isinstance(one, Inductor) else (None, None)
        out["original_dcr_ohm"], out["found_dcr_ohm"] = then, now
        return out


def compare_parts(original: Network, found: Network | None) -> tuple[PartCondition, ...]:
    """Match parts by name, whatever the case, and judge each; those of the original first.

    Without a `found` network every verdict is `not measured`.
    """
    now = {} if found is None else {p.name.lower(): p for p in found.parts}
    matched = [_condition(part, now.pop(part.name.lower(), None), found is not None) for part in original.parts]
    return (*matched, *(_condition(None, part, True) for part in now.values()))


def same_wiring(original: Network, found: Network) -> tuple[str, ...]:
    """What differs between two networks beyond the values of their parts, one sentence part each; empty if nothing.

    Node names may differ as long as each stands for one node of the other network. The two ends of a part count
    alike, save those of drivers and of coupled coils.
    """
    said = [f"{name} is not in the found network" for name in _absent(original, found)]
    said += [f"{name} is not in the original network" for name in _absent(found, original)]
    if {(c.name.lower(), c.plus, c.minus) for c in original.channels} != {
        (c.name.lower(), c.plus, c.minus) for c in found.channels
    }:
        said.append("the amplifier channels are others")
    cards = {d.name.lower(): d for d in found.drivers}
    for card in original.drivers:
        other = cards.get(card.name.lower())
        if other is not None and other.driver != card.driver:
            said.append(f"{card.name} is {other.driver}, originally {card.driver}")
    coils = {c.name.lower(): {c.first.lower(), c.second.lower()} for c in found.couplings}
    for coupling in original.couplings:
        joined = coils.get(coupling.name.lower())
        if joined is not None and joined != {coupling.first.lower(), coupling.second.lower()}:
            said.append(f"{coupling.name} couples other coils")
    moved = _moved(original, found)
    if moved and not said and _renamed(original, found):
        return ()
    return (*said, *moved)


def signed_percent(fraction: float) -> str:
    """A fraction in per cent with its sign and two digits: +24 %, -3.1 %."""
    percent = 100.0 * fraction
    return f"{percent:+.0f} %" if abs(percent) >= 9.95 else f"{percent:+.1f} %"


def _condition(original: Part | None, found: Part | None, measured: bool) -> PartCondition:
    kind, assumed = _kind(original, found)
    stated = None if original is None else original.tolerance
    tolerance = None if original is None else (FACTS[kind].tolerance if stated is None else stated)
    name = original.name if original is not None else found.name if found is not None else ""
    draft = PartCondition(name, kind, assumed, original, found, tolerance, stated is None, Verdict.AS_MARKED, ())
    notes: list[str] = []
    if original is None:
        verdict = Verdict.ADDED
    elif found is None:
        verdict = Verdict.MISSING if measured else Verdict.UNKNOWN
    else:
        verdict, notes = _judge(draft, original, found)
    tolerance_assumed = stated is None and original is not None
    return PartCondition(name, kind, assumed, original, found, tolerance, tolerance_assumed, verdict, tuple(notes))


def _judge(draft: PartCondition, original: Part, found: Part) -> tuple[Verdict, list[str]]:
    notes: list[str] = []
    was, now = _stated_kind(original), _stated_kind(found)
    if was is not None and now is not None and was is not now:
        return Verdict.REPLACED, [f"{now} now, originally {was}: not the part of old"]
    if not draft.changed:
        return Verdict.AS_MARKED, []
    drift, tolerance = draft.drift, draft.tolerance or 0.0
    moved = not _same(value_of(original), value_of(found)) if drift is None else abs(drift) > tolerance + ROUNDING
    lossy = False
    if isinstance(original, Inductor) and isinstance(found, Inductor):
        more = found.dcr_ohm - original.dcr_ohm
        if abs(more) > max(DCR_SHARE * original.dcr_ohm, DCR_OHM):
            notes.append(f"DCR {ohms(found.dcr_ohm)}, originally {ohms(original.dcr_ohm)}")
            moved, lossy = moved or more < 0, more > 0
    elif isinstance(original, Capacitor) and isinstance(found, Capacitor):
        reference, said = _reference_loss(original, draft.kind)
        notes += [said] if said else []
        for at in LOSS_AT_HZ:
            then, today = _series(reference, at), _series(found, at)
            if then is not None and today is not None and today > max(LOSSY_RATIO * then, then + LOSSY_OHM):
                lossy = True
    if moved and lossy:
        return Verdict.DRIFTED_AND_LOSSY, notes
    return Verdict.DRIFTED if moved else Verdict.LOSSY if lossy else Verdict.WITHIN, notes


def _reference_loss(original: Capacitor, kind: PartKind) -> tuple[Capacitor, str]:
    """The original with the losses of a new part where its card gives none; and what must be said then."""
    usual = FACTS[kind].new_dissipation_factor
    stated = original.esr_ohm or original.dissipation_factor or original.losses_stated
    if stated or not usual:
        return original, ""
    new = Capacitor(original.name, original.a, original.b, original.farad, 0.0, usual)
    return new, (
        f"the original network gives it no loss, so all of the loss found counts as age; new, {kind} has df "
        f"{usual:g} or so (common practice)"
    )


def _kind(original: Part | None, found: Part | None) -> tuple[PartKind, bool]:
    """What the original's card says, else the found one's, else what the losses suggest."""
    parts = [p for p in (original, found) if p is not None]
    stated = next((kind for kind in map(_stated_kind, parts) if kind is not None), None)
    return (kind_of(parts[0]), True) if stated is None else (stated, False)


def _stated_kind(part: Part) -> PartKind | None:
    return kind_of(part) if part.material is not None or isinstance(part, Resistor) else None


def _series(part: Part | None, frequency_hz: float) -> float | None:
    if part is None or isinstance(part, Resistor):
        return None
    return float(part.impedance_ohm(np.array([2.0 * math.pi * frequency_hz])).real[0])


def _ratio(then: float | None, now: float | None) -> float:
    """How many times the loss it had; infinite where it had none."""
    return math.inf if not then else (now or 0.0) / then


def _same(one: float, other: float) -> bool:
    return math.isclose(one, other, rel_tol=ROUNDING, abs_tol=0.0)


def _names(network: Network) -> dict[str, str]:
    everything: Iterable[str] = (e.name for e in (*network.parts, *network.drivers, *network.couplings))
    return {name.lower(): name for name in everything}


def _absent(network: Network, other: Network) -> list[str]:
    there = _names(other)
    return [name for low, name in _names(network).items() if low not in there]


def _ends(network: Network) -> dict[str, tuple[tuple[str, str], bool]]:
    """Nodes of each element, and whether their order matters, by name in lower case."""
    coupled = {name.lower() for c in network.couplings for name in (c.first, c.second)}
    ends = {p.name.lower(): ((p.a, p.b), p.name.lower() in coupled) for p in network.parts}
    return ends | {d.name.lower(): ((d.plus, d.minus), True) for d in network.drivers}


def _moved(original: Network, found: Network) -> list[str]:
    """Elements of both networks that stand between other nodes."""
    said, names, now = [], _names(original), _ends(found)
    for low, (ends, ordered) in _ends(original).items():
        if low not in now:
            continue
        there = now[low][0]
        if there == ends or (not ordered and there == ends[::-1]):
            continue
        if there == ends[::-1]:
            said.append(f"{names[low]} is connected the other way round")
        else:
            said.append(f"{names[low]} is between {there[0]} and {there[1]}, originally {ends[0]} and {ends[1]}")
    return said


def _renamed(original: Network, found: Network) -> bool:
    """Whether one name of a node can be put for another throughout, ends in order, so that nothing has moved."""
    fixed = {n: n for n in ("0", *(n for c in original.channels for n in (c.plus, c.minus)))}
    forth, back, now = dict(fixed), dict(fixed), _ends(found)
    for low, (ends, _) in _ends(original).items():
        for node, other in zip(ends, now[low][0], strict=True):
            if forth.setdefault(node, other) != other or back.setdefault(other, node) != node:
                return False
    return True
