"""xover report, as a user types it. The reports behind it are true ones, each made once."""

import json
import re
from datetime import date
from html.parser import HTMLParser

import pytest

import xover.report.report
from xover.report import printing
from xover.report.report import make_report

SEVERAL_FIGURES = {"schematic", "sum", "load", "condition", "tolerance"}


def heard(*given, progress=None, **named):
    """What a report depends on: where its progress goes is no part of it."""
    del progress
    return given, named


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """The smallest speaker that there is a circuit for; of the amplifier and the listener it says nothing."""
    from xover.cli.main import main

    folder = tmp_path_factory.mktemp("speakers") / "small"
    assert main(["new", str(folder), "--circuit", "two-way-first-order"]) == 0
    whole = (folder / "speaker.toml").read_text(encoding="utf-8")
    bare = re.sub(r"(?ms)^\[(amplifier|listening)\].*?(?=^\[)", "", whole)
    assert len(bare) < len(whole) - 100
    (folder / "speaker.toml").write_text(bare, encoding="utf-8")
    return folder


@pytest.fixture(scope="session")
def made_once(remembered):
    """Of one day, so that two pages can be held against each other."""
    return remembered(lambda *given, **named: make_report(*given, **named, today=date(2031, 2, 3)), heard)


@pytest.fixture(autouse=True)
def here(monkeypatch, tmp_path, made_once):
    """A folder to write to."""
    monkeypatch.setattr(xover.report.report, "make_report", made_once)
    monkeypatch.delenv("XOVER_BROWSER", raising=False)
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    return tmp_path / "here"


@pytest.fixture
def no_work(monkeypatch):
    """Any work that is begun is a fault."""

    def never(*_given, **_named):
        raise AssertionError("a report was begun")

    monkeypatch.setattr(xover.report.report, "make_report", never)


def is_one_line(text, start="error: "):
    return text.startswith(start) and text.count("\n") == 1 and text.endswith("\n")


def test_page_is_written_here_and_told_in_few_words(run, small, here):
    ran = run("report", small, "--processes", "1")
    assert (ran.status, ran.err) == (0, "")
    page = (here / "report.html").read_text(encoding="utf-8")
    assert page.startswith("<!DOCTYPE html>")
    assert page.endswith("</html>")
    assert max(map(len, ran.out.splitlines())) <= 80
    text = " ".join(ran.out.split())
    assert f"report written to report.html ({len(page.encode()) / 1e3:.0f} kB)" in text
    order = ["report.html", "Nothing was measured:", "recommended no verdict yet", "built found", "background"]
    assert [text.index(w) for w in order] == sorted(text.index(w) for w in order)
    assert [p.name for p in here.iterdir()] == ["report.html"]


def test_what_the_folder_does_not_tell_is_listed(run, small, here):
    assert run("report", small, "--processes", "1").status == 0
    page = (here / "report.html").read_text(encoding="utf-8")
    assert 'id="fig-stress"' not in page
    assert "Not told: which ratings the parts need. " in page
    assert "rated_power_w" in page.replace("<wbr>", "")


def test_json_is_one_object(run, small, here):
    ran = run("report", small, "--processes", "1", "-o", "x.htm", "--json")
    assert (ran.status, ran.err) == (0, "")
    told = json.loads(ran.out)
    assert told["bytes"] == (here / "x.htm").stat().st_size > 100_000
    assert told["report"] == "x.htm"
    assert told["pdf"] is None
    assert (told["recommendation"], told["answer"], told["built"]) == ("none yet", "no verdict yet", "found")
    assert told["standing"].startswith("Nothing was measured:")
    assert (told["sections"][0], told["sections"][-1]) == ("decision", "appendix")
    page = (here / "x.htm").read_text(encoding="utf-8")
    assert set(told["figures"]) == set(re.findall(r'<figure id="fig-([a-z-]+)"', page)) > SEVERAL_FIGURES
    assert told["sections"] == re.findall(r'<section id="([a-z]+)"', page)


def test_two_processes_make_the_same_page(run, small, here):
    for processes in ("1", "2"):
        ran = run("report", small, "--processes", processes, "-o", f"{processes}.html")
        assert ran.status == 0, ran.err
    one, two = ((here / f"{n}.html").read_bytes() for n in "12")
    assert one == two


@pytest.mark.usefixtures("no_work")
@pytest.mark.parametrize(
    ("name", "more"), [("report.html", ()), ("a.html", ("-o", "a.html")), ("report.pdf", ("--pdf",))]
)
def test_an_existing_file_is_refused_before_any_work(run, small, here, name, more):
    (here / name).write_bytes(b"an old one")
    ran = run("report", small, *more)
    assert ran.status == 2
    assert is_one_line(ran.err)
    assert f"{name}: exists already; give --force" in ran.err
    assert ran.out == ""
    assert {p.name: p.read_bytes() for p in here.iterdir()} == {name: b"an old one"}


