"""A page that cannot die: a fault planted in each section, each answer and each figure in turn."""

import json
import os
import subprocess
import sys
from dataclasses import replace

import pytest
from made_reports import DAY, FOLDERS, made_report, words_of
from page_checks import CHECKS

import xover.report.answers as gathering
import xover.report.report
from xover.blocks import FAULT, GONE, Downloads, Picture, Text
from xover.errors import InputError, NoSolutionError
from xover.report import contents, works
from xover.report.page import Page, html_of, render
from xover.report.report import Report, make_report
from xover.report.sections import bench
from xover.report.workshop import Answer, NotKnown, Workshop, do

KIND = "KeyError: 'planted'"
NOBODYS = "a fault of xover itself, not of your files"
PLACES = {
    **dict.fromkeys(("decision", "amplifier", "driver", "refresh", "trim", "rewire", "bypass"), "decision"),
    **{"check": "evidence", "schematic": "schematic", "load": "load", "built load": "load", "condition": "condition"},
    **dict.fromkeys(("sound", "built sound", "before and after", "angles", "tolerance", "sensitivity"), "sound"),
    **{"stress": "bill", "board": "wiring", "build": "build", "formulas": "appendix", "bypassed": "proposals"},
    "leave": "decision",
}
"""Where the box of each answer stands."""
ALSO = {"load": {"owner"}, "built load": {"owner"}, "sound": {"owner"}, "built sound": {"owner"}, "build": {"cautions"}}
"""Other sections that tell something of it."""
STEPS = {"amplifier", "driver", "refresh", "trim", "rewire", "leave", "bypass"}
"""All may be otherwise without one of these: another step is recommended then."""
SECTIONS = [part.anchor for part in contents.ORDER]


def broken(*_given, **_named):
    raise KeyError("planted")


def refused(*_given, **_named):
    raise NoSolutionError("node 'x' floats", "join it")


@pytest.fixture(scope="module")
def answers(shared):
    answers = made_report("attic", shared).answers
    board = answers.known["crosstalk"], answers.known["wiring"]
    return replace(answers, known={**answers.known, "board": board})


@pytest.fixture(scope="module")
def shop(answers):
    """The workshop that they came from, its case set up."""
    shop = Workshop(answers.request)
    assert shop.case.present == answers.present
    return shop


@pytest.fixture
def once(monkeypatch, memory={}):  # noqa: B006 (kept from test to test)
    """Cautions are worked out once for the same networks and decision: they are not what is broken here."""
    real = bench.case_cautions

    def case_cautions(speaker, names, *, decision, **more):
        key = (*names, None if decision is None else decision.answer, more["build"] is None)
        if key not in memory:
            memory[key] = real(speaker, names, decision=decision, **more)
        return memory[key]

    monkeypatch.setattr(bench, "case_cautions", case_cautions)


@pytest.fixture
def whole(answers, once):  # noqa: ARG001
    return contents.all_sections(answers)


@pytest.fixture
def gathered(monkeypatch, answers, shop, once):  # noqa: ARG001
    """Everything gathered anew, where the jobs of some names do as told and the others have been done before."""

    def gather(instead, *networks):
        def as_before(request, job):
            work = instead.get(job.name)
            if work is not None:
                return do(request, replace(job, work=work))
            return answers.known.get(job.name, NotKnown("not worked out here"))

        monkeypatch.setattr(gathering, "open_workshop", lambda _request: shop)
        monkeypatch.setattr(gathering, "do", as_before)
        return gathering.gather(replace(answers.request, networks=networks), 1, lambda _done, _words: None)

    return gather


def plain(section):
    """It without what depends on the sections before it: notes that are told once, and the data of other figures."""
    kept = (replace(b, notes=()) if isinstance(b, Picture) else b for b in section.blocks)
    return replace(section, blocks=tuple(b for b in kept if not isinstance(b, Downloads)))


def same_but(sections, whole, but=()):
    """That the others are as without the fault."""
    assert [s.anchor for s in sections] == [s.anchor for s in whole]
    for here, there in zip(sections, whole, strict=True):
        if here.anchor not in but:
            assert not here.mark
            assert html_of(plain(here)) == html_of(plain(there)), here.anchor


def boxes(sections):
    return {s.anchor: [b for b in s.not_told if b.tone == FAULT] for s in sections if s.mark == "a fault in it"}


def page_of(sections):
    return render(Page("title", "standing", "made", tuple(sections)))


