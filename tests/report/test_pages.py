"""The true pages: of each example, and of a folder with datasheets only. Each report is made once, then looked at."""

import base64
import csv
import io
import re

import numpy as np
import pytest
from made_reports import DATASHEETS, DAY, FOLDERS, made_report, words_of
from page_checks import CHECKS, prints_well

from xover.sound.prediction import predict
from xover.speaker import open_speaker

WIDTHS = (400, 1280)
LARGEST_BYTES = 3_000_000
# The figures that a report must have, by their names on the page.
FIGURES = {
    *("options", "sum", "before-after", "load", "condition", "sensitivity"),
    *("tolerance", "off-axis", "crosstalk", "bypass", "bypass-map", "stress", "schematic"),
}
# What of them a page may lack, and the words of the page that say why. Nothing else may be lacking.
NO_SUM = "What this cannot know the sum: "
LACKS = {
    "hall": {"options": NO_SUM},
    "studio": {"before-after": "Nothing is to be bought."},
    DATASHEETS: {"options": NO_SUM, "before-after": "Nothing is to be bought."},
}
# A figure that is there without a curve says so.
EMPTY = {DATASHEETS: {"off-axis": "not known"}}
ONLY_OF_THE_NEW = {"sum-built", "load-built"}
# Checks that hold or break whatever the width; one width is enough for them.
OF_ONE_WIDTH = {
    *("says_nothing", "asks_for_nothing", "is_self_contained", "has_language_and_title", "keeps_contract"),
    *("headings_are_in_order", "ids_are_unique", "tables_have_heads", "links_are_named", "downloads_are_tables"),
    *("figures_are_drawn_and_named", "text_has_contrast"),
}


@pytest.fixture(scope="module", params=[*FOLDERS, "pair", DATASHEETS])
def example(request):
    return request.param


@pytest.fixture(scope="module")
def made(example, shared):
    return made_report(example, shared)


@pytest.fixture(scope="module")
def tab(made, browser, tmp_path_factory):
    """The page, opened."""
    (path := tmp_path_factory.mktemp("page") / "report.html").write_text(made.html, encoding="utf-8")
    with browser.open(path) as page:
        yield page


def tables_of(html):
    """Tables that can be saved, by name: rows of cells."""
    links = re.findall(r'<a download="([^"]+\.csv)" href="data:text/csv;charset=utf-8;base64,([^"]*)"', html)
    texts = {name: base64.b64decode(data).decode("utf-8-sig") for name, data in links}
    return {name: list(csv.reader(io.StringIO(text, newline=""), strict=True)) for name, text in texts.items()}


def numbers_of(rows, heading):
    """A column as numbers, NaN for an empty cell."""
    at = rows[0].index(heading)
    return np.array([float(row[at]) if row[at] else np.nan for row in rows[1:]])


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_page_keeps_every_rule(tab, check):
    for width in WIDTHS[:1] if check.__name__ in OF_ONE_WIDTH else WIDTHS:
        tab.resize(width, 800)
        check(tab)


def test_prints_on_few_pages(tab):
    """The lines of the drawings are left out: they have no words, and hold up for seconds who looks for some."""
    tab.resize(1280, 800)
    tab.evaluate(
        "document.head.insertAdjacentHTML('beforeend', "
        "'<style id=\"no-lines\">svg :is(path, line, polyline, polygon, circle, ellipse) {visibility: hidden}</style>')"
    )
    try:
        prints_well(tab)
    finally:
        tab.evaluate("document.getElementById('no-lines').remove()")


def test_every_figure_is_there_and_drawn(tab, example, made):
    script = """[...document.querySelectorAll('figure')].map(f => {
        const box = f.querySelector('svg').getBoundingClientRect();
        return [f.id.replace('fig-', ''), box.width, box.height]; })"""
    tab.resize(1280, 800)
    found = {name: (width, height) for name, width, height in tab.evaluate(script)}
    expected = FIGURES - LACKS.get(example, {}).keys() | (ONLY_OF_THE_NEW if made.new else set())
    assert set(found) == expected
    assert all(width > 300 and height > 150 for width, height in found.values()), found


def test_what_is_lacking_is_told(example, made):
    lacking = LACKS.get(example, {})
    assert ("decision" in made.not_known) is ("options" in lacking)
    assert set(made.not_known) <= {"decision"}
    words = words_of(made.html)
    for why in lacking.values():
        assert why in words
    for name, why in EMPTY.get(example, {}).items():
        assert why in words_of(re.search(rf'<figure id="fig-{name}".*?</figure>', made.html, re.DOTALL)[0])


