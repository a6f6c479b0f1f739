"""Run many builds through the solver, some at a time, and keep what the bands are made of."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Float
from xover.pool import each
from xover.search.builds import BuildSolver, SumRule, magnitude_db

_CHUNK: Final = 256
"""Builds solved at a time; what they need stays small."""


@dataclass(frozen=True, eq=False)
class Run:
    """All builds: levels (builds, n) of the sum and of each drive, lowest load (builds,) by channel."""

    sum_db: Float
    drive_db: dict[str, Float]
    lowest_ohm: dict[str, Float]


def run_builds(
    solver: BuildSolver,
    rule: SumRule,
    values: Mapping[str, Float],
    builds: int,
    load_known: Mapping[str, NDArray[np.bool_]],
    done: Callable[[float], None],
    jobs: int = 1,
) -> Run:
    """All builds; with several processes each takes a block of them."""
    if jobs == 1:
        return _run_block(solver, rule, load_known, done, values)
    count = 2 * (os.cpu_count() or 1) if jobs < 0 else 2 * jobs
    edges = np.linspace(0, builds, min(count, builds) + 1).astype(int)
    blocks = [{name: v[a:b] for name, v in values.items()} for a, b in pairwise(edges)]
    runs: list[Run] = []
    for run in each(partial(_run_block, solver, rule, load_known, _silent), blocks, jobs):
        runs.append(run)
        done(len(runs) / len(blocks))
    return Run(
        np.concatenate([run.sum_db for run in runs]),
        {key: np.concatenate([run.drive_db[key] for run in runs]) for key in runs[0].drive_db},
        {name: np.concatenate([run.lowest_ohm[name] for run in runs]) for name in runs[0].lowest_ohm},
    )


def _silent(_share: float) -> None:
    """Nobody to tell in another process."""


def _run_block(
    solver: BuildSolver,
    rule: SumRule,
    load_known: Mapping[str, NDArray[np.bool_]],
    done: Callable[[float], None],
    values: Mapping[str, Float],
) -> Run:
    builds = next(iter(values.values())).size
    n = solver.frequency_hz.size
    keys = [d.key for d in solver.network.drivers]
    run = Run(
        np.empty((builds, n)),
        {key: np.empty((builds, n)) for key in keys},
        {name: np.full(builds, np.nan) for name, known in load_known.items() if known.any()},
    )
    for start in range(0, builds, _CHUNK):
        rows = slice(start, start + _CHUNK)
        drive, ohm = solver.at({name: v[rows] for name, v in values.items()}, loads=True)
        run.sum_db[rows] = rule.level_db(drive)
        for key in keys:
            run.drive_db[key][rows] = magnitude_db(drive[key])
        for name, lowest in run.lowest_ohm.items():
            lowest[rows] = np.sqrt((ohm[name].real ** 2 + ohm[name].imag ** 2)[:, load_known[name]].min(axis=1))
        done(min(1.0, rows.stop / builds))
    return run


def sum_levels(
    solver: BuildSolver, rule: SumRule, values: Mapping[str, Float], builds: int, done: Callable[[float], None]
) -> Float:
    """(builds, n) level of the sum alone."""
    level = np.empty((builds, solver.frequency_hz.size))
    for start in range(0, builds, _CHUNK):
        rows = slice(start, start + _CHUNK)
        level[rows] = rule.level_db(solver.at({name: v[rows] for name, v in values.items()}, loads=False)[0])
        done(min(1.0, rows.stop / builds))
    return level
