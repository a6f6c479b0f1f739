"""The browser that tests the pages: it hears what a page says and asks for, and goes away with all that it started."""

import io
import os
import tempfile
import time
from pathlib import Path

import numpy as np
import pytest
from browser import Browser, ScriptError, need_browser
from browser_pipe import BrowserError

from xover.report import printing

STUB = Path(__file__).with_name("stub_page.html")
LOUD = """<!DOCTYPE html><html lang="en"><title>Loud</title><body style="margin: 0; background: #0000ff">
<script>console.error("one", 2); alert("three"); setTimeout(() => { throw new RangeError("four") })</script>
<img alt="" src="http://five.invalid/"><img alt="" src="data:,six">
<div style="height: 3000px; width: 10px" role="img" aria-label="a tall one"></div>"""


@pytest.fixture(scope="module")
def loud(browser, tmp_path_factory):
    (path := tmp_path_factory.mktemp("loud") / "loud page #1.html").write_text(LOUD)
    with browser.open(path, width=500, height=300) as page:
        page.settle()
        yield page


def test_it_hears_all_that_a_page_says(loud):
    assert "error: one 2" in loud.console
    assert any("ERR_NAME_NOT_RESOLVED" in line and "five.invalid" in line for line in loud.console)
    assert [text.split("\n")[0] for text in loud.exceptions] == ["RangeError: four"]
    assert loud.opened == ["alert: three"]
    assert loud.requests == ["http://five.invalid/"]


def test_another_page_in_the_same_tab_starts_anew(browser, tmp_path):
    (tmp_path / "loud.html").write_text(LOUD)
    with browser.open(tmp_path / "loud.html") as page:
        assert page.opened == ["alert: three"]
        page.go(STUB)
        page.settle()
        assert page.evaluate("document.title") == "An invented page"
        assert (page.console, page.exceptions, page.opened, page.requests) == ([], [], [], [])


def test_size_script_and_names(loud):
    assert loud.evaluate("[innerWidth, innerHeight, document.title]") == [500, 300, "Loud"]
    assert loud.evaluate("new Promise(done => setTimeout(() => done(7), 5))") == 7
    with pytest.raises(ScriptError, match=r"ReferenceError: nowhere is not defined"):
        loud.evaluate("nowhere")
    heard = [(node["role"]["value"], node["name"]["value"]) for node in loud.accessibility() if "name" in node]
    assert ("image", "a tall one") in heard
    loud.resize(400, 300)
    assert loud.evaluate("innerWidth") == 400
    loud.resize(500, 300)


def test_media(loud):
    asked = "matchMedia('print').matches"
    assert loud.evaluate(asked) is False
    loud.media("print")
    assert loud.evaluate(asked) is True
    loud.media()
    assert loud.evaluate(asked) is False


def test_picture_of_the_window_and_of_the_page(loud, tmp_path):
    from matplotlib.image import imread

    loud.screenshot(tmp_path / "window.png", full=False)
    loud.screenshot(tmp_path / "page.png")
    window, page = imread(tmp_path / "window.png"), imread(tmp_path / "page.png")
    assert window.shape[:2] == (300, 500)
    assert page.shape[0] > 3000
    np.testing.assert_array_equal(page[-10, 400, :3], [0, 0, 1])


def test_paper_is_a4(loud):
    from pypdf import PdfReader

    sheets = PdfReader(io.BytesIO(loud.pdf())).pages
    assert len(sheets) > 2
    # 210 by 297 mm (ISO 216) at 72 points to the inch; a browser rounds to its pixel of 1/96 inch
    assert [float(side) for side in sheets[0].mediabox[2:]] == pytest.approx([595.28, 841.89], abs=0.75)


def test_a_script_before_all_others(browser, tmp_path):
    (tmp_path / "loud.html").write_text(LOUD)
    with browser.open(
        tmp_path / "loud.html", before=["window.heard = []; window.alert = (t) => heard.push(t)"]
    ) as page:
        assert page.evaluate("heard") == ["three"]
        assert page.opened == []


def test_no_such_page(browser, tmp_path):
    with pytest.raises(BrowserError, match=r"gone\.html: net::ERR_FILE_NOT_FOUND"):
        browser.open(tmp_path / "gone.html")


def test_no_such_command(browser):
    with pytest.raises(BrowserError, match=r"Target\.dance: .*wasn't found"):
        browser.pipe.send("Target.dance")


def test_a_silent_browser_is_told(browser):
    with pytest.raises(BrowserError, match=r"silent for 0\.01 s while waiting for rain"):
        browser.pipe.wait(lambda: False, "rain", patience_s=0.01)


def test_nothing_is_left_of_it(browser, tmp_path, monkeypatch):
    del browser  # says only that there is one on this machine
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    with Browser() as second, second.open(STUB) as page:
        group = second.pipe.process
        assert page.evaluate("1 + 1") == 2
        assert os.getpgid(group) == group
        assert [entry.name[:19] for entry in tmp_path.iterdir()] == ["xover-test-browser-"]
    for _ in range(100):
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            break
        time.sleep(0.02)
    else:
        pytest.fail("processes of the browser live on")


@pytest.mark.parametrize(("ci", "outcome"), [("true", pytest.fail.Exception), ("", pytest.skip.Exception)])
def test_without_a_browser_the_deciding_machine_fails(monkeypatch, ci, outcome):
    monkeypatch.setattr(printing, "find_browser", lambda: None)
    monkeypatch.setenv("CI", ci)
    with pytest.raises(outcome, match="no Chromium browser"):
        need_browser()