def test_force_replaces_it(run, small, here):
    (here / "report.html").write_bytes(b"an old one")
    assert run("report", small, "--processes", "1", "--force").status == 0
    assert (here / "report.html").read_bytes().startswith(b"<!DOCTYPE html>")


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--network", "nope"), "nope"),
        (("-o", "page.txt"), r"--output is 'page\.txt'; end the name in \.html"),
        (("-o", "no/where/page.html"), "no/where"),
        (("--stock", "gone.csv"), r"gone\.csv: does not exist"),
        (("--mate", "gone"), r"gone.*does not exist"),
        (("--most-cost", "-1"), "--most-cost is -1; give 0 or more"),
        (("--most-cost", "nan"), "--most-cost: 'nan' is not a number"),
        (("--seed", "-1"), "--seed is -1; give 0 or more"),
        (("--processes", "0"), "--processes is 0; give 1 to 64"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(run, small, here, more, words):
    ran = run("report", small, *more)
    assert ran.status == 2
    assert ran.out == ""
    assert is_one_line(ran.err)
    assert re.search(words, ran.err)
    assert list(here.iterdir()) == []


def test_no_folder_no_report(run, here):
    ran = run("report", "gone")
    assert ran.status == 2
    assert is_one_line(ran.err)
    assert "gone" in ran.err
    assert list(here.iterdir()) == []


@pytest.mark.parametrize("browser", ["no/such/browser", None])
def test_what_cannot_be_printed_is_written_all_the_same(run, small, here, monkeypatch, browser):
    if browser is None:
        monkeypatch.setattr(printing, "find_browser", lambda: None)
    else:
        monkeypatch.setenv("XOVER_BROWSER", browser)
    ran = run("report", small, "--processes", "1", "--pdf")
    assert ran.status == 2
    assert ran.out == ""
    assert is_one_line(ran.err, "error: the page is in report.html, but it was not printed: ")
    assert "XOVER_BROWSER" in ran.err
    for word in ("any browser", "print", "A4"):
        assert word in ran.err
    assert [p.name for p in here.iterdir()] == ["report.html"]
    assert (here / "report.html").read_bytes().endswith(b"</html>")


def test_printed_beside_the_page(run, small, here, monkeypatch, tmp_path):
    (tmp_path / "acting").write_text(
        '#!/bin/sh\nfor a; do case "$a" in --print-to-pdf=*) pdf="${a#--print-to-pdf=}";; esac; done\n'
        "printf '%%PDF-1.4\\n%%%%EOF' > \"$pdf\"\n"
    )
    (tmp_path / "acting").chmod(0o755)
    monkeypatch.setenv("XOVER_BROWSER", str(tmp_path / "acting"))
    ran = run("report", small, "--processes", "1", "--pdf", "-o", "left.html")
    assert (ran.status, ran.err) == (0, "")
    assert "Printed to left.pdf." in ran.out
    assert (here / "left.pdf").read_bytes() == b"%PDF-1.4\n%%EOF"
    assert sorted(p.name for p in here.iterdir()) == ["left.html", "left.pdf"]


def test_several_networks_stand_side_by_side(run, small, here):
    """The last one is built, all are shown: each row has the load that `load` tells."""
    extra = (small / "found.cir").read_text(encoding="utf-8")
    (small / "third.cir").write_text(re.sub(r"(?m)^(C1\s+\S+\s+\S+)\s+\S+", r"\1 1uF", extra), encoding="utf-8")
    toml = small / "speaker.toml"
    before = toml.read_text(encoding="utf-8")
    toml.write_text(before + '\n[networks.third]\ncircuit = "third.cir"\n', encoding="utf-8")
    ran = run("report", small, "--processes", "1", "-n", "third", "-n", "original", "-o", "three.html")
    assert (ran.status, ran.err) == (0, "")
    assert "built original" in " ".join(ran.out.split())

    class Words(HTMLParser):
        def __init__(self):
            super().__init__()
            self.rows = []

        def handle_starttag(self, tag, _):
            if tag == "tr":
                self.rows.append([])

        def handle_data(self, data):
            if self.rows and data.strip():
                self.rows[-1].append(data.strip())

    page = (here / "three.html").read_text(encoding="utf-8")
    table = page[page.index("The networks side by side") :]
    reader = Words()
    reader.feed(table[: table.index("</table>")])
    told = {row[0]: row[-1] for row in reader.rows[1:]}
    assert list(told) == ["found", "original", "third"]
    for name, words in told.items():
        summary = json.loads(run("load", small, "--network", name, "--json").out)["summary"]
        lowest = summary["channels"]["in"]["minimum_ohm"]
        assert words.startswith(f"{lowest:.2f} at"), (name, words, lowest)
    assert told["third"] != told["found"]
