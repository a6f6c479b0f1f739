"""Invented speakers made from a network that meets its target exactly."""

import numpy as np

from xover.driver.model import DriverModel
from xover.files.netlist import parse_netlist
from xover.network import build_network, solve
from xover.studies.change.redesign.design import Design, openable
from xover.studies.change.redesign.goal import Goal
from xover.studies.change.redesign.wish import Weights

TEXT = """* Two-way with an L-pad, invented
L1 in w {L1} dcr=0.4
C1 w 0 {C1}
Xlow w 0 woofer
C2 in t {C2}
L2 t 0 {L2} dcr=0.3
R1 t p {R1}
R2 p 0 {R2}
Xhigh 0 p tweeter
"""
FREQUENCY = np.geomspace(20, 20_000, 96)


def linkwitz_riley_4(corner_hz):
    """Low-pass and high-pass of the fourth order: (1/(s^2 + sqrt2 s + 1))^2 and its mirror (Linkwitz 1976)."""
    s = 1j * FREQUENCY / corner_hz
    return 1 / (s * s + np.sqrt(2) * s + 1) ** 2, (s * s / (s * s + np.sqrt(2) * s + 1)) ** 2


def known_speaker(seed):
    """(design at the known values, the known values): its drivers sound such that these values are exact."""
    rng = np.random.default_rng(seed)
    corner = rng.uniform(1500, 4000)
    models = {
        "woofer": DriverModel.from_thiele_small(
            rng.uniform(5, 7), rng.uniform(40, 80), 4.0, 0.6, rng.uniform(2e-4, 8e-4)
        ),
        "tweeter": DriverModel.from_thiele_small(rng.uniform(4.5, 6.5), rng.uniform(500, 900), 2.0, 1.2, 3e-5),
    }
    scale = 2500 / corner
    values = {
        "L1": 1.2e-3 * scale * rng.uniform(0.7, 1.4),
        "C1": 6e-6 * scale * rng.uniform(0.7, 1.4),
        "C2": 5e-6 * scale * rng.uniform(0.7, 1.4),
        "L2": 0.4e-3 * scale * rng.uniform(0.7, 1.4),
        "R1": rng.uniform(1.5, 5.0),
        "R2": rng.uniform(8.0, 20.0),
    }
    network = build_network(parse_netlist(TEXT.format(**{k: repr(v) for k, v in values.items()})))
    ohm = {name: model.impedance_ohm(FREQUENCY) for name, model in models.items()}
    drive = solve(network, FREQUENCY, ohm).drive
    low, high = linkwitz_riley_4(corner)
    response = np.stack([low / drive["woofer"], high / drive["tweeter"]])
    slope = 20 * np.log10(np.abs(np.stack([low, high])))
    band = (FREQUENCY >= 200) & (FREQUENCY <= 18_000)
    goal = Goal(
        frequency_hz=FREQUENCY,
        keys=("woofer", "tweeter"),
        driver_ohm=ohm,
        response=response,
        magnitude=np.abs(response),
        shape_db=np.zeros(FREQUENCY.size),
        in_band=band,
        slope_db=np.where(band, slope, np.nan),
        off_axis=None,
        least_ohm=np.nan,
        least_epdr_ohm=np.nan,
        least_level_db=np.nan,
        most_drive_db=np.full(response.shape, np.nan),
        weights=vars(Weights()),
    )
    coils = {c.name: (c.henry, c.dcr_ohm) for c in network.coils}
    return Design(network, goal, openable(network), coils), np.array([values[n] for n in openable(network)])
