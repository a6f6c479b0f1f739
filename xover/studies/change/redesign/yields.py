"""How many builds of a proposal keep a limit, with the tolerances of the parts it is made of."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from xover.network import Network
from xover.search.builds import build_solver
from xover.search.draws import Distribution, built_values, draw_names, part_spreads, standard_draws
from xover.studies.change.redesign.goal import Goal, read

BUILDS: Final = 500


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
    from dataclasses import replace

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
