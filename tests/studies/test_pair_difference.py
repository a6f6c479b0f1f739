"""Left against right: known changes of a part, of two, of a driver; and what two like speakers hide."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from known_builds import DRIVERS, SPEAKERS, SWEPT, swept, times

from xover.curve import Curve, Unit
from xover.errors import InputError
from xover.explain.pair_changes import AgedDriver, ChangeKind, aged_drivers
from xover.explain.terminals import MeasuredDriver
from xover.sound import driver_fit
from xover.studies.aged.verify.pairing import explain_pair

ATTIC = "attic-two-way/left"


@pytest.fixture(scope="module", autouse=True)
def fitted_once(remembered):
    """The same few drivers are fitted for every test here."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(driver_fit, "fit_driver", remembered(driver_fit.fit_driver))
        yield


def pair(name, changes=None, drivers=None, seed=1):
    """A left speaker that has aged by some per cent, and a right one that is like it within 0.5 % but for changes."""
    rng = np.random.default_rng(seed)
    left = SPEAKERS[name].network("found")
    core = {n for c in left.couplings for n in (c.first, c.second)}
    free = [p.name for p in left.parts if p.name not in core]
    for part in free:
        left = times(left, part, np.exp(0.03 * rng.normal()))
    right = left
    for part in free:
        right = times(right, part, np.exp(0.005 * rng.normal()))
    for part, factor in (changes or {}).items():
        right = times(right, part, factor)
    ours = DRIVERS[name]
    return explain_pair(SPEAKERS[name], "found", swept(left, ours, rng), swept(right, ours | (drivers or {}), rng))


def subjects(explanation):
    return {(c.change.subject, str(c.change.kind)) for c in explanation.changes}


def test_one_changed_part_is_found_with_its_size():
    study = pair(ATTIC, {"C2": 0.85})
    assert not study.agrees
    assert study.headline.startswith("the network, not a driver: C2 -1")
    assert [subjects(e) for e in study.tied] == [{("C2", "another value")}]
    change = study.explanations[0].changes[0]
    # 0.85, and the two sides differ by some 0.5 % beside.
    assert change.factor == pytest.approx(0.85, rel=0.02)
    assert change.low < change.factor < change.high
    assert change.high / change.low < 1.06
    assert study.explanations[0].explains
    assert "one leg lifted" in study.explanations[0].next_test


def test_two_changed_parts_are_two():
    study = pair(ATTIC, {"C1": 1.15, "C2": 1.2}, seed=2)
    first = study.explanations[0]
    assert subjects(first) == {("C1", "another value"), ("C2", "another value")}
    sizes = {c.change.subject: c.factor for c in first.changes}
    assert sizes == pytest.approx({"C1": 1.15, "C2": 1.2}, rel=0.03)
    assert all(len(e.changes) == 2 or not e.explains for e in study.explanations)


@pytest.mark.parametrize(
    ("kind", "driver", "factor"),
    [
        # Bl to 0.9: Qes goes as 1/Bl^2. Stiffness to 1.2: frequency and every Q go as its root. Rms to 1.3: Qms.
        (ChangeKind.MAGNET, lambda d: replace(d, qes=d.qes / 0.81), 0.9),
        (
            ChangeKind.SUSPENSION,
            lambda d: replace(d, fs_hz=d.fs_hz * 1.2**0.5, qms=d.qms * 1.2**0.5, qes=d.qes * 1.2**0.5),
            1.2,
        ),
        (ChangeKind.DAMPING, lambda d: replace(d, qms=d.qms / 1.3), 1.3),
    ],
    ids=["magnet", "suspension", "damping"],
)
def test_an_aged_woofer_is_told_from_the_network(kind, driver, factor):
    study = pair(ATTIC, drivers={"woofer": driver(DRIVERS[ATTIC]["woofer"])}, seed=3)
    assert not study.agrees
    assert study.headline.startswith("a driver, not the network: woofer")
    first = study.explanations[0]
    assert subjects(first) == {("woofer", str(kind))}
    assert first.changes[0].factor == pytest.approx(factor, rel=0.03)
    assert first.is_driver
    assert "sweep it alone" in first.next_test
    if kind is ChangeKind.MAGNET:
        assert first.changes[0].sound_db == pytest.approx(20 * np.log10(0.9), abs=0.2)


def test_a_part_and_a_driver_together():
    woofer = DRIVERS[ATTIC]["woofer"]
    study = pair(ATTIC, {"C1": 1.2}, {"woofer": replace(woofer, qes=woofer.qes / 0.81)}, seed=4)
    assert subjects(study.explanations[0]) == {("woofer", str(ChangeKind.MAGNET)), ("C1", "another value")}
    assert study.headline.startswith("a driver and the network: ")
    assert "take one wire off woofer" in study.explanations[0].next_test


