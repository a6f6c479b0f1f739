"""No check of a page is one that cannot fail: a page that breaks one rule fails the check of that rule."""

import base64
import contextlib
import io
from pathlib import Path

import page_checks
import pytest
from page_checks import CHECKS, is_good_pdf, prints_well

WHOLE = Path(__file__).with_name("stub_page.html").read_text(encoding="utf-8")
BODY = "</main>"
STYLE = "</style>"
FIGURE = '<figure id="fig-sum">'


def csv_of(text):
    return f"base64,{base64.b64encode(text.encode()).decode()}"


# Each: the check that must fail, what is replaced in the whole page, by what, and a piece of the message.
BROKEN = [
    ("says_nothing", BODY, "<script>console.log('a word')</script>", r"log: a word"),
    ("says_nothing", BODY, "<script>console.warn('take care')</script>", r"warning: take care"),
    ("says_nothing", BODY, "<script>nowhere.call()</script>", r"ReferenceError: nowhere is not defined"),
    ("says_nothing", BODY, "<script>alert('boo')</script>", r"alert: boo"),
    ("says_nothing", BODY, "<img alt='' src='gone.png'>", r"error: Failed to load resource"),
    ("asks_for_nothing", BODY, "<img alt='' src='http://127.0.0.1:9/x.png'>", r"http://127\.0\.0\.1:9/x\.png"),
    ("asks_for_nothing", BODY, "<img alt='' src='beside.png'>", r"asks for: file:.*beside\.png"),
    ("asks_for_nothing", STYLE, "@font-face {font-family: q; src: url(http://x.invalid/q)} p {font-family: q}", "/q"),
    ("asks_for_nothing", BODY, "<script>fetch('http://x.invalid/later')</script>", r"x\.invalid/later"),
    ("is_self_contained", BODY, "<a href='http://x.invalid/'>there</a>", r"'http://x\.invalid/', a link to elsewhere"),
    ("is_self_contained", BODY, "<a href='javascript:alert(1)'>there</a>", r"href 'javascript:alert\(1\)'"),
    ("is_self_contained", STYLE, "a:hover {background: url('http://x.invalid/h')}", r"a style asks for 'http"),
    ("is_self_contained", BODY, "<p style='background: url(h.png)'>x</p>", r"a style asks for 'h\.png'"),
    ("is_self_contained", "<style>", "<style>@import 'data:text/css,';", r"imports another"),
    ("is_self_contained", BODY, "<p onclick='this.remove()'>x</p>", r"<p> 'x' has the event handler onclick"),
    ("is_self_contained", BODY, "<script></script>", r"<script> has no place here"),
    ("is_self_contained", "</svg>", "<foreignObject></foreignObject>", r"<foreignObject> has no place"),
    ("is_self_contained", BODY, "<iframe srcdoc='x'></iframe>", r"<iframe> has no place here"),
    ("has_language_and_title", '<html lang="en">', "<html>", r"no lang"),
    ("has_language_and_title", "<title>An invented page</title>", "<title> </title>", r"no title"),
    ("has_language_and_title", '<meta charset="utf-8">', '<meta charset="latin1">', r"windows-1252"),
    ("has_language_and_title", "<!DOCTYPE html>\n", "", r"no doctype"),
    ("has_language_and_title", '<meta name="viewport"', '<meta name="other"', r"no viewport"),
    ("keeps_contract", '<p class="standing">', "<p>", r"no p\.standing"),
    ("keeps_contract", "Nothing was measured; all of it is invented.", "", r"no p\.standing"),
    ("keeps_contract", "<h2>Appendix</h2>", "", r"<section#appendix> .* has no heading"),
    ("keeps_contract", '<li><a href="#appendix">Appendix</a></li>', "", r"#appendix> 'Appendix.* not in the contents"),
    ("headings_are_in_order", "<h3>Why</h3>", "<h4>Why</h4>", r"<h4> 'Why' comes after h2"),
    ("headings_are_in_order", "<h2>Appendix</h2>", "<h1>Appendix</h1>", r"2 h1"),
    ("headings_are_in_order", "<h1>An invented page</h1>", "", r"0 h1 .*<h2> 'Decision' comes after nothing"),
    ("headings_are_in_order", "<h3>Why</h3>", "<h3></h3>", r"<h3> is empty"),
    ("ids_are_unique", BODY, "<p id='frame'>x</p>", r"<p#frame> 'x' has an id that stands elsewhere"),
    ("ids_are_unique", 'url(#frame)"', 'url(#gone)"', r"<path> leads to '#gone'"),
    ("ids_are_unique", 'href="#appendix"', 'href="#gone"', r"<a> 'Appendix' leads to '#gone'"),
    ("ids_are_unique", 'aria-labelledby="sum-title"', 'aria-labelledby="gone"', r"<svg> .* leads to '#gone'"),
    ("contents_lead_there", '<section id="appendix">', "<section>", r"'Appendix' leads to '#appendix', which is"),
    ("contents_lead_there", '<section id="appendix">', '<section id="appendix" hidden>', r"does not bring '#appendix'"),
    (
        "contents_lead_there",
        BODY,
        "<script>onclick = (e) => e.preventDefault()</script>",
        r"does not bring '#decision'",
    ),
    ("contents_lead_there", BODY, "<div style='position:fixed; inset:0'></div>", r"cannot be clicked: <div> covers it"),
    ("contents_lead_there", '<nav id="contents">', "<div>", r"no link in a nav"),
    ("tables_have_heads", '<th scope="row">C1</th>', "<th>C1</th>", r"<th> 'C1' has no scope"),
    ("tables_have_heads", BODY, "<table><tr><td>1</td></tr></table>", r"<table> '1' has no header cell"),
    ("tables_have_heads", "<td>4.7 uF</td>", "<td>4.7</td><td>uF</td>", r"rows of 2 and 3 columns"),
    ("tables_have_heads", "<td>4.7 uF</td>", '<th scope="row">4.7 uF</th>', r"no row of data"),
    ("figures_are_drawn_and_named", '<svg role="img"', "<svg", r"no image to a screen reader"),
    ("figures_are_drawn_and_named", '<svg role="img"', '<svg role="img" aria-hidden="true"', r"no accessible name"),
    ("figures_are_drawn_and_named", ">Level over frequency<", "><", r"figure 1 has no accessible name"),
    ("figures_are_drawn_and_named", '<svg role="img"', '<svg role="img" style="height: 0"', r"288 by 0 pixels"),
    ("figures_are_drawn_and_named", "<figcaption>The level falls by 1 dB.</figcaption>", "", r"no sentence"),
    ("figures_are_drawn_and_named", FIGURE, f"{FIGURE}</figure><figure>", r"#fig-sum> has no svg.* has no id"),
    ("figures_are_drawn_and_named", "<figure", "<div", r"no figure"),
    ("links_are_named", ">sum.csv</a>", "></a>", r"without a name, by their order on the page: 3$"),
    ("links_are_named", "<a download", "<a aria-hidden='true' download", r"hidden from a screen reader.*: 3$"),
    ("downloads_are_tables", "base64,ZixsCjEsMgo=", csv_of("f,l\n1,2\n3\n"), r"sum\.csv has rows of 1 and 2 fields"),
    ("downloads_are_tables", "base64,ZixsCjEsMgo=", csv_of('f,l\n1,"2'), r"sum\.csv is no table"),
    ("downloads_are_tables", "base64,ZixsCjEsMgo=", csv_of("f,l\n"), r"sum\.csv has 1 rows of 2 fields"),
    ("downloads_are_tables", "base64,ZixsCjEsMgo=", csv_of("f,\n1,2\n"), r"column without a name"),
    ("downloads_are_tables", "base64,ZixsCjEsMgo=", "base64,*", r"sum\.csv cannot be decoded"),
    ("downloads_are_tables", "base64,ZixsCjEsMgo=", "base64,//4=", r"sum\.csv cannot be decoded"),
    ("downloads_are_tables", "data:text/csv", "data:text/html", r"sum\.csv is not text/csv but 'data:text/html"),
    ("downloads_are_tables", "data:text/plain", "data:text/html", r"found\.cir is not text/plain"),
    ("downloads_are_tables", 'download="found.cir"', 'download="sum.csv"', r"sum\.csv is the name of 2 files"),
    ("downloads_are_tables", "sum.csv", "sum.txt", r"no table to download"),
    ("nothing_scrolls_sideways", BODY, "<p style='width: 700px'>wide</p>", r"<p> 'wide' reaches to 7\d\d"),
    ("nothing_scrolls_sideways", "Keep", "w" * 90, r"pixels of page in 400 of window"),
    (
        "nothing_is_clipped",
        ".cut { ",
        ".cut { height: 4px; padding: 0; overflow: hidden; } .old { ",
        r"<p\.pale\.cut> 'Keep it as",
    ),
    ("nothing_is_clipped", "Keep", f"<b style='display: block; overflow: clip'>{'w' * 90}</b>", r"cut off by <b>"),
    ("nothing_is_clipped", 'x="20"', 'x="280"', r"<text> 'woofer' is cut off by <svg>"),
    ("nothing_is_clipped", BODY, "<p style='margin-left: -3rem'>left</p>", r"<p> 'left' begins left of the page"),
    (
        "words_stay_whole",
        "<td>",
        "<td><b style='display: block; width: 1.5rem; word-break: break-all'>resist</b>",
        r"'resist' in <b>",
    ),
    ("words_stay_whole", BODY, "<p style='width: 2rem; overflow-wrap: anywhere'>12,345.6</p>", r"'12,345\.6' in <p>"),
    ("text_has_contrast", "color: #222", "color: #777", r"<p\.standing> .* has a contrast of 4\.48"),
    ("text_has_contrast", "background: #eee", "background: #333", r"<p\.pale\.cut> .* has a contrast of 1\.2"),
    ("text_has_contrast", BODY, "<p style='color: #aaa'>far down</p>", r"<p> 'far down' has a contrast of 2\.32"),
    ("text_has_contrast", ".pale {", ".pale { opacity: .5;", r"<p\.pale\.cut> .* has a contrast of"),
    ("text_has_contrast", 'fill="#fafafa"', 'fill="#024"', r"<text> 'woofer' has a contrast of 1\."),
    ("text_has_contrast", 'font-size="14" fill="#036"', 'fill="#9ab"', r"<text> 'woofer' has a contrast of 2\."),
    (
        "text_has_contrast",
        ".pale {",
        ".pale { background-image: linear-gradient(#fff, #222) !important;",
        r"stands on a picture",
    ),
    (
        "prints_well",
        STYLE,
        "@media print { .cut { height: 4px; padding: 0; overflow: auto } }",
        r"<p\.pale\.cut> .* is cut off by",
    ),
    ("prints_well", BODY, f"<p>{'w' * 90}</p>", r"<p> 'w+' ends right of the paper"),
    ("prints_well", BODY, "<p style='height: 260cm'></p>", r"prints on 1\d pages; 11 are the most"),
    ("prints_well", "size: A4", "size: A5", r"page 1 is 420 by 595 points, which is not A4"),
    ("prints_well", BODY, "<p style='break-before: page; height: 1px'></p>", r"pages without a word: \d$"),
]
BY_NAME = {check.__name__: check for check in (*CHECKS, prints_well)}


