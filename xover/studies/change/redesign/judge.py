"""All networks by the same readings, on a finer grid than the search's, and how many builds keep a limit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from xover.acoustic.crossover import read_crossovers
from xover.curve import Float, log_grid
from xover.network import DriverCard, Network
from xover.parts.stock import Bill
from xover.rules.margins import YIELD_SHARE
from xover.search.builds import Distribution, build_solver, built_values, draw_names, part_spreads, standard_draws
from xover.sound.deviation import sum_deviation
from xover.sound.load import channel_load
from xover.sound.meeting import shallowest_null_db
from xover.sound.prediction import sound_of_network
from xover.sound.sums import sum_level_db
from xover.speaker import Speaker
from xover.studies.change.redesign.goal import Goal, read, score
from xover.studies.change.redesign.result import Judged, Proposal
from xover.studies.change.redesign.shelf import Answer
from xover.studies.change.redesign.wish import CORNER_STEPS, Wish, prepare_goal
from xover.studies.change.redesign.words import differences

PER_OCTAVE: Final = 48
"""As the commands that predict have it, so that a network has one figure everywhere."""
BUILDS: Final = 500


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

    def proposal(
        self,
        name: str,
        circuit: str,
        network: Network,
        before: Judged,
        bill: Bill,
        *,
        note: str,
        limit_db: float,
        seed: int,
        changed: Sequence[str] = (),
        turned: tuple[str, ...] = (),
        corners_hz: tuple[float, ...] = (),
        proved: bool = False,
    ) -> Proposal:
        """A network read and held against the present one, `before`; `note` is written into its netlist."""
        title = f"{self.speaker.title}: {name} ({circuit})"
        network = replace(network, title=title, notes=(note,), path=None)
        judged = self.judged(network)
        better, worse = differences(before, judged, self.wish)
        return Proposal(
            name=name,
            circuit=circuit,
            reversed=turned,
            crossover_hz=corners_hz,
            network=network,
            judged=judged,
            changed=tuple(changed),
            parts=len(network.parts),
            bill=bill,
            yield_share=yield_share(self.goals(network)[0], network, limit_db, seed),
            proved=proved,
            better=better,
            worse=worse,
        )


def yield_limit(judge: Judge, picked: Sequence[tuple[str, Answer]]) -> float:
    """A quarter more than the smallest deviation of all proposals, and at least 1 dB."""
    deviations = [judge.judged(a.network).deviation_db for _, a in picked]
    known = [d for d in deviations if math.isfinite(d)]
    return max(1.0, YIELD_SHARE * min(known)) if known else math.nan


def yield_share(goal: Goal, network: Network, limit_db: float, seed: int) -> float:
    """Share of 500 builds whose sum stays within +-limit_db of the target; NaN where the sum is not known.

    Uniform draws within the tolerance of each part's card, else that of its kind (common practice).
    """
    if not goal.has_sum or math.isnan(limit_db):
        return math.nan
    spreads = part_spreads(network)
    draws = standard_draws(np.random.default_rng(seed), BUILDS, len(draw_names(spreads)), Distribution.UNIFORM)
    every = slice(None, None, max(goal.frequency_hz.size // 100, 1))
    values = built_values(spreads, draws)
    thin = _thinned(goal, every)
    drives, loads = build_solver(network, thin.frequency_hz, thin.driver_ohm, list(values)).at(values, loads=True)
    drive = np.stack([drives[key] for key in thin.keys], axis=1)
    reading = read(thin, drive, loads[network.channels[0].name])
    return float(np.mean(reading.deviation_db <= limit_db))


def _thinned(goal: Goal, every: slice) -> Goal:
    """The goal on fewer frequencies."""
    return replace(
        goal,
        frequency_hz=goal.frequency_hz[every],
        driver_ohm={name: z[every] for name, z in goal.driver_ohm.items()},
        response=None if goal.response is None else goal.response[:, every],
        magnitude=goal.magnitude[:, every],
        shape_db=goal.shape_db[every],
        in_band=goal.in_band[every],
        slope_db=goal.slope_db[:, every],
        off_axis=None,
        most_drive_db=goal.most_drive_db[:, every],
    )
