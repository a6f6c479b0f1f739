"""What is predicted for a sweep, and its slopes, against differences; priors; the fit's own parts."""

import math
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.fft import dct
from scipy.stats import f as f_distribution

sys.path.insert(0, str(Path(__file__).parent))

from infer_cases import aged, circuit, formula_drivers, measured

from xover.curve import Curve, Unit, log_grid
from xover.errors import InputError, OptionError
from xover.explain.fit import fit, least_squares, search_anew
from xover.explain.problem import Jig, build_problem
from xover.explain.sweeps import SweepPlace
from xover.explain.topology import cosines, f_tail
from xover.explain.unknowns import HIDDEN_LAWS, Prior, unknowns, with_values
from xover.explain.weights import row_weights, whitener
from xover.files.netlist import parse_netlist
from xover.network import build_network, solve, value_of
from xover.network.adjoint import ParameterKind

F = log_grid(20.0, 20e3, 24)
DRIVERS = formula_drivers(F)
CURVES = {name: Curve(F, z, Unit.OHM) for name, z in DRIVERS.items()}
PAD = circuit("two-way-second-order-l-pad")
TRANSFORMER = build_network(
    parse_netlist("""* Autotransformer (invented)
C1 in h 4.7uF df=0.02@1kHz kind=paper
R1 h 0 12
L1 h p 9mH dcr=0.8 core=iron
L2 p 0 3mH dcr=0.3 core=iron
K1 L1 L2 0.995
Xlow in 0 woofer
Xhigh p 0 tweeter
""")
)


def problem(network, sweeps, prior=Prior.ANY, jig=None, channel=None, curves=CURVES):
    return build_problem(network, curves, unknowns(network, prior), sweeps, Jig() if jig is None else jig, channel)


def sweep_of(network, where=SweepPlace.TERMINALS, driver="", noise=0.01, gain=0.0, seed=1):
    return measured(network, DRIVERS, F, np.random.default_rng(seed), noise, gain, where, driver)


@pytest.mark.parametrize("network", [PAD, TRANSFORMER], ids=["pad", "coupled coils"])
@pytest.mark.parametrize(
    ("where", "driver"),
    [
        (SweepPlace.TERMINALS, ""),
        (SweepPlace.DISCONNECTED, "tweeter"),
        (SweepPlace.SHORTED, "tweeter"),
        (SweepPlace.RATIO, "tweeter"),
        (SweepPlace.RATIO, "woofer"),
    ],
)
def test_slopes_against_differences(network, where, driver):
    one = problem(network, [sweep_of(network, where, driver)], jig=Jig(scale_sd=0.01))
    at = one.centre + 0.3 * one.spread * np.random.default_rng(2).standard_normal(one.centre.size)
    at = np.maximum(at, one.floor + np.where(np.isfinite(one.floor), 1e-4, 0.0))
    slopes = one.residual(at).slopes[0]
    for column, unknown in enumerate(one.all_unknowns):
        step = 1e-5 * (1.0 if unknown.logarithmic else max(at[column], 1e-2))
        up, down = at.copy(), at.copy()
        up[column] += step
        down[column] -= step
        difference = -(one.residual(up).rows[0] - one.residual(down).rows[0]) / (2 * step)
        scale = np.abs(slopes[:, column]).max()
        assert np.abs(slopes[:, column] - difference).max() <= 2e-6 * scale + 1e-9, unknown.name


def test_share_of_the_drivers_against_differences():
    one = problem(PAD, [sweep_of(PAD)])
    shares = one.residual(one.centre).shares[0]
    for name in ("woofer", "tweeter"):
        rows = []
        for factor in (1 + 1e-6, 1 - 1e-6):
            moved = {n: Curve(F, z * (factor if n == name else 1.0), Unit.OHM) for n, z in DRIVERS.items()}
            other = problem(PAD, [sweep_of(PAD)], curves=moved)
            rows.append(other.residual(other.centre).rows[0])
        assert np.abs(shares[name] + (rows[0] - rows[1]) / 2e-6).max() < 1e-6


def test_many_candidates_are_as_one_by_one():
    one = problem(PAD, [sweep_of(PAD), sweep_of(PAD, SweepPlace.DISCONNECTED, "woofer")])
    at = one.centre + 0.2 * one.spread * np.random.default_rng(3).standard_normal((4, one.centre.size))
    at = np.maximum(at, np.where(np.isfinite(one.floor), 1e-6, -np.inf))
    many = one.residuals(at)
    for row in range(4):
        single = one.residual(at[row])
        for sweep in range(2):
            assert many.rows[sweep][row] == pytest.approx(single.rows[sweep], rel=1e-10, abs=1e-12)
            assert many.slopes[sweep][row] == pytest.approx(single.slopes[sweep], rel=1e-9, abs=1e-12)


