"""The progress bar: patient, on a terminal only, and gone at the end."""

import sys

from xover.cli.progress import ProgressBar


def on(monkeypatch, terminal):
    """Standard error as it stands within a test is, or is not, a terminal."""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: terminal, raising=False)


def screen(text):
    """What a terminal line shows once all of a text is written, a return going back to its start."""
    line = ""
    for part in text.split("\r"):
        line = part + line[len(part) :]
    return line


def test_it_waits(capsys, monkeypatch):
    on(monkeypatch, True)
    with ProgressBar() as bar:
        bar(0.5)
    assert capsys.readouterr().err == ""


def test_it_shows_the_share_and_leaves_nothing(capsys, monkeypatch):
    on(monkeypatch, True)
    with ProgressBar(0.0) as bar:
        bar(0.25)
        shown = capsys.readouterr().err
        assert "##########                              ]  25 %" in shown
    assert screen(shown + capsys.readouterr().err).strip() == ""


def test_words_stand_behind_a_shorter_bar_and_never_run_over(capsys, monkeypatch):
    on(monkeypatch, True)
    with ProgressBar(0.0) as bar:
        bar(0.5, "flattest so far +-1.8 dB\x1b[2J" + "x" * 200)
        bar(0.75, "short")
        shown = capsys.readouterr().err
    assert shown.startswith("\r[##########          ]  50 % flattest so far +-1.8 dB [2Jxxx")
    assert all(len(line) < 80 for line in shown.split("\r"))
    assert screen(shown).rstrip() == "[###############     ]  75 % short"


def test_a_pipe_gets_nothing(capsys, monkeypatch):
    on(monkeypatch, False)
    with ProgressBar(0.0) as bar:
        bar(0.25, "words")
    assert capsys.readouterr().err == ""