def test_every_curve_drawn_can_be_saved(example, made):
    saved = {name: rows for name, rows in tables_of(made.html).items() if name not in ("formulas.csv", "numbers.csv")}
    drawn = FIGURES - {"schematic"} - LACKS.get(example, {}).keys() - EMPTY.get(example, {}).keys()
    assert drawn | (ONLY_OF_THE_NEW if made.new else set()) == {name.removesuffix(".csv") for name in saved}
    for name, rows in saved.items():
        cells = [float(cell) for row in rows[1:] for cell in row if cell]
        assert len(cells) > 5, name
        assert np.isfinite(cells).all(), name


def test_nothing_is_to_be_built_only_where_it_is_left(example, made):
    assert made.new is ("before-after" not in LACKS.get(example, {}))
    assert ("Nothing is to be bought" in words_of(made.html)) is not made.new


@pytest.mark.parametrize(
    ("example", "marked", "read", "built"),
    [("attic", "6.8", "8.4", True), ("pair", "6.8", "8.4", True), ("studio", "33", "41", False)],
)
def test_an_arrow_goes_to_the_new_part_or_from_the_mark(example, marked, read, built, shared):
    """C1 as marked and as read, uF: what is built goes back, an odd driver or none; what is left has aged."""
    drawing = re.search(r'<figure id="fig-schematic".*?</figure>', made_report(example, shared).html, re.DOTALL)[0]
    words = words_of(drawing)
    renewed, aged = f"{read} \u2192 {marked} uF" in words, f"{marked} \u2192 {read} uF" in words
    assert (renewed, aged) == (built, not built)


def test_decision_comes_first(tab, made):
    script = """(() => { const s = document.querySelector('main > :first-child');
        return [s.id, s.querySelector('p').textContent, s.querySelector('p').className]; })()"""
    section, sentence, tone = tab.evaluate(script)
    assert (section, tone) == ("decision", "lead")
    assert sentence == f"{made.answer[:1].upper()}{made.answer[1:]}."


def test_first_words_say_what_was_measured(tab, example, made):
    first = tab.evaluate("document.body.innerText.trim().split('\\n')[0]")
    assert first == made.standing
    assert first.startswith("Measured: the parts of network found; not" if example == DATASHEETS else "Measured: ")


def test_no_word_of_the_machine(made):
    words = words_of(made.html)
    assert re.findall(r".{0,40}(?<!\w)(?:nan|NaN|None|inf|Infinity|undefined)(?!\w).{0,40}", words) == []
    assert re.findall(r".{0,40}(?:\{\{|\}\}|\{%|%\}|\$\{|<class |<xover|object at 0x).{0,40}", words) == []


def test_words_of_the_machine_would_be_found():
    for word in ("nan", "None", "inf"):
        assert re.findall(r"(?<!\w)(?:nan|NaN|None|inf)(?!\w)", words_of(f"<p>dip {word} dB<wbr>, null</p>"))
    assert words_of("<style>p {}</style><p>a<wbr>b</p><svg><title>c</title></svg>") == "ab c"


def test_headings_have_words(tab):
    script = "[...document.querySelectorAll('section')].map(s => s.querySelector('h2')?.textContent.trim() ?? '')"
    headings = tab.evaluate(script)
    assert len(headings) == 13
    assert all(len(h) > 3 for h in headings)


def test_first_readings_are_in_the_build_order(tab, made):
    text = " ".join(tab.evaluate("document.getElementById('build').textContent").split())
    for reading in (made.first_reading, made.first_whole):
        assert "ohm" in reading
        assert reading[1:] in text


def test_page_is_no_larger_than_a_letter_can_carry(made):
    assert 100_000 < len(made.html.encode()) < LARGEST_BYTES


def test_page_tells_its_day_and_its_folder(made):
    assert f"Made on {DAY.isoformat()} by xover " in words_of(made.html)
    assert f"from the folder '{made.folder.name}'." in words_of(made.html)


def test_curves_saved_are_those_of_the_study(example, made):
    """What `predict` gives at the frequencies of the table; the table has six digits."""
    rows = tables_of(made.html)["sum.csv"]
    frequency_hz = numbers_of(rows, "frequency, Hz")
    assert frequency_hz[0] == 20.0
    assert frequency_hz[-1] == 20_000.0
    study = predict(open_speaker(made.folder), "found", frequency_hz)
    driver, drive = next(iter(study.drive.items()))
    saved = numbers_of(rows, f"Drive: voltage at the driver over the amplifier's, dB: driver {driver}")
    expected = 20.0 * np.log10(np.abs(drive))
    assert saved == pytest.approx(expected, abs=1e-3)
    assert np.ptp(saved) > 10.0
    name, level = ("sum", study.total.level_db) if study.total.coherent else ("best", study.total.best_level_db)
    assert (name == "best") is (NO_SUM in LACKS.get(example, {}).values())
    assert numbers_of(rows, f"Level, dB re 20 \u00b5Pa: {name}") == pytest.approx(level, abs=1e-3)
