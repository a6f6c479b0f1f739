"""An impedance from two channels and a resistor."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import xover
from xover.driver.jig import Across, error_gain, impedance_of_ratio
from xover.errors import InputError, OptionError
from xover.files.tables import read_impedance
from xover.studies.desk.jig.study import study_jig

F = np.geomspace(20.0, 20_000.0, 41)
# Derived by hand: a coil of 0.5 mH and 6 ohm.
Z = 6.0 + 2j * np.pi * F * 0.5e-3


def write(path, ratio, f=F):
    rows = zip(f, 20 * np.log10(np.abs(ratio)), np.degrees(np.angle(ratio)), strict=True)
    path.write_text("Hz,dB,deg\n" + "".join(f"{a:.9g},{b:.9f},{c:.9f}\n" for a, b, c in rows))
    return path


def divided(z, r, across):
    return z / (z + r) if across is Across.DRIVER else r / (z + r)


ohms = st.floats(0.5, 200.0)


@given(ohms, st.floats(-80.0, 80.0), ohms, st.sampled_from(Across))
def test_there_and_back(real, imaginary, reference, across):
    z = np.array([complex(real, imaginary)])
    back = impedance_of_ratio(divided(z, reference, across), reference, across)
    np.testing.assert_allclose(back, z, rtol=1e-9)


@given(ohms, st.floats(-80.0, 80.0), ohms, st.sampled_from(Across), st.floats(0.0, 2 * np.pi))
def test_an_error_of_the_ratio_grows_as_told(real, imaginary, reference, across, angle):
    z = np.array([complex(real, imaginary)])
    h = divided(z, reference, across)
    little = 1e-6 * np.exp(1j * angle)
    moved = impedance_of_ratio(h * (1.0 + little), reference, across)
    np.testing.assert_allclose(np.abs(moved / z - 1.0) / 1e-6, error_gain(h), rtol=1e-3)


def test_an_open_circuit_is_not_known():
    assert np.isnan(impedance_of_ratio(np.array([1.0 + 0j]), 10.0, Across.DRIVER)).all()
    assert np.isnan(impedance_of_ratio(np.array([0.0 + 0j]), 10.0, Across.RESISTOR)).all()


@pytest.mark.parametrize("across", list(Across))
def test_unlike_channels_and_leads_are_taken_off(tmp_path, across):
    skew = 1.07 * np.exp(1j * F / 40_000.0)
    ratio = write(tmp_path / "ratio.csv", divided(Z + 0.2, 22.0, across) * skew)
    both = write(tmp_path / "both.csv", skew)
    study = study_jig(ratio, 22.0, across=across, leads_ohm=0.2, both_file=both)
    np.testing.assert_allclose(study.impedance_ohm, Z, rtol=1e-6)
    assert not any("alike" in w for w in study.warnings)
    careless = study_jig(ratio, 22.0, across=across, leads_ohm=0.2)
    kept = np.isin(np.round(F, 3), np.round(careless.frequency_hz, 3))  # some rows may make no passive impedance
    assert np.abs(careless.impedance_ohm / Z[kept] - 1.0).max() > 0.05
    assert any("measure both on one point" in w for w in careless.warnings)


def test_the_bound_holds_for_channels_as_unlike_as_it_says(tmp_path):
    for skew in (10 ** (0.1 / 20), 10 ** (-0.1 / 20)):
        ratio = write(tmp_path / "ratio.csv", divided(Z, 10.0, Across.DRIVER) * skew)
        study = study_jig(ratio, 10.0, reference_error=0.0)
        off = np.abs(study.impedance_ohm / Z - 1.0)
        assert np.all(off <= study.error_share * 1.1)  # to the first order
        assert off.max() > 0.5 * study.error_share.max()


def test_a_resistor_far_from_the_driver_is_pointed_out(tmp_path):
    study = study_jig(write(tmp_path / "ratio.csv", divided(Z, 1.0, Across.DRIVER)), 1.0)
    assert any("less sure than 5 %" in w for w in study.warnings)
    assert study.worst_share > 0.05


def test_a_known_resistor_tells_whether_the_jig_is_right(tmp_path):
    ratio = write(tmp_path / "ratio.csv", divided(Z, 10.0, Across.DRIVER))
    known = write(tmp_path / "ten.csv", divided(np.full(F.shape, 10.0 + 0j), 10.8, Across.DRIVER))
    study = study_jig(ratio, 10.0, known=(known, 10.0))
    # The true reference is 10.8 ohm: everything reads 10/10.8 of what it is.
    assert study.check.read_ohm == pytest.approx(10.0 * 10.0 / 10.8, rel=1e-6)
    assert study.check.worst_share == pytest.approx(1.0 - 10.0 / 10.8, rel=1e-6)
    assert any("mend the jig" in w for w in study.warnings)


@pytest.mark.parametrize("across", list(Across))
@pytest.mark.parametrize(
    "load", [Z, np.full(F.shape, 8.0 + 0j), 5.0 + 1e5 / (2j * np.pi * F), 6.0 + 30.0 / (1 + 5j * (F / 35.0 - 35.0 / F))]
)
def test_each_miswiring_is_named_and_no_other(tmp_path, across, load):
    """Swapped, turned round, both; and a sound jig is refused by none of them."""
    h = divided(load, 10.0, across)
    assert study_jig(write(tmp_path / "sound.csv", h), 10.0, across=across).impedance_ohm.size == len(F)
    for ratio, words in ((1.0 / h, "channels are swapped:"), (-h, "turned round: its"), (-1.0 / h, "swapped and one")):
        with pytest.raises(InputError, match=words):
            study_jig(write(tmp_path / "ratio.csv", ratio), 10.0, across=across)


def test_both_inputs_on_one_point_are_named(tmp_path):
    with pytest.raises(InputError, match="both channels read the same"):
        study_jig(write(tmp_path / "ratio.csv", np.full(F.shape, 1.001 + 0.002j)), 10.0)


def warned(tmp_path, z, resistor, said=None, **more):
    study = study_jig(write(tmp_path / "ratio.csv", divided(z, resistor, Across.DRIVER)), said or resistor, **more)
    return [w for w in study.warnings if "voice coil" in w]


def test_what_no_voice_coil_shows_is_asked_about(tmp_path):
    """A resistor ten times as large as said; and the second channel across the other part: R^2/Z is passive too."""
    assert not warned(tmp_path, Z, 10.0)
    assert ["below any common voice coil" in w for w in warned(tmp_path, Z, 100.0, 10.0)] == [True]
    assert ["above any common voice coil" in w for w in warned(tmp_path, Z, 10.0, 1000.0)] == [True]
    f = np.geomspace(20.0, 20_000.0, 81)
    woofer = 6.2 + 30.0 / (1 + 5j * (f / 35.0 - 35.0 / f)) + 2j * np.pi * f * 0.4e-3
    behind_capacitor = 6.0 + 1j * (2 * np.pi * f * 0.05e-3 - 1 / (2 * np.pi * f * 4.7e-6))
    for z, across, count in (
        (woofer, Across.RESISTOR, 1),
        (woofer, Across.DRIVER, 0),
        (behind_capacitor, Across.DRIVER, 0),
    ):
        ratio = write(tmp_path / "ratio.csv", divided(z, 10.0, Across.DRIVER), f)
        study = study_jig(ratio, 10.0, across=across)
        assert sum("reads as a capacitance" in w for w in study.warnings) == count


def test_leads_that_are_more_than_is_measured(tmp_path):
    ratio = write(tmp_path / "ratio.csv", divided(Z, 10.0, Across.DRIVER))
    with pytest.raises(OptionError, match="more than most rows measure"):
        study_jig(ratio, 10.0, leads_ohm=20.0)


def test_open_and_short_in_each_others_place(tmp_path):
    """They would turn every impedance over, and with the known resistor like the jig's own nothing else tells."""
    paths = [write(tmp_path / f"{i}.csv", h * np.ones(F.shape)) for i, h in enumerate((0.999, 0.01, 0.5))]
    ratio = write(tmp_path / "ratio.csv", divided(Z, 10.0, Across.DRIVER))
    study = study_jig(ratio, 10.0, open_file=paths[0], short_file=paths[1], known=(paths[2], 10.0))
    assert np.abs(study.impedance_ohm / Z - 1.0).max() < 0.15
    with pytest.raises(InputError, match="the open reads less than the short"):
        study_jig(ratio, 10.0, open_file=paths[1], short_file=paths[0], known=(paths[2], 10.0))


