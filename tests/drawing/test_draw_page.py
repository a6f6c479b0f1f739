"""The page: its size, its notes, and what happens when there are too many."""

import numpy as np
import pytest
from matplotlib.text import Text

from xover.drawing.page import Panel, inline_page, level_axis, make_page, renderer_of, words_of
from xover.drawing.style import look

GRID = np.array([20.0, 200.0, 20_000.0])
PANELS = [Panel("Above", 5.0), Panel("Below", 3.0)]


def page(notes=(), lines=("a line",), title="Title"):
    with look():
        return make_page(title, lines, notes, PANELS, GRID)


def foot(figure):
    return [t.get_text() for t in figure.texts if t.get_fontsize() == 7.5]


def test_size_and_panels():
    figure, (above, below) = page()
    assert list(figure.get_size_inches()) == [8.0, 7.0]
    assert figure.dpi == 150
    heights = [axes.get_position().height for axes in (above, below)]
    assert heights[0] / heights[1] == pytest.approx(5.0 / 3.0, rel=1e-9)
    assert above.get_title(loc="left") == "Above"
    assert [t.get_text() for t in above.get_xticklabels()] == []
    assert [t.get_text() for t in below.get_xticklabels()][-1] == "20k"
    assert below.get_xlabel() == "frequency, Hz"


def test_every_note_that_fits_is_written():
    notes = [f"note {i}" for i in range(6)]
    assert foot(page(notes)[0]) == notes


def test_notes_without_room_are_counted():
    notes = [f"note {i}" for i in range(8)]
    assert foot(page(notes)[0]) == [*notes[:5], "… and 3 more notes, not shown here"]
    written = foot(page(["short", "word " * 160, "last"])[0])
    assert written == ["short", "… and 2 more notes, not shown here"]
    written = foot(page([*notes[:4], "word " * 36])[0])
    assert len(written) == 6
    assert written[4].startswith("word")
    written = foot(page([*notes[:5], "word " * 36])[0])
    assert written == [*notes[:5], "… and 1 more note, not shown here"]


def test_one_endless_note_is_cut_and_says_so():
    written = foot(page(["word " * 2000])[0])
    assert 1 <= len(written) <= 6
    assert "…" in written[-1]


def test_a_page_without_title_or_notes():
    figure, (above, _) = page(title="", lines=())
    assert figure.texts == []
    assert above.get_position().y1 > 0.9


def test_a_single_frequency_gets_room():
    with look():
        _, (above, _) = make_page("", [], [], PANELS, np.array([1000.0]))
    assert above.get_xlim() == (500.0, 2000.0)


def test_the_grid_has_a_line_at_every_number_and_thinner_ones_between():
    _, (above, below) = page()
    for axes in (above, below):
        thin, thick = [p for p in axes.patches if p.get_label() == "grid x"]
        at = [sorted(set(p.get_path().vertices[:, 0])) for p in (thin, thick)]
        assert at[1] == [20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000]
        assert at[0][:4] == [30, 40, 60, 70]
        assert len(at[0]) == 28 - 10
        assert thin.get_linewidth() < thick.get_linewidth()
    with look():
        level_axis(below, 40.0, 90.0)
        level_axis(below, 45.0, 95.0)  # the lines of an older scale go
    thin, thick = [p for p in below.patches if p.get_label() == "grid y"]
    assert sorted(set(thick.get_path().vertices[:, 1])) == [50, 60, 70, 80, 90]
    assert sorted(set(thin.get_path().vertices[:, 1])) == [45, 55, 65, 75, 85, 95]
    assert [t.get_text() for t in below.get_yticklabels()] == ["50", "60", "70", "80", "90"]


@pytest.mark.parametrize(("ends", "axis"), [((20.2, 19_800.0), (20.0, 20_000.0)), ((21.0, 19_000.0), (21.0, 19_000.0))])
def test_a_sweep_that_just_misses_the_usual_ends_gets_the_usual_axis(ends, axis):
    with look():
        _, (above, _) = make_page("", [], [], PANELS, np.array(ends))
    assert above.get_xlim() == axis


def test_an_inline_page_is_small_and_grows_with_its_words():
    notes = ["a note", "another " * 30]
    sizes = []
    for given, wanted in ((notes, True), (notes, False), ([], True)):
        with inline_page(notes=wanted):
            figure, panels = page(given)
        width, height = figure.get_size_inches()
        assert width == 6.0
        assert len(foot(figure)) == (4 if wanted and given else 0)
        assert "Title" not in [t.get_text() for t in figure.texts]
        assert "a line" in [t.get_text() for t in figure.texts]
        sizes.append((height, [axes.get_position().height * height for axes in panels]))
        assert words_of(figure).title == "Title"
        assert words_of(figure).notes == tuple(given)
    assert sizes[1][0] == pytest.approx(sizes[2][0], rel=1e-12)
    assert sizes[0][0] > sizes[1][0] + 0.3
    for _, heights in sizes:  # the panels keep their size
        assert heights == pytest.approx(sizes[0][1], rel=1e-9)
        assert heights[0] / heights[1] == pytest.approx(5.0 / 3.0, rel=1e-9)
        assert 3.0 < sum(heights) < 4.0
    assert list(page()[0].get_size_inches()) == [8.0, 7.0]


@pytest.mark.parametrize(
    ("words", "least", "most"),
    [("A heading", 9.5, 9.5), ("A long heading " * 5, 7.75, 9.25), ("A heading without end " * 30, 7.5, 7.5)],
)
def test_a_long_heading_gets_smaller_type_and_then_an_end(words, least, most):
    with look(), inline_page():
        figure, (axes,) = make_page("", [], [], [Panel(words.strip(), 1.0)], GRID)
        (title,) = [t for t in axes.findobj(Text) if t.get_text().startswith("A ")]
        assert least <= title.get_fontsize() <= most
        assert title.get_text().endswith("…") == (len(words) > 200)
        assert title.get_window_extent(renderer_of(figure)).x1 < figure.get_size_inches()[0] * figure.dpi


def test_words_that_had_no_room_can_be_had():
    figure, _ = page([f"note {i}" for i in range(8)])
    assert words_of(figure).notes == tuple(f"note {i}" for i in range(8))
    assert words_of(figure).lines == ("a line",)
    with pytest.raises(ValueError, match="make_page"):
        words_of(None)


def test_only_own_pages_are_measured():
    from matplotlib.figure import Figure

    with pytest.raises(ValueError, match="make_page"):
        renderer_of(Figure())
    with pytest.raises(ValueError, match="make_page"):
        renderer_of(None)
