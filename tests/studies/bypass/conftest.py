"""A loudspeaker so simple that everything about it is known beforehand: 8 ohm resistors that play flat. Invented."""

import numpy as np
import pytest

import xover.studies.change.bypass.capacitor
import xover.studies.change.bypass.twin
from xover.curve import log_grid
from xover.speaker import open_speaker

F = np.geomspace(10.0, 40e3, 600)

NETWORK = "* pad on a reversed tweeter\nXlow in 0 woofer\nR1 in t 8\nXhigh 0 t tweeter\n"

TOML = """
title = "Resistors that play (invented)"
timing = "{timing}"
[amplifier]
minimum_load_ohm = {limit}
rated_power_w = 50
rated_load_ohm = 8
{more}
[listening]
level_db = 90
distance_m = 2
headroom_db = 10
[drivers.woofer]
impedance = "flat.csv"
{woofer}
diameter_mm = 130
[drivers.tweeter]
impedance = "flat.csv"
{tweeter}
diameter_mm = 25
[networks.original]
circuit = "original.cir"
[bypass]
frequency_hz = 2500
slope = "{slope}"
"""


def write_table(path, frequency_hz, value, phase_deg):
    rows = zip(frequency_hz, value, phase_deg, strict=True)
    path.write_text("Hz dB deg\n" + "".join(f"{f:.9g} {v:.9g} {p:.9g}\n" for f, v, p in rows))


@pytest.fixture(scope="session")
def make(tmp_path_factory):
    """Write such a folder and open it. `levels` None: no sound is known; `late_s`: the tweeter's delay."""

    def folder(
        network=NETWORK,
        levels=(90.0, 93.0),
        late_s=100e-6,
        limit=6,
        slope="LR4",
        timing="common",
        more="",
        places=("", ""),
        ohm=8.0,
    ):
        tmp_path = tmp_path_factory.mktemp("speaker")
        zero = np.zeros(F.size)
        (tmp_path / "flat.csv").write_text(
            # Hardly rising, as a flat curve has an extremum at every rounding error.
            "Hz ohm deg\n" + "".join(f"{f:.9g} {ohm * (f / 1000.0) ** 1e-5:.12g} 0\n" for f in F)
        )
        sound = ["", ""]
        if levels is not None:
            write_table(tmp_path / "low.csv", F, zero + levels[0], zero)
            turn = (-360.0 * F * late_s + 180.0) % 360.0 - 180.0
            write_table(tmp_path / "high.csv", F, zero + levels[1], turn)
            sound = [f'response = "{n}.csv"\nphase = "measured"' for n in ("low", "high")]
        (tmp_path / "original.cir").write_text(network)
        (tmp_path / "speaker.toml").write_text(
            TOML.format(
                timing=timing,
                limit=limit,
                slope=slope,
                more=more,
                woofer="\n".join([sound[0], places[0]]),
                tweeter="\n".join([sound[1], places[1]]),
            )
        )
        return open_speaker(tmp_path)

    return folder


@pytest.fixture(scope="session")
def study(make, remembered):
    """Study such a folder on a coarse grid, once for the same folder; `named` are arguments of the study."""
    twins = remembered(xover.studies.change.bypass.twin.fit_twin)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(xover.studies.change.bypass.twin, "fit_twin", twins)
        patch.setattr(xover.studies.change.bypass.capacitor, "fit_twin", twins)
        yield remembered(_once(make))


def _once(make):
    from xover.studies.change.bypass.study import study_bypass

    def once(named=None, **folder):
        return study_bypass(make(**folder), None, log_grid(20.0, 20e3, 12), with_map=False, **(named or {}))

    return once
