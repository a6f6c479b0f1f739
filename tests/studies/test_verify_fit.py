"""The fit of many states: against exact Gaussian answers, with numpy alone, on models that are linear."""

import numpy as np
import pytest

from xover.explain.fault_fit import Sweep, apart, fit_states, foresee
from xover.explain.terminals import Knob, KnobKind, State

ROWS, KNOBS = 40, 4
RNG = np.random.default_rng(21)
SLOPES = RNG.normal(size=(ROWS, KNOBS)) + 1j * RNG.normal(size=(ROWS, KNOBS))
BASE = RNG.normal(size=ROWS) + 1j * RNG.normal(size=ROWS) * 0.3
SPREAD = np.array([0.3, 0.2, 0.1, 0.05])
SIGMA = 0.05 * (1 + RNG.uniform(size=ROWS))


class Linear:
    """Stands in for the terminals of a network: the logarithm is linear in the knobs."""

    knobs = tuple(Knob(f"k{i}", KnobKind.PART, (), s) for i, s in enumerate(SPREAD))

    def spreads(self, states):
        return np.array([[s.spreads.get(k.name, k.spread) for k in self.knobs] for s in states])

    def begin(self, states):
        return np.array([[s.begin.get(k.name, 0.0) for k in self.knobs] for s in states])

    def look(self, states, turned):
        shift = np.array([s.values.get("shift", 0.0) for s in states])
        log = BASE + shift[:, None] + turned @ SLOPES.T
        return log, np.broadcast_to(SLOPES, (len(states), ROWS, KNOBS))


STATES = [
    State({}, {}, {}, {}),
    State({"shift": 0.02}, {"k1": 0.0}, {}, {"k0": 0.2}),
    State({}, {"k2": 1.0, "k3": 0.0}, {}, {}),
]


def measured(has_phase):
    truth = np.array([0.2, -0.01, 0.05, 0.02])
    noise = SIGMA * (RNG.normal(size=ROWS) + 1j * RNG.normal(size=ROWS))
    # Kept inside 2 sigma, so that no miss at the optimum counts as an outlier and the answer is exactly Gaussian.
    noise = np.clip(noise.real, -2 * SIGMA, 2 * SIGMA) + 1j * np.clip(noise.imag, -2 * SIGMA, 2 * SIGMA)
    return Sweep(BASE + SLOPES @ truth + noise, SIGMA, has_phase)


def exact(sweep, state):
    """Posterior mean and standard deviation, and minus the logarithm of the marginal density: linear algebra."""
    spread = np.array([state.spreads.get(f"k{i}", s) for i, s in enumerate(SPREAD)])
    miss = sweep.log_ohm - BASE - state.values.get("shift", 0.0)
    y = np.concatenate([miss.real, miss.imag]) if sweep.has_phase else miss.real
    x = np.concatenate([SLOPES.real, SLOPES.imag]) if sweep.has_phase else SLOPES.real
    s = np.concatenate([SIGMA, SIGMA]) if sweep.has_phase else SIGMA
    covariance = np.diag(s**2) + x @ np.diag(spread**2) @ x.T
    gain = np.diag(spread**2) @ x.T @ np.linalg.inv(covariance)
    after = np.diag(spread**2) - gain @ x @ np.diag(spread**2)
    density = 0.5 * y @ np.linalg.solve(covariance, y) + 0.5 * np.linalg.slogdet(covariance)[1]
    return gain @ y, np.sqrt(np.maximum(np.diag(after), 0.0)), density


@pytest.mark.parametrize("has_phase", [True, False])
def test_best_fit_doubt_and_weight_are_those_of_linear_algebra(has_phase):
    sweep = measured(has_phase)
    fits = fit_states(Linear(), STATES, sweep)
    answers = [exact(sweep, s) for s in STATES]
    for row, (mean, deviation, _) in enumerate(answers):
        np.testing.assert_allclose(fits.turned[row], mean, rtol=1e-3, atol=1e-6)
        np.testing.assert_allclose(fits.doubt[row], deviation, rtol=1e-6, atol=1e-9)
    # Up to one constant for all states.
    ours = fits.cost - fits.cost[0]
    theirs = np.array([a[2] for a in answers]) - answers[0][2]
    np.testing.assert_allclose(ours, theirs, atol=1e-3)
    assert np.ptp(theirs) > 0.5
    assert fits.misfit[0] == pytest.approx(1.0, abs=0.25)


def test_what_is_foreseen_of_a_linear_model_is_what_comes():
    sweep = measured(True)
    fits = fit_states(Linear(), STATES, sweep)
    trials = np.stack([Linear().spreads([STATES[i]])[0] for i in (0, 2)])
    cost, turned = foresee(Linear(), STATES[0], np.array([0.19, 0.0, 0.06, 0.0]), sweep, trials)
    np.testing.assert_allclose(turned, fits.turned[[0, 2]], atol=1e-4)
    assert cost[1] - cost[0] == pytest.approx(fits.cost[2] - fits.cost[0], abs=1e-3)


def test_an_outlier_moves_nothing_far():
    sweep = measured(True)
    before = fit_states(Linear(), STATES[:1], sweep)
    log = sweep.log_ohm.copy()
    log[7] += 40 * SIGMA[7]
    after = fit_states(Linear(), STATES[:1], Sweep(log, SIGMA, True))
    assert np.all(np.abs(after.turned - before.turned) < 1.0 * before.doubt)
    assert after.residual[0] > before.residual[0]


def test_an_angle_past_half_a_turn_is_the_short_way_round():
    sweep = measured(True)
    turned = Sweep(sweep.log_ohm + 2j * np.pi * (np.arange(ROWS) % 3 - 1), SIGMA, True)
    one, other = fit_states(Linear(), STATES, sweep), fit_states(Linear(), STATES, turned)
    np.testing.assert_allclose(one.cost, other.cost, rtol=1e-12)


def test_apart_is_a_sum_of_squares_in_standard_deviations():
    one = BASE
    others = np.stack([BASE, BASE + SIGMA * (1 + 2j), BASE + 2j * np.pi])
    np.testing.assert_allclose(apart(one, others, Sweep(BASE, SIGMA, True)), [0.0, ROWS * 5.0, 0.0], atol=1e-18)
    np.testing.assert_allclose(apart(one, others, Sweep(BASE, SIGMA, False)), [0.0, ROWS, 0.0], atol=1e-18)
