"""Drives and loads where a driver's impedance is known to a disc: none of its points leads outside, some reach."""

from pathlib import Path

import numpy as np
import pytest

from xover.curve import log_grid
from xover.network import solve
from xover.network.discs import solve_discs
from xover.speaker import open_speaker

EXAMPLES = Path(__file__).parents[2] / "examples"
F = log_grid(20.0, 20e3, 3)


@pytest.mark.parametrize(
    ("folder", "unknown", "share"),
    [
        ("studio-three-way", ("tweeter",), 0.02),
        ("studio-three-way", ("woofer", "mid", "tweeter"), 0.3),
        ("hall-horn-two-way", ("horn",), 0.6),
        ("attic-two-way/left", ("woofer",), 0.9),
    ],
)
def test_the_edge_of_the_disc_is_reached_and_never_passed(folder, unknown, share):
    speaker = open_speaker(EXAMPLES / folder)
    network = speaker.network("found")
    centre = speaker.impedances_ohm(network, F)
    radius = {name: share * np.abs(z) * (name in unknown) for name, z in centre.items()}
    told = solve_discs(network, F, centre, radius)
    turns = np.exp(2j * np.pi * np.arange(96) / 96)[:, None]
    found = solve(network, F, {name: z + radius[name] * turns for name, z in centre.items()})
    for key, value in (*found.drive.items(), *found.impedance_ohm.items()):
        middle, size = (told.drive | told.impedance_ohm)[key]
        off = np.abs(value - middle)
        assert np.all(off <= size + 1e-9 * np.abs(middle)), key
        if len(unknown) == 1:
            # The image of a circle is a circle round the same middle: every turn touches it.
            assert np.all(off >= size - 1e-9 * np.abs(middle)), key


def test_two_drivers_in_one_section_are_held_and_without_bound_where_their_discs_are_too_wide(tmp_path):
    from xover.files.netlist import read_netlist
    from xover.network import build_network

    (tmp_path / "n.cir").write_text("C1 in a 10uF\nL1 a 0 0.5mH\nXone a 0 one\nR1 a b 2\nXtwo b 0 two\n.end\n")
    network = build_network(read_netlist(tmp_path / "n.cir"))
    centre = {"one": 6.0 + 0.002j * F, "two": 5.0 + 0.001j * F}
    told = solve_discs(network, F, centre, {name: 0.1 * np.abs(z) for name, z in centre.items()})
    rng = np.random.default_rng(5)
    for _ in range(200):
        turned = {n: z + 0.1 * np.abs(z) * np.exp(2j * np.pi * rng.uniform(size=F.size)) for n, z in centre.items()}
        found = solve(network, F, turned)
        for key, value in (*found.drive.items(), *found.impedance_ohm.items()):
            middle, size = (told.drive | told.impedance_ohm)[key]
            assert np.all(np.isfinite(size))
            assert np.all(np.abs(value - middle) <= size * (1 + 1e-9)), key
    wide = solve_discs(network, F, centre, {name: 0.99 * np.abs(z) for name, z in centre.items()})
    assert np.isinf(wide.drive["two"][1]).any()


def test_nothing_is_off_where_every_impedance_is_known():
    speaker = open_speaker(EXAMPLES / "attic-two-way" / "left")
    network = speaker.network("found")
    centre = speaker.impedances_ohm(network, F)
    told = solve_discs(network, F, centre, {name: np.zeros(F.shape) for name in centre})
    found = solve(network, F, centre)
    for key, value in (*found.drive.items(), *found.impedance_ohm.items()):
        middle, size = (told.drive | told.impedance_ohm)[key]
        assert not size.any()
        assert middle == pytest.approx(value, rel=1e-12)