@pytest.fixture(scope="module")
def tab(browser, tmp_path_factory):
    """A tab as wide as a telephone; text can be put into it, which is quick, but no script in that runs."""
    (path := tmp_path_factory.mktemp("tab") / "page.html").write_text(WHOLE, encoding="utf-8")
    with browser.open(path, width=400) as page:
        yield page


@pytest.fixture
def opened(tab, tmp_path):
    """Load a page made of text in that tab."""

    def open_text(text):
        (tmp_path / "page.html").write_text(text, encoding="utf-8")
        tab.go(tmp_path / "page.html")
        return contextlib.nullcontext(tab)

    return open_text


@pytest.mark.parametrize("width", [400, 1280])
def test_a_whole_page_passes_all(opened, width):
    with opened(WHOLE) as page:
        page.resize(width, 800)
        for check in BY_NAME.values():
            check(page)
        page.resize(400, 800)


def test_a_whole_page_that_is_put_in_passes_all(tab):
    with tab.showing(WHOLE) as page:
        for check in BY_NAME.values():
            check(page)


@pytest.mark.parametrize(("name", "old", "new", "message"), BROKEN)
def test_what_breaks_one_rule_is_found(opened, tab, name, old, new, message):
    assert old in WHOLE
    text = WHOLE.replace(old, new + old if old.startswith("</") else new, 1)
    loads = name in {"says_nothing", "asks_for_nothing"} or "<script>" in new or "charset" in new
    with opened(text) if loads else tab.showing(text) as page, pytest.raises(AssertionError, match=message):
        BY_NAME[name](page)


def test_every_check_has_been_broken():
    assert {name for name, *_ in BROKEN} == set(BY_NAME)
    assert {name for name, *_ in BROKEN} >= {name for name, _ in vars(page_checks).items() if name.endswith("_well")}


def test_grey_at_the_edge_of_contrast(opened):
    """#767676 on white is the lightest grey that passes: its luminance is 0.1812, (1.05)/(0.2312) = 4.54 (derived)."""
    with opened(WHOLE.replace("color: #222", "color: #767676").replace("#eee", "#fff")) as page:
        BY_NAME["text_has_contrast"](page)


def test_a_missing_word_is_missed(opened):
    with opened(WHOLE) as page:
        data = page.pdf()
    is_good_pdf(data, ["woofer", "invented"])
    with pytest.raises(AssertionError, match=r"missing on paper: tweeter$"):
        is_good_pdf(data, ["woofer", "tweeter"])


def test_pages_of_paper_are_told_apart(opened):
    from pypdf import PdfReader

    with opened(WHOLE) as page:
        assert len(PdfReader(io.BytesIO(page.pdf())).pages) == 3
