"""Stray couplings between coils as K cards, along with what the network's own K cards make of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

from xover.errors import OptionError, named
from xover.network import Network
from xover.network.parts import Coupling, Inductor

MOST_PAIRS: Final = 6


@dataclass(frozen=True)
class Couple:
    """Two coils of the network and their coupling, dots at their first nodes."""

    first: str
    second: str
    k: float

    @property
    def name(self) -> str:
        """Both coils."""
        return f"{self.first}:{self.second}"


def named_couples(given: Mapping[str, float] | Mapping[tuple[str, str], float]) -> list[Couple]:
    """Couples by the names of their coils, or by both names in one: "L1:L2". Raises OptionError."""
    out = []
    for pair, k in given.items():
        coils = [name.strip() for name in pair.split(":")] if isinstance(pair, str) else list(pair)
        if len(coils) != 2 or not all(coils):
            words = f"{named('couples')} is {str(pair)[:40]}"
            raise OptionError(words, "write two coils and their coupling, as L1:L2=0.02")
        out.append(Couple(coils[0], coils[1], k))
    return out


def open_pairs(network: Network) -> list[tuple[str, str]]:
    """All pairs of coils that no K card couples."""
    coupled = [{network.part(c.first).name, network.part(c.second).name} for c in network.couplings]
    return [(a.name, b.name) for a, b in combinations(network.coils, 2) if {a.name, b.name} not in coupled]


def checked_couples(network: Network, couples: Sequence[Couple]) -> tuple[Couple, ...]:
    """The couplings with the network's own spelling of the names. Raises OptionError."""
    if len(couples) > MOST_PAIRS:
        raise OptionError(f"{len(couples)} pairs of coils are coupled at once", f"give at most {MOST_PAIRS}")
    known = {frozenset((c.first.lower(), c.second.lower())): c.name for c in network.couplings}
    out: list[Couple] = []
    for couple in couples:
        coils = [network.part(name) for name in (couple.first, couple.second)]
        for coil in coils:
            if not isinstance(coil, Inductor):
                names = ", ".join(c.name for c in network.coils) or "none"
                raise OptionError(f"{coil.name} is not a coil", f"the network's coils are: {names}")
        one, other = (coil.name for coil in coils)
        if one == other:
            raise OptionError(f"{one} is to couple with itself", "name two coils, as L1:L2=0.02")
        pair = frozenset((one.lower(), other.lower()))
        if pair in known:
            raise OptionError(f"{one} and {other} are coupled by {known[pair]} already", "leave that pair out")
        if not 0 < abs(couple.k) <= 1:
            raise OptionError(f"{one}:{other} has a coupling of {couple.k:g}", "give one up to 1, as L1:L2=0.02")
        known[pair] = f"{one}:{other}"
        out.append(Couple(one, other, couple.k))
    return tuple(out)


@dataclass(frozen=True)
class Stray:
    """One K card to add: its name, its coils, and its k over that of the couple that it belongs to."""

    card: str
    first: str
    second: str
    couple: int
    factor: float


def _mates(network: Network, coil: str) -> dict[str, float]:
    """Coils that K cards couple to one, and the coil itself, with their k."""
    found = {network.part(coil).name: 1.0}
    for card in network.couplings:
        one, other = network.part(card.first).name, network.part(card.second).name
        if coil in (one, other):
            found[other if coil == one else one] = card.k
    return found


def stray_cards(network: Network, couples: Sequence[Couple]) -> tuple[Stray, ...]:
    """The K cards of couples. Where a K card ties coil c to coil b, coupling a to b by k reaches c by k k_bc.

    That is what a field through b alone does, and it leaves no currents of negative energy.
    """
    taken = {e.name.lower() for e in (*network.parts, *network.drivers, *network.couplings)}
    done = {frozenset((network.part(c.first).name, network.part(c.second).name)) for c in network.couplings}
    wanted = [(i, c.first, c.second, 1.0) for i, c in enumerate(couples)]
    wanted += [
        (i, one, other, k_one * k_other)
        for i, c in enumerate(couples)
        for one, k_one in _mates(network, c.first).items()
        for other, k_other in _mates(network, c.second).items()
        if (one, other) != (c.first, c.second)
    ]
    out: list[Stray] = []
    number = 1
    for couple, one, other, factor in wanted:
        pair = frozenset((one, other))
        if len(pair) == 1 or pair in done:
            continue
        while f"k{number}" in taken:
            number += 1
        done.add(pair)
        out.append(Stray(f"K{number}", one, other, couple, factor))
        number += 1
    return tuple(out)


def with_strays(network: Network, strays: Sequence[Stray], k: Sequence[float]) -> Network:
    """The network with stray couplings added; `k` of each couple."""
    cards = tuple(Coupling(s.card, s.first, s.second, k[s.couple] * s.factor) for s in strays)
    return replace(network, couplings=network.couplings + cards)
