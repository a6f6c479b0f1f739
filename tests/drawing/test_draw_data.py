"""The table of a figure is the figure: every line, every number; and it opens as a table."""

import csv
import io
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from xover.curve import log_grid
from xover.drawing import draw_load, draw_prediction, draw_sensitivity
from xover.drawing.aged import draw_comparison, draw_condition
from xover.drawing.bears import draw_crosstalk, draw_stress, draw_tolerance
from xover.drawing.bypass import draw_bypass
from xover.drawing.change import draw_decide, draw_refresh
from xover.drawing.does import draw_off_axis
from xover.drawing.page import Panel, inline_page, make_page
from xover.drawing.save import CurveTable, csv_text, curves_of
from xover.drawing.style import look
from xover.drawing.svg import figure_svg
from xover.parts.catalogue import Catalogue
from xover.parts.stock import open_stock
from xover.sound.prediction import predict
from xover.studies.aged.compare.study import Predicted, compare
from xover.studies.aged.condition.study import study_condition
from xover.studies.bears.crosstalk.study import study_crosstalk
from xover.studies.bears.stress.study import study_stress
from xover.studies.bears.tolerance.study import study_tolerance
from xover.studies.change.bypass.study import study_bypass
from xover.studies.change.decide.study import study_decide
from xover.studies.change.refresh.study import refresh
from xover.studies.does.angles.study import study_off_axis
from xover.studies.does.load.study import study_load
from xover.studies.does.sensitivity.study import study_sensitivity

F = log_grid(20.0, 20e3, 6)
STOCK = Path(__file__).parents[2] / "examples" / "stock.csv"
FIGURES = {
    "levels": lambda s: draw_prediction(predict(s, "found", F)),
    "load": lambda s: draw_load(study_load(s, "found", F)),
    "sensitivity": lambda s: draw_sensitivity(study_sensitivity(s, "found", F)),
    "condition": lambda s: draw_condition(study_condition(s, F, assume=True)),
    "stress": lambda s: draw_stress(study_stress(s, "found", F)),
    "tolerance": lambda s: draw_tolerance(study_tolerance(s, "original", F, builds=200)),
    "crosstalk": lambda s: draw_crosstalk(study_crosstalk(s, "found", F)),
    "refresh": lambda s: draw_refresh(refresh(s, Catalogue(open_stock(STOCK)), F, tolerance_db=1.0)),
    "bypass": lambda s: draw_bypass(study_bypass(s, None, log_grid(20.0, 20e3, 12), with_map=False)),
    "decide": lambda s: draw_decide(study_decide(s, Catalogue(), options=("leave",), frequency_hz=F)),
    "compare": lambda s: draw_comparison(compare(Predicted(s, "found", None), Predicted(s, "original", None), F)),
    "off axis": lambda s: draw_off_axis(study_off_axis(s, "found", F)),
}


def read(text):
    """Headings and columns, as a spreadsheet would read them."""
    rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert len({len(row) for row in rows}) == 1
    columns = list(zip(*rows[1:], strict=True)) if rows[1:] else [() for _ in rows[0]]
    return rows[0], [[float(cell) if cell else math.nan for cell in column] for column in columns]


@pytest.fixture(scope="module")
def inline(results, remembered):
    """Every figure as a document has it, drawn once."""

    def draw(which):
        with inline_page():
            return FIGURES[which](results.speaker("attic left"))

    return remembered(draw)


@pytest.mark.parametrize("which", FIGURES)
def test_every_figure_can_be_read_inline(inline, drawn, which):
    """No words on words and none cut off on the small page too, and little to load."""
    figure = inline(which)
    drawn(figure).assert_legible(15)
    assert len(figure_svg(figure, name="a", title="", description="")) < 60_000


