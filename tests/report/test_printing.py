"""Pages to PDF: which browser, what it may do, and that an old PDF outlives whatever goes wrong."""

import _thread
import http.server
import io
import os
import tempfile
import threading
import time
import urllib.request
from pathlib import Path

import pytest
from browser import need_browser

from xover.errors import InputError, OptionError
from xover.report import printing
from xover.report.printing import find_browser, headless_arguments, headless_environment, is_whole_pdf, print_pdf

STUB = Path(__file__).with_name("stub_page.html")


@pytest.fixture(autouse=True)
def own_temporary_folder(tmp_path, monkeypatch):
    """What is left there is seen, and none of it is anyone else's."""
    (tmp_path / "temporary").mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "temporary"))
    monkeypatch.delenv("XOVER_BROWSER", raising=False)
    return tmp_path / "temporary"


@pytest.fixture
def no_browser(tmp_path, monkeypatch):
    """A machine without one."""
    (tmp_path / "bin").mkdir()
    monkeypatch.setenv("PATH", str(tmp_path / "bin"))
    monkeypatch.setattr(printing, "_usual_places", list)
    return tmp_path / "bin"


def program(path, script):
    path.write_text(f"#!/bin/sh\n{script}\n")
    path.chmod(0o755)
    return path


@pytest.fixture
def acting(tmp_path, monkeypatch):
    """Make a browser that does what a script says; in it $pdf is the file that it is to print to."""

    def act(script):
        find = 'for a; do case "$a" in --print-to-pdf=*) pdf="${a#--print-to-pdf=}";; esac; done'
        monkeypatch.setenv("XOVER_BROWSER", str(program(tmp_path / "acting", f"{find}\n{script}")))

    return act


@pytest.fixture
def old(tmp_path):
    (tmp_path / "report.pdf").write_bytes(b"an old one")
    yield tmp_path / "report.pdf"
    assert (tmp_path / "report.pdf").read_bytes() == b"an old one"
    assert list((tmp_path / "temporary").iterdir()) == []


def has_ended(pid):
    """True once a process is gone, or only waits to be counted by its parent."""
    for _ in range(100):
        try:
            os.kill(pid, 0)
            if Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z":
                return True
        except (ProcessLookupError, FileNotFoundError):
            return True
        time.sleep(0.02)
    return False


def test_the_first_name_on_the_path_is_taken(no_browser):
    assert find_browser() is None
    for name in ("msedge", "google-chrome", "chromium"):
        found = program(no_browser / name, "exit 0")
        assert find_browser() == found
    (no_browser / "chromium").chmod(0o644)
    assert find_browser() == no_browser / "google-chrome"


def test_usual_places_of_other_systems(monkeypatch, tmp_path):
    monkeypatch.setenv("PROGRAMFILES", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    edge = tmp_path / "Microsoft" / "Edge" / "Application" / "msedge.exe"
    own = tmp_path / "home" / "Applications" / "Chromium.app" / "Contents" / "MacOS" / "Chromium"
    assert {str(edge), str(own)} <= set(printing._usual_places())
    monkeypatch.setattr(printing, "_NAMES", ())
    monkeypatch.setattr(printing, "_MAC_PLACES", printing._MAC_PLACES[:0])
    assert find_browser() is None
    edge.parent.mkdir(parents=True)
    program(edge, "exit 0")
    assert find_browser() == edge


def test_variable_goes_before_the_path(no_browser, monkeypatch, tmp_path):
    program(no_browser / "chromium", "exit 0")
    own = program(tmp_path / "my browser", "exit 0")
    monkeypatch.setenv("XOVER_BROWSER", str(own))
    assert find_browser() == own
    monkeypatch.setenv("XOVER_BROWSER", "")
    assert find_browser() == no_browser / "chromium"
    monkeypatch.setenv("XOVER_BROWSER", "no/such\nthing")
    with pytest.raises(
        OptionError, match=r"XOVER_BROWSER is 'no/such thing', which is no program .*; give it the path"
    ):
        find_browser()


@pytest.mark.usefixtures("no_browser")
def test_without_a_browser_the_remedy_says_how_to_print(old):
    with pytest.raises(OptionError) as caught:
        print_pdf(STUB, old, force=True)
    assert "no browser that can print was found" in caught.value.problem
    for word in ("open the page", "A4", "'background graphics' on", "XOVER_BROWSER"):
        assert word in caught.value.remedy


@pytest.mark.parametrize(("user", "flag"), [(0, True), (1000, False)])
def test_only_root_goes_without_the_sandbox(monkeypatch, user, flag):
    monkeypatch.setattr(os, "geteuid", lambda: user)
    assert ("--no-sandbox" in headless_arguments(Path("browser"), Path("profile"))) is flag


def test_a_browser_keeps_everything_in_its_own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("LANG", "C")
    found = headless_environment(Path("short"))
    assert [found[name] for name in ("XDG_CONFIG_HOME", "XDG_CACHE_HOME", "TMPDIR", "LANG")] == [*["short"] * 3, "C"]
    long = tmp_path / ("x" * 60)  # no room in there for the path of a socket
    assert headless_environment(long).get("TMPDIR") == os.environ.get("TMPDIR")


@pytest.mark.parametrize(
    ("data", "whole"),
    [
        (b"%PDF-1.4\n...\n%%EOF\n", True),
        (b"%PDF-1.4\n...\n%%EOF", True),
        (b"%PDF-1.4\n...\n%%EO", False),
        (b"<html>%PDF-1.4\n%%EOF", False),
        (b"", False),
    ],
)
def test_what_a_whole_pdf_is(data, whole):
    assert is_whole_pdf(data) is whole


@pytest.mark.parametrize(
    ("script", "message"),
    [
        (
            "echo one >&2; echo no room left >&2; exit 3",
            r"printed no PDF \(exit status 3, last words: no room left\)",
        ),
        ("echo '[1:FATAL:x] why'; echo and more", r"printed no PDF \(exit status 0, last words: \[1:FATAL:x\] why\)"),
        ("exit 0", r"printed no PDF \(exit status 0\); open the page in any browser"),
        ("printf '%%PDF-1.4 cut' > \"$pdf\"", r"did not print a whole PDF \(exit status 0\)"),
        ("printf '%%PDF-1.4\\n%%%%EOF' > \"$pdf\"; exit 1", r"did not print a whole PDF \(exit status 1\)"),
        ("kill -SEGV $$", r"printed no PDF \(exit status -11\)"),
    ],
)
def test_a_browser_that_fails(acting, old, script, message):
    acting(script)
    with pytest.raises(OptionError, match=message):
        print_pdf(STUB, old, force=True)


def test_no_room_for_a_temporary_folder(acting, old, tmp_path, monkeypatch):
    acting("exit 0")
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "none"))
    with pytest.raises(OptionError, match=r"no folder for temporary files can be made: no such file .*; make room"):
        print_pdf(STUB, old, force=True)


