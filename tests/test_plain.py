"""Results as plain JSON values."""

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from xover.curve import Evidence
from xover.plain import to_plain


@dataclass(frozen=True)
class Inner:
    level_db: np.ndarray
    where: Path


@dataclass(frozen=True)
class Shaped:
    def plain(self):
        return {"shape": Inner(np.array([1.0]), Path("a"))}


def test_everything_becomes_json():
    value = {
        "inner": Inner(np.array([1.5, np.nan, -np.inf]), Path("x") / "y"),
        "shaped": Shaped(),
        "rows": np.array([[1.0, np.inf], [2.0, 3.0]]),
        "counts": np.array([1, 2]),
        "flags": [True, None, np.float64(2.5), np.bool_(False), np.int64(7)],
        "evidence": Evidence.MEASURED,
        3: float("nan"),
    }
    assert json.loads(json.dumps(to_plain(value), allow_nan=False)) == {
        "inner": {"level_db": [1.5, None, None], "where": str(Path("x") / "y")},
        "shaped": {"shape": {"level_db": [1.0], "where": "a"}},
        "rows": [[1.0, None], [2.0, 3.0]],
        "counts": [1, 2],
        "flags": [True, None, 2.5, False, 7],
        "evidence": "measured",
        "3": None,
    }


@pytest.mark.parametrize("value", [1 + 2j, np.array([1j]), object()])
def test_what_has_no_json_is_refused(value):
    with pytest.raises(TypeError, match="no JSON for"):
        to_plain(value)
