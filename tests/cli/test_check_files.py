"""What check tells of each file: rows, band, lines that did not read, gaps. All data are invented."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from xover.blocks import Items
from xover.curve import log_grid
from xover.speaker import open_speaker
from xover.studies.desk.check.files import gaps_of, sweep_files, told_files

EXAMPLE = Path(__file__).parents[2] / "examples" / "attic-two-way"
TABLE = "woofer-impedance.csv"
FIRST = 4
"""Line of its first row."""


def mangled(tmp_path: Path, slip: Callable[[str], str]) -> Path:
    """The attic's left speaker, 199 of its woofer's 575 rows mangled."""
    folder = shutil.copytree(EXAMPLE, tmp_path / "attic") / "left"
    lines = (folder / TABLE).read_text(encoding="utf-8").splitlines()
    for place in np.random.default_rng(1).choice(np.arange(FIRST - 1, len(lines)), 199, replace=False):
        lines[place] = slip(lines[place])
    (folder / TABLE).write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def test_a_third_of_the_rows_behind_a_letter_is_refused(tmp_path: Path, run) -> None:
    """It once read as a sound sweep of the rest, and Qms fell from 4.33 to 2.98."""
    done = run("check", mangled(tmp_path, lambda row: "x" + row))
    assert done.status == 2
    assert f"{TABLE}:" in done.err
    assert "is not a number; correct it" in " ".join(done.err.split())


def test_a_third_of_the_rows_behind_a_comment_s_mark_is_counted(tmp_path: Path, run) -> None:
    folder = mangled(tmp_path, lambda row: "# " + row)
    done = run("check", folder)
    said = " ".join(done.out.split())
    assert f"- {TABLE}: 376 rows, 10 Hz to 40 kHz; 199 lines not read: " in said
    assert "Warnings: a result is wrong or doubtful" in said
    told = json.loads(run("check", folder, "--json").out)["files"][0]
    assert (told["file"], told["rows"], told["not_read"], told["others"]) == (TABLE, 376, 199, 3)
    lines = (folder / TABLE).read_text(encoding="utf-8").splitlines()
    assert lines[int(told["lines_not_read"].replace("-", ",").split(",")[0]) - 1].startswith("# 1")
    assert len(told["gaps"]) > 20


def test_rows_of_a_terminal_sweep_behind_a_mark_are_told(tmp_path: Path, run) -> None:
    lines = (EXAMPLE / "left" / "terminals-found.csv").read_text(encoding="utf-8").splitlines()
    lines[10:500:3] = ["# " + line for line in lines[10:500:3]]
    (tmp_path / "t.csv").write_text("\n".join(lines), encoding="utf-8")
    done = run("compare", tmp_path / "t.csv", EXAMPLE / "left" / "terminals-found.csv")
    said = " ".join((done.out + done.err).split())
    assert "t.csv: lines 11, 14, 17, 20, 23 and 159 more: '# " in said
    assert "stand among the rows: they were left out as comments" in said


def test_every_file_of_the_examples_reads_whole() -> None:
    for name in ("attic-two-way/left", "attic-two-way/right", "hall-horn-two-way", "studio-three-way"):
        folder = EXAMPLE.parent / name
        for file in sweep_files(open_speaker(folder)):
            text = (folder / file.file).read_text(encoding="utf-8")
            assert file.rows + file.others == len(text.splitlines())
            assert (file.not_read, file.gaps) == ((), ())


def test_many_files_are_told_in_few_lines() -> None:
    files = sweep_files(open_speaker(EXAMPLE.parent / "studio-three-way"))
    (_, short), (_, whole) = told_files(files, False), told_files(files, True)
    assert isinstance(short, Items)
    assert isinstance(whole, Items)
    assert len(short.items) == 5
    assert short.items[-1] == "and 2 more files, every row of them read: see --all"
    assert len(whole.items) == len(files) == 6


def test_how_sure_a_file_says_that_it_is(tmp_path: Path) -> None:
    folder = shutil.copytree(EXAMPLE, tmp_path / "attic") / "left"
    head, *rows = (folder / TABLE).read_text(encoding="utf-8").splitlines()[FIRST - 2 :]
    sure = "".join(f"{row},{'3.1' if row.startswith('10.1455') else '0.4'}\n" for row in rows)
    (folder / TABLE).write_text(f"{head},uncertainty (%)\n{sure}", encoding="utf-8")
    first, *others = sweep_files(open_speaker(folder))
    assert "sure to 3.1 % at worst, at 10.1 Hz, as it says itself" in first.told(False)
    assert first.plain()["stated_uncertainty"] == pytest.approx(0.031)
    assert not any("sure to" in file.told(True) for file in others)


LINEAR, LOG = np.arange(1.0, 2001.0) * 12.0, log_grid(10.0, 40e3, 48)
MIXED = np.concatenate([np.arange(10.0, 400.0, 5.0), log_grid(400.0, 20e3, 48)])
THIRDS = np.array([20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600.0])


EVEN = {"linear": LINEAR, "log": LOG, "rounded": np.round(LOG, 1), "mixed": MIXED, "thirds": THIRDS}


@pytest.mark.parametrize("f", EVEN.values(), ids=EVEN)
def test_even_steps_have_no_gap(f: np.ndarray) -> None:
    assert gaps_of(f) == ()


@pytest.mark.parametrize("f", [LINEAR, LOG, MIXED], ids=["linear", "log", "mixed"])
@pytest.mark.parametrize(("first", "count"), [(20, 1), (45, 6)])
def test_rows_that_are_missing_are_a_gap(f: np.ndarray, first: int, count: int) -> None:
    (gap,) = gaps_of(np.delete(f, slice(first, first + count)))
    assert (gap.from_hz, gap.to_hz) == (f[first - 1], f[first + count])
    assert gap.times == pytest.approx(count + 1, rel=0.15)