def test_a_browser_that_cannot_be_started(old, tmp_path, monkeypatch):
    (tmp_path / "odd").write_text("#!/no/such/interpreter\n")
    (tmp_path / "odd").chmod(0o755)
    monkeypatch.setenv("XOVER_BROWSER", str(tmp_path / "odd"))
    with pytest.raises(OptionError, match=r"odd cannot be started: no such file or directory; open the page"):
        print_pdf(STUB, old, force=True)


def test_a_browser_that_hangs_is_ended_with_its_children(acting, old, tmp_path):
    acting(f"sleep 60 & echo $! $$ > '{tmp_path / 'pids'}'; wait")
    with pytest.raises(OptionError, match=r"acting had not printed the page within 0\.4 s; open the page"):
        print_pdf(STUB, old, force=True, timeout_s=0.4)
    assert all(has_ended(int(pid)) for pid in (tmp_path / "pids").read_text().split())


def test_an_interrupt_ends_the_browser(acting, old, tmp_path):
    acting(f"sleep 60 & echo $! $$ > '{tmp_path / 'pids'}'; wait")
    timer = threading.Timer(0.4, _thread.interrupt_main)
    timer.start()
    with pytest.raises(KeyboardInterrupt):
        print_pdf(STUB, old, force=True)
    assert all(has_ended(int(pid)) for pid in (tmp_path / "pids").read_text().split())


def test_what_a_browser_left_running_is_ended_too(acting, tmp_path):
    acting(f"printf '%%PDF-1.4\\n%%%%EOF' > \"$pdf\"; sleep 60 & echo $! > '{tmp_path / 'pids'}'")
    print_pdf(STUB, tmp_path / "new.pdf")
    assert (tmp_path / "new.pdf").read_bytes() == b"%PDF-1.4\n%%EOF"
    assert has_ended(int((tmp_path / "pids").read_text()))


@pytest.mark.parametrize(("force", "outcome"), [(False, b"an old one"), (True, b"%PDF-1.4\n%%EOF")])
def test_an_existing_file_is_kept_without_force(acting, tmp_path, force, outcome):
    acting("printf '%%PDF-1.4\\n%%%%EOF' > \"$pdf\"")
    (tmp_path / "report.pdf").write_bytes(b"an old one")
    if force:
        print_pdf(STUB, tmp_path / "report.pdf", force=True)
    else:
        with pytest.raises(InputError, match=r"report\.pdf: exists already; give force"):
            print_pdf(STUB, tmp_path / "report.pdf")
    assert (tmp_path / "report.pdf").read_bytes() == outcome


@pytest.mark.parametrize(
    ("page", "message"), [("gone.html", r"gone\.html: does not exist"), ("", r"is a folder where")]
)
def test_a_page_that_cannot_be_read(acting, old, tmp_path, page, message):
    acting("printf '%%PDF-1.4\\n%%%%EOF' > \"$pdf\"")
    with pytest.raises(InputError, match=message):
        print_pdf(tmp_path / page, old, force=True)


class Asked(http.server.BaseHTTPRequestHandler):
    """Counts who asks."""

    heard: list[str]

    def do_GET(self):
        self.heard.append(self.path)
        self.send_response(204)
        self.end_headers()

    def log_message(self, *_):
        """Say nothing."""


def test_a_page_on_paper_and_no_network(tmp_path, own_temporary_folder):
    """The page asks a server on this very machine for a picture; from the browser that prints it, that goes nowhere."""
    from pypdf import PdfReader

    need_browser()
    Asked.heard = []
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Asked) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        address = f"http://127.0.0.1:{server.server_port}"
        urllib.request.urlopen(f"{address}/alive", timeout=5).close()
        page = tmp_path / 'öld #1? 100% "it\'s" .html'
        page.write_text(STUB.read_text().replace("</main>", f"<img alt='' src='{address}/asked'></main>"))
        print_pdf(page, tmp_path / "a report.pdf")
        server.shutdown()
    assert Asked.heard == ["/alive"]
    sheets = PdfReader(io.BytesIO((tmp_path / "a report.pdf").read_bytes())).pages
    # 210 by 297 mm (ISO 216) at 72 points to the inch; a browser rounds to its pixel of 1/96 inch
    assert [float(side) for side in sheets[0].mediabox[2:]] == pytest.approx([595.28, 841.89], abs=0.75)
    text = "".join(sheet.extract_text() for sheet in sheets)
    assert text.count("An invented page") == 1, "a header repeats the title"
    assert "file:" not in text
    assert "1/3" not in text
    assert list(own_temporary_folder.iterdir()) == []