def test_a_driver_that_warms_up_between_takes(tmp_path):
    """Three takes with Re 6.0, 6.1, 6.2: the mean is told, its scatter, and how sure that makes it."""
    takes = [write(tmp_path / f"{r}.csv", divided(Z + r, 10.0, Across.DRIVER)) for r in (0.0, 0.1, 0.2)]
    one = study_jig(takes[0], 10.0)
    study = study_jig(takes[0], 10.0, again=takes[1:])
    ratios = np.array([divided(Z + r, 10.0, Across.DRIVER) for r in (0.0, 0.1, 0.2)])
    spread = np.sqrt((np.abs(ratios - ratios.mean(axis=0)) ** 2).sum(axis=0) / 2)
    assert study.scatter_share == pytest.approx((spread / np.abs(ratios.mean(axis=0))).max(), rel=1e-6)
    np.testing.assert_allclose(study.impedance_ohm, Z + 0.1, rtol=1e-3)
    more = study.error_share - one.error_share
    low = F < 100.0  # 0.1 ohm of 6 ohm, by the root of three, twice
    np.testing.assert_allclose(more[low], 2 * 0.1 / 6.1 / np.sqrt(3), rtol=0.02)


def test_a_gain_and_a_crosstalk_move_the_impedance_as_the_formulas_say():
    """dZ/Z = e (1 + Z/R): 7.2 % for 0.1 dB at 52 ohm with 10 ohm; crosstalk k of both channels: 3 k at Z = R."""
    h = np.array([52.0 / 62.0 + 0j])
    e = 1e-3 * (10 ** (0.1 / 20) - 1.0)  # to the first order
    moved = impedance_of_ratio(h * (1 + e), 10.0, Across.DRIVER)[0].real
    assert (moved / 52.0 - 1.0) / 1e-3 == pytest.approx(0.072, abs=3e-4)
    k = 1e-4
    both = np.array([(0.5 + k) / (1 + 0.5 * k) + 0j])
    assert abs(impedance_of_ratio(both, 10.0, Across.DRIVER)[0] / 10.0 - 1.0) == pytest.approx(3 * k, rel=1e-3)


