"""Words from files stay words: whatever stands in a name, the page has no element and no attribute more for it."""

import dataclasses
import os
import re
import shutil
from html.parser import HTMLParser

import hostile_speaker as hostile
import pytest
from made_reports import DAY, texts_of, words_of
from page_checks import (
    asks_for_nothing,
    ids_are_unique,
    is_self_contained,
    nothing_scrolls_sideways,
    says_nothing,
)

from xover.blocks import Downloads, Facts, Gap, Head, Items, Listing, Note, Picture, Section, Text, Warn, table
from xover.cli.main import main
from xover.drawing.page import Panel, make_page
from xover.drawing.schematic import draw_schematic
from xover.drawing.svg import figure_svg
from xover.files.netlist import parse_netlist
from xover.network import build_network
from xover.report.page import Page, render
from xover.report.report import make_report

CSP = '<meta http-equiv="Content-Security-Policy" content="default-src \'none\''
HARMLESS = "qwertz"
CONTROL = "a\x00b\x07c\x1bd"
TWO_LINES = "one\ntwo <b>"
# What is put in, and what stands on the page for it: itself, but for what cannot be seen and what has no end.
SHOWN = {
    **{payload: payload for payload in hostile.ALL},
    hostile.TURNED: "\ufffdgnp.exe",
    hostile.LONG: "x" * 1999 + "\u2026 (10,000 characters)",
    CONTROL: "a\ufffdb\ufffdc\ufffdd",
    TWO_LINES: TWO_LINES,
}
# Places where it stands in another form: title and h1 are one line of 120 letters, a listing is not cut at 2,000, and
# notes are cut together.
OTHERWISE = {hostile.LONG: 6, TWO_LINES: 2}
CALLED = "called: "
SPY = f"for (const f of ['alert', 'confirm', 'prompt', 'open', 'eval']) window[f] = () => console.log('{CALLED}' + f)"
TAGS = {
    *("html", "head", "meta", "title", "style", "body", "header", "nav", "main", "section", "h1", "h2", "h3", "p"),
    *("a", "wbr", "ol", "ul", "li", "dl", "dt", "dd", "div", "table", "caption", "thead", "tbody", "tr", "th", "td"),
    *("span", "figure", "figcaption", "pre", "svg", "desc", "g", "path", "rect", "text", "tspan", "circle", "ellipse"),
    *("line", "polygon", "polyline"),
}


class Elements(HTMLParser):
    """The elements of a page with the names of their attributes."""

    def __init__(self, html):
        super().__init__()
        self.found = []
        self.links = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attributes):
        if tag != "wbr":  # stands in any long word
            self.found.append((tag, *sorted(name for name, _ in attributes)))
        self.links += [value for name, value in attributes if name in ("href", "src", "xlink:href")]


def page_of(word, svg="<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 9 9'></svg>"):
    """A page with that word in every place that a block has for words."""
    cells = [[word, word], [word, word]]
    blocks = (
        *(Text(word, tone) for tone in ("", "lead", "quiet")),
        Head(word),
        *(Items((word, word), ordered, ticks) for ordered in (False, True) for ticks in (False, True)),
        Facts(((word, word),)),
        table(word, [word, word], cells, numbers=(1,)),
        table(word, [word, word], cells),
        *(Warn(severity, word, word) for severity in ("stop", "caution", "note")),
        Listing(word, word),
        Note(word),
        Gap(),
        Listing(word, word, download=word),
        Picture("sum", word, svg, word, (word, word), data=f"a,b\n{word},1\n"),
        Picture("load", word, "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 9 9'></svg>", word, wide=True),
        Downloads((("sum.csv", word, word),)),
    )
    return render(Page(word, word, word, (Section("first", word, blocks, new_page=True),)))


def drawings_of(word):
    """A figure and a schematic with that word wherever they have words."""
    figure, (panel, _) = make_page(word, [word, word], [word], [Panel(word, 1.0), Panel(word, 1.0)], [20.0, 20_000.0])
    panel.plot([20.0, 20_000.0], [0.0, 1.0], label=word)
    panel.set_ylabel(word)
    panel.text(100.0, 0.5, word)
    driver = re.sub(r"[\s{}=;]", "", word)[:64]
    title = " ".join(word.split())  # no file has more than one line of it, and none has control codes
    network = build_network(parse_netlist(f"* {title}\nC1 in t 4.7uF\nL1 t 0 1mH\nXhigh 0 t {driver}\n"))
    return (
        figure_svg(figure, name="sum", title=word, description=word),
        draw_schematic(network, title=word).svg(),
        driver,
    )