def test_values_put_into_the_network_predict_the_same():
    for network in (PAD, TRANSFORMER):
        sought = unknowns(network)
        random = np.random.default_rng(4)
        at = np.array([u.centre + 0.3 * u.spread * random.standard_normal() for u in sought])
        at = np.array([a if u.logarithmic else abs(a) for a, u in zip(at, sought, strict=True)])
        # A network holds capacitances constant.
        at[[u.kind in HIDDEN_LAWS for u in sought]] = 0.0
        one = problem(network, [sweep_of(network)], jig=Jig(gain_sd=0.0, lead_ohm=0.0, drift_sd=0.0))
        told = one.residual(at).rows[0]
        exact = solve(with_values(network, sought, at), F, DRIVERS).impedance_ohm["in"]
        assert told == pytest.approx(one.sweeps[0].sweep.log - np.log(exact), abs=1e-10)


def test_priors_are_those_of_the_kinds_or_wider():
    usual = {u.name: u for u in unknowns(PAD, Prior.USUAL)}
    wide = {u.name: u for u in unknowns(PAD, Prior.ANY)}
    none = {u.name: u for u in unknowns(PAD, Prior.NONE)}
    # C1, electrolytic of 10 %, drift -20 to +40 %: 95 % from 0.9 x 0.8 to 1.1 x 1.4.
    assert usual["C1"].spread == pytest.approx(math.log(1.54 / 0.72) / 2 / 1.96, rel=1e-4)
    assert math.exp(usual["C1"].centre) == pytest.approx(3.9e-6 * math.sqrt(0.8 * 1.4))
    assert usual["L1"].spread == pytest.approx(math.log(1.05 / 0.95) / 2 / 1.96, rel=1e-4)
    assert {wide[n].spread for n in ("C1", "C2", "L1", "L2", "R1", "R2")} == {0.30}
    assert none["R1"].spread == 10.0
    assert usual["L1_dcr"].marked == 0.40
    assert usual["L1_dcr"].kind is ParameterKind.DCR
    for name, unknown in usual.items():
        assert unknown.spread <= wide[name].spread <= none[name].spread
        assert unknown.logarithmic == (name in ("C1", "C2", "L1", "L2", "R1", "R2"))


def test_a_link_is_no_unknown_and_loose_coupling_is_taken_as_stated():
    network = build_network(parse_netlist("* x\nR1 in a 0\nL1 a w 1mH\nL2 w 0 2mH\nK1 L1 L2 0.05\nXlow w 0 woofer\n"))
    assert [u.name for u in unknowns(network)] == ["L1", "L2", "L1_dcr", "L2_dcr"]
    # From a tenth on coils are one part: how close they are is an unknown like others.
    stacked = build_network(parse_netlist("* x\nL1 in w 1mH\nL2 w 0 2mH\nK1 L1 L2 0.2\nXlow w 0 woofer\n"))
    coupling = next(u for u in unknowns(stacked) if u.name == "K1")
    assert coupling.marked == pytest.approx(0.8)
    assert 1.0 - 0.8 * math.exp(2.0 * coupling.spread) < 0.0 < 1.0 - 0.8 * math.exp(coupling.spread)
    close = [u for u in unknowns(TRANSFORMER) if u.name == "K1"]
    assert close[0].marked == pytest.approx(0.005)