def test_swapped_channels_are_refused(tmp_path):
    ratio = write(tmp_path / "ratio.csv", 1.0 / divided(Z, 10.0, Across.DRIVER))
    with pytest.raises(InputError, match="swap the channels") as caught:
        study_jig(ratio, 10.0)
    assert caught.value.path == ratio


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"reference_ohm": 0.0}, "reference_ohm is 0.0; give 0.01 to 100000 ohm"),
        ({"leads_ohm": -1.0}, "leads_ohm is -1.0; give 0 to 100 ohm"),
        ({"known": ("ten.csv", 0.0)}, "known: a resistor of 0 ohm"),
    ],
)
def test_values_that_cannot_be(tmp_path, change, words):
    ratio = write(tmp_path / "ratio.csv", divided(Z, 10.0, Across.DRIVER))
    given = {"reference_ohm": 10.0, **change}
    with pytest.raises(OptionError, match=re.escape(words)):
        xover.jig(ratio, given.pop("reference_ohm"), **given)


def test_no_phase_is_refused(tmp_path):
    path = tmp_path / "ratio.csv"
    path.write_text("Hz,dB\n" + "".join(f"{f:.6g},-6\n" for f in F))
    with pytest.raises(InputError, match="has no phase"):
        study_jig(path, 10.0)


def test_the_table_reads_back(tmp_path):
    study = study_jig(write(tmp_path / "ratio.csv", divided(Z, 10.0, Across.DRIVER)), 10.0)
    (tmp_path / "z.csv").write_text(study.table)
    curve, warnings = read_impedance(tmp_path / "z.csv", "measured")
    assert not warnings
    np.testing.assert_allclose(curve.value, Z, rtol=1e-5)
    np.testing.assert_allclose(curve.stated.frequency_hz, curve.frequency_hz)
    np.testing.assert_allclose(curve.stated.share, study.error_share, rtol=5e-3)
