"""A property test draws the same cases whatever was loaded before it."""

import importlib.util
import sys

from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.internal.conjecture import providers


def drawn() -> list[float]:
    cases = []

    @settings(settings.get_profile("steady"), max_examples=300)
    @given(st.floats(0.0, 1.0))
    def collect(number):
        cases.append(number)

    collect()
    return cases


def test_a_module_loaded_in_between_changes_nothing(tmp_path, monkeypatch):
    before = drawn()
    (tmp_path / "loaded_later.py").write_text("NUMBERS = (0.123, 0.456, 0.789)\n")
    spec = importlib.util.spec_from_file_location("loaded_later", tmp_path / "loaded_later.py")
    later = importlib.util.module_from_spec(spec)
    monkeypatch.setitem(sys.modules, "loaded_later", later)
    if hasattr(providers, "CONSTANTS_CACHE"):  # what was allowed of a range is kept
        monkeypatch.setattr(providers, "CONSTANTS_CACHE", type(providers.CONSTANTS_CACHE)(1024))
    after = drawn()
    assert len(before) > 200
    assert after == before
    assert not {0.123, 0.456, 0.789} & set(after)