@pytest.mark.parametrize("anchor", [*SECTIONS, "appendix"])
def test_a_section(monkeypatch, answers, whole, anchor):
    if anchor == "appendix":
        monkeypatch.setattr(contents, "appendix", broken)
    else:
        order = [replace(p, tell=broken) if p.anchor == anchor else p for p in contents.ORDER]
        monkeypatch.setattr(contents, "ORDER", order)
    sections = contents.all_sections(answers)
    same_but(sections, whole, {anchor})
    ((box,),) = (found := boxes(sections)).values()
    assert list(found) == [anchor]
    assert (box,) == next(s for s in sections if s.anchor == anchor).blocks
    assert KIND in box.words
    assert NOBODYS in box.words
    page = page_of(sections)
    assert box.words in words_of(page)
    assert page.count("(a fault in it)") == 1
    assert 'class="fault"' in page


def test_a_section_that_cannot_be_shown(monkeypatch, answers, whole):
    order = [
        replace(p, tell=lambda _: (Text("words"), Text(None))) if p.anchor == "load" else p for p in contents.ORDER
    ]
    monkeypatch.setattr(contents, "ORDER", order)
    sections = contents.all_sections(answers)
    same_but(sections, whole, {"load"})
    assert "TypeError" in boxes(sections)["load"][0].words
    assert page_of(sections).endswith("</html>")


def test_every_answer_has_its_test(answers):
    assert set(PLACES) == set(answers.known) - {"crosstalk", "wiring"}


@pytest.mark.parametrize("name", PLACES)
def test_an_answer(gathered, whole, name):
    sections = contents.all_sections(gathered({name: broken}))
    found = boxes(sections)
    assert KIND in found[PLACES[name]][0].words
    if name not in STEPS:
        assert list(found) == [PLACES[name]]
        assert len(found[PLACES[name]]) == 1
        same_but(sections, whole, {PLACES[name], *ALSO.get(name, ())})
    assert page_of(sections).count("(a fault in it)") == len(found)


@pytest.mark.parametrize("name", ["load", "sound", "condition", "check", "stress", "formulas", "built load", "board"])
def test_an_answer_that_is_refused_is_no_fault(gathered, whole, name):
    sections = contents.all_sections(gathered({name: refused}))
    assert not boxes(sections)
    section = next(s for s in sections if s.anchor == PLACES[name])
    assert section.mark == "not all is told"
    (box,) = section.not_told
    assert (box.tone, "node 'x' floats; join it" in box.words.lower()) == (GONE, True)
    same_but(sections, whole, {PLACES[name], *ALSO.get(name, ())})


@pytest.mark.parametrize("place", ["first_steps", "hold_against_each_other", "could_better"])
@pytest.mark.parametrize(("work", "tone"), [(broken, FAULT), (refused, GONE)])
def test_no_decision(monkeypatch, gathered, place, work, tone):
    monkeypatch.setattr(gathering, place, work)
    got = gathered({})
    assert got.build.new is False
    sections = contents.all_sections(got)
    assert {s.anchor: [b.tone for b in s.not_told] for s in sections if s.mark} == {
        "decision": [tone],
        "proposals": [tone],
    }
    rest = {"evidence", "condition", "wiring"}  # what rests on no decision is told as ever
    assert [s.mark for s in sections if s.anchor in rest] == [""] * len(rest)
    assert page_of(sections).endswith("</html>")


@pytest.mark.parametrize(("work", "draw"), [(works.load, "draw_load"), (works.condition, "draw_condition")])
def test_a_figure(monkeypatch, shop, answers, work, draw):
    monkeypatch.setattr(works, draw, broken)
    given = (answers.present, {}, "load") if work is works.load else ()
    answer = work(shop, *given)
    assert isinstance(answer, Answer)
    assert (answer.picture.tone, KIND in answer.picture.words) == (FAULT, True)
    name = "load" if work is works.load else "condition"
    section = {s.anchor: s for s in contents.all_sections(replace(answers, known={**answers.known, name: answer}))}[
        name
    ]
    assert section.not_told == (answer.picture,)
    assert len(section.blocks) > 3
    assert 'class="fault"' in html_of(section)


def test_a_refusal_names_no_folder(gathered):
    def refuses(*_):
        raise InputError("ends at 200 Hz", "measure it further up", "/elsewhere/somebody/speaker/woofer.csv", 7)

    section = next(s for s in contents.all_sections(gathered({"load": refuses})) if s.anchor == "load")
    assert section.not_told[0].words.endswith(" Ends at 200 Hz (woofer.csv, line 7); measure it further up.")


def test_a_network_beside(gathered, answers):
    """The figures of one more network that was asked for."""
    got = gathered({"beside original": broken}, "original", answers.present)
    assert got.others == ("original",)
    found = boxes(contents.all_sections(got))
    assert list(found) == ["sound"]
    assert "network original" in found["sound"][0].words


