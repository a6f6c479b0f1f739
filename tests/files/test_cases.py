"""Case folders: adding a case is adding a file and, beside it, what is expected of it.

`valid/NAME` with `NAME.json`: the numbers and warnings that must come out.
`invalid/NAME` with `NAME.expected`: the wanted quantity, then pieces of the message, one a line.
All data here are invented; the expected numbers were typed, not calculated by the reader.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from xover.errors import InputError
from xover.files.tables import read_table

CASES = Path(__file__).parent / "cases"
VALID = sorted(p for p in (CASES / "valid").iterdir() if p.suffix in (".txt", ".csv"))
INVALID = sorted(p for p in (CASES / "invalid").iterdir() if p.suffix in (".txt", ".csv"))


def test_folders_are_not_empty() -> None:
    assert len(VALID) >= 30
    assert len(INVALID) >= 45


def test_every_expectation_has_its_case() -> None:
    expected = {p.stem for p in (CASES / "valid").glob("*.json")} | {
        p.stem for p in (CASES / "invalid").glob("*.expected")
    }
    assert expected == {p.name for p in VALID + INVALID}


@pytest.mark.parametrize("path", VALID, ids=lambda p: p.name)
def test_valid(path: Path) -> None:
    expected = json.loads(path.with_name(path.name + ".json").read_text(encoding="utf-8"))
    table = read_table(path, expected["quantity"])
    assert table.quantity == expected["quantity"]
    np.testing.assert_allclose(table.frequency_hz, expected["frequency_hz"], rtol=1e-12)
    np.testing.assert_allclose(table.magnitude, expected["magnitude"], rtol=1e-12)
    if expected["phase_deg"] is None:
        assert table.phase_deg is None
    else:
        assert table.phase_deg is not None
        # Radians in the cases are rounded to six places: 1e-6 rad = 6e-5 degrees.
        np.testing.assert_allclose(
            table.phase_deg, expected["phase_deg"], rtol=1e-12, atol=expected.get("phase_atol_deg", 0.0)
        )
    assert len(table.warnings) == len(expected["warnings"]), table.warnings
    for warning, fragment in zip(table.warnings, expected["warnings"], strict=True):
        assert fragment in warning


@pytest.mark.parametrize("path", INVALID, ids=lambda p: p.name)
def test_invalid(path: Path) -> None:
    quantity, *fragments = path.with_name(path.name + ".expected").read_text(encoding="utf-8").splitlines()
    assert fragments
    with pytest.raises(InputError) as caught:
        read_table(path, "ohm" if quantity == "ohm" else "dB")
    text = str(caught.value)
    assert text.startswith(str(path))
    assert "\n" not in text
    for fragment in fragments:
        assert fragment in text
