"""Which drive of one network is which of another: by key, by driver where its cards are fed alike, else by card.

A driver that stands once in one network and twice in the other has another key in each.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from xover.curve import Complex
from xover.network import DriverCard, Network
from xover.rules.likeness import SAME_DRIVE
from xover.sound.change import near_highest

Drives = Mapping[str, Complex]


@dataclass(frozen=True)
class NotCompared:
    """A driver whose cards in two networks could not all be paired: the keys of its cards in each, and of the lone."""

    driver: str
    first: tuple[str, ...]
    other: tuple[str, ...]
    lone: tuple[str, ...]

    def told(self, first: str, other: str) -> str:
        """Why, for two networks of these names."""
        for has, lacks, cards in ((first, other, self.other), (other, first, self.first)):
            if not cards:
                return f"{self.driver} is in '{has}' and not in '{lacks}': its drive cannot be compared"
        counts = f"{len(self.first)} in '{first}', {len(self.other)} in '{other}'"
        return f"{self.driver} has several cards ({counts}) that are fed unlike: {', '.join(self.lone)} not compared"


def drives_like(first: Network, drive: Drives, other: Network, there: Drives) -> dict[str, Complex]:
    """Drives of another network under the keys of the first; those that cannot be compared are left out.

    Parameters
    ----------
    drive, there : (n,) or (k, n) by the keys of each.
    """
    return {a.key: there[b.key] for a, b in paired_cards(first, drive, other, there)}


def paired_cards(
    first: Network, drive: Drives, other: Network, there: Drives
) -> Iterator[tuple[DriverCard, DriverCard]]:
    """Cards of two networks that belong together, in the order of the first's."""
    for driver in first.driver_names:
        ours, theirs = _cards(first, driver), _cards(other, driver)
        if {c.key for c in ours} != {c.key for c in theirs} and _fed_alike(ours, drive) and _fed_alike(theirs, there):
            yield from ((card, theirs[0]) for card in ours)
            continue
        named = {c.name.lower(): c for c in theirs} | {c.key: c for c in theirs}
        for card in ours:
            same = named.get(card.key) or named.get(card.name.lower())
            if same is not None:
                yield card, same


def not_compared(first: Network, drive: Drives, other: Network, there: Drives) -> tuple[NotCompared, ...]:
    """The drivers of which a card has no like in the other network."""
    paired = {id(card) for pair in paired_cards(first, drive, other, there) for card in pair}
    out = []
    for driver in dict.fromkeys((*first.driver_names, *other.driver_names)):
        ours, theirs = _cards(first, driver), _cards(other, driver)
        # Where all are fed alike, one of them stands for the others.
        told = ours if _fed_alike(ours, drive) and _fed_alike(theirs, there) else [*ours, *theirs]
        lone = tuple(c.key for c in told if id(c) not in paired)
        if lone or not (ours and theirs):
            out.append(NotCompared(driver, tuple(c.key for c in ours), tuple(c.key for c in theirs), lone))
    return tuple(out)


def _cards(network: Network, driver: str) -> list[DriverCard]:
    return [c for c in network.drivers if c.driver == driver]


def _fed_alike(cards: Sequence[DriverCard], drive: Drives) -> bool:
    """Whether all cards of a driver have one drive where it counts; False without any."""
    if not cards:
        return False
    drives = [np.atleast_2d(drive[c.key])[0] for c in cards]
    rows = near_highest(*drives) & np.isfinite(drives).all(axis=0)
    one = drives[0][rows]
    return all(bool(np.all(np.abs(own[rows] - one) <= SAME_DRIVE * np.abs(one))) for own in drives)