def test_what_was_measured(monkeypatch, answers):
    monkeypatch.setattr(xover.report.report, "gather", lambda *_: answers)
    monkeypatch.setattr(xover.report.report, "standing", broken)
    report = make_report(FOLDERS["attic"], today=DAY)
    assert KIND in report.standing
    assert report.html.endswith("</html>")


def test_an_answer_that_cannot_travel(gathered, monkeypatch):
    """What goes wrong between the processes is done again here."""

    class Pool(gathering.Pool):
        def as_they_come(self, work, items):
            yield 0, work(items[0])
            raise TypeError("cannot pickle")

    monkeypatch.setattr(gathering, "Pool", Pool)
    assert not boxes(contents.all_sections(gathered({})))


ALL = """
import xover.report.works as works
for name in %r:
    def broken(*given): raise KeyError("planted")
    broken.__module__, broken.__qualname__ = works.__name__, name
    setattr(works, name, broken)
from xover.cli.main import run
run()
"""
WORKS = (
    *("option", "condition", "sensitivity", "load", "sound", "check", "formulas", "build", "tolerance", "board"),
    *("angles", "stress", "schematic", "decided", "bypass_pictures", "before_and_after", "beside"),
)


@pytest.mark.parametrize("processes", [1, 2])
def test_all_at_once(tmp_path, processes):
    """The command, working alone and with others: the page is written, all is said in one line, the status is 3."""
    line = [sys.executable, "-c", ALL % (WORKS,), "report", FOLDERS["attic"], "--json", "--processes", str(processes)]
    environment = {k: v for k, v in os.environ.items() if k != "XOVER_DEBUG"}
    ended = subprocess.run(line, cwd=tmp_path, capture_output=True, text=True, env=environment, timeout=120)
    assert ended.returncode == 3, ended.stderr
    assert ended.stderr.count("\n") == 1
    assert ended.stderr.startswith(f"error: {NOBODYS}: the page is in report.html, with a box for what is missing in ")
    told = json.loads(ended.stdout)
    assert {t["section"] for t in told["not_told"] if t["fault"]} == set(PLACES.values())
    assert all(KIND in t["why"] for t in told["not_told"] if t["fault"])
    page = (tmp_path / "report.html").read_text("utf-8")
    assert page.endswith("</html>")
    assert told["sections"] == [*SECTIONS, "appendix"]
    assert words_of(page).count(KIND) == len(told["not_told"])


def test_the_command_says_so_in_one_line(monkeypatch, tmp_path, capsys, answers, whole):
    """Also as text; a page on which only data is missing is status 0."""
    from xover.cli.main import main

    monkeypatch.chdir(tmp_path)
    for n, tone in enumerate((FAULT, GONE)):
        section = replace(whole[4], blocks=(Text("Not told: the load. Words.", tone),))
        made = Report("A title", "standing", "<p>a page", (*whole[:4], section), answers)
        monkeypatch.setattr(xover.report.report, "make_report", lambda *_, made=made, **__: made)
        status = main(["report", str(FOLDERS["attic"]), "-o", f"{n}.html"])
        out, err = capsys.readouterr()
        assert "report written to" in out
        assert (tmp_path / f"{n}.html").read_text("utf-8") == "<p>a page"
        if tone == GONE:
            assert (status, err) == (0, "")
            continue
        assert status == 3
        assert err.count("\n") == 1
        assert "'Load'" in err


def test_a_printer_that_breaks_leaves_the_page(monkeypatch, tmp_path, capsys, answers, whole):
    from xover.cli.main import main
    from xover.report import printing

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(
        xover.report.report, "make_report", lambda *_, **__: Report("A title", "standing", "<p>a page", whole, answers)
    )
    monkeypatch.setattr(printing, "print_pdf", broken)
    assert main(["report", str(FOLDERS["attic"]), "--pdf"]) == 3
    assert f"the page is in report.html, but it was not printed: {KIND}" in capsys.readouterr().err
    assert (tmp_path / "report.html").read_text("utf-8") == "<p>a page"


def test_such_a_page_keeps_every_rule(browser, tmp_path, gathered, monkeypatch):
    order = [replace(p, tell=broken) if p.anchor == "wiring" else p for p in contents.ORDER]
    monkeypatch.setattr(contents, "ORDER", order)
    sections = contents.all_sections(gathered({"load": broken, "stress": refused}))
    assert set(boxes(sections)) == {"load", "wiring"}
    (path := tmp_path / "page.html").write_text(page_of(sections), encoding="utf-8")
    with browser.open(path) as tab:
        for width in (400, 1280):
            tab.resize(width, 800)
            for check in CHECKS:
                check(tab)