def test_like_speakers_cannot_be_told_apart():
    study = pair(ATTIC, seed=5)
    assert study.agrees
    assert study.explanations == ()
    assert study.headline.startswith("no difference beyond noise (0.6 %)") or "(0.5 %)" in study.headline
    assert study.residual < 0.03


def test_what_the_network_hides_is_said():
    """A tweeter damped by half as much again, behind its pad: not seen, and said not to be seen."""
    tweeter = DRIVERS[ATTIC]["tweeter"]
    study = pair(ATTIC, drivers={"tweeter": replace(tweeter, qms=tweeter.qms / 1.5)}, seed=6)
    assert study.agrees
    assert any(words.startswith("damping of tweeter within") for words in study.hidden)
    assert not any("woofer" in words for words in study.hidden)


def test_another_woofer_is_more_than_two_changes():
    """The example's right side: another woofer, and every part drifted otherwise."""
    study = explain_pair(
        SPEAKERS[ATTIC],
        "found",
        swept(SPEAKERS[ATTIC].network("found"), DRIVERS[ATTIC], np.random.default_rng(7)),
        swept(
            SPEAKERS[ATTIC].network("original"),
            {
                "woofer": replace(
                    DRIVERS[ATTIC]["woofer"], re_ohm=6.7, fs_hz=47.0, qms=6.8, coil_ohm=4.9, coil_power=0.7
                ),
                "tweeter": DRIVERS[ATTIC]["tweeter"],
            },
            np.random.default_rng(8),
        ),
    )
    assert not study.agrees
    assert study.headline.startswith("more than two things differ")
    assert "woofer" in study.explanations[0].words
    plain = study.plain()
    assert plain["agrees"] is False
    assert {"part", "fault", "residual"} <= set(plain["faults"][0].plain())


def test_knobs_of_an_aged_driver_have_exact_slopes():
    speaker = SPEAKERS[ATTIC]
    f = np.geomspace(20, 20e3, 60)
    network = speaker.network("found")
    shape = aged_drivers(speaker, network)("low", speaker.drivers["woofer"], f)
    assert isinstance(shape, AgedDriver)
    rng = np.random.default_rng(1)
    at = 0.1 * rng.normal(size=(3, len(shape.knobs)))
    ohm, slopes = shape.at(at)
    for i in range(len(shape.knobs)):
        step = np.zeros(len(shape.knobs))
        step[i] = 1e-5
        difference = (np.log(shape.at(at + step)[0]) - np.log(shape.at(at - step)[0])) / 2e-5
        np.testing.assert_allclose(slopes[..., i], difference, rtol=1e-5, atol=1e-8)
    np.testing.assert_allclose(shape.at(np.zeros((1, 6)))[0][0], speaker.drivers["woofer"].impedance_ohm(f), rtol=1e-12)
    assert np.abs(ohm).min() > 1


def test_a_driver_without_a_resonance_has_no_age():
    from xover.driver.datasheet import DatasheetValues
    from xover.speaker import PhaseSource, SpeakerDriver

    f = np.geomspace(100, 10e3, 80)
    flat = Curve(f, 6.0 * np.ones(80) + 2j * np.pi * f * 1e-4, Unit.OHM)
    driver = SpeakerDriver("woofer", flat, None, PhaseSource.NONE, None, None, {}, None, None, ())
    assert driver_fit.circuit_of(driver) is not None
    speaker = replace(SPEAKERS[ATTIC], drivers=SPEAKERS[ATTIC].drivers | {"woofer": driver})
    assert isinstance(aged_drivers(speaker, speaker.network("found"))("low", driver, f), MeasuredDriver)
    sheet = DatasheetValues(re_ohm=6.0, fs_hz=50.0, qms=4.0, qes=0.5)
    by_sheet = replace(driver, impedance=None, datasheet=sheet)
    assert driver_fit.circuit_of(by_sheet).fs_hz == 50.0


def test_sweeps_that_do_not_meet():
    rng = np.random.default_rng(9)
    whole = swept(SPEAKERS[ATTIC].network("found"), DRIVERS[ATTIC], rng)
    low, high = SWEPT < 300, SWEPT > 500
    with pytest.raises(InputError, match="shares no frequencies with the other sweep"):
        explain_pair(
            SPEAKERS[ATTIC],
            "found",
            Curve(SWEPT[low], whole.value[low], Unit.OHM),
            Curve(SWEPT[high], whole.value[high], Unit.OHM),
        )
    with pytest.raises(InputError, match="is not an impedance"):
        explain_pair(SPEAKERS[ATTIC], "found", whole, Curve(SWEPT, whole.value, Unit.PASCAL_20U))