@pytest.fixture(scope="module")
def tab(browser, tmp_path_factory):
    (path := tmp_path_factory.mktemp("tab") / "page.html").write_text("<p>x</p>")
    with browser.open(path, width=400, before=(SPY,)) as page:
        yield page


@pytest.fixture
def opened(tab, tmp_path):
    """Open a page without the policy that would stop what slipped through."""

    def go(html):
        assert CSP in html
        (tmp_path / "page.html").write_text(html.replace(CSP, "<meta content=\"'none'"), encoding="utf-8")
        tab.go(tmp_path / "page.html")
        return tab

    return go


def nothing_has_run(page):
    for check in (says_nothing, asks_for_nothing, is_self_contained, ids_are_unique, nothing_scrolls_sideways):
        check(page)


def test_what_runs_would_be_found(opened):
    """The spy hears a script and an event handler that a page without escaping would run."""
    html = page_of("place").replace("<p>place</p>", f"<p>{hostile.SCRIPT}<img alt='' src=x onerror=confirm(1)></p>", 1)
    page = opened(html)
    page.settle()
    assert {line for line in page.console if CALLED in line} == {f"log: {CALLED}alert", f"log: {CALLED}confirm"}
    with pytest.raises(AssertionError, match="the page speaks"):
        nothing_has_run(page)


@pytest.mark.parametrize("payload", SHOWN, ids=lambda p: ascii(p[:24]))
def test_every_block_shows_it_as_text(opened, payload):
    html = page_of(payload)
    assert Elements(html).found == Elements(page_of(HARMLESS)).found
    assert all(
        re.match(r"#[a-z-]+\Z|data:text/(plain|csv);charset=utf-8;base64,", link) for link in Elements(html).links
    )
    shown = SHOWN[payload]
    places = sum(text.count(HARMLESS) for text in texts_of(page_of(HARMLESS)))
    assert places > 40
    assert sum(text.count(shown) for text in texts_of(html)) == places - OTHERWISE.get(payload, 0)
    page = opened(html)
    nothing_has_run(page)
    assert page.evaluate("document.querySelector('.lead').textContent") == shown


