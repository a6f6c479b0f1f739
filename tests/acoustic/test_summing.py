from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.acoustic.level import level_db
from xover.acoustic.summing import Branch, known_sum, sum_branches
from xover.curve import log_grid
from xover.errors import InputError
from xover.plain import to_plain

F = log_grid(20.0, 20000.0, 12)
NAN = complex(math.nan, math.nan)


def second_order(f: np.ndarray, corner_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """Linkwitz-Riley of second order, low-pass and high-pass."""
    s = 1j * f / corner_hz
    return 1.0 / (1.0 + s) ** 2, s**2 / (1.0 + s) ** 2


def three_way() -> list[Branch]:
    low, rest = second_order(F, 300.0)
    mid, high = second_order(F, 3000.0)
    return [Branch("high", 1e4 * rest * high), Branch("mid", 1e4 * rest * mid), Branch("low", 1e4 * low * mid)]


@st.composite
def speakers(draw: st.DrawFn) -> list[Branch]:
    """One to four drivers with smooth random bands, levels, phases and groups; some with a gap."""
    branches = []
    for i in range(draw(st.integers(1, 4))):
        centre = draw(st.floats(30.0, 15000.0))
        octaves = np.log2(F / centre)
        level = draw(st.floats(60.0, 100.0)) - draw(st.floats(0.5, 6.0)) * octaves**2
        turn = draw(st.floats(0.0, 2.0 * math.pi)) + draw(st.floats(-0.001, 0.001)) * 2.0 * math.pi * F
        pressure = 10.0 ** (level / 20.0) * np.exp(1j * turn)
        starts_hz = draw(st.sampled_from([0.0, 0.0, centre / 8.0]))
        pressure = np.where(starts_hz <= F, pressure, NAN)
        group = draw(st.sampled_from(["woofer", f"d{i}"]))
        drive_db = -3.0 * np.abs(octaves) if draw(st.booleans()) else None
        branches.append(Branch(f"d{i}", pressure, drive_db=drive_db, group=group))
    return branches


def same(one: np.ndarray, other: np.ndarray, scale: float) -> None:
    """Equal but for the rounding of another order of adding; NaN in the same rows but where it decides."""
    both = np.isfinite(one) & np.isfinite(other)
    assert np.mean(np.isfinite(one) == np.isfinite(other)) > 0.98
    assert one[both] == pytest.approx(other[both], abs=1e-12 * scale)


@settings(max_examples=60)
@given(speakers(), st.randoms(use_true_random=False))
def test_the_order_of_branches_does_not_matter(branches: list[Branch], random: object) -> None:
    shuffled = list(branches)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    one, other = sum_branches(F, branches, coherent=True), sum_branches(F, shuffled, coherent=True)
    scale = float(np.nanmax(np.abs([b.pressure for b in branches])))
    same(one.pressure, other.pressure, scale)
    same(np.abs(one.reversed_pressure), np.abs(other.reversed_pressure), scale)
    same(10.0 ** (one.best_level_db / 20.0), 10.0 ** (other.best_level_db / 20.0), scale)
    same(10.0 ** (one.worst_level_db / 20.0), 10.0 ** (other.worst_level_db / 20.0), scale)
    assert set(one.reversed_keys) == set(other.reversed_keys)


@settings(max_examples=60)
@given(speakers())
def test_the_sum_lies_in_its_envelope(branches: list[Branch]) -> None:
    total = sum_branches(F, branches, coherent=False)
    best, worst = 10.0 ** (total.best_level_db / 20.0), 10.0 ** (total.worst_level_db / 20.0)
    scale = float(np.nanmax(np.abs([b.pressure for b in branches])))
    assert np.isfinite(best).any()
    for curve in (total.pressure, total.reversed_pressure):
        size = np.abs(curve)
        known = np.isfinite(size) & np.isfinite(best)
        assert np.all(size[known] <= best[known] + 1e-12 * scale)
        assert np.all(size[known] >= worst[known] - 1e-12 * scale)


@settings(max_examples=60)
@given(speakers())
def test_reversing_every_driver_changes_no_level(branches: list[Branch]) -> None:
    one = sum_branches(F, branches, coherent=True)
    other = sum_branches(F, [replace(b, pressure=-b.pressure) for b in branches], coherent=True)
    assert np.array_equal(one.level_db, other.level_db, equal_nan=True)
    assert np.array_equal(one.reversed_level_db, other.reversed_level_db, equal_nan=True)
    assert np.array_equal(one.best_level_db, other.best_level_db, equal_nan=True)
    assert np.array_equal(one.worst_level_db, other.worst_level_db, equal_nan=True)
    assert one.reversed_keys == other.reversed_keys


def test_the_envelope_is_reached() -> None:
    """Turn one driver against the other through a whole turn: the extremes are best and worst."""
    low, high = second_order(F, 1000.0)
    branches = [Branch("low", 2.0 * low), Branch("high", high)]
    total = sum_branches(F, branches, coherent=True)
    turned = np.abs([2.0 * low + high * np.exp(1j * t) for t in np.linspace(0.0, 2.0 * math.pi, 20001)])
    assert turned.max(axis=0) == pytest.approx(10.0 ** (total.best_level_db / 20.0), rel=1e-6)
    assert turned.min(axis=0) == pytest.approx(10.0 ** (total.worst_level_db / 20.0), abs=1e-3)


def test_three_way_reverses_the_middle_and_shows_both_nulls() -> None:
    """Second-order Linkwitz-Riley needs the middle reversed: as wired, both crossovers are nulls."""
    total = sum_branches(F, three_way(), coherent=True)
    assert total.reversed_keys == ("mid",)
    for corner in (300.0, 3000.0):
        at = int(np.argmin(np.abs(F - corner)))
        assert total.level_db[at] < 80.0 - 15.0
        assert total.reversed_level_db[at] == pytest.approx(80.0, abs=1.0)


def test_parallel_woofers_are_reversed_together_and_add_before_the_envelope() -> None:
    low, high = second_order(F, 1000.0)
    cards = [
        Branch("low1", low, group="woofer"),
        Branch("low2", low * 1j, group="woofer"),
        Branch("high", high),
    ]
    total = sum_branches(F, cards, coherent=False)
    assert total.reversed_keys == ("high",)
    assert not total.coherent
    # At 20 Hz the woofers stand alone: |1 + j| = sqrt 2, whatever the tweeter's timing.
    assert total.best_level_db[0] == pytest.approx(3.0103, abs=0.02)
    assert total.worst_level_db[0] == pytest.approx(3.0103, abs=0.02)
    apart = sum_branches(F, [replace(c, group=c.key) for c in cards], coherent=False)
    assert apart.best_level_db[0] == pytest.approx(6.0206, abs=0.02)
    assert apart.worst_level_db[0] < -40.0


def test_one_group_needs_no_timing() -> None:
    total = sum_branches(F, [Branch("low", np.ones(F.size, dtype=complex), timing_known=False)], coherent=False)
    assert total.coherent
    assert total.notes == ()
    assert total.reversed_keys == ()
    assert np.array_equal(total.pressure, total.reversed_pressure)


@pytest.mark.parametrize(("asked", "known", "sure"), [(True, True, True), (True, False, False), (False, True, False)])
def test_timing_counts_only_if_all_know_it(asked: bool, known: bool, sure: bool) -> None:
    low, high = second_order(F, 1000.0)
    total = sum_branches(F, [Branch("low", low), Branch("high", high, timing_known=known)], coherent=asked)
    assert total.coherent is sure
    assert any("timing" in note for note in total.notes) is not sure


# A tweeter measured from 500 Hz on. Woofer: 80 dB up to 2 kHz. Tweeter: 80 dB response, driven with
# 12 dB an octave below 2 kHz: -24 dB at 500 Hz, -30 at 353.6 Hz (2000 / 2^2.5). Flat ends, so the sum
# of the others is 80 dB there and the border can be told by hand.
WOOFER = Branch("low", np.where(F <= 2000.0, 1e4, 10.0).astype(complex))
DRIVE_DB = np.minimum(0.0, 12.0 * np.log2(F / 2000.0))
FULL_TWEETER = Branch("high", 1e4 * 10.0 ** (DRIVE_DB / 20.0) * np.exp(2j), drive_db=DRIVE_DB)


def cut(branch: Branch, from_hz: float) -> Branch:
    return replace(branch, pressure=np.where(from_hz <= F, branch.pressure, NAN))


def test_a_driver_without_data_is_left_out_where_its_drive_bounds_it() -> None:
    total = sum_branches(F, [WOOFER, cut(FULL_TWEETER, 500.0)], coherent=True)
    assert np.isnan(total.pressure[(F > 354.0) & (F < 500.0)]).all()
    quiet = F < 353.0
    assert total.pressure[quiet] == pytest.approx(WOOFER.pressure[quiet], rel=1e-12)
    # The promise of at most 0.28 dB, against the tweeter that was cut.
    full = sum_branches(F, [WOOFER, FULL_TWEETER], coherent=True)
    error = np.abs(total.level_db[quiet] - full.level_db[quiet])
    assert 0.05 < error.max() <= 0.28
    # Where both are measured, nothing changes.
    assert np.array_equal(total.pressure[F >= 500.0], full.pressure[F >= 500.0])


def test_the_gap_is_stated() -> None:
    total = sum_branches(F, [WOOFER, cut(FULL_TWEETER, 500.0)], coherent=True)
    left_out, lost = total.gaps
    assert (left_out.key, left_out.counted_absent) == ("high", True)
    assert left_out.from_hz == 20.0
    assert left_out.to_hz == pytest.approx(353.6 * 2.0 ** (-1 / 24), rel=0.03)
    assert (lost.key, lost.counted_absent) == ("high", False)
    assert lost.to_hz == pytest.approx(500.0 * 2.0 ** (-1 / 24), rel=0.03)
    assert total.notes == (left_out.note, lost.note)
    assert total.notes[0].startswith("high is not known from 20 Hz to ")
    assert "30 dB or more below" in total.notes[0]
    assert total.notes[1].endswith("may matter there: no sum")


def test_without_a_drive_nothing_is_left_out() -> None:
    total = sum_branches(F, [WOOFER, replace(cut(FULL_TWEETER, 500.0), drive_db=None)], coherent=True)
    assert np.isnan(total.pressure[F < 500.0]).all()
    assert np.isnan(total.best_level_db[F < 500.0]).all()
    assert np.isfinite(total.pressure[F >= 500.0]).all()


def test_the_envelope_holds_what_was_left_out() -> None:
    total = sum_branches(F, [WOOFER, cut(FULL_TWEETER, 500.0)], coherent=False)
    full = sum_branches(F, [WOOFER, FULL_TWEETER], coherent=False)
    quiet = F < 353.0
    assert np.all(total.best_level_db[quiet] >= full.best_level_db[quiet] - 1e-9)
    assert np.all(total.worst_level_db[quiet] <= full.worst_level_db[quiet] + 1e-9)
    assert total.best_level_db[quiet] == pytest.approx(full.best_level_db[quiet], abs=1e-9)


def test_a_driver_without_any_data_leaves_no_sum() -> None:
    empty = Branch("high", np.full(F.size, NAN), drive_db=DRIVE_DB)
    total = sum_branches(F, [WOOFER, empty], coherent=True)
    assert np.isnan(total.pressure).all()
    (gap,) = total.gaps
    assert (gap.from_hz, gap.to_hz, gap.counted_absent) == (20.0, 20000.0, False)


def test_known_sum_at_the_border() -> None:
    """1 and something missing: 30 dB below it is let go, 29.9 dB is not; a null lets nothing go."""
    pair = np.array([[1.0, 1.0, 1.0, 0.0], [NAN, NAN, NAN, NAN]])
    bound = np.array([[0.0] * 4, [10.0**-1.505, 10.0**-1.495, math.nan, 1e-9]])
    total = known_sum(pair, bound)
    assert total[0] == 1.0
    assert np.isnan(total[1:]).all()
    # Several missing ones count together: two of 33 dB are 27 dB in the worst case.
    three = np.array([[1.0], [NAN], [NAN]])
    assert np.isnan(known_sum(three, np.array([[0.0], [10.0**-1.65], [10.0**-1.65]]))).all()
    assert known_sum(three, np.array([[0.0], [10.0**-1.85], [10.0**-1.85]])) == pytest.approx([1.0])


def test_an_exact_null_is_a_value_not_a_gap() -> None:
    f = np.array([100.0, 200.0])
    total = sum_branches(f, [Branch("a", np.array([1.0, 1.0j])), Branch("b", np.array([-1.0, 2.0j]))], coherent=True)
    assert total.pressure[0] == 0.0
    assert np.isneginf(total.level_db[0])
    assert total.level_db[1] == pytest.approx(20.0 * math.log10(3.0))


def test_plain_has_levels_and_phases() -> None:
    plain = to_plain(sum_branches(F, [WOOFER, cut(FULL_TWEETER, 500.0)], coherent=True))
    assert plain["sum"]["level_db"][0] == pytest.approx(80.0)
    assert None in plain["sum"]["level_db"]
    assert plain["reversed_keys"] == ["high"]
    assert plain["gaps"][0]["counted_absent"] is True


def test_no_branch_at_all() -> None:
    with pytest.raises(InputError, match="no driver has a response; give response"):
        sum_branches(F, [], coherent=True)


def test_another_grid_is_refused() -> None:
    with pytest.raises(ValueError, match="low has"):
        sum_branches(F[:-1], [WOOFER], coherent=True)


def test_levels_of_the_example() -> None:
    """Guards the two curves above: 80 dB, and -24 dB of drive at 500 Hz."""
    assert level_db(WOOFER.pressure[0]) == pytest.approx(80.0)
    assert np.interp(500.0, F, DRIVE_DB) == pytest.approx(-24.0, abs=0.05)
