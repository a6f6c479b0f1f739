"""The programme signal against IEC 60268-1:1985, clause 7: table II, its split, and the filter of figure 2.

Table II was read off a copy of the standard's page. The split and the filter's response were computed from it apart
from this project, the response by a general circuit simulator too.
"""

import math
from itertools import pairwise

import numpy as np
import pytest

from xover.amplifier.programme import (
    Spectrum,
    band_shares,
    band_weights,
    power_below,
    programme_weights,
    share_outside,
    third_octave_edges,
)
from xover.curve import log_grid
from xover.files.netlist import parse_netlist
from xover.network import build_network, solve

# Nominal Hz, relative level dB, tolerance dB.
TABLE_II = [
    *((20, -13.5, 3), (25, -10.2, 2), (31.5, -7.4, 1), (40, -5.2, 1), (50, -3.5, 1), (63, -2.3, 1), (80, -1.4, 1)),
    *((100, -0.9, 0.8), (125, -0.5, 0.6), (160, -0.2, 0.5), (200, -0.1, 0.5), (250, 0.0, 0.5), (315, 0.0, 0.5)),
    *((400, 0.0, 0.5), (500, 0.0, 0.5), (630, 0.0, 0.5), (800, 0.0, 0.5), (1000, -0.1, 0.6), (1250, -0.3, 0.7)),
    *((1600, -0.6, 0.8), (2000, -1.0, 1), (2500, -1.6, 1), (3150, -2.5, 1), (4000, -3.7, 1), (5000, -5.1, 1)),
    *((6300, -7.0, 1), (8000, -9.4, 1), (10000, -11.9, 1), (12500, -14.8, 1.5), (16000, -18.2, 2), (20000, -21.6, 3)),
]
# Split Hz, per cent of pink noise below, per cent of programme below, printed to 0.001 and 0.01.
SPLITS = [
    *((100, 23.299, 15.49), (200, 33.333, 30.75), (300, 39.203, 40.46), (500, 46.598, 52.78), (800, 53.402, 64.10)),
    *((1000, 56.632, 69.42), (1500, 62.502, 78.57), (2000, 66.667, 84.39), (2500, 69.897, 88.39)),
    *((3000, 72.536, 91.23), (3500, 74.768, 93.32), (4000, 76.701, 94.74), (5000, 79.931, 96.72)),
]
FILTER = [
    (20, -17.91052, 141.2070),
    (100, -5.30485, 45.5414),
    (500, -3.96696, -1.4284),
    (1000, -4.29043, -17.6477),
    (5000, -10.20385, -76.9198),
    (20000, -24.94461, -133.9648),
]


def noise_filter(frequency_hz):
    """(n,) response of the filter that makes the programme signal from pink noise, output over source.

    IEC 60268-1:1985 figure 2: 430 ohm, the source's own included, and 2.2 uF; 3.3 kohm beside 91 nF to ground;
    330 ohm and 2.2 uF; 3.3 kohm beside 68 nF to ground; 0.47 uF into 10 kohm. The ladder is
    worked from its end, taken as 1 V, to its source.
    """
    s = 2j * np.pi * np.asarray(frequency_hz, dtype=float)
    volts = np.ones(s.shape, dtype=complex)
    amps = volts / 10e3
    volts = volts + amps / (s * 0.47e-6)
    for shunt_f, series_ohm in ((68e-9, 330.0), (91e-9, 430.0)):
        amps = amps + volts * (1.0 / 3.3e3 + s * shunt_f)
        volts = volts + amps * (series_ohm + 1.0 / (s * 2.2e-6))
    return np.asarray(1.0 / volts, dtype=complex)


def test_bands_and_their_levels():
    edges, shares = third_octave_edges(), band_shares()
    centres = np.sqrt(edges[:-1] * edges[1:])
    assert len(TABLE_II) == len(centres) == len(shares) == 31
    # Nominal frequencies are the exact ones rounded, by up to 1 % (31.5 for 31.623, 315 for 316.23).
    np.testing.assert_allclose(centres, [row[0] for row in TABLE_II], rtol=0.011)
    assert shares.sum() == pytest.approx(1.0, rel=1e-12)
    loudest = shares.max()
    np.testing.assert_allclose(10 * np.log10(shares / loudest), [row[1] for row in TABLE_II], atol=1e-9)
    # "approximately 12.5 dB" from the 0 dB band to full range
    assert -10 * math.log10(loudest) == pytest.approx(12.5, abs=0.1)
    edges = third_octave_edges()
    assert (edges[0], edges[-1]) == (pytest.approx(17.783, abs=5e-4), pytest.approx(22387, abs=0.5))


