"""A page printed to PDF by a browser that is on this machine already, without a window and without a network."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

from xover.errors import OptionError
from xover.files.atomic import read_text, write_bytes
from xover.pool.ends import guarded, scratch_folder
from xover.pool.guard import NOT_STARTED

BROWSER_VARIABLE = "XOVER_BROWSER"
BY_HAND = (
    "open the page in any browser and print it to PDF there: paper A4, scale 100 %, headers and footers off, "
    "'background graphics' on"
)

_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge", "microsoft-edge")
_MAC_PLACES = (
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
)
_WINDOWS_ROOTS = ("PROGRAMFILES", "PROGRAMFILES(X86)", "LOCALAPPDATA")
_WINDOWS_PLACES = (
    "Chromium/Application/chrome.exe",
    "Google/Chrome/Application/chrome.exe",
    "Microsoft/Edge/Application/msedge.exe",
)
# Each name on the first line stops something that would look for a network; the rule on the last line sends whatever
# asks all the same, by name or by number, to nowhere.
_QUIET = (
    *(
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--disable-domain-reliability",
    ),
    *("--disable-extensions", "--disable-default-apps", "--no-first-run", "--no-default-browser-check"),
    *("--disable-breakpad", "--disable-gpu", "--mute-audio", "--password-store=basic", "--use-mock-keychain"),
    "--host-resolver-rules=MAP * ~NOTFOUND",
)
# The path of a socket has room for so many bytes (104 on macOS, 108 on Linux); a browser puts one that far below its
# temporary folder, and does not start where there is no room.
_LONGEST_SOCKET_BYTES = 104
_SOCKET_BYTES = len("/org.chromium.Chromium.XXXXXX/SingletonSocket") + 4
# The second name is what the first was called in older browsers; a browser passes over the one that it does not know.
_NO_HEADER = ("--no-pdf-header-footer", "--print-to-pdf-no-header")


def find_browser() -> Path | None:
    """The program that can print: what XOVER_BROWSER names, else the first that is found; None where there is none.

    Raises
    ------
    OptionError
        XOVER_BROWSER names something that cannot be run.
    """
    wanted = os.environ.get(BROWSER_VARIABLE)
    if wanted:
        found = shutil.which(os.path.expanduser(wanted))
        if found is None:
            raise OptionError(
                f"{BROWSER_VARIABLE} is '{wanted}', which is no program that can be run",
                f"give it the path of a Chromium browser, or unset it; or {BY_HAND}",
            )
        return Path(found)
    for name in (*_NAMES, *_usual_places()):
        found = shutil.which(name)
        if found is not None:
            return Path(found)
    return None


def _usual_places() -> list[str]:
    """Where installers put a browser without a word to PATH; on other systems these paths do not exist."""
    home = [os.path.expanduser("~") + place for place in _MAC_PLACES]
    roots = [os.environ[name] for name in _WINDOWS_ROOTS if os.environ.get(name)]
    return [*_MAC_PLACES, *home, *(os.path.join(root, place) for root in roots for place in _WINDOWS_PLACES)]


def headless_arguments(browser: Path, profile: Path) -> list[str]:
    """Start of a command line: `browser` without a window or network, keeping what it must keep in `profile`."""
    arguments = [str(browser), "--headless", *_QUIET, f"--user-data-dir={profile}"]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        # The sandbox gives up rights that only an ordinary user lacks, so as root the browser will not start with it.
        # The page is our own, and no network is to be reached.
        arguments.append("--no-sandbox")
    return arguments


def headless_environment(scratch: Path) -> dict[str, str]:
    """Environment in which a browser keeps its settings, crash reports and scratch files below `scratch`."""
    own = {"XDG_CONFIG_HOME": str(scratch), "XDG_CACHE_HOME": str(scratch)}
    if len(os.fsencode(scratch)) + _SOCKET_BYTES < _LONGEST_SOCKET_BYTES:
        own["TMPDIR"] = str(scratch)  # of what a browser keeps here, it leaves some behind when it is ended by force
    return {**os.environ, **own}


def print_pdf(html_path: Path | str, pdf_path: Path | str, force: bool = False, timeout_s: float = 60) -> None:
    """Print a page to a PDF file, whole or not at all.

    The paper is what the page's own `@page { size: A4 }` says. The browser works in a temporary folder of its own that
    is removed afterwards, and leaves the user's browser and its settings alone.

    Raises
    ------
    InputError
        The page cannot be read, or the PDF cannot be written (it exists and `force` is not given, no folder, no room).
    OptionError
        No browser is found, or it printed nothing whole within `timeout_s`.
    """
    read_text(html_path)  # says what is wrong with the page before the browser would print its own word on it
    browser = find_browser()
    if browser is None:
        raise OptionError(
            "no browser that can print was found (Chromium, Chrome or Edge)",
            f"{BY_HAND}; or give the path of such a browser in {BROWSER_VARIABLE}",
        )
    with scratch_folder() as scratch:
        data = _printed(browser, Path(html_path), scratch, timeout_s)
    write_bytes(pdf_path, data, force)


def _printed(browser: Path, page: Path, scratch: Path, timeout_s: float) -> bytes:
    """Bytes of a whole PDF of the page, by way of a file in `scratch`."""
    pdf = scratch / "page.pdf"
    arguments = [
        *headless_arguments(browser, scratch / "profile"),
        *_NO_HEADER,
        f"--print-to-pdf={pdf}",
        page.resolve().as_uri(),
    ]
    status, said = _run(arguments, scratch, timeout_s)
    if status is None:
        raise OptionError(f"{browser} had not printed the page within {timeout_s:g} s", BY_HAND)
    try:
        data = pdf.read_bytes()
    except FileNotFoundError:
        data = b""
    if status != 0 or not is_whole_pdf(data):
        came = "printed no PDF" if not data else "did not print a whole PDF"
        raise OptionError(f"{browser} {came} (exit status {status}{said})", BY_HAND)
    return data


def is_whole_pdf(data: bytes) -> bool:
    """True where the bytes begin and end as a PDF file does (ISO 32000-1, 7.5.2 and 7.5.5)."""
    return data.startswith(b"%PDF-") and data.rstrip().endswith(b"%%EOF")


def _run(arguments: list[str], scratch: Path, timeout_s: float) -> tuple[int | None, str]:
    """Exit status (None when time ran out) and the line that tells most; nothing of the browser lives on."""
    said = scratch / "said"
    # A browser is a dozen processes, and all of them must go with it.
    with (
        open(said, "wb") as stream,
        guarded(
            arguments,
            scratch,
            stdin=subprocess.DEVNULL,
            stdout=stream,
            stderr=stream,
            env=headless_environment(scratch),
        ) as process,
    ):
        try:
            status = process.wait(timeout_s)
        except subprocess.TimeoutExpired:
            return None, ""
        words = said.read_text(encoding="utf-8", errors="replace")
    if status == NOT_STARTED:
        raise OptionError(f"{arguments[0]} cannot be started: {words.strip()}", BY_HAND)
    return status, _last_words(words)


def _last_words(said: str) -> str:
    """The line on which a browser gives up, else its last one; at most 200 characters."""
    lines = [line.strip() for line in said.split("\n") if line.strip()]
    telling = [line for line in lines if ":FATAL:" in line] or lines[-1:]
    return f", last words: {telling[0][:200]}" if telling else ""
