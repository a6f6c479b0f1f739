"""Levels of third octaves: how they scatter, differ and add, by noise that is drawn anew here.

Source of the scatter: Bendat and Piersol, Random Data, ch. 8 (from memory): a mean square of Gaussian noise of
bandwidth B over T seconds has the relative standard deviation 1/sqrt(B T).
"""

import math
from pathlib import Path

import numpy as np
import pytest

from xover.acoustic.bands import (
    Levels,
    again_slips,
    difference,
    levels_of,
    mean_cosine,
    place_scatter_db,
    reading_doubt_db,
    repeat_db,
    scatter_db,
    sums_differ,
    without_silence,
)
from xover.files.band_levels import parse_band_levels

DRAWS = 4000


def levels(values, doubt=0.0):
    return Levels(np.array(values, dtype=float), np.full(len(values), doubt))


def drawn_levels_db(chance, band_hz, seconds):
    """(DRAWS,) levels of Gaussian noise in a third octave: lines 1/T apart, each of a random size."""
    lines = round(band_hz * (10**0.05 - 10**-0.05) * seconds)
    return 10.0 * np.log10(chance.standard_gamma(1.0, (DRAWS, lines)).mean(axis=1))


@pytest.mark.parametrize(("band_hz", "told_db"), [(50.0, 0.40), (100.0, 0.29), (1000.0, 0.09)])
def test_scatter_of_ten_seconds(band_hz, told_db):
    scatter = float(scatter_db([band_hz], 10.0)[0])
    assert round(scatter, 2) == told_db
    seen = drawn_levels_db(np.random.default_rng(int(band_hz)), band_hz, 10.0).std()
    assert seen == pytest.approx(scatter, rel=0.06)  # a standard deviation of 4000 draws: +-2.2 %, 95 %


