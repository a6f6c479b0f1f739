from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from xover.acoustic.off_axis import axis_factor, move_branch, off_axis, vertical_nulls
from xover.acoustic.summing import Branch, sum_branches
from xover.curve import log_grid
from xover.errors import InputError
from xover.plain import to_plain

F = log_grid(200.0, 20000.0, 24)
NAN = complex(math.nan, math.nan)


def two_way(corner_hz: float = 2000.0) -> list[Branch]:
    """LR4, woofer 140 mm below and tweeter 20 mm above the axis' foot."""
    s = 1j * F / corner_hz
    square = (s**2 + math.sqrt(2.0) * s + 1.0) ** 2
    return [
        Branch("low", 1e4 / square, position_mm=(0.0, -140.0, -15.0), diameter_mm=130.0),
        Branch("high", 1e4 * s**4 / square, position_mm=(0.0, 20.0, 0.0), diameter_mm=25.0),
    ]


def test_the_axis_of_the_arc_is_as_measured() -> None:
    branches = two_way()
    got = off_axis(F[:150], [replace(b, pressure=b.pressure[:150]) for b in branches], [0.0], distance_m=2.0)
    total = sum_branches(F, branches, coherent=True)
    assert got.pressure[0] == pytest.approx(total.pressure[:150], rel=1e-9)
    assert got.coherent


def test_point_sources_against_their_paths() -> None:
    """Every driver by Pythagoras: e^-jk(r - r0) r0/r (derived)."""
    branches = [replace(b, diameter_mm=None) for b in two_way()]
    got = off_axis(F, branches, [-15.0, 10.0], distance_m=1.3)
    for row, angle in enumerate(np.radians([-15.0, 10.0])):
        total = np.zeros(F.size, dtype=complex)
        for b in branches:
            assert b.position_mm is not None
            up, forward = b.position_mm[1] / 1000.0, b.position_mm[2] / 1000.0
            r0 = math.hypot(up, 1.3 - forward)
            r = math.hypot(1.3 * math.sin(angle) - up, 1.3 * math.cos(angle) - forward)
            total += b.pressure * r0 / r * np.exp(-2j * np.pi * F / 343.0 * (r - r0))
        assert got.level_db[row] == pytest.approx(20.0 * np.log10(np.abs(total)), abs=1e-6)


def test_a_large_distance_meets_the_far_field() -> None:
    far = off_axis(F, two_way(), [-10.0, 15.0], distance_m=math.inf)
    near = off_axis(F, two_way(), [-10.0, 15.0], distance_m=1e5)
    assert near.level_db == pytest.approx(far.level_db, abs=1e-3)
    assert np.ptp(far.level_db) > 3.0


def test_responses_measured_near_shift_on_the_axis_of_a_far_arc() -> None:
    """140 mm below, at 1 m: sqrt(1.0196) - 1 = 9.7525 mm longer; at 2.5 m 3.9170 mm (derived)."""
    point = Branch("low", np.ones(F.size, dtype=complex), position_mm=(0.0, -140.0, 0.0))
    factor = axis_factor(F, point, 0.0, 2.5, measured_at_m=1.0)
    longer = math.hypot(1.0, 0.14) - 1.0, math.hypot(2.5, 0.14) - 2.5
    assert longer == pytest.approx((9.7525e-3, 3.9170e-3), rel=1e-4)
    assert np.unwrap(np.angle(factor)) == pytest.approx(2.0 * math.pi * F / 343.0 * (longer[0] - longer[1]), rel=1e-6)
    assert np.abs(factor) == pytest.approx((1.0 + longer[0]) / (1.0 + longer[1] / 2.5), rel=1e-9)


def test_a_woofer_near_its_first_null_is_not_divided_by_nothing() -> None:
    """300 mm at 400 mm below, seen at 21.8 degrees from 1 m: 10 dB down (x = 2.73138) at 2676.5 Hz."""
    woofer = Branch("low", 1e4 * np.exp(1j * F), position_mm=(0.0, -400.0, 0.0), diameter_mm=300.0)
    moved = move_branch(F, woofer, 5.0, 1.0)
    border = 2.73138 * 343.0 / (math.pi * 0.3 * math.sin(math.atan(0.4)))
    assert border == pytest.approx(2676.5, abs=0.1)
    assert np.isfinite(moved.pressure[border > F]).all()
    assert np.isnan(moved.pressure[border < F]).all()


