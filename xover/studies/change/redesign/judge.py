"""All networks by the same readings, on a finer grid than the search's."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from xover.acoustic.crossover import read_crossovers
from xover.curve import Float
from xover.network import DriverCard, Network, solve
from xover.sound.prediction import make_branches
from xover.sound.sums import sum_level_db
from xover.speaker import Speaker
from xover.studies.change.redesign.goal import Goal, read, score
from xover.studies.change.redesign.prepare import CORNER_STEPS, prepare_goal
from xover.studies.change.redesign.result import Judged
from xover.studies.change.redesign.shelf import Answer
from xover.studies.change.redesign.wish import Wish

_FINE: Final = 400


class Judge:
    """All networks by the same readings, on a finer grid than the search."""

    def __init__(
        self, speaker: Speaker, reference: Network, wish: Wish, corners: tuple[float, ...] | None, f: Float
    ) -> None:
        self.speaker, self.reference, self.wish = speaker, reference, wish
        self.frequency_hz = np.geomspace(float(f[0]), float(f[-1]), _FINE)
        free = corners is not None and wish.crossover_hz is None
        self._corners = [corners]
        if free and corners is not None:
            self._corners += [tuple(c * step for c in corners) for step in CORNER_STEPS]
        self._goals: dict[tuple[DriverCard, ...], list[Goal]] = {}
        self.goal = self.goals(reference)[0]

    def goals(self, network: Network) -> list[Goal]:
        """The goal for a network's own cards, at every corner frequency that the search may take."""
        if network.drivers not in self._goals:
            self._goals[network.drivers] = [
                prepare_goal(self.speaker, network.drivers, self.wish, self.reference, corners, self.frequency_hz)
                for corners in self._corners
            ]
        return self._goals[network.drivers]

    def judged(self, network: Network) -> Judged:
        """Read one network."""
        goals = self.goals(network)
        goal = goals[0]
        solution = solve(network, self.frequency_hz, self.speaker.impedances_ohm(network, self.frequency_hz))
        drive = np.stack([solution.drive[key] for key in goal.keys])[None]
        load = solution.impedance_ohm[network.channels[0].name][None]
        reading = read(goal, drive, load)
        known, _ = self.speaker.timing_is_known(network)
        branches = make_branches(self.speaker, network, solution, known)
        nulls = [c.null_depth_db for c in read_crossovers(self.frequency_hz, branches, known)]
        depths = [n for n in nulls if n is not None]
        return Judged(
            score=min(float(score(g, drive, load)[0]) for g in goals),
            deviation_db=float(reading.deviation_db[0]),
            rms_db=float(reading.rms_db[0]),
            null_depth_db=min(depths) if depths and len(depths) == len(nulls) else math.nan,
            lowest_ohm=float(reading.lowest_ohm[0]),
            lowest_epdr_ohm=float(reading.lowest_epdr_ohm[0]),
            level_db=float(reading.level_db[0]),
            level_curve_db=sum_level_db(self.speaker, network, solution),
        )


def yield_limit(judge: Judge, picked: Sequence[tuple[str, Answer]]) -> float:
    """A quarter more than the smallest deviation of all proposals, and at least 1 dB."""
    deviations = [judge.judged(a.network).deviation_db for _, a in picked]
    known = [d for d in deviations if math.isfinite(d)]
    return max(1.0, 1.25 * min(known)) if known else math.nan