def test_a_whole_period_does_not_scatter():
    """Noise of a 2 s period has lines at 0.5 Hz; over whole periods each gives its own power, wherever one begins."""
    chance = np.random.default_rng(1)
    rate, period = 4000, 8000
    spectrum = np.zeros(period // 2 + 1, dtype=complex)
    band = slice(round(891.25 * 2), round(1122.0 * 2))
    spectrum[band] = np.exp(2j * math.pi * chance.random(band.stop - band.start))
    wave = np.tile(np.fft.irfft(spectrum), 6)
    starts = chance.integers(0, rate, 50)
    whole = [10 * np.log10(np.mean(wave[s : s + 4 * period] ** 2)) for s in starts]
    part = [10 * np.log10(np.mean(wave[s : s + round(1.3 * rate)] ** 2)) for s in starts]
    assert np.std(whole) < 0.0005 < 0.05 < np.std(part)
    assert scatter_db([1000.0], 8.0, periodic=True)[0] == 0.0


def test_a_reading_a_difference_and_the_step():
    chance = np.random.default_rng(2)
    true = chance.uniform(50, 60, (2, 20_000))
    shown = np.round((true + chance.normal(0, 0.3, true.shape)) / 0.5) * 0.5
    doubt = math.hypot(0.3, 0.5 / math.sqrt(12.0))
    found = difference(levels(shown[0], doubt), levels(shown[1], doubt))
    off = found.level_db - (true[0] - true[1])
    assert np.std(off) == pytest.approx(found.doubt_db[0], rel=0.03)
    assert np.mean(np.abs(off) <= found.within_db) == pytest.approx(0.954, abs=0.01)
    one = reading_doubt_db([1000.0], 10.0, 0.1)
    assert one[0] ** 2 == pytest.approx(1.75 * scatter_db([1000.0], 10.0)[0] ** 2 + 0.01 / 12.0, rel=0.01)
    assert difference(levels([1.0], 3.0), levels([0.0], 4.0), 12.0).doubt_db[0] == pytest.approx(13.0)


def test_silence_is_taken_off_as_power():
    sound, silence = np.array([60.0, 60.0, 60.0]), np.array([50.0, 55.0, math.nan])
    heard = 10 * np.log10(10 ** (sound / 10) + np.nan_to_num(10 ** (silence / 10)))
    found = without_silence(levels(heard, 0.1), Levels(silence, np.full(3, 1.0)))
    np.testing.assert_allclose(found.level_db, 60.0, atol=1e-12)
    assert found.doubt_db[2] == 0.1
    moved = without_silence(levels(heard + 0.01), levels(silence)).level_db - found.level_db
    shifted = without_silence(levels(heard), levels(silence + 0.01)).level_db - found.level_db
    slopes = np.hypot(moved / 0.01 * 0.1, np.nan_to_num(shifted) / 0.01)
    np.testing.assert_allclose(found.doubt_db[:2], slopes[:2], rtol=0.02)
    near = without_silence(levels([56.0, 55.99]), levels([50.0, 50.0])).level_db
    assert near[0] == pytest.approx(56.0 - 1.2563, abs=1e-3)  # -10 lg(1 - 10^-0.6)
    assert math.isnan(near[1])


def test_four_sums_of_two_drivers():
    chance = np.random.default_rng(3)
    low, high = (chance.normal(size=(30, 40)) + 1j * chance.normal(size=(30, 40)) for _ in range(2))
    both = [10 * np.log10(np.mean(np.abs(p) ** 2, axis=1)) for p in (low + high, low - high, low, high)]
    four = [levels(level, 0.1) for level in both]
    found = sums_differ(*four)
    np.testing.assert_allclose(found.level_db, 0.0, atol=1e-12)
    cosine = np.mean((low * np.conj(high)).real, axis=1)
    cosine /= np.sqrt(np.mean(np.abs(low) ** 2, axis=1) * np.mean(np.abs(high) ** 2, axis=1))
    np.testing.assert_allclose(mean_cosine(*both), cosine, atol=1e-12)
    drawn = [Levels(level + chance.normal(0, 0.1, (2000, 30)), np.zeros((2000, 30))) for level in both]
    np.testing.assert_allclose(sums_differ(*drawn).level_db.std(axis=0), found.doubt_db, rtol=0.08)
    mistyped = both[0].copy()
    mistyped[7] += 1.0
    off = sums_differ(levels(mistyped, 0.1), *four[1:])
    assert int(np.argmax(np.abs(off.level_db) / off.doubt_db)) == 7


def test_levels_at_places_in_a_room():
    assert place_scatter_db([1000.0], 0.5)[0] == pytest.approx(5.57 / math.sqrt(1 + 0.238 * 230.8 * 0.5), abs=0.01)


def table(found, again=None, step=0.1, phone="put back"):
    head = (
        f"# seconds 10; step {step}; phone {phone}; noise periodic\nband,found{',again' if again is not None else ''}\n"
    )
    bands = [250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150]
    rows = [f"{band},{one:.2f}" for band, one in zip(bands, found, strict=True)]
    if again is not None:
        rows = [f"{row},{'' if math.isnan(two) else f'{two:.2f}'}" for row, two in zip(rows, again, strict=True)]
    return parse_band_levels(head + "\n".join(rows) + "\n", Path("t.csv"))


def test_repeat_of_a_phone_put_back():
    flat = np.full(12, 60.0)
    usual = repeat_db(table(flat))
    # 1/r: seven millimetres, what 2 cm in any direction are along one on average, at half a metre.
    assert usual[0] == pytest.approx(20 * math.log10(1.0 + 0.007 / 0.5), abs=0.02)
    assert usual[-1] > 2 * usual[0]
    # One putting-back that came out well is no promise of the next.
    assert np.array_equal(repeat_db(table(flat, flat)), usual)
    assert np.array_equal(repeat_db(table(flat, [math.nan] * 11 + [60.0])), usual)
    moved = repeat_db(table(flat, flat + np.array([1, -1] * 6)))
    # Seven bands: Student's t of 7 over that of many, less what steps of 0.1 dB scatter.
    assert moved[6] == pytest.approx(math.sqrt((2.36 / 1.96) ** 2 - 0.02 / 12), abs=1e-6)
    assert repeat_db(table(flat, [61.0] + [math.nan] * 11))[0] == pytest.approx(12.71 / 1.96, rel=1e-3)


def test_a_phone_that_stayed_repeats_as_it_was_read():
    flat = np.full(12, 60.0)
    for again in (None, flat):
        assert not repeat_db(table(flat, again, phone="fixed")).any()
    wobble = flat + 0.3 * np.array([1, -1] * 6)
    told = repeat_db(table(flat, wobble, phone="fixed"))
    assert told[6] == pytest.approx(math.sqrt((0.3 * 2.36 / 1.96) ** 2 - 0.02 / 12), abs=1e-6)


def test_a_slip_speaks_for_no_other_band():
    flat = np.full(12, 60.0)
    mistyped = flat + np.array([0.2, -0.2] * 6)
    usual = repeat_db(table(flat, mistyped, phone="fixed"))
    mistyped[6] = 70.0
    read = table(flat, mistyped, phone="fixed")
    assert list(read.band_hz[again_slips(read)]) == [1000.0]
    assert repeat_db(read)[3] == pytest.approx(usual[3], rel=0.1)
    assert not again_slips(table(flat, flat + 0.4)).any()


def test_levels_of_a_column():
    text = "# seconds 10; step 0.1; noise random\nband,silence,found\n1000,50,60\n2000,,60\n4000,57,60\n"
    read = parse_band_levels(text, Path("t.csv"))
    found = levels_of(read, "found")
    assert found.level_db[0] == pytest.approx(60 - 0.4576, abs=1e-3)  # -10 lg(1 - 10^-1)
    assert found.level_db[1] == 60.0
    assert math.isnan(found.level_db[2])
    assert levels_of(read, "silence").level_db[0] == 50.0
