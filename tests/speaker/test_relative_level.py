"""A response whose header says that its level is relative is not taken for an absolute one in silence."""

import shutil
from pathlib import Path

import pytest

from xover.judge.kinds import Fault
from xover.remark import About
from xover.rules.severity import Severity
from xover.speaker import open_speaker
from xover.studies.desk.check.study import study_check

ATTIC = Path(__file__).parents[2] / "examples" / "attic-two-way"


@pytest.mark.parametrize(
    ("header", "is_told"),
    [
        ("# level relative, for 1 m", True),
        ("# level re 20 uPa for 2.83 V at 1 m", False),
        ("# level relative to 20 uPa", False),
    ],
)
def test_a_relative_level_is_told(tmp_path, header, is_told):
    shutil.copytree(ATTIC, tmp_path / "attic")
    response = tmp_path / "attic" / "left" / "woofer-response.csv"
    response.write_text(f"{header}\n" + response.read_text(encoding="utf-8"), encoding="utf-8")
    speaker = open_speaker(tmp_path / "attic" / "left")
    assert [n.about for n in speaker.drivers["woofer"].notes].count(About.RELATIVE_LEVEL) == is_told
    told = [f for f in study_check(speaker).findings if f.fault is Fault.RELATIVE_LEVEL]
    assert len(told) == is_told
    if is_told:
        assert "line 1" in told[0].text
        assert "--calibrator" in told[0].remedy
        assert told[0].severity is Severity.CAUTION
