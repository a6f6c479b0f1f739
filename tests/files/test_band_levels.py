"""Typed levels of third octaves: what is read, in which dialects, and what is refused with file, line and remedy.

All tables here are invented. The names of the bands are those of ISO 266, from memory.
"""

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from xover.errors import InputError
from xover.files.band_levels import parse_band_levels, read_band_levels

HERE = Path("levels.csv")
SETTINGS = "# seconds 10; step 0.1; place 0.5 m, tweeter axis; noise periodic\n"
TABLE = SETTINGS + "band Hz, silence, found, again, reversed\n1000, 31.2, 62.4, 62.3,\n500, , 60.1, 60.2, 48\n"
BANDS = [20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500]
BANDS += [3150, 4000, 5000, 6300, 8000, 10_000, 12_500, 16_000, 20_000]


def read(text):
    return parse_band_levels(text, HERE)


def test_the_table_of_the_guide(tmp_path):
    path = tmp_path / "levels.csv"
    path.write_text(TABLE)
    table = read_band_levels(path)
    assert (table.seconds, table.step_db, table.place, table.periodic) == (10.0, 0.1, "0.5 m, tweeter axis", True)
    assert table.assumed == ()
    assert table.source == str(path)
    np.testing.assert_array_equal(table.band_hz, [500.0, 1000.0])
    assert list(table.columns) == ["silence", "found", "again", "reversed"]
    np.testing.assert_array_equal(table.columns["silence"], [math.nan, 31.2])
    np.testing.assert_array_equal(table.columns["reversed"], [48.0, math.nan])
    np.testing.assert_array_equal(table.line, [4, 3])
    assert (table.again_of, table.named) == ("found", ("found",))
    assert (table.ledger.lines, table.ledger.rows, table.ledger.others, table.ledger.blank) == (4, 2, 2, 0)


def test_every_band_is_known():
    table = read("band,found\n" + "".join(f"{hz:g},60\n" for hz in reversed(BANDS)))
    np.testing.assert_array_equal(table.band_hz, BANDS)


@pytest.mark.parametrize(
    "text",
    [
        "band Hz;found;again\n31,5;62,4;\n1,6k;60;61,5\n",
        "Band Hz\tfound\tAgain\n31,5\t62,4\t\n1600\t60\t61,5\n",
        '"band Hz","found","again"\n"31,5","62,4",""\n"1600","60","61,5"\n',
        "band (Hz),found,again,\n31.5 Hz,62.4 dB,,\n1.6 kHz,60,61.5,\n\n",
    ],
)
def test_dialects(text):
    for whole in (text, text.encode("utf-8-sig").decode("utf-8"), text.replace("\n", "\n\n")):
        table = read(whole.removeprefix("\ufeff"))
        np.testing.assert_array_equal(table.band_hz, [31.5, 1600.0])
        np.testing.assert_array_equal(table.columns["found"], [62.4, 60.0])
        np.testing.assert_array_equal(table.columns["again"], [math.nan, 61.5])


def test_what_is_not_said_is_assumed_and_told():
    table = read("band,found\n1000,62\n2000,61\n")
    assert (table.seconds, table.step_db, table.place, table.periodic) == (2.0, 1.0, "", False)
    assert not table.fixed
    assert read("# phone fixed; step 1\nband,found\n1000,62\n").fixed
    assert [word in told for word, told in zip(("2 s", "1 dB", "random"), table.assumed, strict=True)] == [True] * 3
    assert read("band,found\n1000,62.5\n").step_db == 0.1
    assert read("# step=0,5\n# noise: random\n# note nothing; seconds 4\nband,found\n1000,62\n").assumed == ()
    spread = read('"# seconds 10; step 0.1; noise periodic",,\nband,found,\n1000,62,\n')
    assert (spread.seconds, spread.periodic) == (10.0, True)


def test_again_and_what_belongs_to_which():
    table = read("band,woofer,found,again,original,reversed\n1000,1,2,3,4,5\n")
    assert table.again_of == "found"
    assert table.before("reversed", ["found", "original"]) == "original"
    assert table.before("reversed", ["found"]) == "found"
    assert table.before("again", ["original"]) == "original"
    assert table.before("again", []) is None