def test_what_the_piston_cannot_tell_is_left_out_where_the_network_has_it_silent() -> None:
    drive_db = -48.0 * np.maximum(0.0, np.log2(F / 500.0))
    woofer = Branch(
        "low", 1e4 * 10.0 ** (drive_db / 20.0), position_mm=(0.0, -400.0, 0.0), diameter_mm=300.0, drive_db=drive_db
    )
    rest = Branch("high", np.full(F.size, 1e4 + 0j), position_mm=(0.0, 0.0, 0.0))
    got = off_axis(F, [woofer, rest], [5.0])
    assert np.isfinite(got.level_db).all()
    assert got.level_db[0, -1] == pytest.approx(80.0, abs=1e-9)
    assert any(note.startswith("low is not known from 2.7") for note in got.notes)
    full = replace(woofer, pressure=np.full(F.size, 1e4 + 0j), drive_db=np.zeros(F.size))
    loud = off_axis(F, [full, rest], [5.0])
    assert np.isnan(loud.level_db[0, -1])


def test_nulls_of_a_usual_two_way_lie_on_both_sides() -> None:
    """160 mm at 2 kHz: asin(lambda/2d) = 32.4 deg from the line of equal paths, about 5 deg up by depth."""
    (nulls,) = vertical_nulls(F, two_way(), [2000.0], distance_m=math.inf)
    # The woofer stands 15 mm back, but the phase on the axis is as measured: no tilt from it there.
    assert nulls.above_deg == pytest.approx(32.4, abs=3.0)
    assert nulls.below_deg == pytest.approx(-32.4, abs=3.0)
    # The woofer beams, so that the two no longer cancel in full.
    assert nulls.above_depth_db is not None
    assert 15.0 < nulls.above_depth_db < 60.0
    assert nulls.reason == ""


def test_drivers_close_together_have_no_null() -> None:
    """30 mm at 2 kHz: half a wavelength is 86 mm, so the paths never differ by it."""
    near = [replace(b, position_mm=(0.0, 15.0 * sign, 0.0)) for b, sign in zip(two_way(), (-1, 1), strict=True)]
    (nulls,) = vertical_nulls(F, near, [2000.0])
    assert (nulls.above_deg, nulls.above_depth_db, nulls.below_deg, nulls.below_depth_db) == (None,) * 4
    assert nulls.reason == ""


def test_an_unknown_sum_gives_a_reason() -> None:
    low, high = two_way()
    cut = replace(high, pressure=np.where(F > 3000.0, high.pressure, NAN))
    (nulls,) = vertical_nulls(F, [low, cut], [2000.0])
    assert nulls.above_deg is None
    assert nulls.reason == "the sum on the axis is not known there"


def test_a_missing_bass_driver_fills_the_null_up_to_its_bound() -> None:
    """A third driver 40 dB below one of the two at its end: 46 dB below their sum at most."""
    pair = [replace(b, diameter_mm=None) for b in two_way()]
    drive_db = np.zeros(F.size)
    third = Branch("bass", np.where(F < 400.0, 50.0 + 0j, NAN), position_mm=(0.0, -400.0, 0.0), drive_db=drive_db)
    (bare,) = vertical_nulls(F, pair, [2000.0], distance_m=math.inf)
    (filled,) = vertical_nulls(F, [*pair, third], [2000.0], distance_m=math.inf)
    assert bare.above_depth_db is not None
    assert bare.above_depth_db > 80.0
    # Bound 50 against 1e4 on the axis: 46.0206 dB, and the axis itself counts with it: 0.04 dB.
    assert filled.above_depth_db == pytest.approx(46.0206 + 20.0 * math.log10(1.005), abs=1e-2)
    assert filled.above_deg == pytest.approx(bare.above_deg, abs=1e-2)


def test_plain_has_levels() -> None:
    plain = to_plain(off_axis(F, two_way(), [-5.0, 5.0], distance_m=math.inf))
    assert plain["vertical_deg"] == [-5.0, 5.0]
    assert plain["level_db"][0][0] == pytest.approx(80.0, abs=0.3)
    assert plain["distance_m"] is None


def test_faults_are_named() -> None:
    with pytest.raises(InputError, match="driver low has no position_mm; give position_mm"):
        off_axis(F, [replace(two_way()[0], position_mm=None)])
    with pytest.raises(InputError, match="95 degrees is behind the baffle"):
        off_axis(F, two_way(), [0.0, 95.0])
    with pytest.raises(InputError, match="90 degrees is no limit"):
        vertical_nulls(F, two_way(), [2000.0], limit_deg=90.0)
    with pytest.raises(InputError, match="stand at 0 m"):
        off_axis(F, two_way(), [5.0], distance_m=0.0)