def test_covariance_of_the_cells_is_that_of_many_draws():
    """Noise of the sweep and of a driver's sweep with wider steps, drawn a thousand times."""
    coarse = log_grid(20.0, 20e3, 10)
    curves = {n: Curve(coarse, formula_drivers(coarse)[n], Unit.OHM) for n in ("woofer", "tweeter")}
    one = problem(PAD, [sweep_of(PAD, noise=0.004)], curves=curves)
    one = type(one)(**{**vars(one), "driver_noise": {"woofer": 0.01, "tweeter": 0.006}})
    found = one.residual(one.centre)
    weights = whitener(one, found.shares, [np.ones(F.size)])
    rows, random = one.sweeps[0], np.random.default_rng(5)
    noise = rows.sweep.noise
    drawn = []
    for _ in range(1500):
        pair = random.standard_normal((2, F.size))
        error = noise.magnitude * pair[0] + 1j * noise.phase_rad * pair[1]
        for name, sigma in one.driver_noise.items():
            left, upper = rows.rests_on[name]
            pair = random.standard_normal((2, coarse.size))
            own = sigma * (pair[0] + 1j * pair[1])
            error = error + found.shares[0][name] * ((1 - upper) * own[left] + upper * own[left + 1])
        drawn.append(weights.whitened(one, [error]))
    drawn = np.array(drawn)
    assert drawn.var() == pytest.approx(1.0, rel=0.01)
    neighbours = [np.mean(drawn[:, k] * drawn[:, k + 1]) for k in range(0, drawn.shape[1] - 1)]
    # Octaves are whitened apart: a correlation is left at their ends alone.
    assert np.median(np.abs(neighbours)) < 0.04
    sums = drawn.reshape(1500, -1)[:, : drawn.shape[1] // 2].sum(axis=1)
    assert sums.var() / (drawn.shape[1] // 2) == pytest.approx(1.0, rel=0.15)


def test_rows_that_stand_apart_lose_weight_and_a_smooth_misfit_does_not():
    sweep = sweep_of(PAD, noise=0.005, seed=6)
    value = sweep.curve.value.copy()
    hum = [int(np.argmin(np.abs(F - hz))) for hz in (50, 100, 150)]
    value[hum] *= 1.2
    one = problem(PAD, [type(sweep)(sweep.where, "", Curve(F, value, Unit.OHM), sweep.noise)])
    # Far from the truth, so that the residual is large and smooth.
    off = one.centre + np.where(np.arange(one.centre.size) < len(one.sought), 0.2, 0.0)
    weight = row_weights(one, one.residual(off))[0]
    assert np.all(weight[hum] < 0.05)
    others = np.delete(weight, hum)
    assert np.mean(others == 1.0) > 0.97


def test_fit_finds_what_was_put_in():
    true = aged(PAD, np.random.default_rng(7))
    found = fit(problem(PAD, [sweep_of(true, noise=0.0)], jig=Jig(drift_sd=0.0)))
    truth = {u.name: u.marked for u in unknowns(true)}
    for unknown, at, deviation in zip(found.problem.sought, found.at, found.deviation, strict=False):
        wanted = math.log(truth[unknown.name]) if unknown.logarithmic else truth[unknown.name]
        assert abs(at - wanted) < 2.5 * deviation
        if unknown.is_value:
            assert at == pytest.approx(wanted, abs=0.03)
            assert deviation < 0.03


def test_two_capacitors_that_traded_places_are_put_right():
    """Without a prior a fit that begins with C1 and C2 exchanged ends far off; what starts anew from it does not."""
    drawn = circuit("two-way-third-order")
    true = aged(drawn, np.random.default_rng(3))
    one = problem(drawn, [sweep_of(true, noise=0.002)], Prior.NONE)
    place = {u.name: i for i, u in enumerate(one.sought)}
    begin = one.centre.copy()
    for unknown in one.sought:
        if unknown.is_value:
            begin[place[unknown.name]] = math.log(value_of(true.part(unknown.name)))
    right = fit(one, begin)
    both = [place["C1"], place["C2"]]
    begin[both] = begin[both[::-1]]
    stuck = fit(one, begin)
    assert stuck.chi_square > right.chi_square + 1000
    assert search_anew(stuck).chi_square == pytest.approx(right.chi_square, abs=1.0)
    # Where nothing is better, the answer stays.
    assert search_anew(right) is right


def test_steps_stop_at_the_floor():
    def evaluate(at):
        slope = np.array([[1.0, 1.0], [0.0, 1.0]])
        return np.array([1.0, 2.0]) - slope @ at, slope, at

    none = np.full(2, np.inf)
    free, _ = least_squares(evaluate, np.zeros(2), np.zeros(2), none, -none, 1e-20)
    assert free == pytest.approx([-1.0, 2.0], rel=1e-6)
    # With the first held at zero, the second is the mean of 1 and 2.
    held, _ = least_squares(evaluate, np.ones(2), np.zeros(2), none, np.zeros(2), 1e-20)
    assert held == pytest.approx([0.0, 1.5], rel=1e-6)


def test_upper_tail_of_f_is_scipys():
    random = np.random.default_rng(8)
    for _ in range(300):
        a, b, ratio = np.exp(random.uniform(0, 6)), np.exp(random.uniform(0, 7)), np.exp(random.standard_normal())
        wanted = f_distribution.sf(ratio, a, b)
        if wanted > 1e-250:
            assert f_tail(ratio, a, b) == pytest.approx(wanted, rel=1e-9)
    assert f_tail(0.0, 3.0, 5.0) == 1.0


def test_cosines_are_scipys():
    value = np.random.default_rng(9).standard_normal(57)
    assert cosines(value) == pytest.approx(dct(value, type=2, norm="ortho"), rel=1e-9, abs=1e-12)


def test_faults_are_told():
    with pytest.raises(OptionError, match="no channel 'lo'"):
        problem(PAD, [sweep_of(PAD)], channel="lo")
    two = build_network(parse_netlist("* x\nVlo lo 0\nVhi hi 0\nC1 hi t 5uF\nXlow lo 0 woofer\nXhigh t 0 tweeter\n"))
    with pytest.raises(OptionError, match=r"several channels.*lo, hi"):
        problem(two, [sweep_of(PAD)])
    assert problem(two, [sweep_of(PAD)], channel="hi").channel == "hi"
    # Both drivers: of one alone, rows where it hardly matters are kept.
    few, enough = ({name: Curve(F[:n], z[:n], Unit.OHM) for name, z in DRIVERS.items()} for n in (20, 30))
    with pytest.raises(InputError, match=r"has 20 rows .* too few"):
        problem(PAD, [sweep_of(PAD)], curves=CURVES | few)
    assert problem(PAD, [sweep_of(PAD)], curves=CURVES | enough).sweeps[0].sweep.frequency_hz.size == 30
    single = build_network(parse_netlist("* x\nL1 in w 1mH\nXlow w 0 woofer\n"))
    with pytest.raises(OptionError, match="no driver is left"):
        problem(single, [sweep_of(PAD, SweepPlace.DISCONNECTED, "woofer")])
