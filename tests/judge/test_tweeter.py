"""Watts of a tweeter below its resonance: safe, too many, a stop, and a doubt where data are guessed."""

import pytest

from tests.two_woofers import TWEETER, WOOFER, write_folder
from xover.judge.tweeter import tweeter_finding
from xover.rules.margins import TWEETER_MOST, TWEETER_W
from xover.rules.severity import Severity
from xover.speaker import open_speaker

CARDS = "* t\nL1 in w 1.0mH\nXlow w 0 woofer\nC1 in t 4.7uF\nXhigh t 0 tweeter\n"


@pytest.fixture
def folder(tmp_path):
    return write_folder(tmp_path / "two", {"woofer": WOOFER, "tweeter": TWEETER}, CARDS)


def judged(folder, watts):
    """The same watts, wherever the resonance may lie."""
    speaker = open_speaker(folder)
    card = next(c for c in speaker.network("found").drivers if c.driver == "tweeter")
    return tweeter_finding(speaker, "found", card, ("woofer", "tweeter"), lambda _: watts, "88 dB at 2.5 m")


def test_watts_at_and_over_the_limits(folder):
    assert judged(folder, TWEETER_W) is None
    assert judged(folder, float("nan")) is None
    assert judged(folder, 1.01 * TWEETER_W).severity is Severity.CAUTION
    assert judged(folder, TWEETER_MOST * TWEETER_W).severity is Severity.CAUTION
    stop = judged(folder, 1.01 * TWEETER_MOST * TWEETER_W)
    assert (stop.severity, stop.sure, stop.driver) == (Severity.STOP, True, "tweeter")
    assert "below its resonance of 900 Hz (88 dB at 2.5 m)" in stop.text


def test_a_stop_needs_knowledge(folder):
    path = folder / "speaker.toml"
    sheet = "[drivers.tweeter.datasheet]\nre_ohm = 5.8\nfs_hz = 900\nqms = 2\nqes = 1\nle_mh = 0.03\n"
    text = path.read_text().replace('impedance = "tweeter-impedance.txt"\n', "")
    head, tail = text.split("[drivers.tweeter]\n")
    tail = tail.replace('impedance_evidence = "measured"\n', "")
    path.write_text(head + "[drivers.tweeter]\n" + tail + sheet)
    doubt = judged(folder, 1.1 * TWEETER_MOST * TWEETER_W)
    assert (doubt.severity, doubt.sure) == (Severity.CAUTION, False)
    assert "measure the impedance of tweeter" in doubt.remedy
    # So far over that the 20 % that a datasheet may be off do not explain it.
    assert judged(folder, 1.3 * TWEETER_MOST * TWEETER_W).severity is Severity.STOP
