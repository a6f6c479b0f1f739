"""A program that is started ends with the one that started it, however that one ends, and its scratch is removed."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from left_behind import CAN_SEE, MARK, marked, wait_until

from xover.pool.ends import guarded
from xover.pool.guard import NOT_STARTED

BROWSER = """#!/bin/sh
trap '' TERM HUP INT
for a; do case "$a" in --user-data-dir=*) own="${a#*=}";; esac; done
mkdir "$own"
sleep 60 &
while true; do echo x > "$own/noise"; echo x > "$own/more"; rm "$own/more"; done
"""
PRINT = """
import sys
from xover.pool.ends import end_on_signals
from xover.report.printing import print_pdf
end_on_signals()
print_pdf(*sys.argv[1:])
"""
STATUS = {signal.SIGTERM: 143, signal.SIGHUP: 129, signal.SIGINT: -signal.SIGINT, signal.SIGKILL: -signal.SIGKILL}


@pytest.mark.skipif(not CAN_SEE, reason="needs /proc to see what is left")
@pytest.mark.parametrize(("how", "times"), [*((how, 1) for how in STATUS), (signal.SIGTERM, 3), (signal.SIGHUP, 3)])
def test_a_browser_ends_with_who_prints(tmp_path, how, times):
    """It hears no signal, and writes into its scratch as fast as it can."""
    for name in ("scratch", "pages"):
        (tmp_path / name).mkdir()
    browser, pdf = tmp_path / "browser", tmp_path / "pages" / "page.pdf"
    browser.write_text(BROWSER)
    browser.chmod(0o755)
    page = tmp_path / "pages" / "page.html"
    page.write_text("<p>page</p>")
    pdf.write_bytes(b"an old one")
    mark = f"{os.getpid()}-{how}-{times}"
    own = {MARK: mark, "XOVER_BROWSER": str(browser), "TMPDIR": str(tmp_path / "scratch")}
    started = subprocess.Popen(
        [sys.executable, "-c", PRINT, page, pdf], env={**os.environ, **own}, start_new_session=True
    )
    with started:
        try:
            assert wait_until(lambda: list((tmp_path / "scratch").glob("*/profile/noise")), 20.0), (
                "no browser was started"
            )
            for _ in range(times):
                started.send_signal(how)
                time.sleep(0.01)
            # One that comes when all is tidied away finds Python's own end.
            assert started.wait(10.0) in ({STATUS[how]} if times == 1 else {STATUS[how], -how})
            assert wait_until(lambda: not marked(mark), 5.0), f"left behind: {marked(mark)}"
            assert list((tmp_path / "scratch").iterdir()) == []
            assert sorted(p.name for p in (tmp_path / "pages").iterdir()) == ["page.html", "page.pdf"]
            assert pdf.read_bytes() == b"an old one"
        finally:
            started.kill()


def test_what_is_ignored_stays_so():
    code = (
        "import os, signal; from xover.pool.ends import end_on_signals; signal.signal(signal.SIGHUP, signal.SIG_IGN); "
        "end_on_signals(); os.kill(os.getpid(), signal.SIGHUP); print('on')"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "on\n"


def test_a_guarded_program_is_as_any_other(tmp_path):
    pipes = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.PIPE)
    with guarded(["sh", "-c", "cat; echo no >&2; exit 7"], tmp_path, text=True, **pipes) as process:
        assert process.communicate("words") == ("words", "no\n")
    assert process.returncode == 7
    with guarded(["sh", "-c", "kill -USR1 $$"], tmp_path) as process:
        assert process.wait(10.0) == -signal.SIGUSR1
    with guarded([tmp_path / "none"], tmp_path, stderr=subprocess.PIPE) as process:
        assert process.wait(10.0) == NOT_STARTED
        assert process.stderr.read() == b"no such file or directory\n"