@pytest.mark.parametrize(("split_hz", "pink", "programme"), SPLITS)
def test_split_of_the_power(split_hz, pink, programme):
    assert 100 * power_below(split_hz, Spectrum.PINK)[0] == pytest.approx(pink, abs=5.1e-4)
    assert 100 * power_below(split_hz)[0] == pytest.approx(programme, abs=5.1e-3)


@pytest.mark.parametrize(("split_hz", "pink", "programme"), SPLITS)
def test_split_of_the_weights_of_a_grid(split_hz, pink, programme):
    """Two grids that meet at the split: their weights hold what is below and above."""
    below, above = log_grid(15.0, split_hz, 6), log_grid(split_hz, 25_000.0, 6)
    for spectrum, per_cent, rounding in ((Spectrum.PINK, pink, 5.1e-4), (Spectrum.PROGRAMME, programme, 5.1e-3)):
        assert 100 * programme_weights(below, spectrum).sum() == pytest.approx(per_cent, abs=rounding)
        assert 100 * programme_weights(above, spectrum).sum() == pytest.approx(100 - per_cent, abs=rounding)
    assert share_outside(below) == pytest.approx(1 - programme / 100, abs=5.1e-5)


def test_half_of_pink_noise_lies_below_632_hz():
    assert power_below(632.456, Spectrum.PINK)[0] == pytest.approx(0.5, abs=1e-6)


def test_a_fine_grid_has_the_levels_of_the_bands():
    per_band = band_weights(log_grid(17.0, 23_000.0, 48)).sum(axis=1)
    levels = 10 * np.log10(per_band / per_band[15])  # 630 Hz, 0 dB
    np.testing.assert_allclose(levels, [row[1] for row in TABLE_II], atol=1e-9)


@pytest.mark.parametrize(("frequency_hz", "db", "degrees"), FILTER)
def test_response_of_the_filter(frequency_hz, db, degrees):
    h = noise_filter([frequency_hz])[0]
    assert 20 * math.log10(abs(h)) == pytest.approx(db, abs=5.1e-6)
    assert math.degrees(np.angle(h)) == pytest.approx(degrees, abs=5.1e-5)


def test_the_filter_is_what_the_numeric_solve_makes_of_its_parts():
    cards = [
        *("R1 in a 430", "C1 a b 2.2uF", "R2 b 0 3.3k", "C2 b 0 91nF", "R3 b c 330", "C3 c d 2.2uF"),
        *("R4 d 0 3.3k", "C4 d 0 68nF", "C5 d e 0.47uF", "Xout e 0 output"),
    ]
    network = build_network(parse_netlist("\n".join(["* IEC 60268-1:1985 figure 2", *cards])))
    f = np.geomspace(20, 20e3, 31)
    drive = solve(network, f, {"output": np.full(f.size, 10e3 + 0j)}).drive["output"]
    np.testing.assert_allclose(noise_filter(f), drive, rtol=1e-9)


def test_the_filter_makes_table_ii_out_of_pink_noise():
    """Its band levels: 630 Hz about 4 dB down; 5 kHz 1.1 dB off; within all tolerances by 0.18 dB at the best gain."""
    edges = third_octave_edges()
    levels = []
    for low, high in pairwise(edges):
        ln_f = np.linspace(math.log(low), math.log(high), 401)
        power = np.abs(noise_filter(np.exp(ln_f))) ** 2
        levels.append(10 * math.log10(np.trapezoid(power, ln_f) / (ln_f[-1] - ln_f[0])))
    assert levels[15] == pytest.approx(-4.0198, abs=1e-4)
    off = np.array(levels) - levels[15] - [row[1] for row in TABLE_II]
    assert off[24] == pytest.approx(-1.0846, abs=1e-4)
    tolerance = np.array([row[2] for row in TABLE_II])
    margin = max(np.min(tolerance - np.abs(off + gain)) for gain in np.arange(-1, 1, 0.0005))
    assert margin == pytest.approx(0.1780, abs=6e-4)
