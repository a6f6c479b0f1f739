"""Two curves held against each other: differences that are known beforehand."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1]))

from known_builds import EXAMPLES, SPEAKERS
from two_woofers import ODD, PARALLEL, TWEETER, WOOFER, write_folder

from xover.curve import Curve, Unit, log_grid
from xover.errors import InputError, OptionError
from xover.judge.odd_words import remedy_words
from xover.network import solve
from xover.plain import to_plain
from xover.studies.aged.compare.study import Predicted, Table, What, compare, open_operand
from xover.studies.aged.compare.words import tell

GRID = log_grid(20.0, 20e3, 48)


def table(frequency_hz, level_db, phase_deg=None, quantity="dB", name="a"):
    value = 10 ** (np.asarray(level_db) / 20) * np.exp(1j * np.radians(0 if phase_deg is None else phase_deg))
    unit = Unit.OHM if quantity == "ohm" else Unit.PASCAL_20U
    curve = Curve(frequency_hz, value + 0j, unit, has_phase=phase_deg is not None, source=name)
    return Table(curve, quantity, name, ())


def test_a_tilt_is_told_and_a_level_taken_off():
    """2 dB an octave about 1 kHz, and 7 dB more: matched from 250 to 4000 Hz, so the tilt remains and has no mean."""
    tilt = 2.0 * np.log2(GRID / 1000.0)
    found = compare(
        table(GRID, 80 + tilt + 7.0), table(GRID, np.full(GRID.size, 80.0)), GRID, match_band_hz=(250.0, 4000.0)
    )
    assert found.offset_db == pytest.approx(7.0, abs=1e-6)
    np.testing.assert_allclose(found.difference_db, tilt, atol=1e-6)
    # rms of a straight line over four octaves to +-4 dB: 4/sqrt(3).
    assert found.rms_db == pytest.approx(4.0 / np.sqrt(3.0), rel=1e-3)
    octaves = {o.centre_hz: o for o in found.octaves}
    assert octaves[2000].difference_db == pytest.approx(2.0, abs=0.02)  # 1995 Hz
    assert octaves[125].difference_db == pytest.approx(-5.98, abs=0.01)  # 125.9 Hz
    assert octaves[1000].audible is False
    assert octaves[2000].audible is True
    assert octaves[2000].words == "heard in a direct comparison"
    assert (found.worst_db, found.worst_at_hz) == (pytest.approx(tilt[0]), 20.0)


def test_the_mean_is_weighted_over_octaves_and_not_over_rows():
    """Half the octaves 4 dB up; rows crowd at the top, where they must not count for more."""
    crowded = np.concatenate([np.geomspace(100, 1000, 50), np.linspace(1001, 10e3, 3000)])
    step = np.where(GRID < 1000.0, 0.0, 4.0)
    rows = np.where(crowded < 1000.0, 0.0, 4.0)
    found = compare(table(crowded, rows), table(GRID, 0 * step), GRID, match_band_hz=(100.0, 10e3))
    assert found.offset_db == pytest.approx(2.0, abs=0.05)
    assert found.rms_db == pytest.approx(2.0, abs=0.05)


def test_beyond_either_curve_nothing_is_known():
    one = table(np.geomspace(100, 5000, 200), np.zeros(200))
    other = table(np.geomspace(300, 30e3, 200), np.zeros(200), name="b")
    found = compare(one, other, GRID)
    known = np.isfinite(found.difference_db)
    assert GRID[known].min() >= 300.0
    assert GRID[known].max() <= 5000.0
    assert np.isnan(next(o for o in found.octaves if o.centre_hz == 125).difference_db)
    assert any("levels matched over what both know" in w for w in found.warnings)
    with pytest.raises(OptionError, match="not both known at two frequencies"):
        compare(one, table(np.geomspace(6000, 9000, 50), np.zeros(50)), GRID)
    with pytest.raises(OptionError, match="not both known between 20 Hz and 50 Hz"):
        compare(one, other, GRID, match_band_hz=(20.0, 50.0))


def test_swapping_the_two_turns_the_sign():
    rng = np.random.default_rng(3)
    one, other = (table(GRID, rng.normal(size=GRID.size), 40 * rng.normal(size=GRID.size)) for _ in range(2))
    there, back = compare(one, other, GRID), compare(other, one, GRID)
    np.testing.assert_allclose(there.difference_db, -back.difference_db, atol=1e-12)
    turn = there.phase_difference_deg + back.phase_difference_deg
    np.testing.assert_allclose((turn + 180) % 360 - 180, 0, atol=1e-9)
    assert there.rms_db == pytest.approx(back.rms_db)
    assert np.ptp(there.difference_db) > 2


def test_phases_take_the_short_way_round():
    found = compare(table(GRID, 0 * GRID, 170 + 0 * GRID), table(GRID, 0 * GRID, -170 + 0 * GRID), GRID)
    np.testing.assert_allclose(found.phase_difference_deg, -20.0, atol=1e-9)
    assert compare(table(GRID, 0 * GRID), table(GRID, 0 * GRID, 0 * GRID), GRID).phase_difference_deg is None


def test_a_curve_and_itself():
    rng = np.random.default_rng(4)
    one = table(GRID, rng.normal(size=GRID.size))
    found = compare(one, one, GRID)
    assert (found.rms_db, found.worst_db, found.offset_db, found.audible) == (0.0, 0.0, 0.0, False)


def test_an_impedance_is_compared_as_it_is_in_per_cent():
    one = table(GRID, 20 * np.log10(6.6 + 0 * GRID), quantity="ohm")
    other = table(GRID, 20 * np.log10(6.0 + 0 * GRID), quantity="ohm")
    found = compare(one, other, GRID)
    np.testing.assert_allclose(found.percent, 10.0, rtol=1e-9)
    assert found.rms_db == pytest.approx(20 * np.log10(1.1))
    assert (found.offset_db, found.match_band_hz, found.audible) == (0.0, None, None)
    assert found.stretches == ()


def test_stretches_are_runs_on_one_side_at_least_a_third_of_an_octave_wide():
    level = np.zeros(GRID.size)
    level[(GRID >= 1000) & (GRID <= 2000)] = 1.5
    level[(GRID > 2000) & (GRID <= 3000)] = -3.0
    level[(GRID >= 5000) & (GRID <= 5300)] = 9.0  # an eighth of an octave
    found = compare(table(GRID, level), table(GRID, 0 * level), GRID, match_band_hz=None, threshold_db=1.0)
    assert [(round(s.worst_db, 6), round(s.octaves, 1)) for s in found.stretches] == [(-3.0, 0.6), (1.5, 1.0)]
    assert found.stretches[1].from_hz == pytest.approx(1000, rel=0.02)
    assert found.stretches[1].to_hz == pytest.approx(2000, rel=0.02)
    assert found.stretches[0].words == "obvious"


def test_networks_of_one_folder_differ_by_the_ratio_of_their_loads():
    folder = EXAMPLES / "hall-horn-two-way"
    found = compare(
        open_operand(f"{folder}:found"), open_operand(f"{folder}:original"), GRID[::20], what=What.IMPEDANCE
    )
    speaker = SPEAKERS["hall-horn-two-way"]
    one, other = (
        solve(n, GRID[::20], speaker.impedances_ohm(n, GRID[::20])).impedance_ohm["in"]
        for n in (speaker.network("found"), speaker.network("original"))
    )
    np.testing.assert_allclose(found.percent, 100 * (np.abs(one / other) - 1), rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(found.phase_difference_deg, np.degrees(np.angle(one / other)), rtol=1e-6, atol=1e-9)
    assert found.title == "Hall horn two-way (invented): network 'found' less 'original'"
    assert np.abs(found.percent).max() > 5


def test_sums_and_measured_sound():
    """The whole left speaker was measured as found (0.2 dB of noise): so far, and no farther, it is off."""
    left = EXAMPLES / "attic-two-way" / "left"
    found = compare(open_operand(str(left / "whole-found.csv")), open_operand(str(left)), GRID)
    assert found.what is What.SUM
    assert 0.1 < found.rms_db < 0.35
    assert not found.audible
    marked = compare(open_operand(str(left)), open_operand(f"{left}:original"), GRID)
    assert marked.audible
    # examples/README.md: the tweeter is 1.7 dB down; at the top it alone plays, so the sum falls by that,
    # less the level that was matched.
    top = marked.difference_db[-1] + marked.offset_db
    assert top == pytest.approx(-1.7, abs=0.4)


def test_without_timing_the_highest_sum_is_compared_and_said_to_be_so():
    hall = EXAMPLES / "hall-horn-two-way"
    found = compare(open_operand(str(hall)), open_operand(f"{hall}:original"), GRID[::8])
    assert found.phase_difference_deg is None
    assert any("the highest that any timing allows" in w for w in found.warnings)
    assert np.isfinite(found.rms_db)


def test_what_was_typed(tmp_path):
    left = EXAMPLES / "attic-two-way" / "left"
    assert isinstance(open_operand(str(left)), Predicted)
    assert open_operand(str(left / "speaker.toml")).network == "found"
    assert open_operand(f"{left}:original").network == "original"
    assert open_operand(str(left / "terminals-found.csv")).quantity == "ohm"
    assert open_operand(str(left / "whole-found.csv")).quantity == "dB"
    assert open_operand(str(EXAMPLES / "hall-horn-two-way" / "horn-impedance.z1p")).quantity == "ohm"
    with pytest.raises(OptionError, match="did you mean found"):
        open_operand(f"{left}:fuond")
    bare = tmp_path / "bare.csv"
    bare.write_text("".join(f"{100 + i} {10 + i}\n" for i in range(9)))
    with pytest.raises(OptionError, match="does not say whether it holds dB or ohm"):
        open_operand(str(bare))
    assert open_operand(str(bare), "ohm").quantity == "ohm"
    assert open_operand(str(bare), "dB").quantity == "dB"
    volts = tmp_path / "volts.csv"
    volts.write_text("Hz,magnitude (V)\n" + "".join(f"{100 + i},{10 + i}\n" for i in range(9)))
    with pytest.raises(InputError, match=r"volts\.csv:1: column 2 is headed"):
        open_operand(str(volts))
    with pytest.raises(InputError, match=r"nothing\.csv"):
        open_operand(str(tmp_path / "nothing.csv"))


def test_like_with_like():
    left = EXAMPLES / "attic-two-way" / "left"
    ohms, level = open_operand(str(left / "terminals-found.csv")), open_operand(str(left / "whole-found.csv"))
    with pytest.raises(OptionError, match=r"terminals-found\.csv is in ohm, and the sum is to be compared"):
        compare(ohms, level, GRID)
    with pytest.raises(OptionError, match="no channel 'bass'"):
        compare(ohms, open_operand(str(left), channel="bass"), GRID)


def test_an_odd_driver_of_the_pair_is_told_with_remedies(tmp_path):
    """Two parallel woofers in each, one of the left replaced by a louder one (invented)."""
    drivers = {"woofer": WOOFER, "woofer2": ODD, "tweeter": TWEETER}
    left = write_folder(tmp_path / "left", drivers, PARALLEL.format(second="woofer2"))
    right = write_folder(tmp_path / "right", {**drivers, "woofer2": WOOFER}, PARALLEL.format(second="woofer2"))
    one, other = (open_operand(str(folder)) for folder in (left, right))
    found = compare(one, other, GRID)
    (odd,) = found.odd
    assert (odd.driver, odd.in_mate, found.cabinets) == ("woofer2", False, ("left", "right"))
    words = " ".join(str(block) for block in tell(found))
    assert "2.4 dB louder" in words
    for remedy in odd.remedies:
        assert remedy_words(odd, remedy, found.cabinets) in words
    plain = to_plain(found)["odd"][0]
    assert plain["driver"] == "woofer2"
    assert [r["kind"] for r in plain["remedies"]] == [r.kind.value for r in odd.remedies]
    assert "network" not in plain["remedies"][0]
    assert compare(other, other, GRID).odd == ()
    (alone,) = compare(one, one, GRID).odd  # of one speaker: within its cabinet
    assert not alone.mate_known


def test_the_attic_pairs_replaced_woofer_is_told():
    """The right woofer is a replacement, 1.8 dB louder (examples/README.md)."""
    one, other = (open_operand(str(EXAMPLES / "attic-two-way" / side)) for side in ("left", "right"))
    (odd,) = compare(one, other, GRID).odd
    assert odd.way == "woofer"
    assert odd.level_db == pytest.approx(-1.8, abs=0.3)
    assert not odd.sure
    assert compare(one, table(GRID, np.full(GRID.size, 80.0)), GRID).odd == ()
