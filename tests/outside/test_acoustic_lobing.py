"""Vertical lobes of two coherent point sources against acoustics-textbook figures.

Far field: path difference d sin(theta). In phase: first nulls at asin(lambda/2d). 90 degrees: null at
asin(lambda/4d) on one side, maximum at the mirror angle, next null on that side at asin(3 lambda/4d).
Derived; printed to 0.0001 degree. The tilted lobe of odd orders: Linkwitz 1976 (from memory);
two woofers round a tweeter: D'Appolito, AES preprint 2000 (1983, from memory).
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from textbook_filters import low_and_high

from xover.acoustic.off_axis import off_axis, vertical_nulls
from xover.acoustic.summing import Branch
from xover.acoustic.time import delay_factor, delay_s, path_excess_m
from xover.curve import log_grid
from xover.speaker import Speaker, open_speaker
from xover.studies.does.angles.study import study_off_axis

PRINTED = 6e-5
# d mm, f Hz, LR4 null, B3 tilt and null (lambda/4d), next B3 null (3 lambda/4d)
TABLE = [
    (150.0, 3000.0, 22.4025, 10.9852, 34.8665),
    (150.0, 2000.0, 34.8665, 16.6087, 59.0370),
    (180.0, 2500.0, 22.4025, 10.9852, 34.8665),
    (200.0, 2000.0, 25.3883, 12.3789, 40.0252),
    (120.0, 3500.0, 24.1002, 11.7807, 37.7705),
]


def two_way(name: str, fc: float, d_mm: float) -> tuple[np.ndarray, list[Branch]]:
    """Tweeter above, woofer below, point sources at 90 dB."""
    f = fc * 10.0 ** (np.arange(-100, 101) / 100.0)
    low, high = low_and_high(name, f / fc)
    scale = 10.0**4.5
    return f, [
        Branch("woofer", scale * low, position_mm=(0.0, -d_mm / 2, 0.0)),
        Branch("tweeter", scale * high, position_mm=(0.0, d_mm / 2, 0.0)),
    ]


@pytest.mark.parametrize(("d_mm", "fc", "null_deg"), [row[:3] for row in TABLE])
def test_in_phase_nulls_are_symmetrical(d_mm: float, fc: float, null_deg: float) -> None:
    f, branches = two_way("LR4", fc, d_mm)
    (nulls,) = vertical_nulls(f, branches, [fc], distance_m=math.inf)
    assert nulls.above_deg == pytest.approx(null_deg, abs=PRINTED)
    assert nulls.below_deg == pytest.approx(-null_deg, abs=PRINTED)
    assert nulls.above_depth_db is not None
    assert nulls.above_depth_db > 80.0


@pytest.mark.parametrize(("d_mm", "fc", "tilt_deg", "next_deg"), [(*row[:2], *row[3:]) for row in TABLE])
def test_quadrature_null_lies_on_the_side_of_the_leading_driver(
    d_mm: float, fc: float, tilt_deg: float, next_deg: float
) -> None:
    """B3: low over high is +90 degrees, so the woofer below leads and the first null lies below."""
    f, branches = two_way("B3", fc, d_mm)
    (nulls,) = vertical_nulls(f, branches, [fc], distance_m=math.inf)
    assert nulls.below_deg == pytest.approx(-tilt_deg, abs=PRINTED)
    assert nulls.above_deg == pytest.approx(next_deg, abs=PRINTED)


@pytest.mark.parametrize(("d_mm", "fc", "tilt_deg"), [(*row[:2], row[3]) for row in TABLE])
def test_quadrature_lobe_leans_to_the_lagging_driver(d_mm: float, fc: float, tilt_deg: float) -> None:
    """+3.0103 dB at asin(lambda/4d) towards the tweeter above, which lags; 90 dB on the axis."""
    f, branches = two_way("B3", fc, d_mm)
    at_fc = int(np.argmin(np.abs(f - fc)))
    leaning = off_axis(f, branches, [0.0, tilt_deg], distance_m=math.inf)
    assert leaning.level_db[:, at_fc] == pytest.approx([90.0, 93.0103], abs=PRINTED)


@pytest.mark.parametrize(("d_mm", "fc"), [row[:2] for row in TABLE])
def test_in_phase_lobe_is_a_cosine(d_mm: float, fc: float) -> None:
    """|p|/|p0| = |cos(pi d sin(theta)/lambda)| (Linkwitz 1976, from memory), c = 343 m/s."""
    f, branches = two_way("LR4", fc, d_mm)
    at_fc = int(np.argmin(np.abs(f - fc)))
    angles = np.array([-40.0, -15.0, -5.0, 5.0, 10.0, 15.0, 50.0])
    law = np.abs(np.cos(np.pi * d_mm / 1000.0 * np.sin(np.radians(angles)) * fc / 343.0))
    got = off_axis(f, branches, list(angles), distance_m=math.inf).level_db[:, at_fc]
    assert got == pytest.approx(90.0 + 20.0 * np.log10(law), abs=1e-6)


def three_in_a_row(name: str) -> tuple[np.ndarray, list[Branch]]:
    """Two woofers at +-150 mm about a tweeter, each with half the low-pass, 3 kHz."""
    f = 3000.0 * 10.0 ** (np.arange(-100, 101) / 100.0)
    low, high = low_and_high(name, f / 3000.0)
    return f, [
        Branch("top", 500.0 * low, position_mm=(0.0, 150.0, 0.0)),
        Branch("tweeter", 1000.0 * high, position_mm=(0.0, 0.0, 0.0)),
        Branch("bottom", 500.0 * low, position_mm=(0.0, -150.0, 0.0)),
    ]


def test_two_woofers_round_a_tweeter_in_phase() -> None:
    """LR4: -6.0206 dB at asin(lambda/4d) = 10.9852 deg, null at asin(lambda/2d) = 22.4025 deg."""
    f, branches = three_in_a_row("LR4")
    down = off_axis(f, branches, [-10.9852, 10.9852], distance_m=math.inf).level_db[:, 100]
    assert down - 60.0 == pytest.approx(-6.0206, abs=2e-4)
    (nulls,) = vertical_nulls(f, branches, [3000.0], distance_m=math.inf)
    # cos^2 is flat at its null: the angle is known less well than that of a cosine.
    assert nulls.above_deg == pytest.approx(22.4025, abs=1e-3)
    assert nulls.below_deg == pytest.approx(-22.4025, abs=1e-3)
    assert nulls.above_depth_db is not None
    assert nulls.above_depth_db > 80.0


def test_two_woofers_round_a_tweeter_in_quadrature() -> None:
    """B3: symmetrical, minimum of -3.0103 dB at asin(lambda/4d), no null."""
    f, branches = three_in_a_row("B3")
    (nulls,) = vertical_nulls(f, branches, [3000.0], distance_m=math.inf)
    assert nulls.above_deg == pytest.approx(10.9852, abs=1e-3)
    assert nulls.below_deg == pytest.approx(-10.9852, abs=1e-3)
    assert nulls.above_depth_db == pytest.approx(3.0103, abs=PRINTED)
    assert nulls.below_depth_db == pytest.approx(3.0103, abs=PRINTED)


def test_path_difference_near_and_far() -> None:
    """d = 150 mm at 15 degrees: 38.721343 mm at 1 m, 38.822857 mm far away."""
    low, high = (0.0, -75.0, 0.0), (0.0, 75.0, 0.0)
    near = 1000.0 * float(path_excess_m(low, 1.0, 15.0) - path_excess_m(high, 1.0, 15.0))
    far = 1000.0 * float(path_excess_m(low, math.inf, 15.0) - path_excess_m(high, math.inf, 15.0))
    assert near == pytest.approx(38.721343, abs=6e-7)
    assert far == pytest.approx(38.822857, abs=6e-7)


def test_acoustic_offset_as_delay_and_phase() -> None:
    """20 mm of depth are 58.309 us, and 62.974 degrees at 3 kHz."""
    late = delay_s((0.0, 0.0, -20.0))
    assert 1e6 * late == pytest.approx(58.309, abs=5.1e-4)
    assert np.degrees(np.angle(delay_factor(3000.0, late))) == pytest.approx(-62.974, abs=5.1e-4)
    assert 1e6 * delay_s((0.0, 0.0, 20.0), 1.0) == pytest.approx(-58.309, abs=5.1e-4)


def speaker_of_two_points(folder: Path, d_mm: float, fc: float, diameter_mm: float = 1.0) -> Speaker:
    """Two flat 8 ohm drivers, d apart, behind a second-order network of equal roots; the upper one reversed.

    L = 2R/w, C = 1/(2Rw): both are 6 dB down at fc and, with one reversed, in phase throughout (Linkwitz 1976, from
    memory).
    """
    f = np.geomspace(10.0, 40e3, 80)
    for name, column, value in (("z", "impedance_ohm", 8.0), ("flat", "level_db", 90.0)):
        rows = "".join(f"{x:.7g},{value},0\n" for x in f)
        (folder / f"{name}.csv").write_text(f"frequency_hz,{column},phase_deg\n{rows}")
    drivers = "".join(
        f'[drivers.{name}]\nimpedance = "z.csv"\nresponse = "flat.csv"\nphase = "measured"\n'
        f"position_mm = [0, {up}, 0]\ndiameter_mm = {diameter_mm}\n"
        for name, up in (("low", -d_mm / 2), ("high", d_mm / 2))
    )
    (folder / "speaker.toml").write_text(f'timing = "common"\n{drivers}[networks.found]\ncircuit = "found.cir"\n')
    w = 2.0 * math.pi * fc
    coil, capacitor = 2e3 * 8.0 / w, 1e6 / (16.0 * w)
    (folder / "found.cir").write_text(
        f"* two points\nL1 in w {coil:.9g}mH\nC1 w 0 {capacitor:.9g}uF\nXlow w 0 low\n"
        f"C2 in t {capacitor:.9g}uF\nL2 t 0 {coil:.9g}mH\nXhigh 0 t high\n"
    )
    return open_speaker(folder)


@pytest.mark.parametrize(("d_mm", "fc", "null_deg"), [TABLE[0][:3], TABLE[3][:3]])
def test_the_study_finds_the_nulls_of_two_sources(tmp_path: Path, d_mm: float, fc: float, null_deg: float) -> None:
    """asin(lambda/2d) above and below, the lobe straight ahead and a cosine between, from files to the answer."""
    speaker = speaker_of_two_points(tmp_path, d_mm, fc)
    angles = [-15.0, -5.0, 10.0, 40.0]
    study = study_off_axis(speaker, "found", log_grid(fc / 8.0, fc * 8.0, 8), vertical_deg=angles, distance_m=1e4)
    (lobe,) = study.lobes
    assert lobe.crossover_hz == pytest.approx(fc, rel=1e-6)
    # The files hold seven digits, and the arc has 10 km.
    assert lobe.above_deg == pytest.approx(null_deg, abs=1e-3)
    assert lobe.below_deg == pytest.approx(-null_deg, abs=1e-3)
    assert lobe.lobe_deg == pytest.approx(0.0, abs=0.05)
    assert lobe.lobe_db == pytest.approx(0.0, abs=1e-4)
    at_fc = int(np.argmin(np.abs(study.frequency_hz - fc)))
    assert study.frequency_hz[at_fc] == pytest.approx(fc, rel=1e-9)
    law = np.abs(np.cos(np.pi * d_mm / 1000.0 * np.sin(np.radians(angles)) * fc / 343.0))
    assert study.vertical.relative_db[:, at_fc] == pytest.approx(20.0 * np.log10(law), abs=1e-3)
    # Seen from the side both are equally far: no angle changes anything.
    assert study.horizontal.relative_db[:, at_fc] == pytest.approx(np.zeros(5), abs=1e-3)


@pytest.mark.parametrize(("diameter_mm", "fc", "at_30_db"), [(130.0, 2500.0, -2.5277), (165.0, 3000.0, -6.3504)])
def test_the_study_narrows_to_the_side_as_a_piston(
    tmp_path: Path, diameter_mm: float, fc: float, at_30_db: float
) -> None:
    """20 lg 2 J1(x)/x at 30 degrees, x = ka/2 (acoustics textbooks), for both drivers alike at the crossover."""
    speaker = speaker_of_two_points(tmp_path, 0.0, fc, diameter_mm)
    study = study_off_axis(
        speaker, "found", log_grid(fc / 8.0, fc * 4.0, 8), horizontal_deg=[0.0, 30.0], distance_m=2.0
    )
    at_fc = int(np.argmin(np.abs(study.frequency_hz - fc)))
    assert study.horizontal.relative_db[:, at_fc] == pytest.approx([0.0, at_30_db], abs=6e-5)
