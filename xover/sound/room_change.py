"""What a change of network does to levels read in a room, while nothing but the network changes.

Where one driver rules a band, room and microphone do alike to it before and after: the change is the ratio of its
drives. Its neighbours play at another phase in every room: with x a neighbour's drive over the ruler's and r what the
room makes of the two, the level goes with |1 + r x|, so that a change of x by dx moves it by no more than
20 lg(1 - |r dx|/(1 - |r x|)), whatever the phase of r. Where that is much, no room can be held to a prediction.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from xover.acoustic.level import points_in_bands, ratio
from xover.curve import Complex, Float
from xover.network import Network, solve
from xover.network.parts import value_of
from xover.parts.kinds import tolerance_of
from xover.rules.phone import UNKNOWN_NEIGHBOUR_DB
from xover.speaker import Speaker


@dataclass(frozen=True, eq=False)
class RoomChange:
    """One network less the other, in (b,) bands; NaN where no sweep of the driver that rules reaches.

    Attributes
    ----------
    change_db : of the drive of the driver that rules the band. beside_db : what its neighbours may do to that, +-;
        infinite where it says nothing. parts_db : what the tolerances of both networks' parts may do to it, +-, 95 %.
    """

    change_db: Float
    beside_db: Float
    parts_db: Float


def room_change(speaker: Speaker, one: Network, other: Network, centre_hz: Float) -> RoomChange:
    """Of two networks on the same drivers, the amplifier as it is, in third octaves by their centres (b,)."""
    points = points_in_bands(centre_hz, 3)
    names = tuple(dict.fromkeys([*one.driver_names, *other.driver_names]))
    voice, margin = _voices(speaker, names, points.reshape(-1))
    sound, moved = (
        _drives(speaker, n, names, points.reshape(-1)).reshape(-1, len(names), *points.shape)
        * voice.reshape(len(names), *points.shape)
        for n in (one, other)
    )
    power = np.mean(np.abs(sound) ** 2, axis=-1), np.mean(np.abs(moved) ** 2, axis=-1)
    ruler = np.argmax(np.nan_to_num(power[0][0] + power[1][0], nan=-1.0), axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        level, before = (10.0 * np.log10(np.take_along_axis(p, ruler[None, None, :], axis=1)[:, 0]) for p in power)
        spread = np.sqrt(np.sum((level - level[0]) ** 2, axis=0) + np.sum((before - before[0]) ** 2, axis=0))
        at = ruler[None, :, None]
        x, y = (side[0] / np.take_along_axis(side[0], at, axis=0) for side in (sound, moved))
        share = np.broadcast_to(margin[:, None, None], x.shape).copy()
        np.put_along_axis(share, at, 0.0, axis=0)
        step = _root(np.sum(share * np.abs(x - y), axis=0))
        step = step / (1.0 - _root(np.sum(share * np.maximum(np.abs(x), np.abs(y)), axis=0)))
        beside = np.where((step >= 0.0) & (step < 1.0), -20.0 * np.log10(1.0 - step), np.inf)
    return RoomChange(level[0] - before[0], beside, spread)


def _root(value: Float) -> Float:
    return np.asarray(np.sqrt(np.mean(value**2, axis=-1)))


def _drives(speaker: Speaker, network: Network, names: tuple[str, ...], frequency_hz: Float) -> Complex:
    """(1 + p, d, n) drive of each driver: as the network is, then each part at the end of its tolerance."""
    loose = [p for p in network.parts if value_of(p) > 0 and tolerance_of(p) > 0]
    values = {p.name: np.full(1 + len(loose), value_of(p)) for p in loose}
    for i, part in enumerate(loose, 1):
        values[part.name][i] *= 1.0 + tolerance_of(part)
    solution = solve(network, frequency_hz, speaker.impedances_ohm(network, frequency_hz), values)
    found = np.zeros((1 + len(loose), len(names), frequency_hz.size), dtype=complex)
    for card in network.drivers:
        found[:, names.index(card.driver)] += solution.drive[card.key]
    return found


def _voices(speaker: Speaker, names: tuple[str, ...], frequency_hz: Float) -> tuple[Float, Float]:
    """(d, n) how loud each driver is for one drive, and (d,) how many times louder as a neighbour it may be in a room.

    Where a response does not reach, its nearest row stands; a driver without one is as loud as the others.
    """
    found = {}
    for name in names:
        size = np.abs(speaker.drivers[name].pressure(frequency_hz))
        known = np.isfinite(size)
        if known.any():
            found[name] = np.interp(frequency_hz, frequency_hz[known], size[known])
    usual = float(np.median(np.concatenate(list(found.values())))) if found else 1.0
    unsure = 1.0 if len(found) == len(names) else ratio(UNKNOWN_NEIGHBOUR_DB)
    return np.stack([found.get(n, np.full(frequency_hz.shape, usual)) for n in names]), np.full(len(names), unsure)
