"""All networks by the same readings, on a finer grid than the search's."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from xover.acoustic.crossover import read_crossovers
from xover.curve import Float, log_grid
from xover.network import DriverCard, Network
from xover.rules.margins import YIELD_SHARE
from xover.sound.deviation import sum_deviation
from xover.sound.load import channel_load
from xover.sound.meeting import shallowest_null_db
from xover.sound.prediction import sound_of_network
from xover.sound.sums import sum_level_db
from xover.speaker import Speaker
from xover.studies.change.redesign.goal import Goal, score
from xover.studies.change.redesign.prepare import CORNER_STEPS, prepare_goal
from xover.studies.change.redesign.result import Judged
from xover.studies.change.redesign.shelf import Answer
from xover.studies.change.redesign.wish import Wish

PER_OCTAVE: Final = 48
"""As the commands that predict have it, so that a network has one figure everywhere."""


class Judge:
    """All networks by the same readings, on a finer grid than the search."""

    def __init__(
        self, speaker: Speaker, reference: Network, wish: Wish, corners: tuple[float, ...] | None, f: Float
    ) -> None:
        self.speaker, self.reference, self.wish = speaker, reference, wish
        self.frequency_hz = log_grid(float(f[0]), float(f[-1]), PER_OCTAVE)
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
        goal, f = goals[0], self.frequency_hz
        sound = sound_of_network(self.speaker, network, f)
        drive = np.stack([sound.solution.drive[key] for key in goal.keys])[None]
        channel = network.channels[0].name
        level = sum_level_db(self.speaker, network, sound.solution)
        shape = level - goal.shape_db if goal.response is not None else np.full(f.shape, math.nan)
        strays = sum_deviation(f, shape, self.wish.band_hz)
        load = channel_load(self.speaker, sound.solution, channel)
        return Judged(
            score=min(float(score(g, drive, sound.solution.impedance_ohm[channel][None])[0]) for g in goals),
            deviation_db=strays.half_range_db,
            rms_db=strays.rms_deviation_db,
            null_depth_db=shallowest_null_db(read_crossovers(f, sound.branches, sound.total.coherent)),
            lowest_ohm=load.minimum_ohm,
            lowest_epdr_ohm=load.lowest_epdr_ohm,
            level_db=sum_deviation(f, level, self.wish.band_hz).mean_db if goal.response is not None else math.nan,
            level_curve_db=level,
        )


def yield_limit(judge: Judge, picked: Sequence[tuple[str, Answer]]) -> float:
    """A quarter more than the smallest deviation of all proposals, and at least 1 dB."""
    deviations = [judge.judged(a.network).deviation_db for _, a in picked]
    known = [d for d in deviations if math.isfinite(d)]
    return max(1.0, YIELD_SHARE * min(known)) if known else math.nan