@pytest.mark.parametrize("payload", [p for p in SHOWN if p != CONTROL], ids=lambda p: ascii(p[:24]))
def test_drawings_show_it_as_text(opened, payload):
    svg, schematic, driver = drawings_of(payload)
    plain, plain_schematic, _ = drawings_of(HARMLESS)
    for drawn, kind in ((svg, plain), (schematic, plain_schematic)):
        allowed = {tag for tag, *_ in Elements(kind).found}
        assert {tag for tag, *_ in Elements(drawn).found} <= allowed
        assert not re.search(r' on\w+ ?= ?"', re.sub(r">[^<]*<", "><", drawn))
        assert not re.search("[\\x00-\\x08\\x0b-\\x1f\\u202a-\\u202e]", drawn)
        assert " ".join("".join(c if c.isprintable() else " " for c in payload).split())[:24] in words_of(drawn)
    assert re.search(r"\w", driver)[0] in words_of(schematic)
    page = opened(page_of(HARMLESS, svg + schematic))
    nothing_has_run(page)
    parts = page.evaluate("[...document.querySelectorAll('svg.schematic [data-part]')].map(s => s.dataset.part)")
    assert set(parts) >= {"C1", "L1", "Xhigh"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return hostile.write_hostile(tmp_path_factory.mktemp("hostile"))


@pytest.fixture(scope="module")
def true_page(folder):
    report = make_report(folder, stock=folder / "stock.csv", today=DAY)
    assert report.answers.build.new, "the parts of the list are to be on the page"
    return report.html


def test_true_page_has_no_element_of_theirs(true_page):
    elements = Elements(true_page)
    assert {tag for tag, *_ in elements.found} <= TAGS
    assert not [name for _, *names in elements.found for name in names if name.startswith("on") or name == "src"]
    assert all(re.match(r"#[a-z-]+\Z|data:text/(plain|csv);charset=utf-8;base64,", link) for link in elements.links)


def test_true_page_shows_their_words(true_page):
    words = words_of(true_page)
    for word in (
        *(hostile.TITLE, hostile.LOW, hostile.HIGH, hostile.UNUSED, hostile.NETWORK, hostile.PART, hostile.NODE),
        f"from the folder '{hostile.FOLDER}'",
        hostile.CODE,
        "\ufffdgnp.exe <script>alert(1)</script>",
    ):
        assert word in words, f"{word} is not on the page"
    assert "\u202e" not in true_page


def test_true_page_opens_and_nothing_runs(opened, true_page):
    nothing_has_run(opened(true_page))


def test_true_page_with_its_policy_speaks_not_even_of_refusals(tab, true_page, tmp_path):
    """Were anything stopped by the policy, the browser would say so."""
    (tmp_path / "page.html").write_text(true_page, encoding="utf-8")
    tab.go(tmp_path / "page.html")
    nothing_has_run(tab)
    policy = tab.evaluate("document.querySelector('meta[http-equiv=Content-Security-Policy]').content")
    assert "default-src 'none'" in policy
    assert "script-src" not in policy


def with_title(title):
    return "speaker.toml", re.sub(r"(?m)^title = .*$", lambda _: f'title = "{title}"', TOML), "speaker.toml:2"


def with_driver(name):
    return (
        "speaker.toml",
        f'{TOML}\n[drivers."{name}".datasheet]\nre_ohm = 5\nfs_hz = 9\nqms = 1\nqes = 1\n',
        "speaker.toml",
    )


def with_network(name):
    return "speaker.toml", f'{TOML}\n[networks."{name}"]\ncircuit = "original.cir"\n', "speaker.toml"


def with_card(card):
    return "original.cir", CARDS.replace("\nL1 ", f"\n{card}\nL1 "), "original.cir:3"


def with_stock(line):
    return "stock.csv", f"kind,value,maker_code\n{line}\n", "stock.csv"


TOML, CARDS = hostile.SPEAKER, hostile.AS_MARKED
REFUSED = {
    "title of two lines": with_title("a\\nb"),
    "title with NUL": with_title("a\\u0000b"),
    "title that turns": with_title("a\\u202Eb"),
    "title of 10,000": with_title(hostile.LONG),
    "driver that turns": with_driver("a\\u202Eb"),
    "driver of 10,000": with_driver(hostile.LONG),
    "driver of two lines": with_driver("a\\nb"),
    "driver of blanks": with_driver("  "),
    "network that turns": with_network("a\\u202Eb"),
    "network of 10,000": with_network(hostile.LONG),
    "part of markup": with_card(f"C{hostile.SCRIPT} in 0 1uF"),
    "part of 10,000": with_card(f"C{hostile.LONG} in 0 1uF"),
    "node of markup": with_card(f"C9 {hostile.SCRIPT} 0 1uF"),
    "node that turns": with_card("C9 \u202ein 0 1uF"),
    "loss of markup": with_card(f"C9 in 0 1uF loss={hostile.SCRIPT}"),
    "kind of markup": with_card("C9 in 0 1uF kind=<i/onclick>"),
    "core of markup": with_card("L9 in 0 1mH core=<i/onclick>"),
    "field of markup": with_card(f"C9 in 0 1uF {hostile.SCRIPT}=1"),
    "value of braces": with_card(f"C9 in 0 {hostile.BRACES}"),
    "coupling of markup": with_card(f"K{hostile.SCRIPT} L1 L2 0.02"),
    "NUL in a netlist": (*with_card("C9 in 0 1uF ; \x00")[:2], "original.cir: is not a text file"),
    "kind on sale": with_stock(f"{hostile.SCRIPT},1uF,"),
    "dielectric on sale": with_stock(f"film{hostile.SCRIPT},1uF,"),
    "value on sale": with_stock(f"film,{hostile.SCRIPT},"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_no_reader_admits_is_refused_in_one_line(folder, tmp_path, monkeypatch, capsys, name):
    file, text, where = REFUSED[name]
    shutil.copytree(folder, tmp_path / "speaker")
    assert (tmp_path / "speaker" / file).read_text(encoding="utf-8") != text
    (tmp_path / "speaker" / file).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    before = set(os.listdir())
    assert main(["report", "speaker", "--stock", "speaker/stock.csv", "--processes", "1"]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("error: ")
    assert said.err.count("\n") == 1
    assert where in said.err
    assert len(said.err) < 600
    assert all(c.isprintable() for c in said.err.rstrip("\n"))
    assert set(os.listdir()) == before


def test_every_block_type_is_filled():
    """A new kind of block belongs on the page of payloads."""
    from xover import blocks

    kinds = {c for c in vars(blocks).values() if dataclasses.is_dataclass(c) and hasattr(c, "kind")}
    assert kinds == {Gap, Note, Text, Head, Items, Facts, type(table("", [], [])), Picture, Warn, Listing, Downloads}
