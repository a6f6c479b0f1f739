"""A share of the 10,000 inputs of `hostile_inputs.py`; and whether it notices what it looks for."""

import os
import random
import signal
import sys
import warnings
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

if not hasattr(os, "fork"):
    pytest.skip("processes cannot fork here", allow_module_level=True)

from hostile_inputs import FAULTS, Counts, attempted, outcomes
from invented.hostile import INPUTS, Attempt, Box

import xover.cli.main


def test_a_share_of_the_inputs() -> None:
    counts = Counts()
    for outcome in outcomes(range(20_000, 20_040), warm=False):
        counts.add(outcome)
    assert not counts.faults
    assert counts.ended["done"] + counts.ended["refused in one line"] + counts.ended["limit broken"] == 40
    assert counts.ended["done"] > 10
    assert counts.ended["refused in one line"] > 10
    assert {kind for kind, _ in counts.by_kind} == set(INPUTS)


def _burn() -> int:
    while True:
        pass


def _misbehaved(fault: str, box: Box) -> int:
    if fault == "refused, but not in one line":
        print("error: a\nb", file=sys.stderr)
        return 2
    if fault == "over 500 MB":
        return len(bytearray(600 * 1024**2)) * 0
    if fault == "something in the folder changed":
        (box.speaker / "speaker.toml").write_text("")
    elif fault == "something written outside":
        (box.beside / "outside").write_text("x")
    elif fault == "something outside quoted":
        print((box.above / "beside.txt").read_text())
    elif fault == "a Python warning":
        warnings.warn("odd", RuntimeWarning, stacklevel=1)
    elif fault == "traceback":
        raise ValueError
    elif fault == "killed":
        os.kill(os.getpid(), signal.SIGKILL)
    elif fault == "over 5 s":
        _burn()
    return 3 if fault == "status 3" else 0


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_is_noticed(fault: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    box = Box(tmp_path.resolve())
    monkeypatch.setattr(xover.cli.main, "main", lambda _: _misbehaved(fault, box))
    monkeypatch.setattr("hostile_inputs.MOST_SECONDS", 0.2)
    monkeypatch.setattr("hostile_inputs.STOPPED_AFTER_S", 1)
    counts = Counts()
    counts.add(attempted(Attempt("none", []), box, 0))
    assert fault in counts.faults


def test_good_conduct_is_no_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    box = Box(tmp_path.resolve())

    def good(_: list[str]) -> int:
        (box.work / "out.svg").write_text("x")
        return 0

    monkeypatch.setattr(xover.cli.main, "main", good)
    assert attempted(Attempt("none", [], ("work/out.svg",)), box, 0).faults == ()
    box.fill(random.Random(0))
    assert attempted(Attempt("none", []), box, 0).faults == ("something written outside",)
