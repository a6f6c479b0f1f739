"""Headers that deny a common time reference are heard, and those that affirm one or speak of something else are not."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from xover.files.table_dialect import split_table
from xover.files.table_header import denied_reference
from xover.files.tables import parse_table
from xover.remark import About, Remark
from xover.speaker import open_speaker

ROWS = "\n".join(f"{f} {80 + f / 100:.1f} {-f / 10:.1f}" for f in range(100, 1700, 100))
ATTIC = Path(__file__).parents[2] / "examples" / "attic-two-way" / "left"


@pytest.mark.parametrize(
    "header",
    [
        "* no timing reference",
        "* Timing reference: none",
        "# measured without loopback",
        "! measured without a loop-back, 48 kHz",
        "* time reference = off",
        "* loopback: not used",
        "; Loopback not connected",
        "* no common time reference between the drivers",
        "* time reference is missing",
        '"No timing reference"',
        "* not time-referenced",
        "* timing_reference: false",
        "* TIMING REFERENCE   NONE",
    ],
)
def test_a_denial_is_heard(header: str) -> None:
    line = denied_reference(split_table(f"* invented\n{header}\n{ROWS}"))
    assert line is not None
    assert line.number == 2


@pytest.mark.parametrize(
    "header",
    [
        "* timing reference: loopback",
        "* time reference: no. 2 channel",
        "* acoustic timing reference",
        "* loopback: on",
        "* with loopback, no smoothing",
        "* no smoothing; timing reference common",
        "* nothing of note, time base common",
        "Hz dB deg",
    ],
)
def test_anything_else_is_not(header: str) -> None:
    assert denied_reference(split_table(f"* invented\n{header}\n{ROWS}")) is None


def test_it_is_a_value_of_a_response_with_phase_alone() -> None:
    text = f"* no timing reference\n{ROWS}"
    (said,) = parse_table(text, Path("r.txt"), "dB").warnings
    assert isinstance(said, Remark)
    assert said.about is About.NO_TIME_REFERENCE
    assert said.startswith("line 1: the header says that the sweep has no time reference")
    assert not said.about.of_impedance
    levels = "\n".join(row.rsplit(" ", 1)[0] for row in ROWS.split("\n"))
    assert parse_table(f"* no timing reference\n{levels}", Path("r.txt"), "dB").warnings == ()


def test_a_speaker_hears_it_where_it_claims_a_common_reference(tmp_path: Path) -> None:
    folder = tmp_path / "left"
    shutil.copytree(ATTIC.parent, tmp_path, dirs_exist_ok=True)
    response, toml = folder / "woofer-response.csv", folder / "speaker.toml"
    response.write_text("# timing reference: none\n" + response.read_text(encoding="utf-8"), encoding="utf-8")
    abouts = [note.about for note in open_speaker(folder).drivers["woofer"].notes]
    assert abouts == [About.NO_TIME_REFERENCE]
    said = toml.read_text(encoding="utf-8")
    assert 'timing = "common"' in said
    toml.write_text(said.replace('timing = "common"', 'timing = "unknown"'), encoding="utf-8")
    assert open_speaker(folder).drivers["woofer"].notes == ()
