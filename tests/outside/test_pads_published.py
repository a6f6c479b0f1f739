"""L-pads and level controls against published tables and the general network solve."""

import numpy as np
import pytest

from xover.files.netlist import parse_netlist
from xover.network import build_network, solve
from xover.parts.pad import (
    ControlKind,
    PadResistors,
    fixed_equivalent,
    pad_load_ohm,
    pad_power,
    pad_transfer,
    textbook_pad,
)

# dB, Rs and Rp for 8 ohm, then Rs/Z and Rp/Z, per cent of the power in Rs, Rp and the driver.
# K = 10^(A/20), Rs = Z (K-1)/K, Rp = Z/(K-1) (derived).
# Published: 7.20 and 0.89 ohm for 20 dB, 3.99 ohm for 6 dB.
PADS = [
    (1, 0.8700, 65.5639, 0.10875, 8.19548, 10.87, 9.69, 79.43),
    (2, 1.6454, 30.8969, 0.20567, 3.86212, 20.57, 16.34, 63.10),
    (3, 2.3364, 19.3922, 0.29205, 2.42402, 29.21, 20.68, 50.12),
    (4, 2.9523, 13.6777, 0.36904, 1.70971, 36.90, 23.29, 39.81),
    (6, 3.9905, 8.0381, 0.49881, 1.00476, 49.88, 25.00, 25.12),
    (8, 4.8151, 5.2914, 0.60189, 0.66143, 60.19, 23.96, 15.85),
    (10, 5.4702, 3.6998, 0.68377, 0.46248, 68.38, 21.62, 10.00),
    (12, 5.9905, 2.6836, 0.74881, 0.33545, 74.88, 18.81, 6.31),
    (15, 6.5774, 1.7303, 0.82217, 0.21629, 82.22, 14.62, 3.16),
    (20, 7.2000, 0.8889, 0.90000, 0.11111, 90.00, 9.00, 1.00),
]


@pytest.mark.parametrize("row", PADS, ids=lambda row: f"{row[0]} dB")
def test_table(row):
    db, rs, rp, rs_over_z, rp_over_z, in_rs, in_rp, in_driver = row
    pad = textbook_pad(8.0, db)
    assert (pad.series_ohm, pad.parallel_ohm) == pytest.approx((rs, rp), abs=5.1e-5)
    one = textbook_pad(1.0, db)
    assert (one.series_ohm, one.parallel_ohm) == pytest.approx((rs_over_z, rp_over_z), abs=5.1e-6)
    split = pad_power(pad, np.full(3, 8.0 + 0j))
    shares = np.array([split.series, split.parallel, split.driver]) * 100
    assert shares == pytest.approx([in_rs, in_rp, in_driver], abs=0.0051)
    z = np.array([8.0 + 0j])
    assert pad_load_ohm(pad.series_ohm, pad.parallel_ohm, z) == pytest.approx(8.0, rel=1e-12)
    assert 20 * np.log10(abs(pad_transfer(pad.series_ohm, pad.parallel_ohm, z)[0])) == pytest.approx(-db, rel=1e-12)


def test_a_published_pad_that_is_wrong():
    """A page gives Rp = Z K/(K-1), 16.04 ohm for 8 ohm and 6 dB: it would show 9.328 ohm and lose 4.849 dB."""
    z, pad = np.array([8.0 + 0j]), PadResistors(3.9905, 16.0381)
    assert pad_load_ohm(pad.series_ohm, pad.parallel_ohm, z)[0].real == pytest.approx(9.328, abs=5.1e-4)
    assert -20 * np.log10(abs(pad_transfer(pad.series_ohm, pad.parallel_ohm, z)[0])) == pytest.approx(4.849, abs=5.1e-4)


@pytest.mark.parametrize(("ohm", "lost_db"), [(0.3, 0.4), (0.5, 0.7), (1.0, 1.3), (1.7, 2.2)])
def test_level_lost_to_a_series_resistance_on_6_ohm(ohm, lost_db):
    """Figures of the trade, computed from first principles and printed with one decimal."""
    assert -20 * np.log10(abs(pad_transfer(ohm, np.inf, np.array([6.0 + 0j]))[0])) == pytest.approx(lost_db, abs=0.051)


@pytest.mark.parametrize("kind", ControlKind)
def test_controls_in_the_network_solve(kind):
    """The same resistors as cards of a netlist, solved as any network: level and load."""
    f = np.geomspace(300, 20_000, 20)
    z = 5.5 + 2j * np.pi * f * 6e-5 + 9 / (1 + 2j * (f / 900 - 900 / f))
    pad = fixed_equivalent(kind, 16.0, 0.4)
    across = "" if np.isinf(pad.parallel_ohm) else f"R2 t 0 {pad.parallel_ohm!r}\n"
    cards = f"* t\nR1 in t {pad.series_ohm!r}\n{across}Xhigh t 0 tweeter\n"
    solved = solve(build_network(parse_netlist(cards)), f, {"tweeter": z})
    np.testing.assert_allclose(pad_transfer(pad.series_ohm, pad.parallel_ohm, z), solved.drive["tweeter"], rtol=1e-12)
    np.testing.assert_allclose(
        pad_load_ohm(pad.series_ohm, pad.parallel_ohm, z), solved.impedance_ohm["in"], rtol=1e-12
    )
    assert np.abs(solved.drive["tweeter"]).max() < 0.9
