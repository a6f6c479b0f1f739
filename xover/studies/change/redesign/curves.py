"""Load and drivers' own sound of the present network and of each proposal, to be drawn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from xover.curve import Float
from xover.network import Network, solve
from xover.readable import Readable
from xover.sound.prediction import make_branches
from xover.speaker import Speaker
from xover.studies.change.redesign.result import RedesignStudy


@dataclass(frozen=True, eq=False, repr=False)
class NetworkCurves(Readable):
    """One network on the frequencies of the study.

    Attributes
    ----------
    name : of the proposal, or of the present network.
    load_ohm : (n,) modulus. driver_level_db : (n,) by key, each driver's own sound.
    """

    name: str
    load_ohm: Float
    driver_level_db: Mapping[str, Float]


def redesign_curves(study: RedesignStudy, speaker: Speaker) -> tuple[NetworkCurves, ...]:
    """The present network first, then the proposals in their order.

    Parameters
    ----------
    speaker : the one that the study was made of.
    """
    networks = [(study.present, speaker.network(study.present))]
    networks += [(p.name, p.network) for p in study.proposals]
    return tuple(_curves(name, network, speaker, study.frequency_hz) for name, network in networks)


def _curves(name: str, network: Network, speaker: Speaker, frequency_hz: Float) -> NetworkCurves:
    solution = solve(network, frequency_hz, speaker.impedances_ohm(network, frequency_hz))
    known, _ = speaker.timing_is_known(network)
    branches = make_branches(speaker, network, solution, known)
    load = np.abs(solution.impedance_ohm[network.channels[0].name])
    return NetworkCurves(name, load, {b.key: b.level_db for b in branches})