@pytest.mark.parametrize("which", FIGURES)
def test_every_line_is_in_the_table(inline, which):
    figure = inline(which)
    headings, columns = read(csv_text(curves_of(figure)))
    assert headings[0] == "frequency, Hz"
    assert len(set(headings)) == len(headings)
    found = 0
    for axes in figure.axes:
        heading = axes.get_title(loc="left")
        for line in axes.lines:
            x, y = (np.asarray(part, float) for part in line.get_data())
            if line.get_label() in {"zero", "crossover line", "corner"} or not np.isfinite(y).any():
                assert f"{heading}: {line.get_label()}" not in headings
                continue
            at = headings.index(f"{heading}: {line.get_label()}")
            its = max(i for i in range(at) if headings[i].startswith("frequency, Hz"))
            rows = slice(0, x.size)
            if x.size == 1:  # a mark has a row of its own
                (row,) = np.flatnonzero(np.isfinite(columns[at]))
                rows = slice(int(row), int(row) + 1)
            np.testing.assert_allclose(columns[its][rows], x, rtol=5e-6)
            np.testing.assert_allclose(columns[at][rows], y, rtol=5e-6, atol=1e-300)
            assert np.isnan(np.delete(columns[at], np.arange(len(columns[at]))[rows])).all()
            found += 1
    assert found == sum(not h.startswith("frequency, Hz") for h in headings)
    assert found >= 4


def test_the_longest_block_comes_first_and_marks_come_last():
    with look():
        figure, (upper, lower) = make_page("", [], [], [Panel("Up, dB", 1.0), Panel("Down, ohm", 1.0)], F)
        upper.plot([30.0], [1.5], label="ring")
        upper.plot([200.0, 2000.0], [0.1, 0.1], label="limit")
        upper.plot(F, F / 10.0, label="curve")
        lower.plot(F, -F, label="curve")
        lower.plot([70.0], [2.5], label="dot")
        lower.plot([70.0, 70.0], [0.0, 1.0], label="guide")
        lower.plot(F, np.full(F.size, np.nan), label="nothing")
        lower.axhline(0.0, label="zero")
    table = curves_of(figure)
    assert table.headings == (
        "frequency, Hz",
        "Up, dB: curve",
        "Down, ohm: curve",
        "frequency, Hz (2)",
        "Up, dB: limit",
        "frequency, Hz (3)",
        "Up, dB: ring",
        "Down, ohm: dot",
    )
    assert table.columns.shape == (F.size, 8)
    np.testing.assert_array_equal(table.columns[:, 2], -F)
    nan = math.nan
    np.testing.assert_array_equal(
        table.columns[:3, 3:], [[200, 0.1, 30, 1.5, nan], [2000, 0.1, 70, nan, 2.5], [nan, nan, nan, nan, nan]]
    )


def test_a_figure_without_lines_has_an_empty_table():
    with look():
        figure, _ = make_page("", [], [], [Panel("Up", 1.0)], F)
    table = curves_of(figure)
    assert (table.headings, table.columns.shape) == ((), (0, 0))
    assert csv_text(table) == "\r\n"


def test_text_by_the_standard():
    """RFC 4180: CR LF, quotes where there is a comma or a quote, quotes doubled."""
    table = CurveTable(("f, Hz", 'the "sum"', "plain"), np.array([[20.0, -1.0 / 3.0, math.nan], [1234567.0, 0, 1e-9]]))
    assert csv_text(table) == ('"f, Hz","the ""sum""",plain\r\n20,-0.333333,\r\n1.23457e+06,0,1e-09\r\n')


@pytest.mark.parametrize("text", ["=1+1", "+cmd|' /C calc'!A0", "-2", "@SUM(A1)", " =1", "\t=1", "\r\n@x"])
def test_no_heading_is_a_formula(text):
    (heading,), _ = read(csv_text(CurveTable((text,), np.array([[1.0]]))))
    assert heading.startswith("'")
    assert heading[1:].strip() == text.strip()
    assert heading.isprintable()


def test_names_of_drivers_are_text(results):
    p = results.prediction("attic left")
    name = '=HYPERLINK("x")\n, and more'
    branches = (replace(p.branches[0], key=name), *p.branches[1:])
    figure = draw_prediction(replace(p, branches=branches, drive={name: p.drive["woofer"]}))
    headings, columns = read(csv_text(curves_of(figure)))
    assert 'Level, dB re 20 µPa: driver =HYPERLINK("x") , and more' in headings
    assert len(columns) == len(headings)
    # Numbers stay numbers, those below zero too.
    drive = columns[
        headings.index("Drive: voltage at the driver over the amplifier's, dB: driver " + name.replace("\n", " "))
    ]
    assert min(drive) < -20.0