@pytest.mark.parametrize(
    ("text", "line", "problem", "remedy"),
    [
        ("", None, "no header", "begin it with"),
        (SETTINGS, None, "no header", "begin it with"),
        ("1000,62\n", 1, "where the header belongs", "band Hz"),
        ("level,found\n1000,62\n", 1, "first column is 'level'", "band in Hz"),
        ("band\n1000\n", 1, "no column of levels", "band Hz"),
        ("band,found,Found\n1000,62,62\n", 1, "'Found' twice", "keep one"),
        ("band,,found\n1000,62,62\n", 1, "column 2 has no name", "what played"),
        ("band,62,found\n1000,62,62\n", 1, "named by a number", "what played"),
        ("band,silence,again\n1000,62,62\n", 1, "none that played", "move it"),
        ("band,again\n1000,62\n", 1, "none that played", "move it"),
        ("band,found\n1000,\n", None, "no level", "type the levels"),
        ("band,found\n1010,62\n", 2, "no third octave", "write 1000 if"),
        ("band,found\n31,62\n", 2, "no third octave", "write 31.5 if"),
        ("band,found\n700,62\n", 2, "no third octave", "20, 25, 31.5"),
        ("band,found\n-1000,62\n", 2, "no third octave", "20, 25, 31.5"),
        ("band;found\n1,000;62\n", 2, "thousand or a decimal comma", "no thousands"),
        ("band,found\nx,62\n", 2, "'x' is no band", "name in Hz"),
        ("band,found\n1000,62\n\n1k,61\n", 4, "1000 Hz again, as in line 2", "keep one"),
        ("band,found\n1000,141\n", 2, "141 dB in column found", "-20 to 140"),
        ("band,found\n1000,-20.1\n", 2, "no level", "-20 to 140"),
        ("band,found\n1000,nan\n", 2, "'nan' in column found", "leave the cell empty"),
        ("band,found\n1000,1e9\n", 2, "is no number", "leave the cell empty"),
        ("band,found\n1000,62,4\n", 2, "3 cells where the header has 2", "semicolons"),
        ("band,found,again\n1000,62\n", 2, "2 cells where the header has 3", "keep its separator"),
        ("band;found\n1000;62,4\n500;62.4\n", 3, "decimal point, and line 2", "one decimal mark"),
        ('band,found\n1000,"62\n', 2, "does not pair up", "double it"),
        ("# secs 10\nband,found\n1000,62\n", 1, "unknown word 'secs'", "seconds"),
        ("# my kitchen\nband,found\n1000,62\n", 1, "unknown word 'my'", "'# note'"),
        ("# seconds 0\nband,found\n1000,62\n", 1, "seconds is '0'", "above 0"),
        ("# seconds\nband,found\n1000,62\n", 1, "says nothing", "# seconds 10"),
        ("# step 6\nband,found\n1000,62\n", 1, "step is '6'", "up to 3"),
        ("# step 1\n# step 2\nband,found\n1000,62\n", 2, "'step' again, as line 1", "keep one"),
        ("# phone moved\nband,found\n1000,62\n", 1, "phone is 'moved'", "fixed or put back"),
        ("# noise pink\nband,found\n1000,62\n", 1, "noise is 'pink'", "periodic or random"),
    ],
)
def test_refused_with_line_and_remedy(text, line, problem, remedy):
    with pytest.raises(InputError) as told:
        read(text)
    assert (told.value.path, told.value.line) == (HERE, line)
    assert problem in told.value.problem
    assert remedy in told.value.remedy


def test_all_faulty_lines_at_once():
    with pytest.raises(InputError, match=r"levels.csv:1: has the unknown word.*line 3: .*line 4: "):
        read("# x 1\nband,found\n1,62\n1000,a\n")


def test_no_table_at_all(tmp_path):
    for name, data, problem in (
        ("a.m4a", b"x", "recording"),
        ("a.csv", b"\0\1\0\0\0\0", "not a text file"),
        ("b.csv", b"x" * 2_000_000, "larger than 1 MB"),
        ("c.csv", b"\n" * 3000, "more than 2000 lines"),
    ):
        (tmp_path / name).write_bytes(data)
        with pytest.raises(InputError, match=problem):
            read_band_levels(tmp_path / name)
    with pytest.raises(InputError, match="does not exist"):
        read_band_levels(tmp_path / "none.csv")


LEVEL = st.one_of(st.none(), st.integers(-200, 1400).map(lambda tenths: tenths / 10))
NAME = st.text("abcdefghijklmnopqrstuvwxyz", min_size=3, max_size=12)


@settings(max_examples=40)
@given(
    bands=st.lists(st.sampled_from(BANDS), min_size=1, unique=True),
    names=st.lists(NAME, min_size=1, max_size=5, unique=True),
    dialect=st.sampled_from([",.", ";.", ";,", "\t,"]),
    periodic=st.booleans(),
    data=st.data(),
)
def test_what_is_written_is_read(bands, names, dialect, periodic, data):
    separator, mark = dialect
    rows = [[data.draw(LEVEL) for _ in names] for _ in bands]
    rows[0][0] = 60.0
    if "again" in names:
        names = [f"{name}s" for name in names]
    text = [
        f"# seconds 12; step 0.5; noise {'periodic' if periodic else 'random'}",
        separator.join(["band Hz", *names]),
    ]
    for band, row in zip(bands, rows, strict=True):
        cells = ["" if level is None else f"{level:g}" for level in row]
        text.append(separator.join([f"{band:g}", *cells]).replace(".", mark))
    table = read("\n".join(text))
    order = np.argsort(bands)
    np.testing.assert_array_equal(table.band_hz, np.sort(bands))
    assert list(table.columns) == names
    assert (table.seconds, table.step_db, table.periodic) == (12.0, 0.5, periodic)
    for i, name in enumerate(names):
        wanted = np.array([np.nan if row[i] is None else row[i] for row in rows])[order]
        np.testing.assert_array_equal(table.columns[name], wanted)
