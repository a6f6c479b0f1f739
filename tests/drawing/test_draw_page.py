"""The page: its size, its notes, and what happens when there are too many."""

import numpy as np
import pytest

from xover.drawing.page import Panel, make_page, renderer_of
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
    assert [t.get_text() for t in above.get_xticklabels()] == [""] * 10
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


def test_only_own_pages_are_measured():
    from matplotlib.figure import Figure

    with pytest.raises(ValueError, match="make_page"):
        renderer_of(Figure())
    with pytest.raises(ValueError, match="make_page"):
        renderer_of(None)
