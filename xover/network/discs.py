"""How far drives and loads may lie where a driver's impedance is known to a disc only.

An impedance Z + d in the place of Z adds a source d i' in series with it, i' being the current that then flows:
i' = i + A D i' over all drivers of a section, where A holds the current in one for a volt in series with another. With
one such driver, i' d = i d/(1 - a d) is a Moebius transform of d: a disc again, and the answer is exact, however
large the disc. With more of them in a section the sizes are added: |i'| <= (1 - |A| D)^-1 |i|, which holds, and is
wide where the discs are; without bound where that series does not converge.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from xover.curve import Complex, Float
from xover.network.adjoint import answers
from xover.network.network import Network
from xover.network.solve import solve


@dataclass(frozen=True, eq=False)
class Discs:
    """Drives by driver's key and loads by channel, each (n,) complex centre and (n,) radius; infinite: no bound."""

    drive: Mapping[str, tuple[Complex, Float]]
    impedance_ohm: Mapping[str, tuple[Complex, Float]]


def solve_discs(
    network: Network, frequency_hz: Float, centre_ohm: Mapping[str, Complex], radius_ohm: Mapping[str, Float]
) -> Discs:
    """Solve a network whose drivers' impedances lie in discs, by driver's name, (n,) each; a radius of 0 is exact.

    Raises as `solve`.
    """
    solution = solve(network, frequency_hz, centre_ohm)
    drive: dict[str, tuple[Complex, Float]] = {}
    nothing = np.zeros(frequency_hz.shape)
    amps = {c.name: (1.0 / solution.impedance_ohm[c.name], nothing) for c in network.channels}
    for block in solution.blocks:
        cards = [card for card in network.drivers if card.name in block.names]
        if not cards:
            continue
        names = [card.name for card in cards]
        rows = [block.names.index(name) for name in names]
        radius = np.stack([radius_ohm[card.driver] for card in cards])
        # (d, u, n): the current in u for one ampere into d.
        answer = answers(block, names)[:, rows, 0]
        ohm = np.stack([centre_ohm[card.driver] for card in cards])
        per_volt = (answer - np.eye(len(cards))[:, :, None]) / ohm[:, None, :]
        flow = np.stack([block.current(row)[:, 0] for row in rows])
        moved = _moved(per_volt, flow.sum(axis=1), radius)
        for card, weight in zip(cards, answer, strict=True):
            drive[card.key] = _added((solution.drive[card.key], nothing), weight, moved)
        for index, channel in enumerate(network.channels):
            own = flow[:, index]
            amps[channel.name] = _added(amps[channel.name], -own, _moved(per_volt, own, radius))
    loads = {name: _inverse(*disc) for name, disc in amps.items()}
    return Discs({card.key: drive[card.key] for card in network.drivers}, loads)


def relative(centre: Complex, radius: Float) -> Float:
    """(n,) radius over size; infinite where nothing bounds it, 0 where nothing can be off."""
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(radius == 0, 0.0, radius / np.abs(centre))
    return np.where(np.isnan(share) | np.isnan(centre), np.inf, share)


def _moved(per_volt: Complex, flow: Complex, radius: Float) -> tuple[Complex, Float]:
    """(u, n) centre and radius of the added sources d i'; per_volt (u, u, n), flow and radius (u, n)."""
    centre, size = np.zeros(flow.shape, dtype=complex), np.zeros(flow.shape)
    several = (radius > 0).sum(axis=0) > 1
    a = np.einsum("uun->un", per_volt)
    room = 1.0 - np.abs(a * radius) ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        inside = room > 0
        centre = np.where(inside, flow * a.conj() * radius**2 / room, 0.0)
        size = np.where(inside, np.abs(flow) * radius / room, np.inf)
    if several.any():
        at = np.flatnonzero(several)
        pull = np.abs(per_volt[:, :, at]).transpose(2, 0, 1) * radius[:, at].T[:, None, :]
        bounded = np.abs(np.linalg.eigvals(np.where(np.isfinite(pull), pull, 0.0))).max(axis=1) < 1.0
        pull[~bounded] = 0.0
        most = np.linalg.solve(np.eye(radius.shape[0]) - pull, np.abs(flow[:, at]).T[:, :, None])[:, :, 0].T
        centre[:, at], size[:, at] = 0.0, np.where(bounded, radius[:, at] * most, np.inf)
        size[:, at] = np.where(radius[:, at] > 0, size[:, at], 0.0)
    return centre, size


def _added(disc: tuple[Complex, Float], weight: Complex, moved: tuple[Complex, Float]) -> tuple[Complex, Float]:
    """A disc with (u, n) sources added, each with its (u, n) weight; what has no weight adds nothing."""
    with np.errstate(invalid="ignore"):
        spread = np.where((weight == 0) | (moved[1] == 0), 0.0, np.abs(weight) * moved[1])
    return disc[0] + (weight * moved[0]).sum(axis=0), disc[1] + spread.sum(axis=0)


def _inverse(centre: Complex, radius: Float) -> tuple[Complex, Float]:
    """1 over a disc: a disc, unless it holds zero."""
    with np.errstate(divide="ignore", invalid="ignore"):
        room = np.abs(centre) ** 2 - radius**2
        inside = room > 0
        z = np.where(inside, centre.conj() / room, np.where(centre == 0, np.inf, 1.0 / centre))
        return z, np.where(inside, radius / room, np.where(radius == 0, 0.0, np.inf))
