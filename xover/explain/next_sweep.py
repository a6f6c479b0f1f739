"""Which further sweep would settle most: worked out from what it is expected to show, before anybody measures."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from xover.curve import Complex, Float
from xover.errors import NoSolutionError, OptionError
from xover.explain.estimate import Fit
from xover.explain.identify import covariance
from xover.explain.model import SweepModel, network_for
from xover.explain.problem import Problem, SweepRows
from xover.explain.starts import thinned
from xover.explain.sweeps import Where
from xover.plain import fields_of

# Rows in an octave that the expectation is worked out on.
_ROWS: Final = 12
# A sweep that leaves more than this share of the widest interval is not worth the trouble.
HELPS: Final = 0.8
_CHUNK: Final = (Where.DISCONNECTED, Where.SHORTED, Where.RATIO)


@dataclass(frozen=True)
class NextSweep:
    """A sweep that was not made yet, and what it would do.

    Attributes
    ----------
    where : how. driver : which one.
    widest : part whose value is known worst afterwards. before, after : largest standard deviation of a part's
        logarithm, without and with the sweep.
    by_part : standard deviation of each part's logarithm afterwards.
    """

    where: Where
    driver: str
    widest: str
    before: float
    after: float
    by_part: dict[str, float]

    @property
    def helps(self) -> bool:
        """Whether it narrows the widest interval noticeably."""
        return self.after < HELPS * self.before

    def plain(self) -> dict[str, Any]:
        """Without the single parts."""
        return fields_of(self, by_part=None)


def next_sweeps(found: Fit, scale: float = 1.0) -> tuple[NextSweep, ...]:
    """Sweeps with a driver unplugged or shorted, or of the voltage at it; those that narrow most come first.

    Each is taken to have the rows and the noise of the first sweep; that its drivers' noise is shared with the sweeps
    at hand is left out.
    """
    problem = thinned(found.problem, _ROWS)
    precision = np.linalg.inv(covariance(found, scale))
    places = {u.part: i for i, u in enumerate(problem.sought) if u.is_value}
    if not places:
        return ()
    before = np.sqrt(np.diag(covariance(found, scale)))
    widest = max(before[i] for i in places.values())
    made = {(s.sweep.where, s.sweep.driver) for s in problem.sweeps}
    share = problem.sweeps[0].sweep.frequency_hz.size / found.problem.sweeps[0].sweep.frequency_hz.size
    out = []
    for card in problem.network.drivers:
        for where in _CHUNK:
            if (where, card.key) in made:
                continue
            rows = _rows(problem, where, card.key)
            told = None if rows is None else _information(problem, rows, found.at, share)
            if told is None:
                continue
            after = np.sqrt(np.diag(np.linalg.inv(precision + told / scale**2)))
            by_part = {part: float(after[i]) for part, i in places.items()}
            worst = max(by_part, key=lambda p: by_part[p])
            out.append(NextSweep(where, card.key, worst, float(widest), by_part[worst], by_part))
    return tuple(sorted(out, key=lambda s: s.after))


def _rows(problem: Problem, where: Where, driver: str) -> SweepRows | None:
    """The first sweep's rows, as that sweep would have them."""
    first = problem.sweeps[0]
    try:
        network = network_for(problem.network, where, driver)
    except OptionError:
        return None
    if set(network.driver_names) - set(first.model.drivers_ohm):
        return None
    card = problem.network.driver_card(driver)
    model = SweepModel(
        network,
        problem.channel,
        card.key if where is Where.RATIO else "",
        first.sweep.frequency_hz,
        {name: z for name, z in first.model.drivers_ohm.items() if name in network.driver_names},
    )
    # A ratio has a gain of its own, which is left out: its slope is taken to carry the rest.
    gain = -1 if where is Where.RATIO else first.gain
    return replace(
        first,
        sweep=replace(first.sweep, where=where, driver=driver),
        model=model,
        gain=gain,
        has_lead=where is not Where.RATIO,
    )


def _information(problem: Problem, rows: SweepRows, at: Float, share: float) -> Float | None:
    """(p, p) what the sweep would tell; None where the network has no solution in it."""
    try:
        expected = replace(problem, sweeps=(rows,)).residual(at)
    except (NoSolutionError, OptionError):
        return None
    slopes: Complex = expected.slopes[0]
    if not np.all(np.isfinite(slopes)):
        return None
    if rows.sweep.where is Where.RATIO:
        slopes = slopes - slopes.mean(axis=0).real  # the gain of the second channel is not known
    drivers = sum(
        (np.abs(d) ** 2 * problem.driver_noise[n] ** 2 for n, d in expected.shares[0].items()), np.zeros(len(slopes))
    )
    noise = rows.sweep.noise
    own = share * (noise.magnitude**2 + drivers)
    told = slopes.real.T @ (slopes.real / own[:, None])
    if rows.sweep.curve.has_phase:
        own = share * (noise.phase_rad**2 + drivers)
        told = told + slopes.imag.T @ (slopes.imag / own[:, None])
    return np.asarray(told)
