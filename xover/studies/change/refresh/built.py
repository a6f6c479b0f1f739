"""What half of all builds keep to: bought parts within their tolerance, old parts as they were measured."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from xover.acoustic.level import level_db
from xover.network import Network, solve
from xover.rules.likeness import MATCH
from xover.search.builds import Distribution, PartSpread, built_values, draw_names, part_spreads, standard_draws
from xover.search.filling import Job
from xover.sound.change import difference_db
from xover.studies.change.refresh.choice import Choice

_BUILDS: Final = 200
_SEED: Final = 1
_ROWS: Final = slice(None, None, 2)
"""Of the search's grid: a drive's change is smooth, and this is told for many networks."""


@dataclass(frozen=True)
class AsBuilt:
    """Largest change of any drive that half of the builds keep to, dB; NaN where no drive is known.

    Attributes
    ----------
    as_bought_db : parts anywhere within their tolerance, each value as likely as another.
    matched_db : parts that were measured, and picked within 1 % of their value.
    """

    as_bought_db: float
    matched_db: float


def as_built(job: Job[Choice], network: Network, bought: Collection[str]) -> AsBuilt:
    """Build a network many times; `bought` names its parts that vary. The draws are always the same.

    Without a tolerance on its card a part has what is usual for its kind.
    """
    spreads = [s for s in part_spreads(network) if s.part in bought] if bought else []
    picked = [replace(s, tolerance=min(s.tolerance, MATCH)) for s in spreads]
    as_bought, matched = (_median_db(job, network, some) for some in (spreads, picked))
    return AsBuilt(as_bought, matched)


def _median_db(job: Job[Choice], network: Network, spreads: list[PartSpread]) -> float:
    draws = standard_draws(
        np.random.default_rng(_SEED), _BUILDS if spreads else 1, len(draw_names(spreads)), Distribution.UNIFORM
    )
    ohm = {name: z[_ROWS] for name, z in job.driver_ohm.items()}
    drive = solve(network, job.frequency_hz[_ROWS], ohm, built_values(spreads, draws)).drive
    worst = np.full(draws.shape[0], np.nan)
    for key, volts in drive.items():
        change = np.abs(difference_db(job.reference_db[key][_ROWS], level_db(volts)))
        worst = np.fmax(worst, np.fmax.reduce(np.atleast_2d(change), axis=1))
    return float(np.median(worst))
