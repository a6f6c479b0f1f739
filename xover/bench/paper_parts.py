"""Part by part: as marked, as found, as fitted, and whether it is still the part that the maker put in."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from xover.bench.missing import is_copy, is_ready_circuit
from xover.errors import OptionError
from xover.network import Capacitor, Inductor, Network, Part
from xover.network.cards import percent
from xover.network.parts import settings, shown_value, value_of
from xover.parts.kinds import kind_of
from xover.quantity import hertz, ohms
from xover.rules.bands import LOSS_AT_HZ
from xover.rules.margins import ROUNDING
from xover.studies.aged.condition.parts import signed_percent


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
    drift : found over marked less one, fitted_change : fitted over marked less one; None where either is not known.
    evidence : what the value found rests on; "" where nothing was found. tolerance : as its card says, or "".
    """

    name: str
    marked: str
    found: str
    fitted: str
    fate: Fate
    original: bool | None
    drift: float | None
    fitted_change: float | None
    evidence: str
    tolerance: str


def paper_parts(
    marked: Network | None, found: Network | None, fitted: Network | None, kept: Collection[str] | None
) -> tuple[PaperPart, ...]:
    """All parts of the three networks, matched by name whatever the case; old ones first.

    Parameters
    ----------
    fitted : None: nothing was changed.
    kept : names of old parts that stay. None: those that `fitted` has with the value and losses of the old part.

    Raises
    ------
    OptionError : `kept` names no part.
    """
    old = found if found is not None else marked
    built = fitted if fitted is not None else old
    if kept is not None:
        for name in kept:
            _one_of(name, [n for n in (marked, found, fitted) if n is not None])
    wanted = None if kept is None else {name.lower() for name in kept}
    copied = found is not None and marked is not None and is_copy(found, marked)
    silent = "not known" if copied else "measured"
    told = marked is not None and not is_ready_circuit(marked)
    names: dict[str, str] = {}
    for network in (marked, found, fitted):
        for part in () if network is None else network.parts:
            names.setdefault(part.name.lower(), part.name)
    return tuple(
        _paper_part(name, _get(marked, low), _get(found, low), _get(built, low), _get(old, low), wanted, silent, told)
        for low, name in names.items()
    )


def part_words(part: Part | None, losses: bool = False) -> str:
    """Value, kind and rating: "8.4 uF, electrolytic, 50 V"; on request also "2.1 ohm at 1 kHz", which no mark tells."""
    return "" if part is None else ", ".join(_words(part, losses))


def _words(part: Part, losses: bool) -> Iterator[str]:
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
    kept: set[str] | None,
    silent: str,
    told: bool,
) -> PaperPart:
    fate = _fate(name, built, old, kept)
    return PaperPart(
        name=name,
        marked=part_words(marked),
        found=part_words(found, losses=True),
        fitted=part_words(built),
        fate=fate,
        original=None if not told and fate is Fate.KEPT else fate is Fate.KEPT and _same_kind(marked, old),
        drift=_change(marked, found),
        fitted_change=_change(marked, built),
        evidence="" if found is None else (found.evidence or silent),
        tolerance="" if built is None or built.tolerance is None else percent(built.tolerance),
    )


def _fate(name: str, built: Part | None, old: Part | None, kept: set[str] | None) -> Fate:
    if built is None:
        return Fate.TAKEN_OUT
    if old is None:
        return Fate.ADDED
    stays = name.lower() in kept if kept is not None else _same(built, old)
    return Fate.KEPT if stays else Fate.NEW


def _same(one: Part, other: Part) -> bool:
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


def _one_of(name: str, networks: list[Network]) -> None:
    """Raise OptionError where no network has the part."""
    if not any(p.name.lower() == name.lower() for n in networks for p in n.parts):
        known = dict.fromkeys(p.name for n in networks for p in n.parts)
        raise OptionError(f"no network has a part {name[:40]} to keep", "name one of " + ", ".join(known))


def change_words(part: PaperPart) -> str:
    """Found against marked in words, or ""."""
    return "" if part.drift is None else signed_percent(part.drift)
