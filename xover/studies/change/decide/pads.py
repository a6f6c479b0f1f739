"""What costs a resistor or two: a driver brought to the level of its neighbours."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product
from typing import Final

import numpy as np

from xover.acoustic.level import level_db, ratio
from xover.amplifier.stress import read_stress
from xover.curve import Float, log_grid
from xover.files.stock import StockItem
from xover.judge.levels import at_limit
from xover.network import DriverCard, Network, Resistor, find_sections, solve
from xover.parts.catalogue import Catalogue, thinned
from xover.rules.bands import JUDGED_HZ, OWN_BAND_DB
from xover.rules.margins import AS_FLAT_DB, CREST, RESISTOR_MARGIN
from xover.sound.meeting import ways
from xover.sound.prediction import sound_of_network
from xover.sound.sums import listener
from xover.speaker import Speaker

_PER_OCTAVE: Final = 24
_FACTOR: Final = 4.0
"""A resistor that is there is changed by no more than this factor."""
_PADS_DB: Final = tuple(0.5 * n for n in range(2, 25))
_SERIES_OHM: Final = (0.4, 30.0)
_MOST: Final = 24
"""Sizes of a resistor that are tried."""


@dataclass(frozen=True, eq=False)
class Pad:
    """Resistors that bring a driver's level in line.

    Attributes
    ----------
    key : of the driver. level_db : by how much it comes up, or down, where it plays.
    names : of the resistors; added : whether they are new in it. items : what is bought, by those names.
    """

    key: str
    network: Network
    level_db: float
    names: tuple[str, ...]
    added: bool
    items: tuple[tuple[str, StockItem], ...]


@dataclass(frozen=True, eq=False)
class _Frame:
    """A network with resistors open, by name, and the sizes that are tried in them."""

    network: Network
    names: tuple[str, ...]
    added: bool
    sizes: Sequence[tuple[StockItem, ...]]

    def built(self, at: int) -> Network:
        """The network with the sizes of one trial."""
        chosen = dict(zip(self.names, self.sizes[at], strict=True))
        parts = tuple(
            replace(p, ohm=chosen[p.name].value, tolerance=chosen[p.name].tolerance, watts=chosen[p.name].watts)
            if isinstance(p, Resistor) and p.name in chosen
            else p
            for p in self.network.parts
        )
        return replace(self.network, parts=parts)


def best_pad(speaker: Speaker, network: Network, catalogue: Catalogue) -> Pad | None:
    """The fewest resistors, exchanged or added, whose sum is within `AS_FLAT_DB` of the most even one.

    One or two resistors of the network to other sizes, one in series with a driver, or a pad of two that keeps what
    the network sees; upper ways only. None where the sum is not known, or nothing evens it.
    """
    f = log_grid(*JUDGED_HZ, _PER_OCTAVE)
    ohm = speaker.impedances_ohm(network, f)
    sound = sound_of_network(speaker, network, f)
    if not sound.total.coherent or len(network.channels) != 1:
        return None
    heard = listener(speaker, sound, True)

    def strays(drive: dict[str, np.ndarray]) -> Float:
        level = heard.levels_db(drive)
        known = np.isfinite(level)
        if not known.any():
            return np.full(level.shape[0], np.inf)
        highest, lowest = np.where(known, level, -np.inf).max(axis=1), np.where(known, level, np.inf).min(axis=1)
        return np.asarray(0.5 * (highest - lowest))

    found: list[tuple[float, _Frame, int]] = []
    for frame in _frames(speaker, network, catalogue):
        values = {n: np.array([s[i].value for s in frame.sizes]) for i, n in enumerate(frame.names)}
        score = strays(dict(solve(frame.network, f, ohm, values).drive))
        at = int(np.argmin(score))
        found.append((float(score[at]), frame, at))
    now = float(strays({k: v[None] for k, v in sound.solution.drive.items()})[0])
    if not found or not min(s for s, _, _ in found) < now - AS_FLAT_DB:
        return None
    best = min(score for score, _, _ in found)
    near = [
        (len(frame.names), frame.added, score, frame, at) for score, frame, at in found if score <= best + AS_FLAT_DB
    ]
    *_, frame, at = min(near, key=lambda one: one[:3])
    return _pad(speaker, network, catalogue, frame, at)


def _frames(speaker: Speaker, network: Network, catalogue: Catalogue) -> Iterator[_Frame]:
    """Every way to trim an upper way."""
    stock = catalogue.resistors()
    upper = ways(speaker, network, log_grid(*JUDGED_HZ, _PER_OCTAVE))
    low = set(upper[0].keys)
    resistors = {r.name: r for r in network.resistors if not r.is_lamp and r.ohm > 0.0}
    keys = {d.name: d.key for d in network.drivers}
    for section in find_sections(network):
        mine = [n for n in section.elements if n in resistors]
        if low & {keys[name] for name in section.drivers} or not section.reaches_driver:
            continue
        for names in (*((n,) for n in mine), *combinations(mine, 2)):
            each = [_near(stock, resistors[n].ohm, _MOST if len(names) == 1 else _MOST // 2) for n in names]
            sizes = list(product(*each))
            if sizes:
                yield _Frame(network, names, False, sizes)
    for way in upper[1:]:
        for key in way.keys:
            yield from _added(network, network.driver_card(key), stock, speaker)


def _added(network: Network, card: DriverCard, stock: Sequence[StockItem], speaker: Speaker) -> Iterator[_Frame]:
    """A resistor in series with a driver, or a pad of two in front of it."""
    low, high = _SERIES_OHM
    node, (series, shunt) = _fresh_node(network, card), _fresh_names(network)
    drivers = tuple(replace(d, plus=node) if d.name == card.name else d for d in network.drivers)
    one = Resistor(series, card.plus, node, 1.0)
    sizes = [(s,) for s in thinned([s for s in stock if low <= s.value <= high], _MOST)]
    if sizes:
        yield _Frame(replace(network, parts=(*network.parts, one), drivers=drivers), (series,), True, sizes)
    f = log_grid(*JUDGED_HZ, _PER_OCTAVE)
    z = np.abs(speaker.drivers[card.driver].impedance_ohm(f))
    if not np.isfinite(z).any() or not stock:
        return
    nominal = float(np.nanmin(z))
    k = np.array([float(ratio(d)) for d in _PADS_DB])
    # A pad that keeps what the network sees: R_s = Z (K - 1)/K in series, R_p = Z/(K - 1) across the driver.
    pads = [(_nearest(stock, nominal * (x - 1.0) / x), _nearest(stock, nominal / (x - 1.0))) for x in k]
    two = Resistor(shunt, node, card.minus, 1.0)
    yield _Frame(replace(network, parts=(*network.parts, one, two), drivers=drivers), (series, shunt), True, pads)


def _pad(speaker: Speaker, before: Network, catalogue: Catalogue, frame: _Frame, at: int) -> Pad:
    """Read what was chosen, its resistors strong enough where the list has such."""
    network = frame.built(at)
    chosen = tuple(
        _strong(speaker, network, catalogue, n, i) for n, i in zip(frame.names, frame.sizes[at], strict=True)
    )
    frame = replace(frame, sizes=[chosen])
    network = frame.built(0)
    f = log_grid(*JUDGED_HZ, _PER_OCTAVE)
    ohm = speaker.impedances_ohm(before, f)
    was, now = solve(before, f, ohm).drive, solve(network, f, ohm).drive
    moved = {}
    for key, drive in was.items():
        level = level_db(drive)
        plays = level >= np.nanmax(level) - OWN_BAND_DB
        moved[key] = float(np.nanmean((level_db(now[key]) - level)[plays]))
    key = max(moved, key=lambda k: abs(moved[k]))
    return Pad(key, network, moved[key], frame.names, frame.added, tuple(zip(frame.names, chosen, strict=True)))


def _strong(speaker: Speaker, network: Network, catalogue: Catalogue, name: str, item: StockItem) -> StockItem:
    """The cheapest of that size that stands the programme, margin included; the item itself where none does."""
    amplifier = speaker.amplifier
    if amplifier is None or amplifier.rated_power_w is None or amplifier.rated_load_ohm is None or item.watts is None:
        return item
    grid = log_grid(20.0, 20_000.0, 12)
    solution = solve(network, grid, speaker.impedances_ohm(network, grid))
    rms = at_limit(amplifier.rated_power_w, amplifier.rated_load_ohm, CREST).rms_v
    stress = read_stress(solution, {c.name: rms for c in network.channels}, CREST)
    watts = RESISTOR_MARGIN * next(e.power_w for e in stress.elements if e.name == name)
    same = [i for i in catalogue.resistors() if i.value == item.value and i.watts is not None and i.watts >= watts]
    return min(same, key=lambda i: i.price or 0.0, default=item)


def _near(stock: Sequence[StockItem], ohm: float, most: int) -> list[StockItem]:
    return thinned([s for s in stock if 1.0 / _FACTOR <= s.value / ohm <= _FACTOR], most)


def _nearest(stock: Sequence[StockItem], ohm: float) -> StockItem:
    return min((s for s in stock if s.value > 0.0), key=lambda s: abs(np.log(s.value / ohm)))


def _fresh_node(network: Network, card: DriverCard) -> str:
    taken = {n.lower() for e in (*network.parts, *network.drivers) for n in (e.a, e.b)}
    return next(n for i in range(1, 1000) if (n := f"{card.name.lower()}{i}") not in taken)


def _fresh_names(network: Network) -> tuple[str, str]:
    taken = {p.name.lower() for p in network.parts}
    free = [n for i in range(1, 1000) if (n := f"R{i}").lower() not in taken]
    return free[0], free[1]
