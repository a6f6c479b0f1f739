"""Loss readings, what they are taken for, and what a constant loss angle does to the capacitance."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.errors import InputError
from xover.files.netlist import parse_netlist
from xover.network import build_network
from xover.parts.capacitor_loss import (
    LossReading,
    ReadingKind,
    assumed_loss,
    capacitance_at,
    constant_capacitance_words,
    df_from_esr,
    df_from_q,
    dispersion,
    esr_from_df,
    fall_per_decade,
    fit_readings,
    loss_angle_rad,
    single_reading,
)

ESR, DF, Q = ReadingKind.ESR, ReadingKind.DISSIPATION_FACTOR, ReadingKind.QUALITY
NEW_NON_POLAR = [LossReading(ESR, 1.7, 1000.0), LossReading(ESR, 0.28, 10_000.0)]


def test_conversions_by_hand():
    # 10 uF at 1 kHz is 15.9155 ohm: a tenth of it is a df of 0.1, Q 10, 5.7106 degrees.
    assert esr_from_df(0.1, 1000.0, 10e-6) == pytest.approx(1.59155, rel=1e-5)
    assert df_from_esr(1.59155, 1000.0, 10e-6) == pytest.approx(0.1, rel=1e-5)
    assert df_from_q(10.0) == 0.1
    assert math.isinf(df_from_q(0.0))
    assert math.degrees(loss_angle_rad(0.1)) == pytest.approx(5.7106, abs=1e-4)
    assert loss_angle_rad(1.0) == pytest.approx(math.pi / 4, rel=1e-12)


def test_two_readings_are_met_exactly():
    loss = fit_readings(4.77e-6, NEW_NON_POLAR)
    # By hand: 1/(2 pi f C) is 33.3659 and 3.33659 ohm; df = 1.42/30.0293, fixed = 1.7 - 33.3659 df.
    assert loss.dissipation_factor == pytest.approx(0.047287, abs=1e-6)
    assert loss.fixed_ohm == pytest.approx(0.12222, abs=1e-5)
    assert loss.esr_ohm([1000.0, 10_000.0]) == pytest.approx([1.7, 0.28], rel=1e-12)
    assert loss.total_df(1000.0) == pytest.approx(1.7 / 33.3659, rel=1e-5)
    assert loss.worst_ohm < 1e-12


def test_three_readings_keep_their_residual():
    # 0.1 + 1000/f would need 0.2 at 10 kHz; 0.23 is 0.03 off, and no fit of two numbers meets all three.
    readings = [LossReading(ESR, r, f) for r, f in ((10.1, 100.0), (1.1, 1000.0), (0.23, 10_000.0))]
    loss = fit_readings(10e-6, readings)
    assert 0.005 < loss.worst_ohm < 0.03
    miss = loss.esr_ohm([100.0, 1000.0, 10_000.0]) - [10.1, 1.1, 0.23]
    assert loss.worst_ohm == pytest.approx(np.abs(miss).max(), rel=1e-9)


def test_the_same_loss_in_three_spellings():
    at = 2000.0
    xc = 1 / (2 * math.pi * at * 6.8e-6)
    ohms = {kind: LossReading(kind, v, at).esr_ohm(6.8e-6) for kind, v in ((ESR, 0.08 * xc), (DF, 0.08), (Q, 12.5))}
    assert ohms[ESR] == 0.08 * xc
    assert ohms[DF] == pytest.approx(ohms[ESR], rel=1e-12)
    assert ohms[Q] == pytest.approx(ohms[ESR], rel=1e-12)


def test_one_reading_leaves_a_range():
    found = single_reading(4.7e-6, LossReading(ESR, 1.7, 1000.0))
    assert found.constant_angle_ohm == pytest.approx((1.7, 0.17))
    assert found.fixed_ohm == (1.7, 1.7)
    assert found.sentence == (
        "one reading fixes the loss at 1 kHz alone: 1.7 ohm at 1 kHz, 0.17 to 1.7 ohm at 10 kHz; "
        "read it again a decade away"
    )
    # The network takes it for constant loss angle; so does the fit.
    assert fit_readings(4.7e-6, [LossReading(ESR, 1.7, 1000.0)]).esr_ohm(10_000.0) == pytest.approx(0.17)


@pytest.mark.parametrize(
    ("readings", "text"),
    [
        (NEW_NON_POLAR, "loss=1.7@1kHz,0.28@10kHz"),
        ([LossReading(DF, 0.05, 1000.0)], "df=0.05@1kHz"),
        ([LossReading(Q, 8.0, 120.0)], "df=0.125@120Hz"),
        ([LossReading(ESR, 0.4, 1234.5)], "loss=0.4@1234.5"),
        ([LossReading(DF, 0.05, 1000.0), LossReading(DF, 0.09, 10_000.0)], None),
    ],
)
def test_the_card_gives_a_network_the_same_loss(readings, text):
    loss = fit_readings(4.7e-6, readings)
    assert text is None or loss.card_text == text
    network = build_network(parse_netlist(f"* t\nC1 in w 4.7uF {loss.card_text}\nXlow w 0 woofer\n"))
    part = network.parts[0]
    omega = 2 * np.pi * np.array([100.0, 1000.0, 20_000.0])
    assert part.impedance_ohm(omega).real == pytest.approx(loss.esr_ohm(omega / 2 / np.pi), rel=1e-5)
    assert part.impedance_ohm(omega).real.min() > 0.01


def test_an_assumed_loss_says_it_on_its_card():
    assert assumed_loss(1e-6, 0.01).card_text == "df=0.01@1kHz"
    assert assumed_loss(1e-6, 0.01).total_df(50.0) == pytest.approx(0.01)


@settings(max_examples=50)
@given(factor=st.floats(1e-4, 1.0), ratio=st.floats(0.01, 100.0))
def test_capacitance_follows_the_impedance_of_constant_phase(factor, ratio):
    """Against -1/(w Im Z) of Z = 1/(jw)^a itself, whose phase is the loss angle short of 90 degrees."""
    a = 1 - 2 * math.atan(factor) / math.pi
    s = 2j * math.pi * 1000.0 * np.array([1.0, ratio])
    z = s**-a
    assert -z.real / z.imag == pytest.approx([factor, factor], rel=1e-9)
    series = -1 / (s.imag * z.imag)
    assert capacitance_at(1000.0 * ratio, series[0], 1000.0, factor) == pytest.approx(series[1], rel=1e-12)


def test_no_loss_no_fall():
    assert capacitance_at([20.0, 20_000.0], 1e-6, 1000.0, 0.0) == pytest.approx([1e-6, 1e-6], rel=1e-15)
    assert dispersion(0.0) == 0
    assert fall_per_decade(1.0) == pytest.approx(1 - 10**-0.5, rel=1e-12)  # 45 degrees: C goes as f^-1/2
    assert "constant" in constant_capacitance_words(0.0)
    assert " 7.1 % a decade" in constant_capacitance_words(0.05)


@pytest.mark.parametrize(
    ("kind", "value", "at", "message"),
    [
        (ESR, -0.1, 1000.0, "esr = -0.1"),
        (Q, 0.0, 1000.0, "q = 0"),
        (DF, 5.0, 1000.0, "write 6 % as 0.06"),
        (ESR, math.nan, 1000.0, "esr = nan"),
        (ESR, 1.0, 0.0, "at 0 Hz"),
    ],
)
def test_bad_readings(kind, value, at, message):
    with pytest.raises(InputError, match=message):
        LossReading(kind, value, at)


def test_bad_fits():
    with pytest.raises(InputError, match="no loss reading"):
        fit_readings(1e-6, [])
    with pytest.raises(InputError, match="two loss readings are at one frequency"):
        fit_readings(1e-6, [NEW_NON_POLAR[0], NEW_NON_POLAR[0]])
    with pytest.raises(InputError, match="capacitance is 0"):
        fit_readings(0.0, NEW_NON_POLAR)
