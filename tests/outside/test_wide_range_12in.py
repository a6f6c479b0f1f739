"""The wide-range 12-inch measurement set: real sweeps with their traps left in.

The files lie in tests/data with their licence and their source. Their own note says what to expect: about 5.5 ohm at
DC and a peak of 67 ohm at 57 Hz (open baffle), 6.6 ohm and 188 ohm at 51 Hz (second driver);
rows that repeat their values below 5 Hz; responses on a
linear grid of 5 Hz from 0 Hz, of relative level.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from xover.curve import Evidence
from xover.errors import InputError
from xover.files.tables import parse_table, read_impedance, read_response, read_table
from xover.judge.beside import Trouble
from xover.judge.health import Side, driver_health
from xover.rules.instruments import Instrument
from xover.speaker import PhaseSource, SpeakerDriver

FOLDER = Path(__file__).resolve().parents[1] / "data" / "wide-range-12in"
pytestmark = pytest.mark.outside
IMPEDANCES = sorted(FOLDER.glob("*.zma"))
RESPONSES = sorted(FOLDER.glob("*.frd"))


def test_the_set_is_whole() -> None:
    assert len(IMPEDANCES) == 2
    assert len(RESPONSES) == 2


@pytest.mark.parametrize(("index", "dc_ohm", "peak_hz", "peak_ohm"), [(0, 5.5, 57.0, 67.0), (1, 6.6, 51.0, 188.0)])
def test_impedance(index: int, dc_ohm: float, peak_hz: float, peak_ohm: float) -> None:
    curve, warnings = read_impedance(IMPEDANCES[index], Evidence.MEASURED)
    assert warnings == ()  # equal values on different frequencies are no repeated rows
    assert curve.frequency_hz.size == 344
    size = np.abs(curve.value)
    # The note rounds to two or three figures.
    assert size[0] == pytest.approx(dc_ohm, rel=0.02)
    assert size.max() == pytest.approx(peak_ohm, rel=0.01)
    assert curve.frequency_hz[size.argmax()] == pytest.approx(peak_hz, rel=0.03)


def test_health_of_two_drivers_that_are_not_of_one_kind() -> None:
    """Read off their peaks: 67/5.5 and 188/6.6. The peak of the second is smeared, so that its shape tells no mass."""
    curves = [read_impedance(path, Evidence.MEASURED)[0] for path in IMPEDANCES]
    drivers = [
        SpeakerDriver("d", z, None, PhaseSource.NONE, None, None, {}, None, None, (), Instrument.CALIBRATED)
        for z in curves
    ]
    found = driver_health(*drivers)
    assert found is not None
    assert found.rise == pytest.approx(67.0 / 5.5, rel=0.1)
    assert found.held[0].rise == pytest.approx(188.0 / 6.6, rel=0.03)
    assert (found.side, found.trouble) == (Side.EITHER, (Trouble.REPLACED,))
    for driver in drivers:
        alone = driver_health(driver)
        assert alone is not None
        assert alone.side is Side.NONE


@pytest.mark.parametrize("path", RESPONSES, ids=range(len(RESPONSES)))
def test_response(path: Path) -> None:
    curve, warnings = read_response(path, Evidence.MEASURED)
    assert warnings == ("line 1: the row at 0 Hz is left out (the frequency axis is logarithmic)",)
    assert curve.frequency_hz.size == 4410
    np.testing.assert_array_equal(np.diff(curve.frequency_hz), 5.0)
    rows = np.loadtxt(path)[1:]
    np.testing.assert_allclose(curve.level_db, rows[:, 1], rtol=1e-9, atol=1e-9)
    apart = (np.degrees(np.angle(curve.value)) - rows[:, 2] + 180.0) % 360.0 - 180.0
    assert np.abs(apart).max() < 1e-6
    assert np.abs(rows[:, 2]).max() > 1000.0  # unwrapped far beyond a turn, and accepted


@pytest.mark.parametrize("path", IMPEDANCES + RESPONSES, ids=range(len(IMPEDANCES + RESPONSES)))
@pytest.mark.parametrize("trap", ["radians", "kHz"])
def test_wrong_units_are_caught(path: Path, trap: str) -> None:
    quantity = "ohm" if path.suffix == ".zma" else "dB"
    rows = np.array(np.loadtxt(path))
    rows = rows[rows[:, 0] > 0]
    if trap == "radians":
        rows[:, 2] = np.angle(np.exp(1j * np.radians(rows[:, 2])))
    else:
        rows[:, 0] /= 1000.0
    text = "\n".join(" ".join(f"{x:.6g}" for x in row) for row in rows)
    with pytest.raises(InputError, match=f"looks like {trap}"):
        parse_table(text, Path("t.txt"), "ohm" if quantity == "ohm" else "dB")


def test_impedance_given_as_response_of_relative_level_is_refused() -> None:
    with pytest.raises(InputError, match=r":2: the impedance -.* ohm is not above 0; .* the right file is named"):
        read_table(RESPONSES[0], "ohm")


@pytest.mark.parametrize("path", IMPEDANCES, ids=range(len(IMPEDANCES)))
def test_impedance_given_as_response_is_refused(path: Path) -> None:
    with pytest.raises(InputError, match="the phase keeps within 90 degrees, as of an impedance in ohm"):
        read_response(path, Evidence.MEASURED)


@pytest.mark.parametrize("path", IMPEDANCES, ids=range(len(IMPEDANCES)))
def test_other_dialects_of_the_same_sweep_are_the_same_curve(path: Path) -> None:
    plain, _ = read_impedance(path, Evidence.MEASURED)
    rows = [
        f'"{float(f)!r}","{float(z.real)!r}","{float(z.imag)!r}"'
        for f, z in zip(plain.frequency_hz, plain.value, strict=True)
    ][::-1]
    table = parse_table("\n".join(["2nd run", "Hz,Re (ohm),Im (ohm)", *rows]), path, "ohm")
    assert table.phase_deg is not None
    np.testing.assert_array_equal(table.frequency_hz, plain.frequency_hz)
    np.testing.assert_allclose(table.magnitude * np.exp(1j * np.radians(table.phase_deg)), plain.value, rtol=1e-12)
    assert [words for words in table.warnings if "turned round" in words] == list(table.warnings)
