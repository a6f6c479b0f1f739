"""The linear algebra of intervals against a certified nonlinear regression, and against scipy's covariance.

NIST StRD, nonlinear regression, Misra1a (lower difficulty): from memory, proven by the certified residual sum of
squares, which comes out to all printed digits only if every row of the data is right.
"""

import numpy as np
import pytest
from scipy.optimize import curve_fit

from xover.explain.fit import least_squares, posterior_covariance

pytestmark = pytest.mark.outside

Y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]
X = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
DATA = np.array([Y, X])
CERTIFIED = {"b1": 2.3894212918e02, "b2": 5.5015643181e-04}
CERTIFIED_SD = {"b1": 2.7070075241e00, "b2": 7.2668688436e-06}
CERTIFIED_SUM = 1.2455138894e-01
CERTIFIED_RESIDUAL_SD = 1.0187876330e-01
STARTS = ((500.0, 0.0001), (250.0, 0.0005))
NONE = np.full(2, np.inf)


def model(x, b1, b2):
    return b1 * (1 - np.exp(-b2 * x))


def evaluate(at):
    """Residuals and slopes over ln b1 and ln b2, as part values are fitted."""
    y, x = DATA
    b1, b2 = np.exp(at)
    told = model(x, b1, b2)
    return y - told, np.column_stack([told, b1 * b2 * x * np.exp(-b2 * x)]), None


def test_the_data_are_those_of_the_certificate():
    y, x = DATA
    left = y - model(x, *CERTIFIED.values())
    assert f"{left @ left:.10e}" == f"{CERTIFIED_SUM:.10e}"


@pytest.mark.parametrize("start", STARTS)
def test_parameters_and_standard_deviations(start):
    at, _ = least_squares(evaluate, np.log(start), np.zeros(2), NONE, -NONE, converged=1e-20)
    residual, slope, _ = evaluate(at)
    spread = np.sqrt(residual @ residual / 12)
    deviation = np.exp(at) * np.sqrt(np.diag(posterior_covariance(slope, NONE, spread)))
    assert residual @ residual == pytest.approx(CERTIFIED_SUM, rel=1e-9)
    assert spread == pytest.approx(CERTIFIED_RESIDUAL_SD, rel=1e-9)
    assert np.exp(at) == pytest.approx(list(CERTIFIED.values()), rel=1e-8)
    assert deviation == pytest.approx(list(CERTIFIED_SD.values()), rel=1e-7)


def test_covariance_with_a_prior_is_scipys_with_the_prior_as_two_more_rows():
    y, x = DATA
    centre, prior = np.log([240.0, 5.4e-4]), np.array([0.02, 0.01])

    def rows(_, a, b):
        return np.concatenate([model(x, np.exp(a), np.exp(b)), [a, b]])

    errors = np.concatenate([np.ones(14), prior])
    best, covariance = curve_fit(
        rows, None, np.concatenate([y, centre]), p0=centre, sigma=errors, absolute_sigma=True, xtol=1e-14, ftol=1e-14
    )
    at, _ = least_squares(evaluate, centre, centre, prior, -NONE, converged=1e-16)
    assert at == pytest.approx(best, rel=1e-6)
    assert posterior_covariance(evaluate(at)[1], prior) == pytest.approx(covariance, rel=1e-4)
